"""Hold the foretold prices against the shipped histories.

    python tests/studies/price_windows.py

For each history, with the figures calibrated to it and with the defaults: how often its changes over 1, 5 and 15 years lie
inside the foretold 50, 80 and 90 %, in brackets what histories of that length drawn by the model itself scatter by (one
standard deviation; windows overlap, so this is wider than a binomial law of as many windows), and the chance that such a
drawn history lies as far off. `tests/money/test_prices.py` asks for more than 5 %.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "money"))

from test_prices import chance_of_windows, default_model, random_inputs, shares_inside

from riskcalc.money.price_history import HISTORIES, read_price_history
from riskcalc.money.prices import price_path

SPANS, LEVELS = (1, 5, 15), (50, 80, 90)


def told(name: str, model: dict[str, float]) -> str:
    """Return the lines of one history under one model."""
    log = np.log(read_price_history(name)[1])
    ahead = np.log(price_path(years=16, **model, **random_inputs(16, 10_000, seed=9)))
    own = np.log(price_path(years=len(log) + 10, **model, **random_inputs(len(log) + 10, 2000, seed=8)))[10:]
    seen, scatter = shares_inside(log, ahead).reshape(3, 4), shares_inside(own, ahead).std(axis=1).reshape(3, 4)
    lines = []
    for row, span in enumerate(SPANS):
        shares = "   ".join(
            f"{level} %: {seen[row, column]:4.0%} ({scatter[row, column]:.0%})" for column, level in enumerate(LEVELS)
        )
        lines.append(f"  {len(log) - span:3d} changes over {span:2d} years   {shares}")
    return "\n".join(lines)


def main() -> None:
    """Print every history with its own figures and with the defaults."""
    for name in HISTORIES:
        for words, model in (("its own figures", default_model(history=name)), ("the defaults", default_model())):
            print(
                f"{name}, {words}: a drawn history lies as far off with a chance of {chance_of_windows(name, model):.3f}"
            )
            print(told(name, model))


if __name__ == "__main__":
    main()
