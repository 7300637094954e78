"""Blocks of draws written to a Parquet file as they come: the one place where pyarrow is met."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import numpy as np

from riskcalc.answers.assess import draw_columns
from riskcalc.errors import one_problem, with_extra
from riskcalc.money.valuation import Valuation
from riskcalc.scenario import Scenario
from riskcalc.study.model import OnBlock, Values
from riskcalc.years.simulation import Simulation

NAME = "draws.parquet"
#: What the file is called until the last block is in it; an interrupted run leaves it for anyone who can use a part.
UNFINISHED = "draws.unfinished.parquet"


@contextmanager
def draws_file(folder: Path, scenario: Scenario, *, option: str) -> Iterator[OnBlock]:
    """Yield what takes each block: a row group of the columns of draws.csv, whichever block comes first.

    Rows are told apart by `draw`, not by their order; a payback that never comes is infinite. The file gets its name
    when all blocks are in it.

    Raises
    ------
    InputError
        If pyarrow is not installed or the folder cannot be written.
    """
    try:
        import pyarrow as pa
        from pyarrow import parquet
    except ImportError as error:
        raise one_problem("command line", option, f"without pyarrow ({error})", with_extra("cluster")) from error
    writer: Any = None
    path = folder / UNFINISHED

    def take(which: slice, values: Values, simulation: Simulation, money: Valuation) -> None:
        nonlocal writer
        columns = {"draw": np.arange(which.start, which.stop)}
        columns |= draw_columns(scenario, values, simulation, money)
        table = pa.table({name: np.ascontiguousarray(drawn) for name, drawn in columns.items()})
        if writer is None:
            folder.mkdir(parents=True, exist_ok=True)
            writer = parquet.ParquetWriter(path, table.schema)
        writer.write_table(table)

    try:
        yield take
    except BaseException:
        if writer is not None:
            with suppress(OSError):
                writer.close()
        raise
    if writer is not None:
        writer.close()
        path.replace(folder / NAME)
