"""`--set dotted.key=value`: one key changed from the command line, in the words of the scenario file."""

from __future__ import annotations

import re
from typing import Any

from riskcalc.errors import Problem
from riskcalc.scenario.complaints import shown
from riskcalc.scenario.toml_text import tables_in

#: What stands for the file name in messages about overrides.
OVERRIDE = "--set"
ACCEPTED = "dotted.key=value, such as kit.battery.capacity_kwh=2.0 or home.kind='\"flat\"'"
LONGEST = 10_000
_BARE_WORD = re.compile(r"[^\W\d][\w ./:+-]*")


def override_tree(text: str) -> tuple[dict[str, Any] | None, Problem | None]:
    """Return the tree with the one key that `text` sets, or the problem with it.

    The value is TOML. A bare word is taken as a text, since a shell eats the quotes.
    """
    key, equals, value = text.partition("=")
    if not equals or not key.strip() or "\n" in text or "\r" in text or len(text) > LONGEST:
        return None, Problem(OVERRIDE, "", shown(text), ACCEPTED)
    candidates = [text]
    if _BARE_WORD.fullmatch(value.strip()):
        candidates.append(f'{key}="{value.strip()}"')
    for candidate in candidates:
        try:
            tree = tables_in(candidate)
        except (ValueError, RecursionError):
            continue
        if len(tree) == 1:
            return tree, None
    hint = "put a text in quotes, a list in [brackets], a distribution in {braces}"
    return None, Problem(OVERRIDE, key.strip(), shown(value.strip()), ACCEPTED, hint)
