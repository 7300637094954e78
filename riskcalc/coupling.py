"""How a kit meets loads and grid. Plain Python: a scenario is read and checked without a compiler."""

from __future__ import annotations

from enum import StrEnum
from typing import NamedTuple


class Traits(NamedTuple):
    """What holds of a coupling; all else follows from these."""

    on_grid: bool = True
    """There is a supply from the grid."""
    parallel: bool = False
    """Its inverter feeds the same wires as the grid."""
    may_export: bool = False
    """What nobody uses may go out to the grid."""
    reaches_all: bool = False
    """It meets every load of the home, plugged into it or not."""
    between_mains: bool = False
    """It stands between the mains and what is plugged into it, so it carries that in an outage."""
    fixed: bool = False
    """It belongs to the building: a move leaves it behind, a tenant does not buy it."""
    self_installed: bool = False
    """The household sets it up, so no module goes on a roof."""


class Coupling(StrEnum):
    """How the kit meets loads and grid; the value is the word of the key `kit.coupling`. Simplest first."""

    traits: Traits

    def __new__(cls, word: str, traits: Traits | None = None) -> Coupling:
        """Return the member that is the word, with its traits."""
        member = str.__new__(cls, word)
        member._value_, member.traits = word, traits or Traits()
        return member

    SOCKETS = "sockets", Traits(between_mains=True, self_installed=True)
    PLUG_IN = "plug_in", Traits(parallel=True, may_export=True, reaches_all=True, self_installed=True)
    WHOLE_HOME = "whole_home", Traits(parallel=True, may_export=True, reaches_all=True, fixed=True)
    OFF_GRID = "off_grid", Traits(on_grid=False)


def traits_of(coupling: str) -> Traits:
    """Return the traits of a coupling by its word.

    Raises
    ------
    ValueError
        For another word; names those that are accepted.
    """
    if coupling not in tuple(Coupling):
        raise ValueError(f"coupling: {coupling!r}; accepted: {', '.join(Coupling)}")
    return Coupling(coupling).traits
