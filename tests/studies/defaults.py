"""Writes reports/evidence/defaults.md: every default of every key, with its spread, its source and the kind of source.

    python tests/studies/defaults.py            # the table
    python tests/studies/defaults.py --odds     # judgements and common practice ranked by what they do to the odds, minutes

The kinds of source stand where the keys are declared (`scenario.fields`); judgements come first, since the next source is
looked for there.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from riskcalc.scenario import read_scenario, unit_of
from riskcalc.scenario.fields import all_keys, declared_at
from riskcalc.scenario.schema import Scenario
from riskcalc.uncertainty.quantity import Fixed, Quantity

ROOT = Path(__file__).parents[2]
TARGET = ROOT / "reports" / "evidence" / "defaults.md"
#: In the order in which the next source is looked for.
KINDS = ("judgement", "common practice", "law", "standard", "field study", "not counted")
MEANINGS = {
    "judgement": "we chose it",
    "common practice": "it is done so; nobody measured it, or the source is a rule of thumb",
    "law": "a published law or model fitted to measurements",
    "standard": "a standard, a code or a tariff",
    "field study": "many installations or homes in use",
    "not counted": "nothing is assumed unless the key is given",
}
#: Heading of the ranking.
ODDS = "## What they do to the odds"
#: What a default is multiplied by, to see what it does.
STEP = 1.2
DRAWS = ["study.draws=256", "study.scrambles=4", "study.pool_years=16", "study.step_minutes=30"]


def rows() -> Iterator[tuple[str, str, str, str, str, str]]:
    """Yield (kind, key, value, spread, unit, source) of every key that has a default or may be left out."""
    for key in all_keys(Scenario):
        _, field = declared_at(Scenario, tuple(key.replace("<name>", "x").split(".")))
        extra: Any = field.json_schema_extra if field is not None else None
        if field is None or not isinstance(extra, dict) or "source" not in extra:
            continue
        if isinstance(field.default, BaseModel):
            continue  # its keys have rows of their own
        value, spread = _said(field.default)
        yield extra["kind_of_source"], key, value, spread, unit_of(key, "money"), extra["source"]


def _said(default: Any) -> tuple[str, str]:
    if isinstance(default, Fixed):
        return f"{default.value:g}", "none"
    if isinstance(default, Quantity):
        return default.words(), "in the value"
    if default is None:
        return "not given", ""
    if isinstance(default, str | bool | int | float):
        return str(default) or '""', ""
    return "none", ""


def table_text(effects: dict[str, dict[str, float]] | None = None) -> str:
    """Return the page."""
    found = sorted(rows(), key=lambda row: (KINDS.index(row[0]), row[1]))
    lines = [
        "# Defaults",
        "",
        "Written by `python tests/studies/defaults.py`; do not edit. Every key of a scenario that may be left out, with what",
        "holds then and where that comes from.",
        "",
        *(f"- **{kind}** ({sum(row[0] == kind for row in found)}): {MEANINGS[kind]}" for kind in KINDS),
        "",
    ]
    if effects:
        lines += _effect_lines(effects)
    for kind in KINDS:
        lines += [f"## {kind.capitalize()}", "", "| key | value | spread | unit | source |", "|---|---|---|---|---|"]
        lines += [
            f"| `{key}` | {value} | {spread} | {unit} | {source} |"
            for k, key, value, spread, unit, source in found
            if k == kind
        ]
        lines.append("")
    return "\n".join(lines)


def _effect_lines(effects: dict[str, dict[str, float]]) -> list[str]:
    names = sorted({name for each in effects.values() for name in each})
    ranked = sorted(effects, key=lambda key: -max(abs(change) for change in effects[key].values()))
    lines = [
        ODDS,
        "",
        "Points by which the odds of payback within the horizon change when a default that rests on judgement or common",
        f"practice is {STEP:g} times as large, or an efficiency loses {STEP:g} times as much (256 common draws, steps of",
        f"30 minutes). A default that is drawn is held at its middle, and at {STEP:g} times that. Keys that a scenario gives",
        "itself are blank.",
        "",
        "| key | " + " | ".join(names) + " |",
        "|---|" + "---|" * len(names),
    ]
    for key in ranked:
        cells = [f"{effects[key][name]:+.1f}" if name in effects[key] else "" for name in names]
        lines.append(f"| `{key}` | " + " | ".join(cells) + " |")
    return [*lines, ""]


def effects() -> dict[str, dict[str, float]]:
    """Return, for every numeric default by judgement or common practice, the change of the odds in each shipped scenario."""
    from riskcalc.study.model import assessment

    found: dict[str, dict[str, float]] = {}
    judged = {key for kind, key, *_ in rows() if kind in ("judgement", "common practice")}
    for path in sorted((ROOT / "scenarios").glob("*.toml")):
        scenario = read_scenario(path, DRAWS)
        horizon, as_it_is = scenario.study.horizon_years, assessment(scenario).valuation.payback_years
        for key, quantity in scenario.quantities().items():
            middle = quantity.value if isinstance(quantity, Fixed) else float(quantity.quantile(0.5))
            if scenario.is_given(key) or key not in judged or not middle:
                continue
            try:
                changed = read_scenario(path, [*DRAWS, f"{key}={_changed(middle):.10g}"])
                after = assessment(changed).valuation.payback_years
                if isinstance(quantity, Fixed):
                    before = as_it_is
                else:
                    fixed = read_scenario(path, [*DRAWS, f"{key}={middle:.10g}"])
                    before = assessment(fixed).valuation.payback_years
            except Exception as error:  # noqa: BLE001 a default at its bound cannot be raised
                print(f"{path.stem} {key}: {error}", file=sys.stderr)
                continue
            points = 100.0 * ((after <= horizon).mean() - (before <= horizon).mean())
            found.setdefault(key, {})[path.stem] = float(points)
            print(f"{path.stem} {key} {points:+.1f}", flush=True)
    return found


def _changed(value: float) -> float:
    """Return a figure a fifth larger; an efficiency near 1 with losses a fifth larger."""
    return 1.0 - STEP * (1.0 - value) if 0.9 < value < 1.0 else STEP * value


def main() -> None:
    """Write the page."""
    TARGET.parent.mkdir(parents=True, exist_ok=True)
    before = TARGET.read_text(encoding="utf-8") if TARGET.exists() else ""
    text = table_text(effects() if "--odds" in sys.argv else None)
    if (
        ODDS not in text and ODDS in before
    ):  # the ranking takes minutes: what was found last stays until it is found anew
        text = text.replace(
            "## Judgement", before[before.index(ODDS) : before.index("## Judgement")] + "## Judgement", 1
        )
    TARGET.write_text(text, encoding="utf-8")
    print(TARGET)


if __name__ == "__main__":
    main()
