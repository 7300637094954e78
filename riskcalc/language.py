"""The language of the reader: the one place that knows Babel and the catalogues.

Every sentence of ours passes `figures.say` or `figures.counted`, which ask here. What comes out of a result in English
(names of inputs, limits, questions) passes `told`, which knows it by its message. English needs no catalogue and is
written exactly as the sources say. Numbers, currencies, months and weekdays follow the locale (Unicode CLDR).
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache
from gettext import GNUTranslations
from importlib.resources import files
from string import Formatter
from typing import Any

ENGLISH = "en"
#: Languages with a complete catalogue; a test holds each against the sources.
LANGUAGES = (ENGLISH, "de")
#: Fields of a result that hold words of ours, which `spoken` brings into the reader's language.
FIELDS = {
    *(
        "advice",
        "demand",
        "effect",
        "family",
        "given",
        "label",
        "limits",
        "measure_in_words",
        "method",
        "note",
        "notes",
    ),
    *("of", "reason", "says", "size", "source", "statement", "usual", "weather", "what"),
}
#: Context of the messages that a result brings along, in the catalogue.
OF_RESULT = "result"
_NOW: ContextVar[str] = ContextVar("language", default=ENGLISH)
_NUMBERS_ALONE = re.compile(r"[-−+0-9.,;:% ]+")
_PART = re.compile(r"\\{(\w+)\\}")
#: What a part of such a name in a message of a result may hold; any other part holds any text.
_HOLDS = {
    **dict.fromkeys(
        ("count", "degrees", "draws", "high", "limit", "line", "low", "mean", "mode", "number", "sd", "share", "value"),
        "[-−+]?[0-9][0-9.,]*(?: ?%)?",
    ),
    "years": "[0-9]+",
    "rate": "[a-z0-9_-]+",
    **dict.fromkeys(("first_month", "last_month"), "[A-Z][a-z]+"),
    "spread": "(?:[-−0-9]|PERT|triangular|uniform|normal|lognormal|beta).*",
    "unit": "(?:[A-Z]{3}|share|1|kWh)(?:/[a-zA-Z]+)?|W|V|A|h|m|°C?|years|months|minutes",
}
_TAIL = re.compile(r"(.+) \(([^()]+)\)")


@contextmanager
def speaking(language: str | None) -> Iterator[None]:
    """Say everything within the block in a language; None leaves it as it is."""
    before = _NOW.set(language or _NOW.get())
    try:
        yield
    finally:
        _NOW.reset(before)


def language_now() -> str:
    """Return the language that is spoken."""
    return _NOW.get()


def language_of(currency: str, zone: str) -> str:
    """Return the first official language of the country of a time zone that pays with a currency, if we speak it."""
    from babel.core import get_global
    from babel.languages import get_official_languages
    from babel.numbers import get_territory_currencies

    country = get_global("zone_territories").get(zone)
    if country is None or currency not in get_territory_currencies(country):
        return ENGLISH
    official = get_official_languages(country, de_facto=True)
    return next((language for language in official[:1] if language in LANGUAGES), ENGLISH)


def translated(message: str) -> str:
    """Return a message in the language spoken; a text that is none of ours comes back as it is."""
    language = _NOW.get()
    return message if language == ENGLISH or not message else _catalogue(language).gettext(message)


def translated_count(one: str, many: str, count: int) -> str:
    """Return the message for a count by the plural rule of the language."""
    language = _NOW.get()
    if language == ENGLISH:
        return one if count == 1 else many
    return _catalogue(language).ngettext(one, many, count)


def filled(message: str, **parts: object) -> str:
    """Return a message with its parts filled in; a translation may ask for the case of a part: "{years:dative}"."""
    return message.format(**parts) if _NOW.get() == ENGLISH else _FORMATTER.vformat(message, (), parts)


def told(text: str) -> str:
    """Return a text of a result in the language spoken, its numbers too; what the catalogue does not know stays."""
    language = _NOW.get()
    if language == ENGLISH or not text:
        return text
    return _told(language, text)


def spoken(figures: Any) -> Any:
    """Return a result with its words in the language spoken; numbers, names and keys stay as they are."""
    return figures if _NOW.get() == ENGLISH else _spoken(figures, is_text=False)


def separators() -> tuple[str, str]:
    """Return what stands between groups of thousands, and before the decimals."""
    language = _NOW.get()
    return (",", ".") if language == ENGLISH else _separators(language)


def with_currency(digits: str, sign: str) -> str | None:
    """Return an amount with its sign where the language puts it; None in English, which puts it in front."""
    language = _NOW.get()
    return (
        None
        if language == ENGLISH
        else _locale(language)
        .currency_formats["standard"]
        .pattern.split(";")[0]
        .replace("#,##0.00", digits)
        .replace("¤", sign)
    )


def months() -> tuple[str, ...]:
    """Return the short names of the twelve months."""
    names = _locale(_NOW.get()).months["stand-alone"]["abbreviated"]
    return tuple(names[month] for month in range(1, 13))


def weekdays() -> tuple[str, ...]:
    """Return the short names of the days, Monday first."""
    names = _locale(_NOW.get()).days["stand-alone"]["abbreviated"]
    return tuple(names[day].rstrip(".") for day in range(7))


def drawing_locale() -> dict[str, Any] | None:
    """Return how the drawings write numbers, as d3-format asks for it; None for English, its own way."""
    if _NOW.get() == ENGLISH:
        return None
    group, decimal = separators()
    return {
        "decimal": decimal,
        "thousands": group,
        "grouping": [3],
        "currency": ["", "\u00a0€"],
        "percent": "\u00a0%",
        "minus": "\u2212",
    }


def day_in_words(text: str, year: int) -> str:
    """Return a day such as "Monday 14 July" of a year as the language writes it."""
    return (
        text
        if _NOW.get() == ENGLISH
        else _dated(
            f"{text} {year}", "%A %d %B %Y", re.sub(r"[ ,]*y+", "", _locale(_NOW.get()).date_formats["full"].pattern)
        )
    )


def month_in_words(text: str) -> str:
    """Return a month such as "2026-04" as the language writes it."""
    return _dated(text, "%Y-%m", "MMMM y")


class _Cases(Formatter):
    """Fills in parts; the case named behind a colon bends the unit of time at their end."""

    def format_field(self, value: Any, format_spec: str) -> Any:
        if format_spec == "dative":
            return re.sub(r"\b(Jahr|Monat|Tag|Haushalt)e\b", r"\1en", str(value))
        return super().format_field(value, format_spec)


_FORMATTER = _Cases()


@cache
def _locale(language: str) -> Any:
    from babel import Locale

    return Locale.parse(language)


@cache
def _separators(language: str) -> tuple[str, str]:
    from babel.numbers import get_decimal_symbol, get_group_symbol

    return get_group_symbol(language), get_decimal_symbol(language)


@cache
def _messages(language: str) -> Any:
    from babel.messages.pofile import read_po

    path = files("riskcalc").joinpath("locale", language, "LC_MESSAGES", "riskcalc.po")
    with path.open("rb") as file:
        return read_po(file, locale=language)


@cache
def _catalogue(language: str) -> GNUTranslations:
    from babel.messages.mofile import write_mo

    compiled = io.BytesIO()
    write_mo(compiled, _messages(language))
    compiled.seek(0)
    return GNUTranslations(compiled)


@cache
def _patterns(language: str) -> list[tuple[re.Pattern[str], str]]:
    """Return the messages of results that have parts, as patterns, the longest first: the most exact one wins."""
    known = [row for row in _messages(language) if row.context == OF_RESULT and "{" in str(row.id)]
    known.sort(key=lambda row: -len(_PART.sub("", re.escape(row.id))))

    def part(name: re.Match[str]) -> str:
        return f"(?P<{name[1]}>{_HOLDS.get(name[1], '.+?')})"

    return [(re.compile(_PART.sub(part, re.escape(row.id)), re.DOTALL), row.string) for row in known]


def _dated(text: str, read: str, written: str) -> str:
    from datetime import datetime

    from babel.dates import format_date

    return format_date(datetime.strptime(text, read).date(), written, locale=_NOW.get())


def _spoken(piece: Any, *, is_text: bool) -> Any:
    if isinstance(piece, str):
        return told(piece) if is_text else piece
    if isinstance(piece, Mapping):
        return {
            key: _told_all(inner) if key == "understood" else _spoken(inner, is_text=key in FIELDS)
            for key, inner in piece.items()
        }
    if isinstance(piece, list | tuple) and piece and not isinstance(piece[0], int | float):
        return type(piece)(_spoken(inner, is_text=is_text) for inner in piece)
    return piece


def _told_all(files: Mapping[str, Mapping[str, str]]) -> dict[str, dict[str, str]]:
    """Return how each file was read, subject by subject."""
    return {file: {subject: told(said) for subject, said in read.items()} for file, read in files.items()}


def _told_part(language: str, name: str, text: str) -> str:
    """Return a part of a message; lists of appliances and of inputs are told one by one."""
    between = {"inside": ", ", "outside": ", ", "inputs": "; "}.get(name)
    listed = text.split(between) if between else [text]
    return (between or "").join(_told_name(language, each) for each in listed)


def _told_name(language: str, text: str) -> str:
    """Return a name that may have lost its capital within an English sentence."""
    said = _told(language, text)
    upper = text[:1].upper() + text[1:]
    known = _told(language, upper)
    return known if said == text and known != upper else said


def _told(language: str, text: str) -> str:
    catalogue = _catalogue(language)
    whole = catalogue.pgettext(OF_RESULT, text)
    if whole != text:
        return whole
    if (whole := catalogue.gettext(text)) != text:
        return whole
    tail = _TAIL.fullmatch(text)
    if tail and (head := catalogue.pgettext(OF_RESULT, tail[1])) != tail[1]:
        return f"{head} ({_told(language, tail[2])})"
    for pattern, message in _patterns(language):
        if found := pattern.fullmatch(text):
            parts = found.groupdict()
            said = {name: _told_part(language, name, part) for name, part in parts.items()}
            # "This and that" is ours only where both are names of ours.
            if "second" not in parts or not any(said[name] == part for name, part in parts.items()):
                return message.format(**said)
    if not _NUMBERS_ALONE.fullmatch(text):
        return text
    group, decimal = _separators(language)
    return (
        text.replace(", ", "; ")
        .translate(str.maketrans(",.", group + decimal))
        .replace(" %", "%")
        .replace("%", "\u202f%")
    )
