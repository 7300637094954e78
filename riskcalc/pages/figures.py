"""Figures as text: the one place where a number becomes part of a sentence, a table or a chart.

The last digit shown stands at the decade of the standard error: 343.2 with a standard error of 17 is shown as 340. An
unknown standard error leaves two significant digits; one of zero leaves the caps named below. Those hold in every case:
money to the whole unit from 20 upwards and to the cent below, shares to the whole per cent except close to 0 and 1,
years to one decimal. A figure is a number, or a mapping with `value` and `standard_error` as in result.json.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from typing import Any

from riskcalc.language import (
    ENGLISH,
    filled,
    language_now,
    separators,
    told,
    translated,
    translated_count,
    with_currency,
)

Figure = Mapping[str, Any]
UNKNOWN = float("nan")
MINUS = "−"
#: Keeps the minus sign and what follows on one line.
JOINER = "\u2060"
NARROW_SPACE = "\u202f"
NO_BREAK = "\u00a0"
#: Spaces that keep figures together on the page; a terminal needs none of them.
PLAIN = str.maketrans({NO_BREAK: " ", NARROW_SPACE: " ", JOINER: ""})
#: The space between a number and its unit, in names that a scenario gives.
_BEFORE_UNIT = re.compile(r"(?<=[0-9]) (?=(?:kWh|kWp|kW|Wh|W|V|A)\b)")
#: Signs that cannot be mistaken for another currency's; every other currency is shown by its ISO 4217 code.
CURRENCY_SIGNS = {"GBP": "£", "EUR": "€", "USD": "US$", "INR": "₹", "JPY": "¥"}
#: Letters that fit above a bar on a phone.
LONGEST = 52
#: German words at the head of a label that lose their capital within a sentence.
NO_NOUNS = ("Ob ", "Wann ", "Wie ")
#: What N of "1 in N" may be, times a power of ten.
ROUND_STEPS = (1, 1.2, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10)
#: Frequencies people can picture; the nearest one is said. Each has its complement in the list.
FRACTIONS = (*((n, 10) for n in (1, 2, 3, 4, 6, 7, 8, 9)), *((1, 4), (3, 4), (1, 3), (2, 3), (1, 2)))


def unbroken(text: str) -> str:
    """Return a text whose numbers stay on the line of their units."""
    return _BEFORE_UNIT.sub(NO_BREAK, text)


def say(message: str, **parts: object) -> str:
    """Return a whole message in the reader's language, its named parts filled in: the one gate of all sentences."""
    return filled(translated(message), **parts)


def counted(one: str, many: str, count: int, **parts: object) -> str:
    """Return the message for one or for many, with `count` and the other parts filled in."""
    return filled(translated_count(one, many, count), count=grouped(count), **parts)


def value_of(figure: Figure | float) -> float:
    """Return the value of a figure that must have one.

    Raises
    ------
    ValueError
        If it has none, such as a payback that is not reached.
    """
    value = figure["value"] if isinstance(figure, Mapping) else figure
    if value is None:
        raise ValueError("a figure that must have a value has none")
    return float(value)


def error_of(figure: Figure) -> float:
    """Return the standard error of a figure, not a number where it is not known."""
    error = figure.get("standard_error")
    return UNKNOWN if error is None else float(error)


def estimate(value: float | None, standard_error: float | None = None) -> dict[str, float | None]:
    """Return a figure of its own."""
    return {"value": value, "standard_error": standard_error}


def complement(share: Figure) -> dict[str, float | None]:
    """Return the share of all others, with the same standard error."""
    return estimate(1.0 - value_of(share), share.get("standard_error"))


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


def grouped(value: float, decimals: int = 0) -> str:
    """Return a number with its thousands grouped; the one place that knows how a language writes numbers."""
    text = f"{value:,.{decimals}f}"
    group, decimal = separators()
    return text if decimal == "." else text.translate(str.maketrans(",.", group + decimal))


def number(value: float, *, se: float = 0.0, most_decimals: int = 0) -> str:
    """Return `value` with at most `most_decimals` decimals, fewer if the standard error asks for it."""
    decimals = min(supported_decimals(value, se), most_decimals)
    rounded = round(value, decimals)
    return f"{MINUS if rounded < 0 else ''}{grouped(abs(rounded), max(decimals, 0))}"


def significant(value: float, digits: int = 3) -> str:
    """Return `value` with that many significant digits: for inputs and ratings, which have no standard error."""
    if value == 0 or not math.isfinite(value):
        return "0" if value == 0 else str(value)
    decimals = digits - 1 - _decade(abs(value))
    text = grouped(abs(round(value, decimals)), max(decimals, 0))
    if decimals > 0:
        text = text.rstrip("0").rstrip(separators()[1])
    return f"{MINUS}{text}" if value < 0 else text


def error(se: float, *, most_decimals: int = 0) -> str:
    """Return " ± 20" for a standard error of 17; "" where it is zero or not known; " ± <1" below the last digit."""
    if se == 0 or not math.isfinite(se):
        return ""
    step = 10.0**-most_decimals
    if se < step / 2:
        return f"{NO_BREAK}±{NO_BREAK}<{grouped(step, most_decimals)}"
    decimals = min(-_decade(float(f"{se:.0e}")), most_decimals)
    return f"{NO_BREAK}±{NO_BREAK}{grouped(round(se, decimals), max(decimals, 0))}"


def money(amount: Figure | float, currency: str, *, se: float = 0.0, with_error: bool = False) -> str:
    """Return an amount of money: "£340", "−CHF 1,200"; cents only below 20, and where digits are known to count."""
    value, se = _parted(amount, se)
    # Two digits of an amount such as 7.7 would show tenths, which no money has.
    whole = not math.isfinite(se) and 1.0 <= abs(value) < 10.0
    most = 0 if abs(value) >= 20 or value == 0 else 2
    text = number(value, se=0.0 if whole else se, most_decimals=0 if whole else most)
    sign, digits = (MINUS + JOINER, text[1:]) if text.startswith(MINUS) else ("", text)
    symbol = CURRENCY_SIGNS.get(currency)
    in_front = f"{sign}{symbol}{digits}" if symbol else f"{sign}{currency}{NO_BREAK}{digits}"
    if with_error and language_now() != ENGLISH:
        digits += error(se, most_decimals=most)
    behind = with_currency(digits, symbol or currency)
    if behind is not None:
        return sign + behind
    return in_front + error(se, most_decimals=most) if with_error else in_front


def percent(share: Figure | float, *, se: float = 0.0, with_error: bool = False) -> str:
    """Return a share in per cent: whole numbers, one decimal within 1 % of either end if the error supports it.

    A share that is not quite 0 or 1 is never shown as 0 % or 100 %: "<1 %" and ">99 %" are.
    """
    value, se = _parted(share, se)
    most = 1 if min(value, 1 - value) < 0.01 else 0
    text = number(100 * value, se=100 * se, most_decimals=most)
    if text in {"0", f"0{separators()[1]}0"}:
        text = "0" if value <= 0 else "<1"
    elif text in {"100", f"100{separators()[1]}0"}:
        text = "100" if value >= 1 else ">99"
    return f"{text}{NARROW_SPACE}%{error(100 * se, most_decimals=most) if with_error else ''}"


def years(figure: Figure, *, horizon: int, with_error: bool = False) -> str:
    """Return a payback time such as "9.4 years", or "not within 15 years" where the quantile is not reached."""
    if figure["value"] is None:
        return not_within(horizon)
    se = error_of(figure)
    text = number(figure["value"], se=se, most_decimals=1)
    said = error(se, most_decimals=1) if with_error else ""
    return f"{text}{said}{NO_BREAK}{translated('year' if text == '1' else 'years')}"


def in_years(text: str) -> str:
    """Return a number that is written already with its unit: "1 year", "9.1 years"."""
    return f"{text}{NO_BREAK}{translated('year' if text == '1' else 'years')}"


def not_within(horizon: int) -> str:
    """Return what is said of a payback that does not come."""
    return counted("not within {count} year", "not within {count} years", horizon).replace(
        f"{horizon} ", f"{horizon}{NO_BREAK}"
    )


def years_range(figure: Figure, *, horizon: int) -> str:
    """Return the 95 % interval of a payback time, "" where it is not known: either end may be beyond the horizon."""
    ends = figure.get("interval_95")
    if not ends or ends[0] is None:
        return ""
    low = number(ends[0], most_decimals=1)
    if ends[1] is None:
        return say("from {low} years to {beyond}", low=low, beyond=not_within(horizon))
    return say("from {low} to {high} years", low=low, high=number(ends[1], most_decimals=1))


def whole_years(count: int) -> str:
    """Return "1 year" or "15 years"."""
    return f"{count}{NO_BREAK}{translated('year' if count == 1 else 'years')}"


def energy(amount: Figure | float, *, se: float = 0.0, with_error: bool = False) -> str:
    """Return an amount of energy in kWh, one decimal below 10."""
    value, se = _parted(amount, se)
    text = number(value, se=se, most_decimals=1 if abs(value) < 10 else 0)
    return f"{text}{NO_BREAK}kWh{error(se) if with_error else ''}"


def with_unit(value: float, unit: str) -> str:
    """Return an input's value with its unit, three significant digits; a share in per cent."""
    text = significant(shown_unit(unit)[0] * value)
    said = shown_unit(unit_after(text, unit))[1]
    return f"{text}{NO_BREAK}{said}" if said else text


def unit_after(text: str, unit: str) -> str:
    """Return the unit as it stands after a figure: "year" after exactly 1."""
    return {"years": "year", "minutes": "minute"}.get(unit, unit) if text == "1" else unit


def shown_unit(unit: str) -> tuple[float, str]:
    """Return the factor and the unit in which an input is shown: shares as per cent, rates as per cent a year."""
    return {"share": (100.0, "%"), "share/year": (100.0, translated("% a year"))}.get(unit, (1.0, told(unit)))


def in_unit(figure: Figure, unit: str, currency: str, *, with_error: bool = False) -> str:
    """Return a figure in any unit that a table or a break-even value may have."""
    if figure["value"] is None:
        return translated("none")
    if unit in ("money", currency):
        return money(figure, currency, with_error=with_error)
    if unit == "share":
        return percent(figure, with_error=with_error)
    if unit == "kWh":
        return energy(figure, with_error=with_error)
    factor, said = shown_unit(unit)
    value, se = factor * figure["value"], factor * error_of(figure)
    if not se > 0.0:
        return with_unit(figure["value"], unit)
    decimals = max(0, supported_decimals(value, se))
    text = number(value, se=se, most_decimals=decimals) + (error(se, most_decimals=decimals) if with_error else "")
    return f"{text}{NO_BREAK}{said}" if said else text


def frequency(share: Figure, draws: int) -> str:
    """Return a share as a frequency of futures: "about 7 in 10 futures", "all but about 1 in 40 futures".

    Exactly none and exactly all name the number of draws, because neither is more than those draws can tell.
    """
    value = value_of(share)
    if value <= 0:
        return say("none of {draws} futures", draws=grouped(draws))
    if value >= 1:
        return say("all {draws} futures", draws=grouped(draws))
    if value < 0.095:
        return say("about 1\u00a0in\u00a0{many} futures", many=_one_in(value))
    if value > 0.905:
        return say("all but about 1\u00a0in\u00a0{many} futures", many=_one_in(1 - value))
    above, below = min(FRACTIONS, key=lambda pair: abs(value - pair[0] / pair[1]))
    if below == 2:
        return say("about half of all futures")
    return say("about {n}\u00a0in\u00a0{many} futures", n=above, many=below)


def capital(text: str) -> str:
    """Return the text with a capital at its head, its other letters as they are."""
    return text[:1].upper() + text[1:]


def lower(text: str) -> str:
    """Return the text with a small letter at its head; in German only where it begins with no noun."""
    keeps = language_now() == "de" and not text.startswith(NO_NOUNS)
    return text if keeps else text[:1].lower() + text[1:]


def short(label: str) -> str:
    """Return what stands before a colon or semicolon, with a capital, cut at a word where it is still too long.

    A name in brackets at the end, which tells two labels of the same words apart, is kept.
    """
    said, bracket, name = capital(label).partition(" (")
    tail = bracket + name if name.endswith(")") else ""
    head = re.split("[:;] ", said if tail else said + bracket + name, maxsplit=1)[0]
    room = LONGEST - len(tail)
    if len(head) > room:
        head = head[: room - 1].rsplit(" ", 1)[0].rstrip(" ,") + "…"
    return head + tail


def joined(names: Sequence[str]) -> str:
    """Return names that hold together: "a and b", "a, b and c"."""
    return names[0] if len(names) == 1 else say("{first} and {last}", first=", ".join(names[:-1]), last=names[-1])


def money_form(currency: str) -> str:
    """Return how the scripts of a page write an amount: "£{digits}", "{digits} €"."""
    return money(1.0, currency, se=UNKNOWN).replace("1", "{digits}")


def listed(names: Sequence[str]) -> str:
    """Return names as a choice: "a or b", "a, b or c"."""
    return names[0] if len(names) == 1 else say("{first} or {last}", first=", ".join(names[:-1]), last=names[-1])


def _parted(amount: Figure | float, se: float) -> tuple[float, float]:
    return (value_of(amount), error_of(amount)) if isinstance(amount, Mapping) else (float(amount), se)


def _one_in(share: float) -> str:
    """Return the N of "1 in N" as a round number, the nearest by ratio: 10, 12, 15, 20, 25, 30, 40 ... 100, 120 ..."""
    whole = 1 / share
    decade = 10 ** math.floor(math.log10(whole))
    nearest = min((step * decade for step in ROUND_STEPS), key=lambda number: abs(math.log(number / whole)))
    return grouped(round(nearest))


def _decade(magnitude: float) -> int:
    return math.floor(math.log10(magnitude))
