"""`riskcalc schema`: what can be written into a scenario."""

from __future__ import annotations

from riskcalc.commands.options import say


def schema() -> None:
    """Print the JSON Schema of a scenario, for editors that complete and check TOML."""
    from riskcalc.output import json_text
    from riskcalc.scenario import json_schema

    say(json_text(json_schema()).rstrip())
