"""The text of a first scenario: tables from the answers, each key with its meaning beside it."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from typing import Any

from riskcalc.language import ENGLISH
from riskcalc.scenario.fields import declared_at
from riskcalc.scenario.new.questions import USUAL, Answers
from riskcalc.scenario.new.shelf import PRICE_KEYS, SHELF_CURRENCY, Kit, middle_of
from riskcalc.scenario.prices import HISTORY_OF_CURRENCY
from riskcalc.scenario.schema import Scenario, unit_of

SCHEMA_FILE = "scenario.schema.json"
#: Longest line that still has its comment beside it.
LONGEST = 116
OURS = "our own choice to begin with"
ANSWER = "answer given when this file was made"
#: Share of the capacity to fill at the cheap rate, month by month, where modules fill the rest; northern half of the
#: world, our own choice: what a search (target_share = "optimise") found for a balcony with a 2 kWh unit, rounded.
NIGHT_TARGETS = (1, 1, 0.7, 0.6, 0.5, 0.5, 0.6, 0.6, 0.6, 0.8, 1, 1)

HEAD = """\
#:schema ./{schema}
# {title}
# Made by `riskcalc new`. The figures behind "our own choice" are a start, and the kit is invented: put your own in.
# Any number may be uncertain: {{ distribution = "triangular", low = 1, mode = 2, high = 4, source = "where from" }}
#   riskcalc check {file}     reads it and works out the electrical fit
#   riskcalc assess {file}    plays its futures and writes the report
"""
FOOT = """\

# Statements to hold against the futures; take the # away to have one checked.
# [[claims]]
# sentence = "pays for itself within five years"
# measure = "payback_years"
# at_most = 5
"""


def scenario_text(answers: Answers, *, file: str) -> str:
    """Return a scenario file that runs and stands on its own; every answer is marked as one.

    Parameters
    ----------
    answers
        A value for each question that applies, by its name.
    file
        Path of the file, for the commands in its head.
    """
    tables = scenario_tables(answers)
    head = HEAD.format(schema=SCHEMA_FILE, title=tables["title"], file=file)
    return head + "\n" + "\n".join(toml_lines(tables)) + "\n" + FOOT


def scenario_tables(answers: Answers) -> dict[str, Any]:
    """Return the tables of the scenario as TOML holds them."""
    kit, place = answers["kit"], answers["place"]
    whole_kit = {**kit.tables["kit"]}
    tables: dict[str, Any] = {
        "title": f"{'Rented' if answers['tenure'] == 'rent' else 'Own'} home with {_lower(kit.name)}",
        "currency": answers["currency"],
        "site": {
            "place": "" if place.file else place.region.replace("_", " ").capitalize(),
            "zone": answers["zone"],
            "resource_factor": _normal(1.0, 0.04, 0.85, 1.15, f"a single site against its weather source: {OURS}"),
            "weather": _weather(place),
        },
        "home": _home(answers, kit),
        "tariff": _tariff(answers),
        "prices": _prices(answers, kit),
        "kit": whole_kit,
        "purchase": {},
    }
    if answers.get("pv"):
        tables["site"]["measured_pv"] = {"file": answers["pv"], "peak_w": answers["pv_peak"]}
    tables["purchase"] = _purchase(answers, kit)
    if "on_mains" in answers:
        whole_kit["runs_from_battery_on_mains"] = answers["on_mains"]
    if kit.has_modules:
        surface = _surface_name(answers)
        whole_kit["arrays"] = {name: {**array, "surface": surface} for name, array in whole_kit["arrays"].items()}
    if answers.get("tariff") == "two-rate" and kit.charges_from_supply:
        tables["dispatch"] = _dispatch(answers, kit)
    tables["tenure"] = _tenure(answers)
    if answers.get("outages"):
        tables["outages"] = _outages(answers)
    tables["study"] = {"horizon_years": 15}
    if answers["language"] != ENGLISH:
        tables["study"]["language"] = answers["language"]
    return tables


def _purchase(answers: Answers, kit: Kit) -> dict[str, Any]:
    """Return the purchase: the shelf's where the answer is the shelf's price, else the answer as the whole price.

    Other prices of a shelf in another currency, such as that of a new battery, go in proportion to the answer.
    """
    purchase = {**kit.tables.get("purchase", {})}
    is_foreign = kit.currency not in ("", answers["currency"])
    if is_foreign or answers["cost"] != kit.usual_price:
        factor = answers["cost"] / kit.usual_price if is_foreign and kit.usual_price else 1.0
        for name, figure in purchase.items():
            if is_foreign and "{money}" in unit_of(f"purchase.{name}", "{money}"):
                source = f"in proportion to the price given: {OURS}"
                purchase[name] = {"value": _tidy(middle_of(figure) * factor), "source": source}
        purchase = {name: figure for name, figure in purchase.items() if name not in PRICE_KEYS}
        purchase = {"price": {"value": answers["cost"], "source": f"{ANSWER}: all included"}, **purchase}
    if answers.get("loan"):
        purchase["loan"] = {
            "financed_share": answers["loan"],
            "rate_per_year": answers["loan_rate"],
            "term_years": answers["loan_years"],
        }
    return purchase


def _outages(answers: Answers) -> dict[str, Any]:
    outages = {"per_year": answers["outages"], "hours_each": answers["outage_hours"]}
    outages["value_per_hour"] = {"value": answers["outage_worth"], "source": ANSWER}
    return outages | ({"kit_bridges": answers["bridges"]} if "bridges" in answers else {})


def _weather(place: Any) -> dict[str, Any]:
    if place.region:
        return {"source": "climate", "region": place.region}
    source = "epw" if place.file.lower().endswith(".epw") else "csv" if place.has_head else "tmy3"
    return {"source": source, "file": place.file}


def _home(answers: Answers, kit: Kit) -> dict[str, Any]:
    plugged = answers.get("plugged", ())
    if not kit.traits.on_grid:
        appliances = dict.fromkeys(plugged, "unit")
    else:
        appliances = {name: "unit" if name in plugged else "elsewhere" for name in dict.fromkeys((*plugged, *USUAL))}
    home: dict[str, Any] = {
        "supply": "grid" if kit.traits.on_grid else "none",
        "occupants": 2,
        "weekday_home_share": _uniform(0.2, 0.7, OURS),
        "moved_share": _uniform(0.0, 0.5, OURS),
        "moved_to": "sun" if kit.has_modules else "cheap",
    }
    if answers.get("meter"):
        home["demand"] = {"source": "meter", "file": answers["meter"]}
        if "reach" in answers:
            reach = answers["reach"]
            source = f"{ANSWER}; 30 % either way: {OURS}"
            home["demand"]["reachable_share"] = _triangular(0.7 * reach, reach, min(1.3 * reach, 1.0), source)
    else:
        use = answers["use"]
        home["annual_use_kwh"] = _triangular(0.85 * use, use, 1.15 * use, f"{ANSWER}; 15 % either way: {OURS}")
        home["appliances"] = appliances
    if kit.has_modules:
        facing = answers["facing"]
        tilt, mounting = {"roof": (35, "roof"), "balcony": (75, "rail")}.get(_surface_name(answers), (30, "open"))
        home["surfaces"] = {
            _surface_name(answers): {
                "tilt_deg": tilt,
                "azimuth_deg": _uniform(facing - 10, facing + 10, f"{ANSWER}; 10 degrees either way: {OURS}"),
                "shading": {"distribution": "pert", "low": 0.0, "mode": 0.1, "high": 0.3, "source": OURS},
                "mounting": mounting,
            }
        }
    return home


def _surface_name(answers: Answers) -> str:
    if answers["kit"].traits.fixed:
        return "roof"
    return "balcony" if answers["tenure"] == "rent" and answers["kit"].traits.on_grid else "garden"


def _tariff(answers: Answers) -> dict[str, Any]:
    if not answers["kit"].traits.on_grid:
        return {"rates": {"otherwise": {"import_price_per_kwh": _spread(answers["price"], 0.3)}}}
    tariff: dict[str, Any] = {}
    if answers["currency"] == SHELF_CURRENCY:
        tariff["standing_charge_per_day"] = {"value": 0.5, "source": OURS}
    if answers.get("export_price") is not None:
        tariff["export_price_per_kwh"] = _spread(answers["export_price"], 0.3)
    if answers["tariff"] == "flat":
        tariff["rates"] = {"all_day": {"import_price_per_kwh": _spread(answers["price"], 0.05)}}
    else:
        night = {"import_price_per_kwh": _spread(answers["night_price"], 0.1), "windows": [answers["night"]]}
        tariff["rates"] = {"night": night, "day": {"import_price_per_kwh": _spread(answers["price"], 0.05)}}
    return tariff


def _prices(answers: Answers, kit: Kit) -> dict[str, Any]:
    history = HISTORY_OF_CURRENCY.get(answers["currency"]) if kit.traits.on_grid else None
    return ({} if history is None else {"history": history}) | {
        "discount_rate_per_year": _triangular(0.03, 0.042, 0.06, f"savings account to small loan: {OURS}"),
        "trend_per_year": _normal(0.025, 0.012, -0.015, 0.065, OURS),
        "inflation_per_year": _normal(0.022, 0.006, 0.0, 0.045, OURS),
    }


def _dispatch(answers: Answers, kit: Kit) -> dict[str, Any]:
    if not kit.has_modules:
        return {"charge_at": ["night"], "off_hours": [answers["night"]]}
    return {"charge_at": ["night"], "target_share": list(NIGHT_TARGETS) if answers["place"].region else 0.5}


def _tenure(answers: Answers) -> dict[str, Any]:
    if answers["stay"] is None:
        return {"kind": answers["tenure"]}
    stay = {"distribution": "lognormal", "median": answers["stay"], "sigma": 0.6, "maximum": 60}
    return {
        "kind": answers["tenure"],
        "stay_years": {**stay, "source": f"{ANSWER}; its spread: {OURS}"},
        "at_move": "leave" if answers["kit"].traits.fixed else "take",
    }


def _spread(middle: float, share: float) -> dict[str, Any] | float:
    """Return a price with a spread around the answer; free is free."""
    if middle == 0:
        return 0.0
    source = f"{ANSWER}; {100 * share:.0f} % either way: {OURS}"
    low, high = sorted((middle * (1 - share), middle * (1 + share)))
    return _triangular(low, middle, high, source)


def _triangular(low: float, mode: float, high: float, source: str) -> dict[str, Any]:
    return {"distribution": "triangular", "low": _tidy(low), "mode": _tidy(mode), "high": _tidy(high), "source": source}


def _uniform(low: float, high: float, source: str) -> dict[str, Any]:
    return {"distribution": "uniform", "low": _tidy(low), "high": _tidy(high), "source": source}


def _normal(mean: float, sd: float, low: float, high: float, source: str) -> dict[str, Any]:
    return {"distribution": "normal", "mean": mean, "sd": sd, "minimum": low, "maximum": high, "source": source}


def _tidy(value: float) -> float:
    return float(f"{value:.6g}")


def _lower(name: str) -> str:
    return "the " + name[:1].lower() + name[1:]


def toml_lines(tables: Mapping[str, Any], at: tuple[str, ...] = ()) -> Iterator[str]:
    """Yield the lines of a TOML document: keys first, then the tables below; meanings from the schema beside them."""
    for key, value in tables.items():
        if not _is_table(value):
            yield from _commented(f"{_key(key)} = {toml_value(value)}", _meaning((*at, key)))
    for key, value in tables.items():
        if _is_table(value):
            path = (*at, key)
            if any(not _is_table(item) for item in value.values()):
                yield ""
                yield from _commented(f"[{'.'.join(_key(part) for part in path)}]", _table_meaning(path))
            yield from toml_lines(value, path)


def _is_table(value: object) -> bool:
    return isinstance(value, dict) and not any(key in value for key in ("distribution", "value"))


def _commented(line: str, meaning: str) -> Iterator[str]:
    if not meaning:
        yield line
    elif len(line) + len(meaning) + 4 <= LONGEST:
        yield f"{line}  # {meaning}"
    else:
        yield f"# {meaning}"
        yield line


def _meaning(path: tuple[str, ...]) -> str:
    """Return what a key means: its title and its help."""
    if path[:2] == ("home", "appliances") or path == ("title",):
        return ""
    _, field = declared_at(Scenario, path)
    if field is None:
        return ""
    title, about = field.title or "", field.description or ""
    if about.lower().startswith(title.lower().split()[0]):
        return about[:1].upper() + about[1:]
    return f"{title}: {about}"


def _table_meaning(path: tuple[str, ...]) -> str:
    _, field = declared_at(Scenario, path)
    if path == ("home", "appliances"):
        return '"unit": plugged into the unit; "elsewhere": out of its reach'
    return field.description or "" if field is not None and len(path) == 1 else ""


def _key(name: str) -> str:
    return name if name.replace("_", "").replace("-", "").isalnum() and name.isascii() else json.dumps(name)


def toml_value(value: object) -> str:
    """Return a value as TOML writes it: a number, a text, a list, or a table within braces."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, float):
        return f"{value:g}" if float(f"{value:g}") == value else repr(value)
    if isinstance(value, list | tuple):
        return "[" + ", ".join(toml_value(item) for item in value) + "]"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{_key(key)} = {toml_value(item)}" for key, item in value.items()) + " }"
    return str(value)
