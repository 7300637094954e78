"""Kits to begin with: the invented ones that come with riskcalc, or a file of one's own."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import riskcalc
from riskcalc.errors import InputError
from riskcalc.scenario.complaints import did_you_mean
from riskcalc.scenario.layers import Tree
from riskcalc.scenario.sources import Sources

#: Tables that a kit file brings.
KIT_TABLES = ("kit", "purchase")


@dataclass(frozen=True)
class Kit:
    """A kit as tables without `from`: what the scenario needs to know of it, and where it was read."""

    key: str
    tables: dict[str, Any]

    @property
    def name(self) -> str:
        """Its name for a reader."""
        return str(self.tables["kit"].get("name", self.key))

    @property
    def coupling(self) -> str:
        """How it meets the loads."""
        return str(self.tables["kit"].get("coupling", ""))

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
        """Price and installation on its shelf: the mode where they are uncertain, 0 where none is written."""
        purchase = self.tables.get("purchase", {})
        return _middle(purchase.get("price", 0.0)) + _middle(purchase.get("installation", 0.0))


def _middle(figure: Any) -> float:
    value: Any = figure.get("mode", figure.get("value", 0.0)) if isinstance(figure, dict) else figure
    return float(value)


def shelf_folder() -> Path:
    """Return the folder of homes, kits and tariffs: in an installed package beside its code, else in the repository."""
    package = Path(riskcalc.__file__).parent
    inside = package / "shelf"
    return inside if inside.is_dir() else package.parent / "scenarios"


@cache
def shelf_kits() -> dict[str, Kit]:
    """Return the kits that come with riskcalc by the name of their file, simplest first."""
    kits = {path.stem: kit_file(path) for path in sorted((shelf_folder() / "kits").glob("*.toml"))}
    order = ("sockets", "plug_in", "whole_home", "off_grid")
    return dict(sorted(kits.items(), key=lambda item: (order.index(item[1].coupling), item[0])))


def kit_named(word: str) -> Kit:
    """Return a kit of the shelf, or the one in a TOML file of one's own.

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
    return Kit(path.stem, tree.tables)
