"""The screen of `check`: what was read, the electrical fit, the loads, and what looks unusual."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from riskcalc.language import told
from riskcalc.pages.exhibits.cautions import cautions
from riskcalc.pages.figures import counted, grouped, number, say

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
    for name, said in figures["understood"].items():
        lines += [f"{name}, as it was understood:", *(f"  {subject}: {words}" for subject, words in said.items())]
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
    yield say(
        "loads against the inverter ({rating} W for hours, {surge} W for seconds):",
        rating=grouped(loads["rating_w"]),
        surge=grouped(loads["surge_w"]),
    )
    if loads.get("metered"):
        yield "  " + say("the meter file tells no appliances: compare the largest with the rating yourself")
    for row in sorted(loads["appliances"], key=lambda row: -row["watts"]):
        start, hours = row["start_w"] > row["watts"], row["hours_on_full_battery"]
        message = {
            (False, False): "{name}: {watts} W",
            (True, False): "{name}: {watts} W, {start} W at the start",
            (False, True): "{name}: {watts} W; a full battery carries it {time}",
            (True, True): "{name}: {watts} W, {start} W at the start; a full battery carries it {time}",
        }[start, hours is not None]
        said = say(
            message,
            name=told(row["name"].replace("_", " ")),
            watts=grouped(row["watts"]),
            start=grouped(row["start_w"]),
            time="" if hours is None else _duration(hours),
        )
        yield f"  {say(VERDICTS[row['verdict']]):<8} {said}"
        if row["says"]:
            yield f"           {row['says']}"
    yield from _together(loads)
    socket = loads["socket"]
    if socket:
        message = (
            "wall socket and lead: up to {watts} W"
            if socket["limit_w"] is None
            else "wall socket and lead: up to {watts} W of {limit} W allowed"
        )
        said = say(message, watts=grouped(socket["watts"]), limit=grouped(socket["limit_w"] or 0))
        yield f"  {say(VERDICTS[socket['verdict']]):<8} {said}"
        if socket["says"]:
            yield f"           {socket['says']}"
    runtime = loads.get("runtime", {})
    for name, message in (
        ("list", "a full battery carries the whole list, {watts} W on average by published use, {time}"),
        ("always_on", "a full battery carries what is always on, {watts} W on average by published use, {time}"),
    ):
        if runtime.get(f"{name}_hours") is not None:
            hours, watts = runtime[f"{name}_hours"], runtime[f"{name}_mean_w"]
            yield "  " + say(message, watts=grouped(watts), time=_duration(hours))


def _together(loads: Mapping[str, Any]) -> Iterator[str]:
    together = loads.get("together")
    if not together or len(loads["appliances"]) < 2:
        return
    said = say("all at once: {watts} W", watts=grouped(together["watts"]))
    yield f"  {say(VERDICTS[together['verdict']]):<8} {said}"
    pairs = []
    for pair in together["pairs_too_much"]:
        first, second = (told(name.replace("_", " ")) for name in pair["names"])
        pairs.append(say("{first} and {second} ({watts} W)", first=first, second=second, watts=grouped(pair["watts"])))
    if not pairs:
        return
    more, said = together["pairs_not_shown"], ", ".join(pairs)
    if more:
        said = counted("{pairs}, and {count} more pair", "{pairs}, and {count} more pairs", more, pairs=said)
    yield "           " + say("not together: {pairs}", pairs=said)


def _duration(hours: float) -> str:
    if hours < 1.0:
        return say("{count} minutes", count=number(60 * hours))
    if hours < 48:
        return say("{count} hours", count=number(hours, most_decimals=1))
    return say("{count} days", count=number(hours / 24, most_decimals=1))


def _fit(lines: list[Mapping[str, Any]]) -> Iterator[str]:
    for row in lines:
        allowed = f"at {row['bound']} {row['limit']:.4g} {row['unit']}"
        yield f"  {row['verdict']:<8} {row['what']}: {row['value']:.4g} {row['unit']}, allowed {allowed}"
        if row["advice"]:
            yield f"           {row['advice']}"
