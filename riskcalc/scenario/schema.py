"""The scenario as one frozen object, and the questions the rest of the program asks it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, PrivateAttr

from riskcalc.scenario.alternative import Alternative
from riskcalc.scenario.claims import Claim
from riskcalc.scenario.correlations import Correlation
from riskcalc.scenario.dispatch import Dispatch
from riskcalc.scenario.fields import Table, absent, declared_bounds, default, needed, optional
from riskcalc.scenario.home import Home
from riskcalc.scenario.kit import Kit
from riskcalc.scenario.outages import Outages
from riskcalc.scenario.prices import Prices
from riskcalc.scenario.purchase import Purchase
from riskcalc.scenario.site import Site
from riskcalc.scenario.study import Study
from riskcalc.scenario.tariff import Tariff
from riskcalc.scenario.tenure import Tenure
from riskcalc.scenario.texts import Currency, ScenarioName, Text
from riskcalc.uncertainty.quantity import Quantity

#: First parts of keys, longest first, with the family they belong to in rankings.
FAMILIES = {
    "site": "weather",
    "tariff": "prices",
    "prices": "prices",
    "kit.ageing": "ageing",
    "kit": "kit",
    "purchase": "kit",
    "home": "habits",
    "dispatch": "habits",
    "tenure": "tenure",
    "alternative": "prices",
    "outages": "habits",
}


@dataclass(frozen=True)
class FileUsed:
    """One file that went into a scenario: its path as given, and the SHA-256 of its bytes."""

    path: str
    sha256: str


@dataclass(frozen=True)
class Reading:
    """What is known from the reading of a scenario besides its values."""

    files: tuple[FileUsed, ...] = ()
    given: frozenset[str] | None = None
    data_paths: Mapping[str, Path] = field(default_factory=dict)
    overrides: tuple[str, ...] = ()


class Scenario(Table):
    """A household, a kit, a bill and what is uncertain about them."""

    name: ScenarioName = needed("name of the scenario", title="Name")
    title: Text = default(
        "", "what the page calls it; the name of its file unless given", absent("for the report only"), title="Title"
    )
    description: Text = default(
        "", "what the scenario is about, for the report", absent("for the report only"), title="Description"
    )
    currency: Currency = needed("currency code of ISO 4217, such as GBP", title="Currency")
    site: Site = needed("where the home stands", title="Site")
    home: Home = needed("who lives there and what they use", title="Home")
    tariff: Tariff = needed("what electricity costs", title="Tariff")
    prices: Prices = needed("how prices may change", title="Prices")
    kit: Kit | None = optional("what is bought", "nothing is bought", title="Kit")
    dispatch: Dispatch = default(Dispatch(), "how the kit is run", title="Running of the kit")
    purchase: Purchase | None = optional("what the kit costs", "needed with [kit]", title="Purchase")
    tenure: Tenure | None = optional("renting or owning", "not considered", title="Tenure")
    alternative: Alternative | None = optional(
        "what would be done instead of a kit without a supply", "not weighed", title="Alternative"
    )
    outages: Outages | None = optional("how often the supply fails", "not considered", title="Outages")
    study: Study = default(Study(), "how the question is asked and computed", title="Study")
    correlations: Annotated[
        tuple[Correlation, ...], BeforeValidator(lambda raw: tuple(raw) if isinstance(raw, list) else raw)
    ] = default((), "uncertain inputs that move together", absent("independent unless given"), title="Correlations")
    claims: Annotated[tuple[Claim, ...], BeforeValidator(lambda raw: tuple(raw) if isinstance(raw, list) else raw)] = (
        default((), "statements to check in every future", absent("none unless given"), title="Claims")
    )

    _reading: Reading = PrivateAttr(default_factory=Reading)

    @property
    def called(self) -> str:
        """What a reader calls it: the title, or else the name."""
        return self.title or self.name

    @property
    def file(self) -> str:
        """The path of the scenario file, for messages; its name where it was not read from one."""
        return self._reading.files[0].path if self._reading.files else self.name

    @property
    def files(self) -> tuple[FileUsed, ...]:
        """Every file that was read, with its hash, the scenario itself first."""
        return self._reading.files

    @property
    def overrides(self) -> tuple[str, ...]:
        """The changes `dotted.key=value` that were laid over the files, in their order."""
        return self._reading.overrides

    def with_draws(self, draws: int) -> Scenario:
        """Return the scenario as if `study.draws` had been laid over it, its list of changes included."""
        mark, reading = "study.draws=", self._reading
        before = [change for change in reading.overrides if not change.startswith(mark)]
        place = next((at for at, change in enumerate(reading.overrides) if change.startswith(mark)), len(before))
        before.insert(place, f"{mark}{draws}")
        given = None if reading.given is None else reading.given | {"study.draws"}
        found = self.model_copy(update={"study": self.study.model_copy(update={"draws": draws})})
        found._reading = replace(reading, overrides=tuple(before), given=given)  # noqa: SLF001
        return found

    def data_path(self, key: str) -> Path:
        """Return where the data file named under a dotted key lies, such as `site.weather.file`."""
        return self._reading.data_paths[key]

    def is_given(self, key: str) -> bool:
        """Return whether a dotted key stands in a file or override (False: its default holds)."""
        given = self._reading.given
        return True if given is None else key in given

    def quantities(self) -> dict[str, Quantity]:
        """Return every number that may be uncertain under its dotted key, defaults included.

        Tables and keys come in the order of the schema, named entries (rates, surfaces, ...) in the order of the file.
        """
        return dict(_quantities_of(_Identity(self)))

    def uncertain(self) -> dict[str, Quantity]:
        """Return the quantities that differ from draw to draw."""
        return {key: quantity for key, quantity in self.quantities().items() if quantity.is_uncertain}

    def correlation_of(self) -> dict[tuple[str, str], float]:
        """Return the correlation of each pair of keys that has one."""
        return {(entry.between[0], entry.between[1]): entry.value for entry in self.correlations}

    def leaves(self) -> Iterator[tuple[str, Any, Any]]:
        """Yield (dotted key, value, field declaration) of every setting; correlations and claims are left out."""
        yield from _leaves(self, "")


@dataclass(frozen=True, eq=False)
class _Identity:
    """A scenario told apart by what it is in memory: comparing its content would cost what is to be saved."""

    scenario: Scenario

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Identity) and self.scenario is other.scenario

    def __hash__(self) -> int:
        return id(self.scenario)


@lru_cache(maxsize=16)
def _quantities_of(held: _Identity) -> dict[str, Quantity]:
    """Return the quantities of a scenario, which are asked for hundreds of times."""
    return {key: value for key, value, _ in held.scenario.leaves() if isinstance(value, Quantity)}


def unit_of(key: str, currency: str = "") -> str:
    """Return the unit that a dotted key is declared with, empty when it has none."""
    return declared_bounds(Scenario, key).unit.replace("{money}", currency)


def bounds_of(key: str) -> tuple[float, float]:
    """Return the least and the greatest number that a dotted key accepts, infinite where there is none."""
    bounds = declared_bounds(Scenario, key)
    return bounds.low, bounds.high


def family_of(key: str) -> str:
    """Return the family that an input is ranked with: weather, prices, ageing, habits, kit, tenure or study."""
    for start in sorted(FAMILIES, key=len, reverse=True):
        if key == start or key.startswith(f"{start}."):
            return FAMILIES[start]
    return "study"


def _leaves(table: BaseModel, start: str) -> Iterator[tuple[str, Any, Any]]:
    for name, declared in type(table).model_fields.items():
        value = getattr(table, name)
        key = f"{start}{name}"
        if name in ("correlations", "claims"):
            continue
        if isinstance(value, BaseModel):
            yield from _leaves(value, f"{key}.")
        elif isinstance(value, dict):
            for entry, item in value.items():
                if isinstance(item, BaseModel):
                    yield from _leaves(item, f"{key}.{entry}.")
                else:
                    yield f"{key}.{entry}", item, declared
        else:
            yield key, value, declared
