"""The pages: which exhibits stand on each, in which order. A dict of figures goes in, one HTML file comes out."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from riskcalc.language import spoken, told
from riskcalc.pages.document import TEMPLATE, Document, documented, html_document, page_template
from riskcalc.pages.engine import start_engine
from riskcalc.pages.exhibit import Block, Chart, Section, charts_of, hero, items, section, words
from riskcalc.pages.exhibits import (
    answer,
    differing,
    energy,
    findout,
    fit,
    matching,
    more,
    options,
    order,
    pairs,
    prices,
    ranking,
    spread,
    stays,
    tracked,
    week,
)
from riskcalc.pages.exhibits import payback as payback_
from riskcalc.pages.exhibits import worth as worth_
from riskcalc.pages.exhibits.again import again_blocks
from riskcalc.pages.exhibits.assumptions import assumed_finding, assumption_blocks
from riskcalc.pages.exhibits.best import best_block, gains_block
from riskcalc.pages.exhibits.cash import cash_block
from riskcalc.pages.exhibits.cautions import cautions, cautions_of_all
from riskcalc.pages.exhibits.explorer import explorer_section
from riskcalc.pages.exhibits.futures import futures_block
from riskcalc.pages.exhibits.glossary import glossary_blocks
from riskcalc.pages.exhibits.method import method_blocks
from riskcalc.pages.exhibits.own_figures import own_section, published_note
from riskcalc.pages.figures import capital, counted, listed, say, whole_years
from riskcalc.types import Figures


def get_ready() -> None:
    """Do what the first page of a process waits for: start the chart engine, compile the template."""
    start_engine()
    page_template(TEMPLATE)


def ask_drawings(figures: Figures) -> None:
    """Ask for the charts of an assessment that need no insight, so that they are drawn while it is worked out.

    `figures` is the dict of the page, with the content of result.json as far as it is at hand. What was asked is kept
    under `page`, and the page takes its drawings from there.
    """
    asked = figures["page"]["drawings"] = {}
    figures = spoken(figures)
    blocks = (
        futures_block(figures),
        payback_.odds_block(figures),
        cash_block(figures),
        worth_.worth_block(figures),
        prices.price_block(figures),
        energy.demand_block(figures),
        energy.solar_block(figures),
        *week.week_blocks(figures, figures["page"]["weeks"]),
    )
    shown = Section("", "", tuple(block for block in blocks if block is not None))
    asked.update({chart.key: (chart.narrow_svg, chart.wide_svg) for chart in charts_of([shown])})


def assess_page(figures: Figures) -> str:
    """Return the page of an assessment, from `answers.page_dict`."""
    return html_document(assess_document(figures))


def assess_document(figures: Figures) -> Document:
    """Return the parts of the page of an assessment."""
    figures = spoken(figures)
    only, first = figures["page"], answer.answer_section(figures)
    follows_note = published_note("drawings_follow") if only.get("own") else None
    stays_note = published_note() if only.get("own") else None
    ranks = [ranking.share_block(figures), ranking.swing_block(figures)] if ranking.ranked(figures) else []
    pair = [Block("pair", {"blocks": tuple(block for block in ranks if block is not None)})] if ranks else []
    found = [*findout.information_blocks(figures), *findout.break_even_blocks(figures)]
    found = [published_note(), *found] if found and only.get("own") else found
    sections = documented(
        [
            first,
            answer.questions_section(figures),
            more.more_section(figures),
            section(
                "when",
                "When it pays back",
                follows_note,
                payback_.odds_block(figures),
                items(payback_.when_words(figures)),
                finding=payback_.when_finding(figures),
            ),
            section(
                "money",
                "What the money does",
                follows_note,
                cash_block(figures),
                worth_.worth_block(figures),
                items(worth_.worth_words(figures)),
                *worth_.made_of(figures),
                *worth_.investment(figures),
                finding=worth_.money_finding(figures),
            ),
            prices_section(figures),
            section(
                "decides",
                "What decides it",
                stays_note if pair else None,
                *pair,
                *ranking.odds_table(figures),
                finding=ranking.decides_finding(figures) or ranking.odds_finding(figures),
            ),
            claims_section(figures),
            section(
                "findout",
                "What is worth finding out",
                *([stays_note, *found] if found else []),
                finding=findout.findout_finding(figures),
            ),
            own_section(figures),
            explorer_section(figures),
            section(
                "energy",
                "Where the energy goes",
                energy.demand_block(figures),
                energy.solar_block(figures),
                *energy.first_year_table(figures),
                *energy.details(figures),
                finding=energy.energy_finding(figures),
            ),
            section(
                "weeks",
                "Half hour by half hour",
                *week.week_blocks(figures, only["weeks"]),
                finding=week.weeks_finding(only["weeks"]),
            ),
            section(
                "fit",
                "Does it fit electrically?",
                *fit.fit_blocks(figures),
                finding=fit.fit_title(figures["electrical_fit"]),
            ),
            loads_section(figures),
            cautions_section(cautions(**only["traits"])),
            section("assumed", "What was assumed", *assumption_blocks(figures), finding=assumed_finding(figures)),
            understood_section(figures),
            section("method", "How it is calculated", *method_blocks(only["method"])),
            section("terms", "Words explained", *glossary_blocks()),
            section("again", "How to get this again", *again_blocks(figures)),
        ]
    )
    looked_at = say("worked out over {years}", years=whole_years(figures["horizon_years"]))
    return Document(
        title=say("{name}: does it pay back?", name=figures["title"]),
        heading=figures["title"],
        summary=f"{answer.answer_words(figures)} {answer.worth_in_brief(figures)}",
        sections=sections,
        facts=tuple(fact for fact in (only["kit"], only["home"], looked_at) if fact),
        picture=charts_of([Section("", "", first.blocks)])[0],
    )


def compare_page(figures: Figures) -> str:
    """Return the page of a comparison, from `answers.compare.page_dict`."""
    figures = spoken(figures)
    opening, gains = options.opening(figures), gains_block(figures)
    stays_note = published_note() if figures["page"].get("own") else None
    sections = documented(
        [
            section(
                "answer",
                "The answer",
                hero(
                    opening,
                    options.reasons(figures),
                    gains,
                    check=options.check_words(figures),
                ),
                published_note("sentence_follows") if stays_note else None,
            ),
            more.compared_section(figures),
            answer.questions_section(figures),
            own_section(figures),
            section(
                "worth",
                "What each is worth",
                stays_note,
                spread.spread_block(figures),
                words(options.often_words(figures)),
                best_block(figures),
                finding=spread.worth_finding(figures),
            ),
            section("pairs", "One against another", *pairs.pair_blocks(figures), finding=pairs.pairs_finding(figures)),
            section(
                "stay",
                "How long must a household stay?",
                *stays.stay_blocks(figures),
                finding=stays.stay_finding(figures),
            ),
            section(
                "differs",
                "What differs",
                *differing.differing_blocks(figures),
                finding=differing.differs_finding(figures),
            ),
            cautions_section(cautions_of_all(figures["page"]["traits"])),
            section("terms", "Words explained", *glossary_blocks()),
            section("again", "How to get this again", *again_blocks(figures, says_method=False)),
        ]
    )
    compared = figures["compared"]
    return html_document(
        Document(
            title=say("{options}: which one?", options=listed([row["title"] for row in compared])),
            heading=options.question_words(figures),
            summary=opening,
            sections=sections,
            facts=(
                capital(say("worked out over {years}", years=whole_years(figures["horizon_years"]))),
                *filter(None, [options.nothing_fact(figures)]),
            ),
            options=tuple(
                (row["letter"], row["title"], options.price_words(figures, row["option"])) for row in compared
            ),
            picture=gains.value,
        )
    )


def match_page(figures: Figures) -> str:
    """Return the page of a matching, from `answers.match.page_dict`."""
    figures = spoken(figures)
    homes, known = figures["homes"], figures["provenance"]
    sections = documented(
        [
            section("answer", "The answer", *matching.answer_blocks(figures)),
            section(
                "grid",
                "Every home with every kit",
                *matching.grid_blocks(figures),
                finding=matching.grid_finding(homes),
            ),
            *(
                matching.home_section(index, home, rows, figures)
                for index, (home, rows) in enumerate(zip(homes, figures["page"]["options"], strict=True))
            ),
            cautions_section(cautions_of_all(figures["page"]["traits"])),
            section("terms", "Words explained", *glossary_blocks()),
            section("again", "How to get this again", *again_blocks(figures, says_method=False)),
        ]
    )
    drawn = charts_of(sections)
    return html_document(
        Document(
            title=say("Which kit for which home?"),
            heading=say("Which kit for which home?"),
            summary=matching.opening(homes),
            sections=sections,
            facts=(
                counted("{count} home", "{count} homes", len(homes)),
                counted("{count} kit", "{count} kits", len(known["kit_files"])),
                say("worked out over {years}", years=whole_years(figures["horizon_years"])),
            ),
            picture=drawn[0] if drawn else None,
        )
    )


def loads_section(figures: Figures) -> Section | None:
    """Return each appliance against the inverter, the wall socket and the runtime; None where nothing is known."""
    known = figures.get("loads") or {}
    return section(
        "loads", "Appliances against the inverter", *fit.load_blocks(known), finding=fit.loads_finding(known)
    )


def prices_section(figures: Figures) -> Section | None:
    """Return how prices may go; None where they follow a given path."""
    block = prices.price_block(figures)
    if block is None:
        return None
    return section("prices", "How prices may go", block, finding=prices.price_finding(figures))


def understood_section(figures: Figures) -> Section | None:
    """Return how each file of measurements was read; None where there is none."""
    blocks: list[Block | None] = []
    for name, said in (figures.get("understood") or {}).items():
        lines = [f"{capital(told(subject))}: {found}." for subject, found in said.items()]
        blocks += [words(f"{capital(told(name))}:", "reading"), items(lines)]
    done = [f"{capital(note)}." for note in figures.get("notes") or ()]
    blocks += [words("What was done to them:", "reading"), items(done)] if done else []
    return section("read", "How the files were understood", *blocks) if blocks else None


def charts_in(figures: Figures) -> list[Chart]:
    """Return every chart that a result.json, a ranking.json or an update.json holds by itself, drawn.

    Weeks and the narrowing of assumptions need more than these files hold and are not among them.
    """
    figures = spoken(figures)
    makers: list[Callable[[], Block | None]]
    if "compared" in figures:
        makers = [lambda: best_block(figures), lambda: spread.spread_block(figures)]
    elif "sobol" in figures:
        makers = [lambda name=name: order.order_block(figures, name) for name in figures["sobol"]["outcomes"]]  # type: ignore[misc]
    elif "tracks" in figures:
        makers = [lambda: tracked.track_block(figures)]
    else:
        makers = [
            lambda: futures_block(figures),
            lambda: payback_.odds_block(figures),
            lambda: cash_block(figures),
            lambda: prices.price_block(figures),
            lambda: worth_.worth_block(figures),
            lambda: ranking.share_block(figures) if ranking.ranked(figures) else None,
            lambda: ranking.swing_block(figures),
            lambda: energy.demand_block(figures),
            lambda: energy.solar_block(figures),
        ]
    return [block.value for make in makers if (block := make()) is not None]


def cautions_section(said: Sequence[str]) -> Section | None:
    """Return the cautions of a page."""
    return section(
        "cautions", "Cautions", items(said), finding="Read these cautions before you buy or connect anything"
    )


def claims_section(figures: Figures) -> Section | None:
    """Return what has been claimed and whether it holds; None without claims."""
    blocks = findout.claim_blocks(figures)
    return section("claims", "What has been claimed", *blocks, finding=findout.claims_finding(figures))
