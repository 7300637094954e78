"""The settings in which the options differ."""

from __future__ import annotations

from collections.abc import Iterator

from riskcalc.pages.exhibit import Block, words
from riskcalc.pages.figures import counted, say
from riskcalc.types import Figures


def differs_finding(result: Figures) -> str:
    """Return in how many settings the options differ."""
    count = len(result["differing"])
    if not count:
        return "The options agree in every setting"
    return counted("The options differ in {count} setting", "The options differ in {count} settings", count)


def differing_blocks(result: Figures) -> Iterator[Block]:
    """Yield every setting in which the options differ."""
    if not result["differing"]:
        yield words("The options agree in every setting.")
        return
    heads = tuple(f"{row['letter']}: {row['title']}" for row in result["compared"])
    cells = [
        {"label": row["label"], "key": row["key"], "cells": row["given"], "path": None, "source": ""}
        for row in result["differing"]
    ]
    listed = Block("assumed", {"header": (say("setting"), *heads), "rows": cells, "size": (0, 0), "each": True})
    yield Block("fold", {"summary": say("Every setting in which they differ"), "blocks": (listed,)})
    yield words(
        "What they share is an assumption too. The page of each assessment lists every setting with its source.",
        "small",
    )
