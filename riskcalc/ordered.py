"""Sums of products in an order of our own: the same bits whatever linear algebra numpy was built with.

The usual libraries choose by the processor how they add up a product of matrices, so the last digits differ from one machine
to the next. The matrices here are small; what these loops cost does not show in a run.

Source of the methods: Golub & Van Loan, Matrix computations, 4th ed. 2013, sections 4.2 (Cholesky), 3.1 (substitution) and
8.5 (cyclic Jacobi), from memory.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from riskcalc.types import Floats

#: Sweeps of the Jacobi method after which it has long converged.
MOST_SWEEPS = 60


def product(one: ArrayLike, other: ArrayLike) -> Floats:
    """Return `one @ other` for two vectors, a matrix and a vector in either order, or two matrices."""
    left, right = np.asarray(one, dtype=float), np.asarray(other, dtype=float)
    rows = "ik"[2 - left.ndim :]
    columns = "kj"[: right.ndim]
    # Without `optimize` numpy adds these itself, without another library.
    return np.asarray(np.einsum(f"{rows},{columns}->{(rows + columns).replace('k', '')}", left, right, optimize=False))


def lower_factor(matrix: Floats) -> Floats:
    """Return L with L L' = `matrix`, for symmetric positive definite matrices (..., n, n): Cholesky.

    Raises
    ------
    numpy.linalg.LinAlgError
        If a matrix is not positive definite.
    """
    left = np.zeros_like(matrix, dtype=float)
    for place in range(left.shape[-1]):
        done = np.einsum("...ij,...j->...i", left[..., place:, :place], left[..., place, :place])
        column = matrix[..., place:, place] - done
        pivot = column[..., :1]
        if not (pivot > 0.0).all():
            raise np.linalg.LinAlgError("not positive definite")
        left[..., place:, place] = column / np.sqrt(pivot)
    return left


def forward(factor: Floats, right: Floats) -> Floats:
    """Return x with L x = `right`, for lower triangles L (..., n, n) and right sides (..., n, columns)."""
    found = np.array(right, dtype=float)
    for place in range(found.shape[-2]):
        found[..., place, :] /= factor[..., place, place, None]
        found[..., place + 1 :, :] -= factor[..., place + 1 :, place, None] * found[..., place, None, :]
    return found


def solved(matrix: Floats, right: Floats) -> Floats:
    """Return x with `matrix` x = `right`, for symmetric positive definite matrices (..., n, n) and vectors (..., n).

    Raises
    ------
    numpy.linalg.LinAlgError
        If a matrix is not positive definite.
    """
    factor = lower_factor(matrix)
    found = forward(factor, right[..., None])[..., 0]
    for place in reversed(range(found.shape[-1])):
        found[..., place] /= factor[..., place, place]
        found[..., :place] -= factor[..., place, :place] * found[..., place, None]
    return found


def common_axes(matrix: Floats, metric: Floats) -> tuple[Floats, Floats]:
    """Return values (n,), rising, and columns V (n, n) with V' `matrix` V = diag(values) and V' `metric` V = 1.

    Both symmetric, `metric` positive definite. By plane rotations in turn (Jacobi) on L^-1 `matrix` L'^-1, L L' = `metric`.
    """
    factor = lower_factor(metric)
    rest = forward(factor, forward(factor, matrix).T)
    rest = 0.5 * (rest + rest.T)
    count = len(rest)
    turned = np.eye(count)
    smallest = count * np.finfo(float).eps * float(np.abs(rest).max())
    for sweep in range(MOST_SWEEPS * max(1, count - 1)):
        if np.abs(rest - np.diag(np.diag(rest))).max(initial=0.0) <= smallest:
            break
        turn = _turn(rest, *_pairs(count, sweep))
        rest, turned = product(turn.T, product(rest, turn)), product(turned, turn)
    order = np.argsort(np.diag(rest), kind="stable")
    columns = turned[:, order]
    for place in reversed(range(count)):  # V = L'^-1 (rotations)
        columns[place] /= factor[place, place]
        columns[:place] -= factor[place, :place, None] * columns[place]
    return np.diag(rest)[order], columns


def _pairs(count: int, turn: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return disjoint pairs of axes; in `count` turns or one less everyone meets everyone (a round robin)."""
    seats = count + count % 2
    ring = 1 + (np.arange(seats - 1) + turn) % max(1, seats - 1)
    table = np.concatenate([[0], ring])
    one, other = table[: seats // 2], table[: seats // 2 - 1 : -1]
    there = (one < count) & (other < count)
    return one[there], other[there]


def _turn(rest: Floats, one: NDArray[np.int64], other: NDArray[np.int64]) -> Floats:
    """Return the rotation of each pair's plane after which the element that the pair shares is 0."""
    shared, apart = 2.0 * rest[one, other], rest[other, other] - rest[one, one]
    size = np.abs(apart) + np.hypot(apart, shared)
    tangent = np.where(apart >= 0.0, shared, -shared) / np.where(size > 0.0, size, 1.0)
    cosine = 1.0 / np.sqrt(tangent**2 + 1.0)
    turn = np.eye(len(rest))
    turn[one, one] = turn[other, other] = cosine
    turn[one, other], turn[other, one] = tangent * cosine, -tangent * cosine
    return turn
