"""The draws themselves, packed into the page, so that a reader can narrow an assumption and see what is left."""

from __future__ import annotations

import base64
import json
import zlib
from typing import Any

import numpy as np
from numpy.typing import NDArray

from riskcalc.language import told, translated
from riskcalc.pages.exhibit import Block, Section
from riskcalc.pages.exhibits.payback import headline_stay, headline_years, paid_share
from riskcalc.pages.figures import money, money_form, percent, say, short, shown_unit, whole_years, years
from riskcalc.types import Figures

#: More draws than this would only make the page heavier; an even stride through them is taken instead.
MOST_DRAWS = 4096


def explorer_section(figures: Figures) -> Section | None:
    """Return the section in which a reader narrows an assumption; None where nothing varies."""
    packed = explorer_json(figures)
    if not packed:
        return None
    reading = say(
        "Drag across a shape, or move its two handles, to keep only the futures in that range. Fewer futures give "
        "rougher figures."
    )
    value = {"reading": reading, "all": all_futures(figures), "packed": packed}
    return Section(
        "narrow",
        say("Narrow an assumption"),
        (Block("explorer", value),),
        needs_script=True,
        finding=say("See what is left if you know an input better"),
    )


def all_futures(figures: Figures) -> list[tuple[str, str, str]]:
    """Return the lines to hold narrowed futures against: key known to the script, words, the figure over all draws."""
    worth, currency, horizon = figures["net_present_value"], figures["currency"], headline_years(figures)
    by_stay, by_years = (
        say("paid back before you move out"),
        say("paid back within {years}", years=whole_years(horizon)),
    )
    return [
        ("paid", by_stay if headline_stay(figures) else by_years, percent(paid_share(figures))),
        ("half", say("half pay back within"), years(figures["payback_years"]["p50"], horizon=figures["horizon_years"])),
        ("mean", say("average worth"), money(worth["mean"], currency)),
        ("loss", say("savings would bring more"), percent(worth["loss_probability"])),
        ("low", say("1 in 20 is below"), money(worth["p5"], currency)),
        ("high", say("1 in 20 is above"), money(worth["p95"], currency)),
    ]


def explorer_json(figures: Figures) -> str:
    """Return what the script on the page reads, safe inside a `<script>` element; "" if there is nothing to narrow.

    Inputs that do not vary are left out; the strongest in the ranking comes first. Values are packed one input after the
    other.
    """
    table = figures.get("page", {}).get("draws")
    if table is None:
        return ""
    own = figures["page"].get("own")
    # The same futures as in the panel of own figures, so that both work together.
    kept = kept_draws(len(table["net_present_value"])) if own is None else np.arange(own["draws"])
    values = np.asarray(table["values"])[:, kept]
    order = {row["key"]: place for place, row in enumerate(figures["ranking"])}
    varying = [index for index, drawn in enumerate(values) if np.ptp(drawn) > 0]
    varying.sort(key=lambda index: order.get(table["inputs"][index][0], len(order)))
    if not varying:
        return ""
    horizon = figures["horizon_years"]
    payload = {
        "money": money_form(figures["currency"]),
        "words": {
            "left": translated("{kept} of {all} futures left"),
            "few": translated("{kept} of {all} futures left: too few to say anything"),
            "years": say("years"),
            "not": say("not"),
            "lower": translated("{input}, lower end"),
            "upper": translated("{input}, upper end"),
            "between": translated("{low} to {high}"),
        },
        "horizon": horizon,
        "headline": headline_years(figures),
        "never": say("not within {years}", years=whole_years(horizon)),
        "inputs": [_named(*table["inputs"][index]) for index in varying],
        "values": packed(values[varying]),
        "payback": packed(np.asarray(table["payback_years"])[kept]),
        "stay": packed(np.asarray(table["stay_years"])[kept], "u1") if headline_stay(figures) else None,
        "worth": packed(np.asarray(table["net_present_value"])[kept]),
        "edges": [float(edge) for edge in figures["worth_histogram"]["edges"]],
    }
    # "<" must not end the script element early, whatever a label says.
    return json.dumps(payload, separators=(",", ":")).replace("<", "\\u003c")


def kept_draws(draws: int) -> NDArray[np.int64]:
    """Return the places of at most `MOST_DRAWS` draws, evenly spaced, so that every scramble keeps its part."""
    if draws <= MOST_DRAWS:
        return np.arange(draws)
    return np.linspace(0, draws - 1, MOST_DRAWS).round().astype(np.int64)


def _named(key: str, label: str, unit: str) -> dict[str, str | float]:
    factor, said = shown_unit(unit)
    return {"key": key, "label": short(told(label)), "unit": said, "factor": factor}


def packed(values: NDArray[Any], kind: str = "f4") -> str:
    """Return an array as the page's script unpacks it: little-endian float32 ("f4") or bytes ("u1"), deflated, in base64.

    All first bytes of the numbers come first, then all second ones: so the leading bytes, which are alike, shrink.
    """
    held = np.ascontiguousarray(values, dtype=f"<{kind}")
    planes = np.frombuffer(held.tobytes(), dtype=np.uint8).reshape(-1, held.itemsize).T
    return f"{kind}:{base64.b64encode(zlib.compress(planes.tobytes(), 9)).decode()}"
