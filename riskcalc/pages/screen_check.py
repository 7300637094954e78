"""The screen of `check`: what was read, the electrical fit, the loads, and what looks unusual."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from riskcalc.pages.exhibits.cautions import cautions
from riskcalc.pages.exhibits.fit import load_heading, load_rows, load_runtimes, loads_finding, opening
from riskcalc.pages.figures import PLAIN, lower

CLOSING = (
    "Local codes come first (the electrical and building rules where you live), and a licensed electrician decides what may "
    "be connected."
)


def check_lines(figures: Mapping[str, Any]) -> list[str]:
    """Return the figures of `answers.check` as lines, one comparison each."""
    files = len(figures["files"])
    lines = [
        f"{figures['scenario']}: {figures['settings']} settings read from {files} file{'s' if files > 1 else ''}, "
        f"{figures['defaults']} of them defaults",
        opening(figures),
        f"uncertain ({len(figures['uncertain'])}):",
        *(f"  {row['label']}: {row['given']} {row['unit']}".rstrip() for row in figures["uncertain"]),
    ]
    for name, said in figures["understood"].items():
        lines += [f"{name}, as it was understood:", *(f"  {subject}: {words}" for subject, words in said.items())]
    lines += ["electrical fit:", *_fit(figures["fit"])] if figures["fit"] else ["electrical fit: no modules"]
    lines += [*load_lines(figures["loads"]), *(f"note: {note}" for note in figures["notes"])]
    lines += question_lines(figures["questions"])
    lines += ["cautions:", *(f"  {said}" for said in cautions(**figures["traits"])), CLOSING]
    return [line.translate(PLAIN) for line in lines]


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
    yield f"appliances: {lower(load_heading(loads))}"
    if loads.get("metered"):
        yield f"  {loads_finding(loads)}."
    for row in load_rows(loads):
        yield f"  {row['word']:<9} {row['what']}: {row['said']}"
        if row["advice"]:
            yield f"            {row['advice']}"
    yield from (f"  {said}" for said in load_runtimes(loads))


def _fit(lines: list[Mapping[str, Any]]) -> Iterator[str]:
    for row in lines:
        allowed = f"at {row['bound']} {row['limit']:.4g} {row['unit']}"
        yield f"  {row['verdict']:<8} {row['what']}: {row['value']:.4g} {row['unit']}, allowed {allowed}"
        if row["advice"]:
            yield f"           {row['advice']}"
