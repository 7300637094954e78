"""What is asked to begin a scenario: each question with its words, its default and how the answer is read.

Every default is a start to be changed, not advice; prices have one in the currency of the shelf only.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from riskcalc.language import LANGUAGES, language_of
from riskcalc.scenario.new.readers import (
    as_declared,
    between,
    one_of,
    read_appliances,
    read_data_file,
    read_direction,
    read_place,
    read_stay,
    read_window,
    read_yes,
)
from riskcalc.scenario.new.shelf import SHELF_CURRENCY, Kit, kit_named, shelf_kits
from riskcalc.scenario.texts import Currency, Zone

Answers = Mapping[str, Any]
#: Appliances that most homes have, and those of them that a lead from a portable unit reaches; our own choice.
USUAL = (
    *("fridge_freezer", "television", "tv_receiver_box", "router_standby", "laptop", "phone_charger", "kettle"),
    *("toaster", "microwave", "personal_computer", "vacuum", "washing_machine", "oven", "hob", "lighting"),
    *("heating_pump", "other_always_on"),
)
PLUGGED = USUAL[:9]
#: What a small place without a supply has; our own choice.
OFF_GRID = ("refrigerator", "lighting", "laptop", "phone_charger", "television", "kettle")


@dataclass(frozen=True)
class Question:
    """One question.

    name : key of the answer; with hyphens also the option.
    words : the question.
    read : text -> value; raises ValueError with what is accepted.
    usual : answers so far -> the default as text; empty where an answer has to be given.
    applies : answers so far -> whether it is asked at all.
    only : when it is asked, for the message to someone who answers it at another time.
    told : whether it is asked aloud; False leaves it to the option and its default.
    notes : answers so far -> lines to show before it.
    missing : what to do where there is no default and no answer.
    """

    name: str
    words: str
    read: Callable[[str], Any]
    usual: Callable[[Answers], str]
    applies: Callable[[Answers], bool] = lambda _: True
    only: str = ""
    told: Callable[[Answers], bool] = lambda _: True
    notes: Callable[[Answers], Sequence[str]] = lambda _: ()
    missing: str = "the prices that come with riskcalc are not in {currency}: give your own"

    @property
    def option(self) -> str:
        """The option of the command line."""
        return "--" + self.name.replace("_", "-")


def _kit(answers: Answers) -> Kit:
    kit: Kit = answers["kit"]
    return kit


def _on_grid(answers: Answers) -> bool:
    return _kit(answers).traits.on_grid


def _two_rates(answers: Answers) -> bool:
    return answers.get("tariff") == "two-rate"


def _cut_off(answers: Answers) -> bool:
    return bool(answers.get("outages"))


def _borrows(answers: Answers) -> bool:
    return bool(answers.get("loan"))


def in_shelf_money(figure: float) -> Callable[[Answers], str]:
    """Return a default that holds in the currency of the shelf only; in another it has to be given."""
    return lambda answers: f"{figure:g}" if answers["currency"] == SHELF_CURRENCY else ""


def _usual_kit(answers: Answers) -> str:
    return "portable-2kwh-two-modules" if answers["tenure"] == "rent" else "rooftop-4kwp-5kwh"


def _usual_cost(answers: Answers) -> str:
    kit = _kit(answers)
    return f"{kit.usual_price:g}" if kit.currency in ("", answers["currency"]) and kit.usual_price else ""


def _kit_notes(_: Answers) -> list[str]:
    width = max(len(key) for key in shelf_kits())
    return ["Kits of the shelf:", *(f"  {key:<{width}}  {kit.name}" for key, kit in shelf_kits().items())]


def _plugged_notes(_: Answers) -> list[str]:
    return ["Others that can be named: " + ", ".join(name for name in USUAL if name not in PLUGGED)]


def _usual_plugged(answers: Answers) -> str:
    return ", ".join(PLUGGED if _on_grid(answers) else OFF_GRID)


MONEY = between(0, 1e8, "")
PER_KWH = between(0, 100_000, "per kWh")
SHARE = between(0, 1, "")
QUESTIONS = (
    Question(
        "place",
        "Place: a region (`riskcalc sites` lists them), latitude and longitude, or the path of a weather file",
        read_place,
        lambda _: "thames",
    ),
    Question(
        "zone",
        "Time zone of the clock on the wall",
        as_declared(Zone, "a time zone of the IANA database such as Europe/London"),
        lambda a: a["place"].zone,
        told=lambda a: bool(a["place"].file),
    ),
    Question(
        "currency",
        "Currency",
        as_declared(Currency, "a currency code of ISO 4217 such as GBP, EUR or USD"),
        lambda a: a["place"].currency,
        told=lambda a: bool(a["place"].file),
    ),
    Question(
        "language",
        "Language of the pages",
        one_of(*LANGUAGES),
        lambda a: language_of(a["currency"], a["zone"]),
        told=lambda _: False,
    ),
    Question("tenure", "Do you rent or own", one_of("rent", "own"), lambda _: "rent"),
    Question(
        "stay",
        'How many years you expect to stay, about, or "always"',
        read_stay,
        lambda a: "5" if a["tenure"] == "rent" else "always",
    ),
    Question(
        "kit", "Kit, or the path of a TOML file with [kit] and [purchase]", kit_named, _usual_kit, notes=_kit_notes
    ),
    Question("cost", "Whole price of the kit: modules, batteries and installation included", MONEY, _usual_cost),
    Question("loan", "Share of it that you borrow, 0 to 1", SHARE, lambda _: "0"),
    Question(
        "loan_rate",
        "Interest of the loan a year, such as 0.07",
        SHARE,
        lambda _: "0.07",
        _borrows,
        "with --loan above 0",
    ),
    Question(
        "loan_years",
        "Years until the loan is paid back",
        lambda text: int(between(1, 40, "years")(text)),
        lambda _: "5",
        _borrows,
        "with --loan above 0",
    ),
    Question(
        "on_mains",
        "Does the unit run its sockets from sun and battery while it is plugged in; many only pass the mains through: "
        "see the manual (yes or no)",
        read_yes,
        lambda a: "no" if _kit(a).tables["kit"].get("runs_from_battery_on_mains") is False else "yes",
        lambda a: _kit(a).traits.between_mains,
        "with a portable unit",
    ),
    Question(
        "facing",
        "Where the modules face (n, ne, e, se, s, sw, w, nw or degrees from north)",
        read_direction,
        lambda _: "s",
        lambda a: _kit(a).has_modules,
        "with a kit that has modules",
    ),
    Question(
        "meter",
        "Meter file of a year, or nothing",
        read_data_file,
        lambda _: "",
        _on_grid,
        "with a supply from the grid",
        told=lambda _: False,
    ),
    Question(
        "pv",
        "File of measured solar power, or nothing",
        read_data_file,
        lambda _: "",
        lambda a: _kit(a).has_modules,
        "with a kit that has modules",
        told=lambda _: False,
    ),
    Question(
        "pv_peak",
        "Rated power of the modules that were measured, in W",
        between(10, 1_000_000, "W"),
        lambda _: "",
        lambda a: bool(a.get("pv")),
        "with --pv",
        missing="it stands on the modules, or in the papers of the array that was measured",
    ),
    Question(
        "use",
        "Electricity used in a year, in kWh",
        between(20, 100_000, "kWh"),
        lambda a: "2500" if _on_grid(a) else "500",
        lambda a: not a.get("meter"),
        "without --meter, which tells it",
    ),
    Question(
        "plugged",
        "Appliances plugged into the unit, with commas",
        read_appliances,
        _usual_plugged,
        lambda a: not _kit(a).traits.reaches_all and not a.get("meter"),
        "with a portable or off-grid kit, without --meter",
        notes=_plugged_notes,
    ),
    Question(
        "reach",
        "Share of your use that is plugged into the unit, 0 to 1",
        SHARE,
        lambda _: "0.4",
        lambda a: bool(a.get("meter")) and _kit(a).traits.between_mains,
        "with --meter and a portable unit",
    ),
    Question(
        "tariff",
        "Tariff, flat or two-rate (a cheap rate by night)",
        one_of("flat", "two-rate"),
        lambda a: "two-rate" if _kit(a).charges_from_supply and not _kit(a).has_modules else "flat",
        _on_grid,
        "with a supply from the grid",
    ),
    Question(
        "price",
        "Price of a kWh (two rates: by day; off grid: of a kWh made otherwise)",
        PER_KWH,
        lambda a: in_shelf_money(0.28 if _on_grid(a) else 0.85)(a),
    ),
    Question(
        "night_price",
        "Price of a kWh by night",
        PER_KWH,
        lambda a: f"{0.5 * a['price']:.3g}",
        _two_rates,
        "with --tariff two-rate",
    ),
    Question(
        "night", "Hours of the night rate", read_window, lambda _: "00:30-07:30", _two_rates, "with --tariff two-rate"
    ),
    Question(
        "export_price",
        "What a kWh sent to the grid earns",
        between(-100, 100_000, "per kWh"),
        lambda a: f"{0.4 * a['price']:.2g}" if _kit(a).traits.fixed else "0",
        lambda a: _kit(a).traits.may_export,
        "with a kit that sends energy to the grid",
    ),
    Question(
        "outages",
        "Power cuts in a year, about",
        between(0, 1000, ""),
        lambda _: "0",
        _on_grid,
        "with a supply from the grid",
    ),
    Question(
        "outage_hours",
        "Hours that a power cut lasts",
        between(0.02, 720, "hours"),
        lambda _: "2",
        _cut_off,
        "with --outages above 0",
    ),
    Question(
        "outage_worth",
        "What an hour without a power cut is worth to you",
        MONEY,
        in_shelf_money(1),
        _cut_off,
        "with --outages above 0",
    ),
    Question(
        "bridges",
        "Does the kit carry loads in a power cut; a wired system needs a changeover switch for it (yes or no)",
        read_yes,
        lambda a: "yes" if _kit(a).traits.between_mains else "no",
        lambda a: _cut_off(a) and _kit(a).coupling != "plug_in",
        "with --outages above 0 and a kit that can",
    ),
)
