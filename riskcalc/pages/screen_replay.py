"""What `replay` shows: whether everything came out again, and what did not."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

MOST_SHOWN = 20


def replay_lines(found: Mapping[str, Any]) -> list[str]:
    """Return the comparison of a run with its record in a few lines."""
    rows, count = found["differences"], found["figures"]
    most, rounded = found["largest_relative_difference"], found["rounding"]
    if found["same"] and not rounded:
        lines = [f"{found['scenario']}: all {count} entries were reproduced exactly"]
    elif found["same"]:
        lines = [
            f"{found['scenario']}: {found['exact']} of {count} entries were reproduced exactly, {rounded} but for rounding "
            f"(by at most {most:.1g} of the figure; {found['tolerance']:g} is allowed)",
            "another version of a library, or another processor, sums in another order",
        ]
    else:
        lines = [
            f"{found['scenario']}: {len(rows)} of {count} entries differ from the record, by up to {most:.2g} of the figure; "
            f"{found['exact']} were reproduced exactly, {rounded} but for rounding"
        ]
        lines += [
            f"  {row['key']}: recorded {_said(row['recorded'])}, now {_said(row['again'])}" for row in rows[:MOST_SHOWN]
        ]
        if len(rows) > MOST_SHOWN:
            lines.append(f"  and {len(rows) - MOST_SHOWN} more")
    changed = [f"{row['name']} {_said(row['recorded'])} then, {_said(row['again'])} now" for row in found["versions"]]
    return [*lines, "versions: " + "; ".join(changed)] if changed else lines


def _said(value: object) -> str:
    text = "nothing" if value is None else str(value)
    text = text if len(text) <= 60 else f"{text[:57]}..."
    return "".join(char if char.isprintable() else " " for char in text)
