"""`riskcalc cache`: what is kept between runs, where, and how much of it."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from riskcalc.commands.options import say

if TYPE_CHECKING:
    from collections.abc import Iterable


def cache(
    clear: Annotated[bool, typer.Option("--clear", help="Remove all of it; the next run makes it again.")] = False,
) -> None:
    """Show where weather, demand and compiled code are kept between runs, how much it is and the limit."""
    import contextlib

    import riskcalc.demand.synthesis
    import riskcalc.dispatch  # noqa: F401 - its loops say where they are kept
    from riskcalc.jit import kept_code
    from riskcalc.years.store import user_store

    store, code = user_store(), kept_code()
    if clear:
        store.clear()
        for path in code:
            with contextlib.suppress(OSError):
                path.unlink()
        code = kept_code()
    pools = "off (RISKCALC_CACHE)" if store.folder is None else f"{store.folder}"
    say(
        [
            f"weather, demand and sun: {pools}",
            f"  size:  {_mib(store.size_bytes())}, checked whole at every use",
            f"  limit: {_mib(store.limit_bytes)} (RISKCALC_CACHE_GIB); what was unused longest goes first",
            f"compiled code: {', '.join(_folders(code)) or 'none kept'}",
            f"  size:  {_mib(sum(path.stat().st_size for path in code))}",
        ]
    )


def _folders(files: Iterable[Path]) -> list[str]:
    return sorted({os.fspath(path.parent) for path in files})


def _mib(size_bytes: int) -> str:
    return f"{size_bytes / 2**20:,.1f} MiB"
