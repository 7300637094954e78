"""The screen of `check`: what was read, the electrical fit, the loads, and what looks unusual."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from riskcalc.pages.exhibits.cautions import cautions

VERDICTS = {"ok": "ok", "tight": "tight", "start": "start", "too_much": "too much", "not_known": "not known"}
CLOSING = "Local codes come first, and a licensed electrician decides what may be connected."


def check_lines(figures: Mapping[str, Any]) -> list[str]:
    """Return the figures of `answers.check` as lines, one comparison each."""
    files = len(figures["files"])
    lines = [
        f"{figures['scenario']}: {figures['settings']} settings read from {files} file{'s' if files > 1 else ''}, "
        f"{figures['defaults']} of them defaults",
        f"uncertain ({len(figures['uncertain'])}):",
        *(f"  {row['label']}: {row['given']} {row['unit']}".rstrip() for row in figures["uncertain"]),
    ]
    if figures["understood"]:
        lines += ["meter file, as it was understood:"]
        lines += [f"  {subject}: {words}" for subject, words in figures["understood"].items()]
    lines += ["electrical fit:", *_fit(figures["fit"])] if figures["fit"] else ["electrical fit: no modules"]
    lines += [*load_lines(figures["loads"]), *(f"note: {note}" for note in figures["notes"])]
    lines += question_lines(figures["questions"])
    return [*lines, "cautions:", *(f"  {said}" for said in cautions(**figures["traits"])), CLOSING]


def question_lines(questions: list[Mapping[str, str]]) -> list[str]:
    """Return each question in two lines: what stands there and what is usual, then what it does."""
    lines = [f"is this right? ({len(questions)})"] if questions else []
    for row in questions:
        lines.append(f"  {row['label']}: {row['given']}; usual: {row['usual']} ({row['source']})")
        lines.append(f"      {row['effect']}")
    return lines


def load_lines(loads: Mapping[str, Any]) -> Iterator[str]:
    """Yield each appliance against the inverter, what may not run together, the socket and the runtime."""
    if not loads:
        return
    yield f"loads against the inverter ({loads['rating_w']:,.0f} W for hours, {loads['surge_w']:,.0f} W for seconds):"
    if loads.get("metered"):
        yield "  the meter file tells no appliances: compare the largest with the rating yourself"
    for row in sorted(loads["appliances"], key=lambda row: -row["watts"]):
        start = f", {row['start_w']:,.0f} W at the start" if row["start_w"] > row["watts"] else ""
        hours = row["hours_on_full_battery"]
        lasts = "" if hours is None else f"; a full battery carries it {_duration(hours)}"
        yield f"  {VERDICTS[row['verdict']]:<8} {row['name'].replace('_', ' ')}: {row['watts']:,.0f} W{start}{lasts}"
        if row["says"]:
            yield f"           {row['says']}"
    yield from _together(loads)
    socket = loads["socket"]
    if socket:
        limit = "" if socket["limit_w"] is None else f" of {socket['limit_w']:,.0f} W allowed"
        yield f"  {VERDICTS[socket['verdict']]:<8} wall socket and lead: up to {socket['watts']:,.0f} W{limit}"
        if socket["says"]:
            yield f"           {socket['says']}"
    runtime = loads.get("runtime", {})
    for name, words in (("list", "the whole list"), ("always_on", "what is always on")):
        if runtime.get(f"{name}_hours") is not None:
            hours, watts = runtime[f"{name}_hours"], runtime[f"{name}_mean_w"]
            yield f"  a full battery carries {words}, {watts:,.0f} W on average by published use, {_duration(hours)}"


def _together(loads: Mapping[str, Any]) -> Iterator[str]:
    together = loads.get("together")
    if not together or len(loads["appliances"]) < 2:
        return
    yield f"  {VERDICTS[together['verdict']]:<8} all at once: {together['watts']:,.0f} W"
    pairs = [f"{' and '.join(pair['names'])} ({pair['watts']:,.0f} W)" for pair in together["pairs_too_much"]]
    if pairs:
        more = together["pairs_not_shown"]
        tail = f", and {more} more pair{'s' if more > 1 else ''}" if more else ""
        yield f"           not together: {', '.join(pairs).replace('_', ' ')}{tail}"


def _duration(hours: float) -> str:
    if hours < 1.0:
        return f"{60 * hours:.0f} minutes"
    return f"{hours:.1f} hours" if hours < 48 else f"{hours / 24:.1f} days"


def _fit(lines: list[Mapping[str, Any]]) -> Iterator[str]:
    for row in lines:
        allowed = f"at {row['bound']} {row['limit']:.4g} {row['unit']}"
        yield f"  {row['verdict']:<8} {row['what']}: {row['value']:.4g} {row['unit']}, allowed {allowed}"
        if row["advice"]:
            yield f"           {row['advice']}"
