"""What the terminal shows of a matching."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from riskcalc.uncertainty.quantity import counted


def matching_lines(result: Mapping[str, Any]) -> list[str]:
    """Return each home with its pick, then every cell as a table."""
    known, years = result["provenance"], result["horizon_years"]
    lines = [
        f"{known['draws']} common futures of {counted(years, 'year')}, steps of {known['step_minutes']} minutes: "
        "enough to sort a shelf; assess the pick by itself before buying",
        "",
    ]
    for home in result["homes"]:
        lines += [*_home_lines(home), ""]
    return lines


def _home_lines(home: Mapping[str, Any]) -> Iterator[str]:
    name = home["home"] or home["file"]
    if home["pick"] is None:
        yield f"{name}: no kit could be run"
    else:
        sure, lead = home["pick_best_share"]["value"], home["lead_over_next"]
        error = f" (±{lead['standard_error']:,.0f})" if lead["standard_error"] else ""
        yield (
            f"{name}: {home['pick']}, best in {sure:.0%}, "
            f"{lead['value']:,.0f}{error} {home['currency']} ahead of {home['next_best']}"
        )
    run = [cell for cell in home["cells"] if cell["is_run"]]
    width = max((len(cell["kit"]) for cell in run), default=0)
    for cell in sorted(run, key=lambda cell: -cell["net_present_value"]["mean"]["value"]):
        mean, paid, best = cell["net_present_value"]["mean"], cell["paid_back_share"], cell["best_share"]
        yield (
            f"  {cell['kit']:<{width}}  worth {mean['value']:>8,.0f}  pays back in {paid['value']:>4.0%}  "
            f"best in {best['value']:>4.0%}"
        )
    left_out: dict[str, list[str]] = {}
    for cell in home["cells"]:
        if not cell["is_run"]:
            left_out.setdefault(cell["reason"], []).append(cell["kit"])
    for reason, names in left_out.items():
        yield f"  not run: {', '.join(names)}: {reason}"
