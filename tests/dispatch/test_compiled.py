"""How the kernels are compiled: kept on disk where asked, vectorised, the same bits on plainer processors."""

from __future__ import annotations

import os
import platform
import re
import runpy
import subprocess
import sys
from pathlib import Path

import numba
import numpy as np
import pytest

from riskcalc.coupling import Coupling
from riskcalc.dispatch import dispatch_year
from riskcalc.dispatch.kernel import loops, rows

ROOT = Path(__file__).parents[2]
CASES = Path(__file__).with_name("dispatch_cases.py")

PROGRAM = """
import runpy, sys
import numpy as np
from riskcalc.coupling import Coupling
from riskcalc.dispatch import dispatch_year
inputs, plan, params, arguments = runpy.run_path(sys.argv[1])["random_case"](29, draws=50, bases=5)
months = [dispatch_year(coupling, inputs, plan, params, **arguments).monthly_kwh for coupling in Coupling]
np.save(sys.argv[2], np.stack(months))
"""


@pytest.mark.slow
def test_same_bits_on_a_plain_processor(tmp_path: Path) -> None:
    """Compiled for the plainest processor of the family (no wide vectors, no fused instruction), results are the same.

    The compiled code of that run is kept in the folder that NUMBA_CACHE_DIR names.
    """
    environment = {**os.environ, "NUMBA_CPU_NAME": "generic", "NUMBA_CPU_FEATURES": "", "PYTHONPATH": str(ROOT)}
    environment["NUMBA_CACHE_DIR"] = str(tmp_path / "kept")
    saved = tmp_path / "months.npy"
    subprocess.run([sys.executable, "-c", PROGRAM, str(CASES), str(saved)], check=True, env=environment)
    inputs, plan, params, arguments = runpy.run_path(str(CASES))["random_case"](29, draws=50, bases=5)
    here = [dispatch_year(coupling, inputs, plan, params, **arguments).monthly_kwh for coupling in Coupling]
    np.testing.assert_array_equal(np.load(saved), np.stack(here))
    assert list((tmp_path / "kept").rglob("*.nbc"))


@pytest.mark.skipif(platform.machine() not in ("x86_64", "AMD64"), reason="reads x86 instructions")
def test_lane_loops_become_vector_instructions() -> None:
    """The sun loop of the transfer family divides whole vectors, and no run-time check of overlap guards it."""

    @numba.njit(error_model="numpy")
    def run(lanes: int, work: np.ndarray) -> None:
        loops.carry_with_sun(lanes, 60, work)

    run(rows.LANES, np.ones(rows.workspace_size(1)))
    (assembly,) = run.inspect_asm().values()
    assert re.search(r"\bvdivpd\s.*%[yz]mm", assembly) or "divpd" in assembly
    assert not re.search(r"\bsetb\b", assembly)
