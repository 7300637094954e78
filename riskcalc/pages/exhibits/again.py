"""How a page was made, and how to get it again."""

from __future__ import annotations

from collections.abc import Iterator

from riskcalc import __version__
from riskcalc.language import told
from riskcalc.pages.exhibit import Block, words
from riskcalc.pages.figures import capital, counted, grouped, say
from riskcalc.types import Figures

#: Where the method stands whole, in the appendix of each assessment's page.
METHOD_IS = (
    "The method, its equations, sources and limits stand on the page of each assessment, under “How it is calculated”. "
    "Run riskcalc assess on one of the files to get it."
)


def again_blocks(figures: Figures, *, says_method: bool = True) -> Iterator[Block]:
    """Yield the command, the draws, versions and checksums, and that the page loads nothing."""
    known, command = figures.get("provenance", {}), figures.get("page", {}).get("command", "")
    if command:
        yield Block("command", command)
    rows: list[tuple[str, str, bool]] = []
    if "sobol" in figures:
        rows.append((say("Futures of the ranking"), grouped(figures["sobol"]["futures"]), False))
    if "draws" in known:
        message = "{draws} in {scrambles} independent scrambles, seed {seed}"
        parts = {"draws": grouped(known["draws"]), "scrambles": known["scrambles"], "seed": known["seed"]}
        rows.append((say("Futures"), say(message, **parts), False))
    if "step_minutes" in known:
        said = counted(
            "{step} min, {count} weather and demand year in the pool",
            "{step} min, {count} weather and demand years in the pool",
            known["pool_years"],
            step=known["step_minutes"],
        )
        rows.append((say("Time step"), said, False))
    rows += [(capital(told(row["of"])), row["source"], False) for row in known.get("sources", ())]
    libraries = known.get("libraries", {})
    if "python" in known:
        versions = [f"riskcalc {known['riskcalc']}", f"Python {known['python']}"]
        versions += [f"{name} {version}" for name, version in libraries.items()]
        rows.append((say("Versions"), ", ".join(versions), False))
    rows += [(file["path"], f"sha256 {file['sha256']}", True) for file in known.get("files", ())]
    if rows:
        yield Block("sources", tuple(rows))
    if not says_method:
        yield words(METHOD_IS, "small")
    message = (
        "Made with riskcalc {version}. The command above makes it again. This page is one file: it loads nothing and "
        "sends nothing."
    )
    version = known.get("riskcalc", __version__)
    yield words(say(message, version=version), "small")
