"""The pages of a ranking, an update, a check and a traced year: which exhibits stand on each, in which order."""

from __future__ import annotations

from riskcalc.language import spoken, told
from riskcalc.pages.document import Document, documented, html_document
from riskcalc.pages.exhibit import Section, charts_of, hero, items, section, words
from riskcalc.pages.exhibits import answer, effects, findout, fit, more, order, ranking, traced, tracked, week
from riskcalc.pages.exhibits.again import again_blocks
from riskcalc.pages.exhibits.cautions import cautions
from riskcalc.pages.exhibits.glossary import glossary_blocks
from riskcalc.pages.figures import capital, counted, say
from riskcalc.pages.page import cautions_section, claims_section, loads_section, understood_section
from riskcalc.types import Figures


def rank_page(figures: Figures) -> str:
    """Return the page of a ranking, from the figures of ranking.json with the command under `page`."""
    figures = spoken(figures)
    sobol, opening = figures["sobol"], order.opening(figures)
    found = [*findout.information_blocks(figures), *findout.break_even_blocks(figures)]
    worth = "net_present_value"
    drawn = [order.first_block(figures)] if worth in sobol["outcomes"] else []
    sections = documented(
        [
            section(
                "answer",
                "The answer",
                hero(
                    opening,
                    [*order.reasons(figures), *order.still_words(figures)],
                    *drawn,
                    check=order.check_words(figures),
                ),
            ),
            order.order_section(figures, worth),
            order.order_section(figures, "first_year_saving"),
            answer.questions_section(figures),
            section(
                "families",
                "By family, and whether other methods agree",
                *order.family_blocks(figures),
                finding=order.families_finding(figures),
            ),
            section(
                "effects",
                "How far each input moves the worth",
                *effects.effect_blocks(figures),
                finding=effects.effects_finding(figures),
            ),
            section(
                "odds",
                "What moves the odds",
                *ranking.odds_table(figures),
                finding=ranking.odds_finding(figures),
            ),
            claims_section(figures),
            section("findout", "What is worth finding out", *found, finding=findout.findout_finding(figures)),
            section("terms", "Words explained", *glossary_blocks()),
            section("again", "How to get this again", *again_blocks(figures, says_method=False)),
        ]
    )
    return _small_page(figures, "What decides whether it pays off?", opening, sections)


def update_page(figures: Figures) -> str:
    """Return the page of an update, from the figures of update.json with the command under `page`."""
    figures = spoken(figures)
    opening = tracked.opening(figures)
    limits = items(f"{capital(limit)}." for limit in figures["limits"]) if figures["limits"] else None
    sections = documented(
        [
            section(
                "answer",
                "The answer",
                hero(
                    opening,
                    [*tracked.usual_words(figures), tracked.odds_words(figures), tracked.reason(figures)],
                    tracked.track_block(figures),
                ),
            ),
            more.more_parts(
                (
                    (say("What was measured"), [tracked.basis_words(figures)]),
                    (say("How exact this is"), [tracked.effective_words(figures)]),
                    (say("What limits this answer"), [limits]),
                )
            ),
            section(
                "outlook",
                "Odds, payback and worth before and now",
                *tracked.outlook_blocks(figures),
                finding=tracked.outlook_finding(figures),
            ),
            section(
                "inputs",
                "What the measurements moved",
                *tracked.input_blocks(figures),
                finding=tracked.inputs_finding(figures),
            ),
            section("terms", "Words explained", *glossary_blocks()),
            section("again", "How to get this again", *again_blocks(figures, says_method=False)),
        ]
    )
    measured = (tracked.measured_words(figures),)
    return _small_page(figures, "Is it going as expected?", opening, sections, facts=measured)


def check_page(figures: Figures) -> str:
    """Return the page of a check, from `answers.check` with the title of the scenario and the command under `page`."""
    figures = spoken(figures)
    opening = fit.opening(figures)
    uncertain = [f"{row['label']}: {row['given']} {told(row['unit'])}".strip() for row in figures["uncertain"]]
    sections = documented(
        [
            section("answer", "The answer", words(opening, "opening"), *map(words, fit.reasons(figures))),
            answer.questions_section(figures),
            section("fit", "Does it fit electrically?", *fit.fit_blocks({"electrical_fit": figures["fit"]})),
            loads_section(figures),
            understood_section(figures),
            section(
                "uncertain",
                "What is uncertain",
                items(uncertain),
                finding=counted("{count} input is uncertain", "{count} inputs are uncertain", len(uncertain)),
            )
            if uncertain
            else None,
            cautions_section(cautions(**figures["traits"])),
            section("terms", "Words explained", *glossary_blocks()),
            section("again", "How to get this again", *again_blocks(figures, says_method=False)),
        ]
    )
    return _small_page(figures, "Does the kit fit?", opening, sections)


def trace_page(figures: Figures) -> str:
    """Return the page of a traced year, from `answers.trace.trace_dict`."""
    figures = spoken(figures)
    opening, found = traced.opening(figures), figures["page"]["weeks"]
    sections = documented(
        [
            section("answer", "The answer", words(opening, "opening"), *traced.answer_blocks(figures)),
            section(
                "balance",
                "The energy balance",
                *traced.balance_blocks(figures),
                finding=traced.balance_finding(figures),
            ),
            section(
                "weeks",
                "Half hour by half hour",
                *week.week_blocks(figures, found),
                finding=week.weeks_finding(found),
            ),
            section("terms", "Words explained", *glossary_blocks()),
            section("again", "How to get this again", *again_blocks(figures, says_method=False)),
        ]
    )
    return _small_page(figures, "One future, step by step", opening, sections)


def _small_page(
    figures: Figures, question: str, opening: str, sections: tuple[Section, ...], *, facts: tuple[str, ...] = ()
) -> str:
    asked, name = say(question), told(str(figures.get("title") or figures["scenario"]))
    drawn = charts_of(sections)
    picture = drawn[0] if drawn else None
    return html_document(
        Document(
            title=f"{asked} · {name}",
            heading=asked,
            summary=opening,
            sections=sections,
            facts=(name, *facts),
            picture=picture,
        )
    )
