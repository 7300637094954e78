"""A linear programme put together block by block, and its solution by HiGHS."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from riskcalc.types import Floats

if TYPE_CHECKING:
    from scipy.sparse import csr_array

Columns = NDArray[np.int64]


@dataclass
class _Rows:
    rows: int = 0
    entries: list[tuple[NDArray[np.int64], Columns, Floats]] = field(default_factory=list)
    sides: list[Floats] = field(default_factory=list)

    def add(self, terms: Iterable[tuple[Columns, ArrayLike]], side: ArrayLike) -> None:
        count = 0
        for columns, factor in terms:
            count = len(columns)
            factors = np.broadcast_to(np.asarray(factor, dtype=np.float64), columns.shape)
            used = (columns >= 0) & (factors != 0.0)
            self.entries.append((self.rows + np.flatnonzero(used), columns[used], factors[used]))
        self.sides.append(np.broadcast_to(np.asarray(side, dtype=np.float64), (count,)))
        self.rows += count

    def matrix(self, columns: int) -> csr_array | None:
        if not self.rows:
            return None
        from scipy.sparse import csr_array

        row, column, factor = (np.concatenate(part) for part in zip(*self.entries, strict=True))
        return csr_array((factor, (row, column)), shape=(self.rows, columns))

    def bounds(self) -> Floats | None:
        return np.concatenate(self.sides) if self.rows else None


@dataclass
class LinearProgramme:
    """Minimise cost @ x over low <= x <= high, rows @ x <= bounds and rows @ x = values."""

    _count: int = 0
    _lows: list[Floats] = field(default_factory=list)
    _highs: list[Floats] = field(default_factory=list)
    _costs: list[Floats] = field(default_factory=list)
    _at_most: _Rows = field(default_factory=_Rows)
    _equal: _Rows = field(default_factory=_Rows)

    def variables(
        self, count: int, *, low: ArrayLike = 0.0, high: ArrayLike = np.inf, cost: ArrayLike = 0.0
    ) -> Columns:
        """Add `count` variables with bounds and costs, each a number or (count,); return their columns."""
        for kept, given in ((self._lows, low), (self._highs, high), (self._costs, cost)):
            kept.append(np.broadcast_to(np.asarray(given, dtype=np.float64), (count,)))
        self._count += count
        return np.arange(self._count - count, self._count)

    def at_most(self, terms: Iterable[tuple[Columns, ArrayLike]], bound: ArrayLike) -> None:
        """Add a row for each element: sum of factor x variable <= bound; columns below 0 stand for nothing."""
        self._at_most.add(terms, bound)

    def equal(self, terms: Iterable[tuple[Columns, ArrayLike]], value: ArrayLike) -> None:
        """Add a row for each element: sum of factor x variable = value; columns below 0 stand for nothing."""
        self._equal.add(terms, value)

    def solution(self) -> tuple[float, Floats]:
        """Return the least cost and the variables that reach it.

        Raises
        ------
        ArithmeticError
            If HiGHS finds no optimum, with what it says.
        """
        from scipy.optimize import linprog

        found = linprog(
            np.concatenate(self._costs),
            A_ub=self._at_most.matrix(self._count),
            b_ub=self._at_most.bounds(),
            A_eq=self._equal.matrix(self._count),
            b_eq=self._equal.bounds(),
            bounds=np.stack([np.concatenate(self._lows), np.concatenate(self._highs)], axis=1),
            method="highs",
        )
        if found.status != 0:
            raise ArithmeticError(f"linear programme without an optimum: {found.message}")
        return float(found.fun), np.asarray(found.x, dtype=np.float64)
