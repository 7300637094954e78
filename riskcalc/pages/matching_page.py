"""The page of a matching: which kit for which home, from the figures of its result.json."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from riskcalc.pages.cautions import cautions_of_all
from riskcalc.pages.comparison_page import spread_exhibit
from riskcalc.pages.comparison_words import Row, figure, in_sentence
from riskcalc.pages.document import html_document
from riskcalc.pages.exhibit import Exhibit
from riskcalc.pages.rounding import money_estimate, percent_estimate
from riskcalc.pages.words import frequency

#: More choices than this make a chart nobody reads; the table holds them all.
MOST_CHOICES = 10
NOTHING = "do nothing"


@dataclass(frozen=True)
class MatchingPage:
    """What the page shows: `result` is the content of result.json, `options` those of each home as in a comparison."""

    command: str
    result: Mapping[str, Any]
    options: tuple[tuple[Row, ...], ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class HomeShown:
    """One home on the page: what is picked, the chart of its best choices, every kit and size as text."""

    name: str
    facts: str
    said: str
    chart: Exhibit | None
    run: tuple[tuple[str, ...], ...]
    left_out: tuple[tuple[str, tuple[str, ...]], ...]
    limits: tuple[str, ...]


def matching_page(figures: Mapping[str, Any]) -> MatchingPage:
    """Return everything the page shows, from `answers.match.page_dict`."""
    only = figures["page"]
    options = tuple(tuple(rows) for rows in only["options"])
    return MatchingPage(only["command"], figures, options, cautions_of_all(only["traits"]))


def matching_html(page: MatchingPage) -> str:
    """Return the whole page as one HTML document without a reference to anything outside it."""
    homes = page.result["homes"]
    return html_document(
        "matching.html.j2",
        page=page,
        result=page.result,
        opening=opening(homes),
        grid_header=("home", *grid_kits(homes).values()),
        grid=[grid_row(home, list(grid_kits(homes))) for home in homes],
        picks=[(home_name(home), *pick_cells(home, page.result["provenance"]["draws"])) for home in homes],
        homes=[
            home_shown(index, home, options, draws=page.result["provenance"]["draws"])
            for index, (home, options) in enumerate(zip(homes, page.options, strict=True))
        ],
    )


def opening(homes: Sequence[Row]) -> str:
    """Return for how many homes a kit is worth most on average, and for how many that is beyond doubt."""
    bought = [home for home in homes if home["pick"] not in (None, NOTHING)]
    clear = [home for home in bought if is_clear(home)]
    total = f"{len(homes)} home{'s' if len(homes) != 1 else ''}"
    if not bought:
        return f"Of {total}, none has a kit here that is worth more than doing nothing."
    return (
        f"Of {total}, {len(bought)} {'has' if len(bought) == 1 else 'have'} a kit here that is worth more on average "
        f"than doing nothing; for {len(clear)} of them the pick stands out from the next best."
    )


def is_clear(home: Row) -> bool:
    """Return whether the pick leads the next best by more than two standard errors."""
    lead = figure(home["lead_over_next"]) if home["lead_over_next"] is not None else None
    return lead is not None and lead.value is not None and lead.value > 2 * lead.se


def home_name(home: Row) -> str:
    """Return what a home is called."""
    return str(home["home"] or home["file"])


def pick_cells(home: Row, draws: int) -> tuple[str, str, str]:
    """Return pick, odds that it is best, lead over the next best, as text."""
    if home["pick"] is None:
        return "no kit could be run", "–", "–"
    lead = money_estimate(figure(home["lead_over_next"]), home["currency"], with_error=True)
    sure = "" if is_clear(home) else ", too small for these draws"
    return (
        called(home, home["pick"]),
        frequency(figure(home["pick_best_share"]), draws),
        f"{lead} over {in_sentence(called(home, home['next_best']))}{sure}",
    )


def called(home: Row, name: str) -> str:
    """Return what a reader calls a choice of a home."""
    return next((str(cell["title"]) for cell in home["cells"] if cell["kit"] == name), name)


def grid_kits(homes: Sequence[Row]) -> dict[str, str]:
    """Return file -> what a reader calls it of each kit of the table."""
    return {cell["kit_file"]: cell["title"] for home in homes for cell in home["cells"] if not cell["size"]}


def grid_row(home: Row, kits: Sequence[str]) -> tuple[str, ...]:
    """Return the worth and odds of each kit in one home, in the size worth most there, the pick marked."""
    best: dict[str, Row] = {}
    for cell in home["cells"]:
        if cell["is_run"]:
            best[cell["kit_file"]] = max(best.get(cell["kit_file"], cell), cell, key=_mean_worth)
    return (home_name(home), *(_grid_cell(best.get(kit), home["currency"]) for kit in kits))


def home_shown(index: int, home: Row, options: Sequence[Row], *, draws: int) -> HomeShown:
    """Return one home as the page shows it."""
    currency = home["currency"]
    run = sorted(
        (cell for cell in home["cells"] if cell["is_run"]),
        key=lambda cell: (-_mean_worth(cell), cell["kit"]),
    )
    left_out: dict[str, list[str]] = {}
    for cell in home["cells"]:
        if not cell["is_run"]:
            left_out.setdefault(cell["reason"], []).append(cell["title"])
    facts = [home["place"], {"rent": "rented", "own": "owned"}.get(home["tenure"] or "", "")]
    chart = None
    if options:
        chart = spread_exhibit({"options": options, "currency": currency}, key=f"home-{index}", most=MOST_CHOICES)
    return HomeShown(
        name=home_name(home),
        facts=", ".join(fact for fact in facts if fact),
        said=_said(home, draws),
        chart=chart,
        run=tuple(_run_cells(cell, currency) for cell in run),
        left_out=tuple((reason, tuple(names)) for reason, names in left_out.items()),
        limits=tuple(home["limits"]),
    )


def _said(home: Row, draws: int) -> str:
    if home["pick"] is None:
        return "No kit of the shelf could be run in this home."
    name, best, lead = pick_cells(home, draws)
    if name == NOTHING:
        return f"Doing nothing is worth most on average: {lead}. It is the best choice in {best}."
    return f"{in_sentence(name)} is worth most on average: {lead}. It is the best choice in {best}."


def _grid_cell(cell: Row | None, currency: str) -> str:
    if cell is None or not cell["is_run"]:
        return "–"
    worth = money_estimate(figure(cell["net_present_value"]["mean"]), currency)
    size = f" ({cell['size']})" if cell["size"] else ""
    return f"{'★ ' if cell['is_pick'] else ''}{worth}, {percent_estimate(figure(cell['paid_back_share']))}{size}"


def _mean_worth(cell: Row) -> float:
    return float(cell["net_present_value"]["mean"]["value"])


def _run_cells(cell: Row, currency: str) -> tuple[str, ...]:
    worth = cell["net_present_value"]
    low, high = (money_estimate(figure(worth[name]), currency) for name in ("p5", "p95"))
    return (
        cell["title"],
        money_estimate(figure(worth["mean"]), currency, with_error=True),
        f"{low} to {high}",
        percent_estimate(figure(cell["paid_back_share"])),
        percent_estimate(figure(cell["best_share"])),
        money_estimate(figure(cell["expected_regret"]), currency),
    )
