"""Labels and units of inputs as a reader wants them."""

from __future__ import annotations

import re

#: Letters that fit above a bar on a phone.
LONGEST = 52


def capital(label: str) -> str:
    """Return the label with a capital at its head, its other letters as they are."""
    return label[:1].upper() + label[1:]


def short(label: str) -> str:
    """Return what stands before a colon or semicolon, with a capital, cut at a word where it is still too long.

    A name in brackets at the end, which tells two labels of the same words apart, is kept.
    """
    said, bracket, name = capital(label).partition(" (")
    tail = bracket + name if name.endswith(")") else ""
    head = re.split("[:;] ", said if tail else said + bracket + name, maxsplit=1)[0]
    room = LONGEST - len(tail)
    if len(head) > room:
        head = head[: room - 1].rsplit(" ", 1)[0].rstrip(" ,") + "…"
    return head + tail


def shown_unit(unit: str) -> tuple[float, str]:
    """Return the factor and the unit in which an input is shown: shares as per cent, rates as per cent a year."""
    if unit == "share":
        return 100.0, "%"
    if unit == "share/year":
        return 100.0, "% a year"
    return 1.0, unit
