"""Texts of a scenario that must have a form: names, zones, currencies, windows of the day, days of the year."""

from __future__ import annotations

import re
from typing import Annotated, Any

from pydantic import BeforeValidator, WithJsonSchema

from riskcalc.output import clean_text
from riskcalc.scenario.complaints import Complaint, did_you_mean, refusal, refuse, shown

_ACTIVE = """
AED AFN ALL AMD AOA ARS AUD AWG AZN BAM BBD BDT BGN BHD BIF BMD BND BOB BRL BSD BTN BWP BYN BZD CAD CDF CHF CLP CNY COP
CRC CUP CVE CZK DJF DKK DOP DZD EGP ERN ETB EUR FJD FKP GBP GEL GHS GIP GMD GNF GTQ GYD HKD HNL HTG HUF IDR ILS INR IQD
IRR ISK JMD JOD JPY KES KGS KHR KMF KPW KRW KWD KYD KZT LAK LBP LKR LRD LSL LYD MAD MDL MGA MKD MMK MNT MOP MRU MUR MVR
MWK MXN MYR MZN NAD NGN NIO NOK NPR NZD OMR PAB PEN PGK PHP PKR PLN PYG QAR RON RSD RUB RWF SAR SBD SCR SDG SEK SGD SHP
SLE SOS SRD SSP STN SVC SYP SZL THB TJS TMT TND TOP TRY TTD TWD TZS UAH UGX USD UYU UZS VED VES VND VUV WST XAF XCD XCG
XOF XPF YER ZAR ZMW ZWG
"""
_STRONG = "AUD BHD CAD CHF EUR GBP KWD NZD OMR SGD USD"

#: Active codes of ISO 4217 (list one, as of 2025, from memory), without funds and metals.
CURRENCIES = frozenset(_ACTIVE.split())
#: Currencies in which a kilowatt-hour costs well under one unit; 31 per kWh then means pence or cents.
STRONG_CURRENCIES = frozenset(_STRONG.split())
#: Signs that people write instead of the code.
SIGNS = {"£": "GBP", "€": "EUR", "$": "USD", "¥": "JPY"}

LONGEST_TEXT = 4000
MOST_ENTRIES = 100
MOST_WINDOWS = 48
_ENTRY_NAME = re.compile(r"[^\W_][\w-]{0,39}")
_MONTH_DAY = re.compile(r"(\d{2})-(\d{2})")
_MONTH_LENGTHS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
_NOT_IN_NAMES = '/\\:*?"<>|'


def _text(raw: object) -> str:
    if not isinstance(raw, str) or len(raw) > LONGEST_TEXT:
        raise refuse(raw, f"a text in quotes, at most {LONGEST_TEXT} characters")
    return clean_text(raw)


def _scenario_name(raw: object) -> str:
    accepted = f"1 to 80 characters, no dot at the start, none of {_NOT_IN_NAMES}: it names the report's folder"
    if not isinstance(raw, str) or not 1 <= len(raw.strip()) <= 80 or raw.strip() != raw:
        raise refuse(raw, accepted)
    if raw.startswith(".") or not raw.isprintable() or any(char in _NOT_IN_NAMES for char in raw):
        raise refuse(raw, accepted)
    return raw


def _currency(raw: object) -> str:
    accepted = "a currency code of ISO 4217 such as GBP, EUR or USD"
    if isinstance(raw, str) and raw in CURRENCIES:
        return raw
    hint = ""
    if isinstance(raw, str):
        upper = raw.strip().upper()
        hint = (
            f'write "{SIGNS.get(upper, upper)}"'
            if upper in SIGNS or upper in CURRENCIES
            else did_you_mean(raw, CURRENCIES)
        )
    raise refuse(raw, accepted, hint)


def _zone(raw: object) -> str:
    from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

    accepted = "a time zone of the IANA database such as Europe/London"
    if not isinstance(raw, str):
        raise refuse(raw, accepted)
    try:
        ZoneInfo(raw)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        places = [zone for zone in available_timezones() if "/" in zone and not zone.startswith("Etc")]
        raise refuse(raw, accepted, did_you_mean(raw, places)) from error
    return raw


def _windows(raw: object) -> tuple[str, ...]:
    from riskcalc.errors import InputError
    from riskcalc.tariff import WINDOW_FORM, window_minutes

    if isinstance(raw, str):
        raise refuse(raw, f"a list: each {WINDOW_FORM}", f"write [{shown(raw)}]")
    if not isinstance(raw, list | tuple) or not 1 <= len(raw) <= MOST_WINDOWS:
        raise refuse(raw, f"a list of 1 to {MOST_WINDOWS}, each {WINDOW_FORM}")
    complaints = []
    for place, window in enumerate(raw):
        try:
            window_minutes(window)
        except InputError as error:
            problem = error.problems[0]
            complaints.append(Complaint((place,), shown(window), problem.accepted, problem.hint))
    if complaints:
        raise refusal(complaints)
    return tuple(raw)


def _month_day(raw: object) -> str:
    accepted = 'a day of the year as "MM-DD", such as "03-15"'
    match = _MONTH_DAY.fullmatch(raw) if isinstance(raw, str) else None
    if match is None:
        raise refuse(raw, accepted)
    month, day = int(match[1]), int(match[2])
    if not (1 <= month <= 12 and 1 <= day <= _MONTH_LENGTHS[month - 1]):
        raise refuse(raw, accepted, "29 February is never simulated" if (month, day) == (2, 29) else "")
    return raw  # type: ignore[return-value]


def _days(raw: object) -> str | tuple[str, ...]:
    from riskcalc.tariff import DAY_GROUPS, DAYS_FORM, WEEKDAY_NAMES

    if isinstance(raw, str):
        if raw in DAY_GROUPS:
            return raw
        raise refuse(raw, DAYS_FORM, f'write ["{raw}"]' if raw in WEEKDAY_NAMES else did_you_mean(raw, DAY_GROUPS))
    if not isinstance(raw, list | tuple) or not raw:
        raise refuse(raw, DAYS_FORM)
    for day in raw:
        if day not in WEEKDAY_NAMES:
            raise refuse(day, DAYS_FORM, did_you_mean(day, WEEKDAY_NAMES) if isinstance(day, str) else "")
    return tuple(raw)


def _months(raw: object) -> tuple[int, ...]:
    accepted = "a list of month numbers, 1 to 12, such as [12, 1, 2]"
    if not isinstance(raw, list | tuple) or not raw:
        raise refuse(raw, accepted)
    for month in raw:
        if isinstance(month, bool) or not isinstance(month, int) or not 1 <= month <= 12:
            raise refuse(month, accepted)
    return tuple(raw)


def _named_entries(raw: object) -> object:
    """Refuse names of rates, surfaces, arrays and inputs that could not stand in a dotted key."""
    if not isinstance(raw, dict):
        raise refuse(raw, "a table of named entries")
    if len(raw) > MOST_ENTRIES:
        raise refuse(f"{len(raw)} entries", f"at most {MOST_ENTRIES} entries")
    accepted = "a name of letters, digits, - and _, starting with a letter or digit, at most 40 characters"
    wrong = [name for name in raw if not (isinstance(name, str) and _ENTRY_NAME.fullmatch(name))]
    if wrong:
        raise refusal([Complaint((), f"the name {shown(name)}", accepted) for name in wrong])
    return raw


def _list_of_text(raw: object) -> tuple[str, ...]:
    if not isinstance(raw, list | tuple) or any(not isinstance(item, str) for item in raw):
        raise refuse(raw, 'a list of names, such as ["night"]', f"write [{shown(raw)}]" if isinstance(raw, str) else "")
    return tuple(raw)


def _schema(**parts: Any) -> WithJsonSchema:
    return WithJsonSchema(parts)


_WINDOW_SCHEMA = {"type": "string", "pattern": r"^\s*\d{1,2}:\d{2}\s*-\s*\d{1,2}:\d{2}\s*$"}
_DAY_NAMES = ["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"]
_DAYS_SCHEMA = [
    {"enum": ["all", "weekdays", "weekends"]},
    {"type": "array", "items": {"enum": _DAY_NAMES}, "minItems": 1},
]

Text = Annotated[str, BeforeValidator(_text)]
ScenarioName = Annotated[str, BeforeValidator(_scenario_name)]
Currency = Annotated[str, BeforeValidator(_currency), _schema(enum=sorted(CURRENCIES))]
Zone = Annotated[str, BeforeValidator(_zone)]
Windows = Annotated[tuple[str, ...], BeforeValidator(_windows), _schema(type="array", items=_WINDOW_SCHEMA, minItems=1)]
MonthDay = Annotated[str, BeforeValidator(_month_day), _schema(type="string", pattern=r"^\d{2}-\d{2}$")]
Days = Annotated[str | tuple[str, ...], BeforeValidator(_days), _schema(anyOf=_DAYS_SCHEMA)]
Months = Annotated[
    tuple[int, ...],
    BeforeValidator(_months),
    _schema(type="array", items={"type": "integer", "minimum": 1, "maximum": 12}, minItems=1),
]
Names = Annotated[tuple[str, ...], BeforeValidator(_list_of_text)]
NamedEntries = BeforeValidator(_named_entries)
