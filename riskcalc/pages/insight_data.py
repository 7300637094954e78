"""What the page shows of odds, information, break-even and claims, as plain numbers and text."""

from __future__ import annotations

from dataclasses import dataclass

from riskcalc.pages.estimate import Estimate


@dataclass(frozen=True)
class OddsRow:
    """One factor and the odds of payback: how far a tenth of the draws by it lies from all, odds at its 10 % and 90 % point."""

    label: str
    family: str
    gap: float
    low: float
    high: float


@dataclass(frozen=True)
class InformationRow:
    """What it is worth to know one factor, or a whole family, before buying [money]."""

    label: str
    is_family: bool
    worth: Estimate


@dataclass(frozen=True)
class BreakEvenRow:
    """Where one input would have to stand; `method` "revalued" | "simulated" | "shifted"."""

    label: str
    unit: str
    value: Estimate
    method: str


@dataclass(frozen=True)
class BreakEvenTable:
    """The inputs that bring a statement to the asked odds by themselves, and those of which no value does.

    `unsettled` are those whose value the draws do not settle: the odds hardly change with them.
    """

    statement: str
    odds: float
    rows: tuple[BreakEvenRow, ...]
    none: tuple[str, ...]
    unsettled: tuple[str, ...] = ()


@dataclass(frozen=True)
class ClaimRow:
    """One claim as published, held against the futures.

    probability : share of futures in which it is true, None when this run does not measure it.
    unit : of the three points of the measure, 10 %, 50 % and 90 % (None where a payback never comes).
    move : the input that brings an even chance by the smallest move, None when none does.
    is_even : the chance is an even one as it stands.
    """

    sentence: str
    measure: str
    unit: str
    probability: Estimate | None
    p10: float | None
    p50: float | None
    p90: float | None
    move: BreakEvenRow | None
    is_even: bool = False


@dataclass(frozen=True)
class Insight:
    """Everything of this kind.

    odds_rows : factors above `gap_of_no_effect`, strongest first.
    everything : what it is worth to know all before buying [money].
    information : families and factors that are worth something for certain, most first.
    """

    within_years: int
    odds: float
    gap_of_no_effect: float
    odds_rows: tuple[OddsRow, ...]
    everything: Estimate
    information: tuple[InformationRow, ...]
    break_even: tuple[BreakEvenTable, ...]
    claims: tuple[ClaimRow, ...]
