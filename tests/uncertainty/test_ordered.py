"""Sums in a fixed order: no result depends on the linear algebra library that numpy and scipy were built with."""

from __future__ import annotations

import ast
import json
import os
import platform
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import cholesky, eigh, solve

from riskcalc.ordered import common_axes, forward, lower_factor, product, solved

ROOT = Path(__file__).parents[2]
#: Names in numpy and scipy that hand sums over to a library of linear algebra, whose order differs between processors.
LIBRARY_SUMS = {
    "dot", "vdot", "inner", "matmul", "tensordot", "vecdot", "matvec", "vecmat", "linalg", "polyfit", "cov", "corrcoef",
    "lstsq", "leggauss", "roots", "convolve", "correlate", "linregress", "curve_fit", "least_squares",
    "multivariate_normal", "gaussian_kde", "minimize", "multi_dot",
}  # fmt: skip


def library_sums(path: Path) -> list[str]:
    """Return where a module multiplies matrices or calls a library of linear algebra."""
    found = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom):
            names = {*(node.module or "").split("."), *(alias.name for alias in node.names)}
            hit = (node.module or "").split(".")[0] in ("numpy", "scipy") and names & LIBRARY_SUMS
        elif isinstance(node, ast.Attribute):
            names = set(ast.unparse(node).split("."))
            hit = node.attr == "dot" or (
                node.attr != "linalg" and names & {"np", "numpy", "scipy"} and names & LIBRARY_SUMS
            )
        else:
            hit = isinstance(getattr(node, "op", None), ast.MatMult)
        if hit and not ast.unparse(node).endswith("LinAlgError"):
            found.append(f"{path.relative_to(ROOT).as_posix()}:{node.lineno}: {ast.unparse(node)}")
    return found


def test_no_sum_is_left_to_a_library_of_linear_algebra() -> None:
    """Everything that multiplies matrices does it by `riskcalc.ordered`."""
    found = [line for path in sorted((ROOT / "riskcalc").rglob("*.py")) for line in library_sums(path)]
    assert not found, "\n".join(found)


def positive_definite(seed: int, count: int, *, many: tuple[int, ...] = ()) -> np.ndarray:
    """Return random symmetric matrices that are positive definite, some nearly not."""
    part = np.random.default_rng(seed).normal(size=(*many, count, count))
    return np.einsum("...ij,...kj->...ik", part, part) + 1e-6 * np.eye(count)


@pytest.mark.parametrize(("one", "other"), [((3,), (3,)), ((2, 3), (3,)), ((3,), (3, 2)), ((4, 3), (3, 2))])
def test_products_are_those_of_the_library(one: tuple[int, ...], other: tuple[int, ...]) -> None:
    """Of vectors and matrices in every order, up to rounding."""
    rng = np.random.default_rng(3)
    left, right = rng.normal(size=one), rng.normal(size=other)
    np.testing.assert_allclose(product(left, right), left @ right, rtol=1e-13, atol=1e-14)


@settings(deadline=None)
@given(seed=st.integers(0, 2**32), count=st.integers(1, 12))
def test_factors_and_axes_are_those_of_the_library(seed: int, count: int) -> None:
    """Cholesky's factor, the solution of a system and the common axes of two matrices, up to rounding."""
    rng = np.random.default_rng([seed, 1])
    matrix, right = positive_definite(seed, count, many=(2,)), rng.normal(size=(2, count))
    for index in range(2):
        factor = cholesky(matrix[index], lower=True)
        size = np.abs(factor).max()
        np.testing.assert_allclose(lower_factor(matrix)[index], factor, atol=1e-7 * size)
        np.testing.assert_allclose(factor @ forward(factor, right.T), right.T, atol=1e-7)
        expected = solve(matrix[index], right[index], assume_a="pos")
        np.testing.assert_allclose(
            solved(matrix, right)[index], expected, rtol=1e-6, atol=1e-6 * np.abs(expected).max()
        )
    metric = positive_definite(seed + 1, count) + np.eye(count)
    values, columns = common_axes(matrix[0], metric)
    np.testing.assert_allclose(values, eigh(matrix[0], metric, eigvals_only=True), atol=1e-10 * max(1.0, values[-1]))
    np.testing.assert_allclose(columns.T @ metric @ columns, np.eye(count), atol=1e-9)
    np.testing.assert_allclose(columns.T @ matrix[0] @ columns, np.diag(values), atol=1e-9 * max(1.0, values[-1]))


def test_what_is_not_positive_definite_is_refused() -> None:
    """Two inputs cannot both follow a third and run against one another: no factor, no silent NaN."""
    for matrix in (np.array([[1.0, 2.0], [2.0, 1.0]]), np.array([[np.nan]]), np.zeros((2, 2))):
        with pytest.raises(np.linalg.LinAlgError):
            lower_factor(matrix)


#: Prints a sum that the library adds up, and then everything that an assessment says.
PROGRAM = """
import json, sys
import numpy as np
import riskcalc
a = np.random.default_rng(0).random((99, 99))
print(a.ravel().dot(a.ravel()).hex())
study = {"draws": 256, "horizon_years": 4, "pool_years": 8, "step_minutes": 30}
print(json.dumps(riskcalc.assess(sys.argv[1], study=study).figures))
"""


@pytest.mark.slow
@pytest.mark.skipif(platform.machine() not in ("x86_64", "AMD64"), reason="names x86 processors")
def test_the_figures_are_the_same_bits_on_another_linear_algebra() -> None:
    """A whole assessment, with all that is estimated from its draws, where OpenBLAS takes this processor for an older one.

    That another library is at work is seen first: it adds up a product of matrices otherwise.
    """
    said, sums = [], []
    for core in ("Prescott", "Haswell"):
        environment = {**os.environ, "OPENBLAS_CORETYPE": core, "RISKCALC_CACHE": "off"}
        words = [sys.executable, "-c", PROGRAM, str(ROOT / "scenarios" / "tenant-balcony.toml")]
        done = subprocess.run(words, env=environment, capture_output=True, text=True, check=True)
        total, _, figures = done.stdout.partition("\n")
        sums.append(total)
        said.append(figures)
    assert said[0] == said[1]
    assert len(json.loads(said[0])["ranking"]) > 3
    if sums[0] == sums[1]:
        pytest.skip("numpy comes with a linear algebra that does not heed OPENBLAS_CORETYPE")
