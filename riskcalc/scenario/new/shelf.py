"""Kits to begin with: the invented ones that come with riskcalc, or a file of your own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from riskcalc.coupling import Coupling, Traits, traits_of
from riskcalc.errors import InputError
from riskcalc.scenario.complaints import did_you_mean
from riskcalc.scenario.layers import Tree
from riskcalc.scenario.sources import Sources, shelf_folder

#: Currency of the invented prices that come with riskcalc.
SHELF_CURRENCY = "GBP"
#: What the whole price is made of.
PRICE_KEYS = ("price", "module_price", "extra_battery_price", "installation", "discount_share")
#: Tables that a kit file brings.
KIT_TABLES = ("kit", "purchase")


@dataclass(frozen=True)
class Kit:
    """A kit as tables without `from`, and the currency of its prices, empty where its file does not say."""

    key: str
    tables: dict[str, Any]
    currency: str = ""

    @property
    def name(self) -> str:
        """Its name for a reader."""
        return str(self.tables["kit"].get("name", self.key))

    @property
    def coupling(self) -> str:
        """How it meets the loads, a word of `Coupling`; empty where its file does not say."""
        return str(self.tables["kit"].get("coupling", ""))

    @property
    def traits(self) -> Traits:
        """What follows from how it meets the loads."""
        return traits_in(self.tables)

    @property
    def has_modules(self) -> bool:
        """Whether it brings modules."""
        return bool(self.tables["kit"].get("arrays"))

    @property
    def charges_from_supply(self) -> bool:
        """Whether it can be filled at a cheap rate."""
        return "charger" in self.tables["kit"] and "battery" in self.tables["kit"]

    @property
    def usual_price(self) -> float:
        """The whole price on its shelf, as `money.costs` adds it up: with installation, modules and extra batteries."""
        purchase, kit = self.tables.get("purchase", {}), self.tables["kit"]
        cost = {name: middle_of(purchase.get(name, 0.0)) for name in PRICE_KEYS}
        modules = sum(
            array.get("modules_in_series", 1) * array.get("strings_in_parallel", 1)
            for array in kit.get("arrays", {}).values()
        )
        extra = kit.get("battery", {}).get("extra_batteries", 0)
        goods = cost["price"] + modules * cost["module_price"] + extra * cost["extra_battery_price"]
        return goods * (1.0 - cost["discount_share"]) + cost["installation"]


def middle_of(figure: Any) -> float:
    """Return the mode of an uncertain figure, or the figure itself."""
    value: Any = figure.get("mode", figure.get("value", 0.0)) if isinstance(figure, dict) else figure
    return float(value)


def traits_in(tables: Mapping[str, Any]) -> Traits:
    """Return the traits of a kit as its file gives it; what is no coupling is refused when the scenario is read."""
    word = tables.get("kit", {}).get("coupling")
    return traits_of(word) if word in tuple(Coupling) else Traits()


@cache
def shelf_kits() -> dict[str, Kit]:
    """Return the kits that come with riskcalc by the name of their file, simplest first."""
    kits = {path.stem: kit_file(path) for path in sorted((shelf_folder() / "kits").glob("*.toml"))}
    order = tuple(Coupling)
    return dict(sorted(kits.items(), key=lambda item: (order.index(item[1].coupling), item[0])))


def kit_named(word: str) -> Kit:
    """Return a kit of the shelf, or the one in a TOML file of your own.

    Raises
    ------
    ValueError
        With what is accepted, if there is no such kit.
    InputError
        If the file cannot be read.
    """
    known = shelf_kits()
    if word in known:
        return known[word]
    if word.endswith(".toml"):
        return kit_file(Path(word))
    near = did_you_mean(word, known)
    near = f" ({near})" if near else ""
    raise ValueError(f"{' or '.join(known)}, or the path of a TOML file with [kit] and [purchase]{near}")


def kit_file(path: Path) -> Kit:
    """Return the kit in a TOML file, with what it takes `from` other files laid in."""
    sources, tree = Sources(path), Tree()
    for table in KIT_TABLES:
        sources.lay_shared(tree, table, path.name, None, anchor=path, chain=())
    if sources.problems:
        raise InputError(dict.fromkeys(sources.problems))
    return Kit(path.stem, tree.tables, sources.currency_of(path.as_posix()) or "")
