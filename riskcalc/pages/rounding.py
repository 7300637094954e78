"""Figures as text, with no more digits than their standard error supports.

The last digit shown stands at the decade of the standard error: 343.2 with a standard error of 17 is shown as 340. An
unknown standard error (NaN) leaves two significant digits. A standard error of zero leaves the caps named below, which
hold in every case: money to the whole unit from 20 upwards and to the cent below, shares to the whole per cent except
close to 0 and 1, years to one decimal.
"""

from __future__ import annotations

import math

from riskcalc.pages.estimate import Estimate
from riskcalc.pages.labels import shown_unit

MINUS = "−"
#: Keeps the minus sign and what follows on one line.
JOINER = "\u2060"
NARROW_SPACE = "\u202f"
NO_BREAK = "\u00a0"
#: Signs that cannot be mistaken for another currency's; every other currency is shown by its ISO 4217 code.
CURRENCY_SIGNS = {"GBP": "£", "EUR": "€", "USD": "US$", "INR": "₹", "JPY": "¥"}
NEVER = "never"


def supported_decimals(value: float, se: float) -> int:
    """Return the number of decimals (negative: places before the point) that the standard error supports.

    Limiting cases: `se` = 0 supports any number (12 is returned); `se` not known leaves two significant digits.
    """
    if se == 0:
        return 12
    if not math.isfinite(se):
        return 12 if value == 0 else 1 - _decade(abs(value))
    # 0.96 is shown as 1, so it stands in the decade of 1: round before taking the decade.
    return -_decade(float(f"{se:.0e}"))


def number(value: float, *, se: float = 0.0, most_decimals: int = 0) -> str:
    """Return `value` with at most `most_decimals` decimals, fewer if the standard error asks for it."""
    decimals = min(supported_decimals(value, se), most_decimals)
    rounded = round(value, decimals)
    text = f"{abs(rounded):,.{max(decimals, 0)}f}"
    return f"{MINUS}{text}" if rounded < 0 else text


def significant(value: float, digits: int = 3) -> str:
    """Return `value` with that many significant digits: for inputs and ratings, which have no standard error."""
    if value == 0 or not math.isfinite(value):
        return "0" if value == 0 else str(value)
    decimals = digits - 1 - _decade(abs(value))
    text = f"{abs(round(value, decimals)):,.{max(decimals, 0)}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return f"{MINUS}{text}" if value < 0 else text


def error(se: float, *, most_decimals: int = 0) -> str:
    """Return " ± 20" for a standard error of 17; "" where it is zero or not known; " ± <1" below the last digit."""
    if se == 0 or not math.isfinite(se):
        return ""
    step = 10.0**-most_decimals
    if se < step / 2:
        return f"{NO_BREAK}±{NO_BREAK}<{step:.{most_decimals}f}"
    decimals = min(-_decade(float(f"{se:.0e}")), most_decimals)
    return f"{NO_BREAK}±{NO_BREAK}{round(se, decimals):,.{max(decimals, 0)}f}"


def money(value: float, currency: str, *, se: float = 0.0) -> str:
    """Return an amount of money: "£340", "−CHF 1,200"; cents only below 20, and where digits are known to count."""
    # Two digits of an amount such as 7.7 would show tenths, which no money has.
    whole = not math.isfinite(se) and 1.0 <= abs(value) < 10.0
    text = number(value, se=0.0 if whole else se, most_decimals=0 if whole else _money_decimals(value))
    sign, digits = (MINUS + JOINER, text[1:]) if text.startswith(MINUS) else ("", text)
    symbol = CURRENCY_SIGNS.get(currency)
    return f"{sign}{symbol}{digits}" if symbol else f"{sign}{currency}{NO_BREAK}{digits}"


def money_estimate(estimate: Estimate, currency: str, *, with_error: bool = False) -> str:
    """Return the amount to the digit its standard error supports, if asked with that error."""
    value = _known(estimate)
    text = money(value, currency, se=estimate.se)
    return text + error(estimate.se, most_decimals=_money_decimals(value)) if with_error else text


def percent(share: float, *, se: float = 0.0) -> str:
    """Return a share in per cent: whole numbers, one decimal within 1 % of either end if the error supports it.

    A share that is not quite 0 or 1 is never shown as 0 % or 100 %: "<1 %" and ">99 %" are.
    """
    text = number(100 * share, se=100 * se, most_decimals=_percent_decimals(share))
    if text in {"0", "0.0"}:
        text = "0" if share <= 0 else "<1"
    elif text in {"100", "100.0"}:
        text = "100" if share >= 1 else ">99"
    return f"{text}{NARROW_SPACE}%"


def percent_estimate(estimate: Estimate, *, with_error: bool = False) -> str:
    """Return the share to the digit its standard error supports; the error, if asked for, in percentage points."""
    text = percent(_known(estimate), se=estimate.se)
    return text + percent_error(estimate) if with_error else text


def percent_error(estimate: Estimate) -> str:
    """Return the standard error of a share in percentage points: " ± 1"."""
    return error(100 * estimate.se, most_decimals=_percent_decimals(_known(estimate)))


def years(estimate: Estimate, *, with_error: bool = False) -> str:
    """Return a payback time such as "9.4 years", or "never" where the quantile is not reached."""
    if estimate.value is None:
        return NEVER
    text = number(estimate.value, se=estimate.se, most_decimals=1)
    plural = "year" if text == "1" else "years"
    return f"{text}{error(estimate.se, most_decimals=1) if with_error else ''}{NO_BREAK}{plural}"


def energy(value_kwh: float, *, se: float = 0.0) -> str:
    """Return an amount of energy in kWh, one decimal below 10."""
    decimals = 1 if abs(value_kwh) < 10 else 0
    return f"{number(value_kwh, se=se, most_decimals=decimals)}{NO_BREAK}kWh"


def with_unit(value: float, unit: str) -> str:
    """Return an input's value with its unit, three significant digits; a share in per cent."""
    factor, said = shown_unit(unit)
    text = significant(factor * value)
    return f"{text}{NO_BREAK}{said}" if said else text


def _money_decimals(value: float) -> int:
    return 0 if abs(value) >= 20 or value == 0 else 2


def _percent_decimals(share: float) -> int:
    return 1 if min(share, 1 - share) < 0.01 else 0


def _decade(magnitude: float) -> int:
    return math.floor(math.log10(magnitude))


def _known(estimate: Estimate) -> float:
    if estimate.value is None:
        raise ValueError("a figure that must have a value has none")
    return estimate.value
