"""Your figures: the reader types in a price or a rate, and the page recalculates the money of every future."""

from __future__ import annotations

import json
from typing import Any

import numpy as np

from riskcalc.language import told, translated
from riskcalc.pages.exhibit import Block, Section
from riskcalc.pages.exhibits.answer import (
    ALL,
    HARDER,
    LIKELY,
    NONE,
    OF_FUTURES,
    PAYS,
    SURE,
    paid_kind,
    short_words,
    verdict_messages,
)
from riskcalc.pages.exhibits.boxes import AGAINST, MIDDLE
from riskcalc.pages.exhibits.explorer import packed
from riskcalc.pages.exhibits.futures import STAY_TITLES, YEARS_TITLES
from riskcalc.pages.exhibits.options import (
    CHOICE,
    DEEDS,
    KIT,
    KIT_GAINS,
    KIT_LOSES,
    KIT_OFTEN,
    LEAD_ERROR,
    LEADS,
    MOST_NAMED,
    OF_HOMES,
    SELDOM,
    homes_differ,
)
from riskcalc.pages.exhibits.payback import NEARLY, by_stay, counts_later_homes
from riskcalc.pages.figures import NO_BREAK, capital, grouped, money_form, say, shown_unit
from riskcalc.types import Figures

HORIZON = "study.horizon_years"


def own_section(figures: Figures) -> Section | None:
    """Return the section in which a reader types in figures of their own; None where there is nothing to type."""
    block = own_block(figures.get("page", {}).get("own"), figures)
    if block is None:
        return None
    finding = say("Type in your own prices and quotes")
    return Section("yours", say("Your figures"), (block,), needs_script=True, finding=finding)


def own_block(panel: Figures | None, figures: Figures, *, name: str = "own", leads: bool = True) -> Block | None:
    """Return one panel, None without futures to recalculate.

    `name` tells the panels of a page apart, in ids and in the address; the one that `leads` also moves the first screen.
    """
    if panel is None:
        return None
    reading = say(
        "Type in what you know: your prices, your quote. An empty field keeps its range of values. A figure you type "
        "holds in every future, and the answer follows at once. The energy stays as simulated: for another kit, other "
        "use or other habits, change the scenario and run it again. The address of this page then holds your figures, "
        "so you can send them on."
    )
    notes = []
    if panel["draws"] < panel["all_draws"]:
        message = "These figures rest on {some} of the {all} futures, which is what fits into the page."
        notes.append(say(message, some=grouped(panel["draws"]), all=grouped(panel["all_draws"])))
    if panel.get("targets_searched"):
        notes.append(
            say("The battery keeps the targets found at the published prices. A new run would search for them again.")
        )
    charts = say(
        "Bars: paid back by the end of each year; the marks are as in the report. Bands: the household's own money."
    )
    if len(panel["options"]) > 1:
        charts = say("Lines: nine futures in ten. Dots: the average worth.")
    value = {
        "name": name,
        "leads": leads,
        "reading": reading,
        "notes": notes,
        "fields": fields(panel, name=name),
        "charts": charts,
        "packed": own_json(panel, figures),
    }
    return Block("own", value)


def fields(panel: Figures, *, name: str = "own") -> list[dict[str, Any]]:
    """Return the fields of a panel: key, option, words, unit, the factor between what is typed and the key, bounds."""
    rows = []
    for row in panel["inputs"]:
        factor, unit = shown_unit(row["unit"])
        option = "" if row["option"] is None else row["option"]
        title = "" if row["option"] is None else panel["options"][row["option"]]["title"]
        rows.append(
            {
                "key": row["key"],
                "option": option,
                "label": row["label"] if not title else say("{title}: {label}", title=told(title), label=row["label"]),
                "unit": unit,
                "scale": factor,
                "low": row["low"],
                "high": row["high"],
                "name": "/".join([*([name] if name != "own" else []), row["key"], *([str(option)] if title else [])]),
            }
        )
    years = {"key": HORIZON, "option": "", "label": say("Years looked at"), "unit": say("years"), "scale": 1, "low": 1}
    prefix = f"{name}/" if name != "own" else ""
    return [*rows, years | {"high": panel["horizon_years"], "name": f"{prefix}{HORIZON}"}]


def own_json(panel: Figures, figures: Figures) -> str:
    """Return what the script reads, safe inside a `<script>` element; each array travels once, named by its place."""
    arrays: dict[str, int] = {}

    def array(values: Any, kind: str = "f4") -> dict[str, int] | None:
        return None if values is None else {"at": arrays.setdefault(packed(values, kind), len(arrays))}

    def vector(values: Any) -> Any:
        """Return one number where all futures agree."""
        return float(values[0]) if values is not None and np.ptp(values) == 0.0 else array(values)

    def option_of(option: Figures) -> dict[str, Any]:
        return {
            "title": option.get("title", ""),
            "trend_drawn": option["trend_drawn"],
            "values": {key: vector(drawn) for key, drawn in option["values"].items()},
            "savings_rate": vector(option["savings_rate"]),
            "noise": {name: array(drawn) for name, drawn in option["noise"].items()},
            "net_kwh": [array(drawn) for drawn in option["net_kwh"]],
            **{
                name: array(option[name])
                for name in ("export_kwh", "block_saving", "inflation_shock", "real_flows", "renewal_flows")
            },
            **{name: array(option[name], "u1") for name in ("working", "handed_year")},
            "stay_years": array(option.get("stay_years"), "u1"),
            **{name: vector(option[name]) for name in ("bought", "price_share", "added_price", "sale_factor")},
            "loan": option["loan"]
            and {
                "financed_share": vector(option["loan"]["financed_share"]),
                "rate": vector(option["loan"]["rate"]),
                "term_years": option["loan"]["term_years"],
            },
            "claims": [claim_of(claim) for claim in option["claims"]] if figures.get("claims") else [],
        }

    def claim_of(claim: Figures) -> dict[str, Any]:
        bill, row = claim["bill"], figures["claims"][claim["place"]]
        message = translated("{measure}: {middle} in the middle future, {low} to {high} in eight of ten.")
        said = message.replace("{measure}", capital(row["measure_in_words"]))
        held = bill and {
            **{name: [vector(rate) for rate in bill[name]] for name in ("demand_kwh", "net_kwh")},
            **{name: vector(bill[name]) for name in ("exported_kwh", "block_charge")},
            **{name: bill[name] for name in ("days", "whole_year")},
        }
        return {**claim, "bill": held, "unit": row["unit"], "said": said}

    options = [option_of(option) for option in panel["options"]]
    content = {
        "money": money_form(figures["currency"]),
        **{name: panel[name] for name in ("draws", "scrambles", "horizon_years", "headline_years", "rates")},
        "words": own_words(figures),
        "options": options,
        "arrays": list(arrays),
    }
    # "<" must not end the script element early, whatever a text says.
    return json.dumps(content, separators=(",", ":"), allow_nan=False).replace("<", "\\u003c")


def own_words(figures: Figures) -> dict[str, Any]:
    """Return the messages that the script fills in, those of the page where the page says the same."""
    messages = {
        "year": f"{{years}}{NO_BREAK}{translated('year')}",
        "years": f"{{years}}{NO_BREAK}{translated('years')}",
        "not_within": translated("not within {years}"),
        "accepted": translated("Accepted: {low} to {high}"),
        "with_yours": translated("With your figures: {sentence}"),
        "zero": translated(NONE),
        "falls_short": short_words(figures),
        "all": translated(ALL),
        "of_futures": translated(OF_FUTURES),
        "looked_at": translated("worked out over {years}"),
        "lost": translated("{amount} worse off"),
        "gained": translated("{amount} better off"),
        "against": {kind: translated(message) for kind, message in AGAINST.items()},
        "middle": translated(MIDDLE),
        "same": translated("the same in every future"),
        "ends": translated("{low} to {high} in 8 of 10 futures"),
        "do_not": translated("do not pay back"),
        "odds_few": translated("Fewer than half of the futures pay back: {share} do not within {years}"),
        "odds_near": translated("Just under half of the futures pay back within {years}"),
        "odds_all": translated("Half of the futures pay back within {middle}, and all do in the end"),
        "odds_half": translated("Half of the futures pay back within {middle}; {share} do not within {years}"),
        "ahead": translated("After {years} the middle future is {amount} ahead, savings interest not counted"),
        "short": translated("After {years} the middle future is {amount} short, savings interest not counted"),
        "worth_title": translated("In {loss} of futures savings would bring more; the average is {mean}"),
        "claim_true": translated("True in {share} of the futures."),
        "claim_beyond": translated("Not measured within the years looked at."),
        "choice": translated(CHOICE),
        "leads": {kind: translated(message) for kind, message in LEADS.items()},
        "lead_error": translated(LEAD_ERROR),
        "homes": homes_words() if homes_differ(figures) else None,
        "deeds": {name: translated(DEEDS[name]) for name in ("do nothing", "put the money in savings")},
        "quarter": translated("Fewer than one future in four pays back within {years}"),
        "quarter_in": translated("One future in four pays back within {years}; the others take longer or do not"),
        "half_in": translated("The middle half of the futures pays back in {low} to {high}"),
        "nine": translated("Nine futures in ten end between {low} and {high}"),
        "yours": translated("The claims with your figures"),
        "nothing": translated("Doing nothing"),
        "savings": translated("Putting the money in savings"),
        "range": translated("{low} to {high}"),
    }
    titles = STAY_TITLES if by_stay(figures) else YEARS_TITLES
    messages |= {kind: translated(message) for kind, message in titles.items()}
    return {
        **messages,
        "verdicts": {kind: translated(message) for kind, message in verdict_messages(figures).items()},
        "pays": translated(PAYS[paid_kind(figures)]),
        "later": counts_later_homes(figures),
        "harder": translated(HARDER),
        "rows": {
            "odds": translated("Paid back within the years looked at"),
            "half": translated("Half pay back within"),
            "outlay": translated("Cost, if it is bought"),
            "saving": translated("Saved in the first year"),
            "middle": translated("Worth in the middle future"),
            "bad": translated("Worth in a bad future (5 in 100 are worse)"),
            "loss": translated("Futures in which savings would bring more"),
        },
        "head": [translated("figure"), translated("with your figures"), translated("as in the report")],
        "head_options": [
            translated("choice"),
            translated("average worth"),
            translated("nine in ten"),
            translated("pay back"),
            translated("best choice in"),
        ],
        "likely": LIKELY,
        "nearly": NEARLY,
        "sure": SURE,
    }


def homes_words() -> dict[str, Any]:
    """Return the messages of kits in different homes."""
    known = {
        "kit": KIT,
        "kit_gains": KIT_GAINS,
        "kit_loses": KIT_LOSES,
        "often_not": SELDOM,
        "often": KIT_OFTEN,
        **OF_HOMES,
    }
    return {**{kind: translated(message) for kind, message in known.items()}, "most": MOST_NAMED}


def published_note(which: str = "part") -> Block:
    """Return the line that appears once figures are typed: what of a part stays as published."""
    said = {
        "sentence_follows": say(
            "Only the sentence in large type is for your figures. The rest of this part still "
            "shows those of the report."
        ),
        "part": say("This part still shows the published figures, not yours."),
        "drawings_follow": say(
            "The drawings now show your figures. The texts and tables below them still show those of the report."
        ),
    }[which]
    return Block("published", said)
