"""altair, read when a chart is first built: that takes a seventh of a second, and another process builds most charts."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import altair as alt
else:

    class _WhenUsed:
        def __getattr__(self, name: str) -> Any:
            return getattr(import_module("altair"), name)

    alt = _WhenUsed()

__all__ = ["alt"]
