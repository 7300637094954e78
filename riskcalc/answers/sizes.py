"""Sizes of a kit: more or fewer modules, stacked batteries."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Size:
    """One size of a kit; None leaves what the kit file says."""

    modules: int | None = None
    batteries: int | None = None
    is_any_other: bool = False

    @property
    def words(self) -> str:
        """How the size is called beside the kit, empty for the size of the file."""
        if self.is_any_other:
            return "other sizes"
        parts = []
        if self.modules is not None:
            parts.append(f"{self.modules} module{'s' if self.modules != 1 else ''}")
        if self.batteries is not None:
            parts.append(f"{self.batteries} batter{'ies' if self.batteries != 1 else 'y'}")
        return ", ".join(parts)

    def titled(self, kit: str) -> str:
        """Return what a reader calls a kit in this size."""
        return f"{kit}, {'in' if self.is_any_other else 'changed to'} {self.words}" if self.words else kit


#: Stands for all sizes of a kit that could not be looked at for one and the same reason.
OTHER = Size(is_any_other=True)


def sizes_asked(kit: Mapping[str, Any], *, modules: Sequence[int], batteries: Sequence[int]) -> list[Size]:
    """Return the sizes to look at, that of the file first; sizes that are the file's own appear once.

    A kit without modules has no size in modules, one without a battery none in batteries.
    """
    own_modules, own_batteries = modules_in(kit), batteries_in(kit)
    module_choices = [count for count in dict.fromkeys(modules) if count != own_modules] if own_modules else []
    battery_choices = [count for count in dict.fromkeys(batteries) if count != own_batteries] if own_batteries else []
    return [Size(m, b) for b in (None, *battery_choices) for m in (None, *module_choices)]


def modules_in(kit: Mapping[str, Any]) -> int:
    """Return the number of modules that a kit table names, 0 for none or what cannot be read."""
    total = 0
    for array in _tables(kit.get("arrays")):
        in_series, in_parallel = array.get("modules_in_series"), array.get("strings_in_parallel", 1)
        if isinstance(in_series, int) and isinstance(in_parallel, int):
            total += in_series * in_parallel
    return total


def batteries_in(kit: Mapping[str, Any]) -> int:
    """Return the number of batteries that a kit table names."""
    battery = kit.get("battery")
    if not isinstance(battery, dict):
        return 0
    extra = battery.get("extra_batteries", 0)
    return 1 + (extra if isinstance(extra, int) else 0)


def size_problem(tables: Mapping[str, Any], size: Size) -> str:
    """Return why a kit cannot be had in that size, empty where it can."""
    kit, purchase = tables.get("kit", {}), tables.get("purchase", {})
    if size.modules is not None and len(kit.get("arrays", {})) > 1:
        return "its modules stand in more than one array: sizes are swept for one array only"
    if size.modules is not None and "module_price" not in purchase:
        return "purchase.module_price is not given: other numbers of modules would cost nothing"
    if size.batteries is not None and "extra_battery_price" not in purchase:
        return "purchase.extra_battery_price is not given: more batteries would cost nothing"
    return ""


def arrangements(modules: int) -> list[tuple[int, int]]:
    """Return every (in series, in parallel) that makes up the number of modules, longest strings first."""
    return [(series, modules // series) for series in range(modules, 0, -1) if modules % series == 0]


def _tables(table: object) -> list[dict[str, Any]]:
    return [entry for entry in table.values() if isinstance(entry, dict)] if isinstance(table, dict) else []
