"""Your figures: the reader types in a price or a rate, and the money of every future is made anew on the page."""

from __future__ import annotations

import base64
import json
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from riskcalc.language import translated
from riskcalc.pages.exhibit import Block, Section
from riskcalc.pages.figures import grouped, money_form, say, shown_unit

Figures = Mapping[str, Any]
HORIZON = "study.horizon_years"


def own_section(figures: Figures) -> Section | None:
    """Return the section in which a reader types in figures of their own; None where nothing is bought."""
    own = figures.get("page", {}).get("own")
    if own is None:
        return None
    reading = say(
        "Type in what you know: your prices, your quote. An empty field keeps its range of values. A figure you type "
        "holds in every future, and the answer follows at once. Energy stays as it was simulated: for another kit, other "
        "use or other habits, change the scenario and run it again. The address of this page then holds your figures, so "
        "you can send them on."
    )
    draws = len(own["bought"])
    thinned = ""
    if draws < own["all_draws"]:
        message = "These figures rest on the first {some} of {all} futures, which is what fits into the page."
        thinned = say(message, some=grouped(draws), all=grouped(own["all_draws"]))
    value = {"reading": reading, "thinned": thinned, "fields": fields(figures), "packed": own_json(figures)}
    return Section(
        "yours",
        say("Your figures"),
        (Block("own", value),),
        needs_script=True,
        finding=say("Type in your own prices and quotes"),
    )


def fields(figures: Figures) -> list[dict[str, Any]]:
    """Return the fields of the panel: key, words, unit, the factor between what is typed and the key, and bounds."""
    own = figures["page"]["own"]
    rows = []
    for row in own["inputs"]:
        factor, unit = shown_unit(row["unit"])
        rows.append(
            {
                "key": row["key"],
                "label": row["label"],
                "unit": unit,
                "scale": factor,
                "low": row["low"],
                "high": row["high"],
            }
        )
    years = {
        "key": HORIZON,
        "label": say("Years looked at"),
        "unit": say("years"),
        "scale": 1,
        "low": 1,
        "high": own["horizon_years"],
    }
    return [*rows, years]


def own_json(figures: Figures) -> str:
    """Return what the script reads, safe inside a `<script>` element: tables packed as little-endian float32."""
    own = figures["page"]["own"]
    packed = {
        "money": money_form(figures["currency"]),
        "draws": len(own["bought"]),
        "words": {
            "years": say("years"),
            "not_within": say("not within the years looked at"),
            "accepted": say("Accepted:"),
            "sentence": translated("It pays back within {years} years in {share} of 100 futures."),
            "with_yours": say("With your figures:"),
            "worth": translated("It is worth {middle} in the middle future and {bad} in a bad one (1 in 20 is worse)."),
        },
        **{name: own[name] for name in ("rates", "dearest", "horizon_years", "trend_drawn")},
        "inputs": [{"key": row["key"]} for row in own["inputs"]],
        "values": {key: _vector(drawn) for key, drawn in own["values"].items()},
        "noise": {name: _table(drawn) for name, drawn in own["noise"].items()},
        "net_kwh": [_table(drawn) for drawn in own["net_kwh"]],
        **{
            name: _table(own[name])
            for name in ("inflation_shock", "export_kwh", "block_saving", "real_flows", "renewal_flows")
        },
        "working": _bytes(own["working"]),
        "handed_year": _bytes(own["handed_year"]),
        **{
            name: _vector(own[name])
            for name in (
                "bought",
                "price_share",
                "added_price",
                "discount_share",
                "resale_share",
                "disposal",
                "sale_factor",
            )
        },
        "loan": None
        if own["loan"] is None
        else {
            "financed_share": _vector(own["loan"]["financed_share"]),
            "rate": _vector(own["loan"]["rate"]),
            "term_years": own["loan"]["term_years"],
        },
    }
    # "<" must not end the script element early, whatever a text says.
    return json.dumps(packed, separators=(",", ":"), allow_nan=False).replace("<", "\\u003c")


def _vector(drawn: NDArray[np.float64]) -> float | str:
    """Return one number where all futures agree, else the packed vector."""
    return float(drawn[0]) if np.ptp(drawn) == 0.0 else _packed(drawn, "<f8")


def _table(drawn: NDArray[np.float64] | None) -> str | None:
    return None if drawn is None else _packed(drawn, "<f4")


def _bytes(whole: NDArray[Any]) -> str:
    return _packed(whole, "u1")


def _packed(values: NDArray[Any], kind: str) -> str:
    return base64.b64encode(np.ascontiguousarray(values, dtype=kind).tobytes()).decode()
