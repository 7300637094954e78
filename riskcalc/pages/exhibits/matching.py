"""Which kit for which home: the pick of each home, every home with every kit, and each home by itself."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from riskcalc.language import translated
from riskcalc.pages.exhibit import Block, Section, check_block, fold, items, table, words
from riskcalc.pages.exhibits.answer import question_words
from riskcalc.pages.exhibits.options import first_word, in_sentence, own_or_ours
from riskcalc.pages.exhibits.own_figures import own_block
from riskcalc.pages.exhibits.spread import spread_block
from riskcalc.pages.figures import (
    UNKNOWN,
    capital,
    counted,
    error_of,
    frequency,
    money,
    percent,
    say,
    value_of,
    whole_years,
)
from riskcalc.types import Figures

#: More choices than this make a chart nobody reads; the table holds them all.
MOST_CHOICES = 10
NOTHING = "do nothing"
BOTH = 2


def opening(homes: Sequence[Figures]) -> str:
    """Return for how many homes a kit is worth most on average."""
    bought = _bought(homes)
    if not bought:
        return counted(
            "For this home, no kit is better than not buying.",
            "For none of the {count} homes is a kit better than not buying.",
            len(homes),
        )
    if len(bought) < len(homes):
        message = "For {count} of the {total} homes, buying a kit is better than not buying."
        return say(message, count=len(bought), total=len(homes))
    picks = {called(home, home["pick"]) for home in bought}
    if len(picks) == 1:
        kit = in_sentence(picks.pop())
        if len(homes) == BOTH:
            return say("In both homes {kit} is best on average.", kit=kit)
        return counted(
            "In this home {kit} is best on average.",
            "In all {count} homes {kit} is best on average.",
            len(homes),
            kit=kit,
        )
    return say(
        "In each of the {count} homes at least one kit is better, on average, than doing nothing.", count=len(homes)
    )


def lead_words(homes: Sequence[Figures]) -> str:
    """Return for how many homes with a kit its lead may be chance, "" where each is clear."""
    bought = _bought(homes)
    clear = sum(is_clear(home) for home in bought)
    if clear == len(bought):
        return ""
    return counted(
        "In {count} of them the lead of the best kit is too close to call.",
        "In {count} of them the leads of the best kits are too close to call.",
        len(bought) - clear,
    )


def _bought(homes: Sequence[Figures]) -> list[Figures]:
    return [home for home in homes if home["pick"] not in (None, NOTHING)]


def is_clear(home: Figures) -> bool:
    """Return whether the pick leads the next best by more than two standard errors."""
    lead = home["lead_over_next"]
    return lead is not None and lead["value"] is not None and value_of(lead) > 2 * error_of(lead)


def home_name(home: Figures) -> str:
    """Return what a home is called."""
    return str(home["home"] or home["file"])


def called(home: Figures, name: str) -> str:
    """Return what a reader calls a choice of a home."""
    return next((str(cell["title"]) for cell in home["cells"] if cell["kit"] == name), name)


def _own_cell(home: Figures) -> Figures | None:
    """Return the kit that is the pick of a home; None where nothing is bought."""
    return next((cell for cell in home["cells"] if cell["is_run"] and cell["kit"] == home["pick"]), None)


def pick_cells(home: Figures) -> tuple[str, str, str]:
    """Return pick, its price and what it gains on average, as text."""
    if home["pick"] is None:
        return (
            counted(
                "the kit cannot be used (reasons below)",
                "none of the {count} kits can be used (reasons below)",
                len(home["cells"]),
            ),
            "–",
            "–",
        )
    own, name = _own_cell(home), own_or_ours(called(home, home["pick"]))
    if own is None:
        return say("do nothing (no kit pays off)") if home["pick"] == NOTHING else name, "–", "–"
    gain = money(own["net_present_value"]["mean"], home["currency"])
    if not is_clear(home):
        gain = say("{amount}, too close to call", amount=gain)
    return name, money(value_of(own["outlay"]), home["currency"], se=UNKNOWN), gain


def lead_of(home: Figures) -> str:
    """Return how far the pick is ahead of the next best, rounded as the average beside it."""
    own = _own_cell(home)
    # In shared futures the lead itself is known better.
    error = error_of(home["lead_over_next"] if own is None else own["net_present_value"]["mean"])
    lead = money(value_of(home["lead_over_next"]), home["currency"], se=error)
    return lead if is_clear(home) else say("{amount}, too close to call", amount=lead)


def answer_blocks(result: Figures) -> Iterator[Block]:
    """Yield the answer, the pick of each home, and what to read next."""
    yield words(opening(result["homes"]), "opening")
    if lead := lead_words(result["homes"]):
        yield words(lead)
    message = (
        "“Gain” is your total profit after {years}, compared with a savings account: the average over all futures."
    )
    yield words(say(message, years=whole_years(result["horizon_years"])))
    picks = [(home_name(home), *pick_cells(home)) for home in result["homes"]]
    yield table(
        "The pick for each home",
        ("home", "best choice", "price", "gain"),
        picks,
        stacked=True,
    )
    message = (
        "Read the full report on the kit shown as best choice for your home. That report is more exact than this table, and "
        "lists what to check."
    )
    yield check_block(say(message))


def grid_blocks(result: Figures) -> Iterator[Block]:
    """Yield every home with every kit, each kit in the size worth most there."""
    homes = result["homes"]
    kits = {cell["kit_file"]: cell["title"] for home in homes for cell in home["cells"] if not cell["size"]}
    message = (
        "First the gain or loss on average over {years}, compared with savings. Then the share of futures in which it pays "
        "for itself, interest not counted. ★ marks the pick: the best on average, doing nothing included. “–”: the kit does "
        "not fit the home."
    )
    sized = any(cell["size"] for home in homes for cell in home["cells"])
    sizes = say("Of a kit tried in several sizes, the best one is shown.") if sized else ""
    yield words(f"{say(message, years=whole_years(result['horizon_years']))} {sizes}".strip(), "reading")
    cells = [grid_row(home, list(kits)) for home in homes]
    yield table("Worth and odds of every home with every kit", ("home", *kits.values()), cells)


def grid_finding(homes: Sequence[Figures]) -> str:
    """Return the pick of most homes."""
    picks = [called(home, home["pick"]) for home in homes if home["pick"] is not None]
    if not picks:
        return "No kit fits any of these homes"
    first = max(dict.fromkeys(picks), key=picks.count)
    pick = say("Doing nothing") if first == NOTHING else in_sentence(first)
    return counted(
        "{pick} is the pick for {picked} of {count} home",
        "{pick} is the pick for {picked} of {count} homes",
        len(homes),
        pick=pick,
        picked=picks.count(first),
    )


def home_finding(home: Figures) -> str:
    """Return the pick of a home."""
    if home["pick"] is None:
        return say("No kit fits this home")
    name = called(home, home["pick"])
    if name == NOTHING:
        return say("Doing nothing is worth most on average")
    return say("{pick} is worth most on average", pick=in_sentence(name))


def grid_row(home: Figures, kits: Sequence[str]) -> tuple[str, ...]:
    """Return the worth and odds of each kit in one home, in the size worth most there, the pick marked."""
    best: dict[str, Figures] = {}
    for cell in home["cells"]:
        if cell["is_run"] and (cell["kit_file"] not in best or _worth(cell) > _worth(best[cell["kit_file"]])):
            best[cell["kit_file"]] = cell
    # Amounts of one row are rounded alike, by the largest of their errors.
    error = max((error_of(cell["net_present_value"]["mean"]) for cell in best.values()), default=0.0)
    return (home_name(home), *(_grid_cell(best.get(kit), home["currency"], error) for kit in kits))


def home_section(index: int, home: Figures, options: Sequence[Figures], result: Figures) -> Section:
    """Return one home: its pick, the chart of its best choices, every kit and size as text."""
    currency = home["currency"]
    blocks: list[Block] = []
    facts = [home["place"], translated({"rent": "rented", "own": "owned"}.get(home["tenure"] or "", ""))]
    if any(facts):
        blocks.append(words(", ".join(fact for fact in facts if fact), "small"))
    blocks.append(words(_said(home, result["provenance"]["draws"])))
    if options:
        shown = {**result, "title": home_name(home), "options": options, "currency": currency}
        blocks.append(spread_block(shown, key=f"home-{index}", most=MOST_CHOICES))
    run = sorted((cell for cell in home["cells"] if cell["is_run"]), key=_worth, reverse=True)
    if run:
        header = ("kit", "average worth", "nine in ten", "pay back", "best choice in", "behind the best, on average")
        title = say("Kits in {home}", home=home_name(home))
        blocks.append(table(title, header, [_run_cells(cell, currency) for cell in run]))
    left: dict[str, list[str]] = {}
    for cell in home["cells"]:
        if not cell["is_run"]:
            left.setdefault(cell["reason"], []).append(cell["title"])
    if left:
        reasons = [say("{kits}: {reason}.", kits="; ".join(names), reason=reason) for reason, names in left.items()]
        blocks.append(fold("Kits that do not go with this home", items(reasons)))
    blocks += [words(f"{capital(limit)}.", "small") for limit in home["limits"]]
    if home.get("questions"):
        blocks.append(fold("Is this right?", items([question_words(row, home) for row in home["questions"]])))
    panels = result.get("page", {}).get("own") or ()
    own = own_block(panels[index] if index < len(panels) else None, home, name=f"own-{index}", leads=False)
    if own is not None:
        blocks += [words("Your figures for this home", "h3"), own]
    return Section(f"place-{index}", home_name(home), tuple(blocks), finding=home_finding(home))


def _said(home: Figures, draws: int) -> str:
    if home["pick"] is None:
        return say("Why no kit fits is said below.")
    best, lead = frequency(home["pick_best_share"], draws), lead_of(home)
    pick = first_word(in_sentence(called(home, home["pick"])))
    other = in_sentence(called(home, home["next_best"]))
    message = "{pick} is worth most on average. It is the best choice in {best}. Next comes {other}. Lead: {lead}."
    return say(message, pick=pick, lead=lead, best=best, other=other)


def _grid_cell(cell: Figures | None, currency: str, error: float) -> str:
    if cell is None:
        return "–"
    worth = money(_worth(cell), currency, se=error)
    size = f" ({cell['size']})" if cell["size"] else ""
    return f"{'★ ' if cell['is_pick'] else ''}{worth}, {percent(cell['paid_back_share'])}{size}"


def _worth(cell: Figures) -> float:
    return value_of(cell["net_present_value"]["mean"])


def _run_cells(cell: Figures, currency: str) -> tuple[str, ...]:
    worth = cell["net_present_value"]
    low, high = (money(worth[name], currency) for name in ("p5", "p95"))
    return (
        own_or_ours(cell["title"]),
        money(worth["mean"], currency, with_error=True),
        say("{low} to {high}", low=low, high=high),
        percent(cell["paid_back_share"]),
        percent(cell["best_share"]),
        money(cell["expected_regret"], currency),
    )
