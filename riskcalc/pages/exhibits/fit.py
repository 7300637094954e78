"""Does it fit electrically: strings of modules against the inputs of the kit, appliances against its inverter."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from riskcalc.language import told
from riskcalc.pages.exhibit import Block, items, words
from riskcalc.pages.figures import (
    NARROW_SPACE,
    NO_BREAK,
    capital,
    counted,
    grouped,
    joined,
    number,
    say,
    significant,
    with_unit,
)
from riskcalc.types import Figures

VERDICTS = {"ok": "ok", "tight": "tight", "refused": "failed", "wasteful": "wasteful"}
#: Verdict of an appliance: its word and the look it shares with the verdicts above.
LOAD_VERDICTS = {
    "ok": ("ok", "ok"),
    "tight": ("tight", "tight"),
    "start": ("start", "tight"),
    "too_much": ("too much", "refused"),
    "not_known": ("not known", "tight"),
}


#: Pairs of appliances that a sentence names; the others are counted.
MOST_PAIRS = 3


def opening(figures: Figures) -> str:
    """Return whether the parts fit together."""
    found, loads = figures["fit"], figures.get("loads") or {}
    verdicts = {row["verdict"] for row in loads.get("appliances") or ()}
    if any(row["verdict"] == "refused" for row in found):
        return say("Not all the parts fit together.")
    if found and "too_much" in verdicts:
        return say("The modules fit the kit, but not every appliance does.")
    return say("The parts fit together.") if found else say("There are no modules to check electrically.")


def reasons(figures: Figures) -> list[str]:
    """Return what the checks of modules and of appliances say."""
    found, loads = figures["fit"], figures.get("loads") or {}
    return [*([f"{fit_title(found)}."] if found else []), *([f"{loads_finding(loads)}."] if loads else [])]


def fit_blocks(figures: Figures) -> Iterator[Block]:
    """Yield the electrical fit of the modules."""
    fit = figures.get("electrical_fit") or ()
    if fit:
        yield Block("fit", tuple(fit_cells(row) for row in fit))


def fit_title(fit: Sequence[Figures]) -> str:
    """Return what the electrical fit came to, worst first."""
    tally = {verdict: sum(row["verdict"] == verdict for row in fit) for verdict in ("refused", "tight", "wasteful")}
    faults = [f"{count} {say(VERDICTS[verdict])}" for verdict, count in tally.items() if count]
    if not faults:
        return counted(
            "The one check of the solar modules passes", "All {count} checks of the solar modules pass", len(fit)
        )
    return counted(
        "The one check of the solar modules: {faults}",
        "Of {count} checks of the solar modules, {faults}",
        len(fit),
        faults=joined(faults),
    )


def fit_cells(row: Figures) -> dict[str, str]:
    """Return one check as text: what, the value against its limit, the margin, advice and method."""
    unit, margin = row.get("unit", ""), row.get("margin")
    said = with_unit(row["value"], unit) + "."
    if row.get("limit") is not None:
        message = (
            "{value}, allowed at most {limit}; margin {margin}."
            if row.get("bound", "most") == "most"
            else "{value}, allowed at least {limit}; margin {margin}."
        )
        shown = "–" if margin is None else f"{significant(100 * margin, 2)}{NARROW_SPACE}%"
        said = say(message, value=with_unit(row["value"], unit), limit=with_unit(row["limit"], unit), margin=shown)
    advice = capital(row.get("advice") or "")
    return {
        "what": capital(row["what"]),
        "said": said,
        "verdict": row["verdict"],
        "word": say(VERDICTS[row["verdict"]]),
        "advice": f"{advice}." if advice and not advice.endswith(".") else advice,
        "method": row.get("method") or "",
    }


def loads_finding(loads: Figures) -> str:
    """Return how many appliances the inverter cannot run, or how many may stop it or are not known."""
    appliances = loads.get("appliances") or ()
    if not appliances:
        return say("Compare your largest appliance with the inverter yourself")
    many = sum(row["verdict"] == "too_much" for row in appliances)
    if many:
        return counted(
            "{count} appliance draws more than the inverter can give",
            "{count} appliances draw more than the inverter can give",
            many,
        )
    unsure = sum(row["verdict"] in ("start", "not_known") for row in appliances)
    if unsure:
        return counted(
            "Look up one appliance before you rely on the inverter",
            "Look up {count} appliances before you rely on the inverter",
            unsure,
        )
    return counted(
        "The inverter can run the one appliance",
        "The inverter can run each of the {count} appliances, one at a time",
        len(appliances),
    )


def load_blocks(loads: Figures) -> Iterator[Block]:
    """Yield each appliance against the inverter, what may not run together, the socket and the runtime."""
    if not loads:
        return
    yield words(load_heading(loads), "reading")
    yield Block("fit", tuple(load_rows(loads)))
    if runtimes := list(load_runtimes(loads)):
        yield items(runtimes)


def load_heading(loads: Figures) -> str:
    """Return what the inverter can give."""
    rating, surge = _watts(loads["rating_w"]), _watts(loads["surge_w"])
    return say("The inverter gives {rating} for hours and {surge} for seconds.", rating=rating, surge=surge)


def load_rows(loads: Figures) -> Iterator[dict[str, str]]:
    """Yield each appliance, the largest first, all of them at once, and the wall socket."""
    for row in sorted(loads["appliances"], key=lambda row: -row["watts"]):
        said = say("{watts}.", watts=_watts(row["watts"]))
        if row["start_w"] > row["watts"]:
            said = say("{watts}, and {start} at the start.", watts=_watts(row["watts"]), start=_watts(row["start_w"]))
        if row["hours_on_full_battery"] is not None:
            said += " " + say("A full battery runs it for {time}.", time=_duration(row["hours_on_full_battery"]))
        yield _load_row(capital(_name(row["name"])), said, row["verdict"], row["says"])
    yield from _together(loads)
    socket = loads.get("socket")
    if socket:
        message = "Up to {watts}." if socket["limit_w"] is None else "Up to {watts} of {limit} allowed."
        said = say(message, watts=_watts(socket["watts"]), limit=_watts(socket["limit_w"] or 0.0))
        yield _load_row(say("Wall socket and lead"), said, socket["verdict"], socket["says"])


def load_runtimes(loads: Figures) -> Iterator[str]:
    """Yield how long a full battery lasts."""
    runtime = loads.get("runtime", {})
    for name, message in (
        ("list", "A full battery runs the whole list, {watts} on average, for {time}."),
        ("always_on", "A full battery runs what is always on, {watts} on average, for {time}."),
    ):
        if runtime.get(f"{name}_hours") is not None:
            yield say(message, watts=_watts(runtime[f"{name}_mean_w"]), time=_duration(runtime[f"{name}_hours"]))


def _together(loads: Figures) -> Iterator[dict[str, str]]:
    together = loads.get("together")
    if not together or len(loads["appliances"]) < 2:
        return
    pairs, shown = [], together["pairs_too_much"][:MOST_PAIRS]
    for pair in shown:
        first, second = map(_name, pair["names"])
        pairs.append(say("{first} and {second} ({watts})", first=first, second=second, watts=_watts(pair["watts"])))
    advice = ""
    if pairs:
        more = together["pairs_not_shown"] + len(together["pairs_too_much"]) - len(shown)
        said = ", ".join(pairs)
        if more:
            said = counted("{pairs}, and {count} more pair", "{pairs}, and {count} more pairs", more, pairs=said)
        advice = say("Too much together: {pairs}.", pairs=said)
    yield _load_row(say("All at once"), say("{watts}.", watts=_watts(together["watts"])), together["verdict"], advice)


def _load_row(what: str, said: str, verdict: str, advice: str) -> dict[str, str]:
    word, look = LOAD_VERDICTS[verdict]
    sentence = capital(advice) if not advice or advice.endswith(".") else f"{capital(advice)}."
    return {"what": what, "said": said, "verdict": look, "word": say(word), "advice": sentence, "method": ""}


def _duration(hours: float) -> str:
    if hours < 1.0:
        return say("{count} minutes", count=number(60 * hours))
    if hours < 48:
        return say("{count} hours", count=number(hours, most_decimals=1))
    return say("{count} days", count=number(hours / 24, most_decimals=1))


def _watts(value: float) -> str:
    return f"{grouped(value)}{NO_BREAK}W"


def _name(appliance: str) -> str:
    return told(appliance.replace("_", " "))
