"""riskcalc: how sure is it that a battery unit, a few panels or a rooftop system pays back?"""

from typing import Any

__version__ = "0.1.0"

#: What `import riskcalc` offers; fetched when first used, so that the import itself stays light.
__all__ = [
    "__version__",
    "assess",
    "check",
    "compare",
    "load",
    "match",
    "rank",
    "replay",
    "sites",
    "trace",
    "update",
]


def __getattr__(name: str) -> Any:
    if name in __all__:
        from riskcalc import api

        return getattr(api, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return __all__
