"""How long a page takes to answer a typed figure, and how large it is: one line for each shipped scenario.

python tests/benchmarks/panel.py [SCENARIO ...] [--draws 1024] [--changes 50]

Headless Chromium types into the panel of the report. The clock runs from the key to the end of the script: money of every
future, all figures, drawings and claims. Without a quiet machine the figures are too high.
"""

from __future__ import annotations

import argparse
import runpy
import statistics
import tempfile
from pathlib import Path
from typing import Any

from riskcalc.answers.page_dict import page_dict, whole_result
from riskcalc.pages.page import assess_page
from riskcalc.scenario import read_scenario
from riskcalc.study.model import assessment

ROOT = Path(__file__).parents[2]
HEADLESS = runpy.run_path(str(ROOT / "tests" / "headless.py"))
TYPED = """
([key, changes, base]) => {
  const field = document.querySelector(`#own input[data-key="${key}"]`), times = [];
  for (let i = 0; i < changes; i++) {
    field.value = String(base * (1 + 0.01 * i));
    const began = performance.now();
    field.dispatchEvent(new Event("input"));
    times.push(performance.now() - began);
  }
  return times;
}
"""


def measured(page: Any, file: Path, *, changes: int) -> list[float]:
    """Return the times of changes of the price of the kit [ms], shortest first."""
    page.goto(file.as_uri())
    page.wait_for_selector("#own[data-ready]")
    return sorted(page.evaluate(TYPED, ["purchase.price", changes, 700]))


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("scenarios", nargs="*", default=sorted(map(str, (ROOT / "scenarios").glob("*.toml"))))
    parser.add_argument("--draws", type=int, default=1024)
    parser.add_argument("--changes", type=int, default=50)
    given = parser.parse_args()
    print(f"{'scenario':<22}{'page [MB]':>10}{'median [ms]':>13}{'95 % [ms]':>11}")
    with tempfile.TemporaryDirectory() as folder, HEADLESS["chromium"]() as browser:
        page = browser.new_page()
        for name in given.scenarios:
            found = assessment(read_scenario(Path(name), [f"study.draws={given.draws}"]))
            html = assess_page(page_dict(found, command="riskcalc assess", figures=whole_result(found)))
            file = Path(folder) / "report.html"
            file.write_text(html, encoding="utf-8")
            times = measured(page, file, changes=given.changes)
            size, late = file.stat().st_size / 1e6, times[min(len(times) - 1, int(0.95 * len(times)))]
            print(f"{Path(name).stem:<22}{size:10.2f}{statistics.median(times):13.1f}{late:11.1f}", flush=True)


if __name__ == "__main__":
    main()
