"""List every sentence a user can meet and measure how hard it is to read.

    python tests/studies/readability.py [NAME ...] [--out FILE]

Renders the page and the screen of each shipped scenario, all cautions and all parts of the method, writes the sentences
into a text file, and reports their lengths, the Flesch reading ease of the first screen (textstat) and banned turns.
`tests/pages/test_readability.py` holds the list of turns and the lengths.
"""

from __future__ import annotations

import re
import sys
from html.parser import HTMLParser
from itertools import product
from pathlib import Path
from typing import Any

from riskcalc.pages.exhibits import answer
from riskcalc.pages.exhibits.cautions import cautions
from riskcalc.pages.exhibits.method import method
from riskcalc.pages.figures import PLAIN
from riskcalc.pages.page import assess_page
from riskcalc.pages.screen import summary_lines

#: Turns that read as if translated, or that nobody would say to a neighbour.
BANNED = re.compile(
    r"\b(whoever|thereof|for want of|such as are|let all futures back|what it still fetches|deepest debt|luckiest"
    r"|whatever sum|shuns|inquiry|worked out anew|valued anew|held against|do not part them|within reach does)\b",
    re.IGNORECASE,
)
#: Sections whose texts come from elsewhere: sources, settings as given, checksums.
ELSEWHERE = ("assumed", "again", "loads", "claims")
_END = re.compile(r"(?<=[.!?])\s+(?=[A-Z“(])")


class Texts(HTMLParser):
    """Collects the text of each paragraph, item and heading; drawings, tables, code and sources are left out."""

    LEFT_OUT = ("script", "style", "svg", "code", "nav", "table", "pre", "dl", "head")
    BLOCKS = ("p", "li", "h1", "h2", "h3", "h4", "blockquote", "summary")

    def __init__(self) -> None:
        super().__init__()
        self.section, self.hidden, self.found, self.text = "", 0, [], ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note where we are."""
        if tag == "section":
            self.section = dict(attrs)["id"] or ""
        kind = dict(attrs).get("class") or ""
        self.hidden += tag in self.LEFT_OUT
        if tag in self.BLOCKS:
            self.text = "" if kind != "equation" else "\x00"

    def handle_endtag(self, tag: str) -> None:
        """Keep the text of a block that ends."""
        self.hidden -= tag in self.LEFT_OUT
        if tag in self.BLOCKS and self.text.strip() and "\x00" not in self.text and self.section not in ELSEWHERE:
            self.found.append(" ".join(self.text.split()))
            self.text = ""

    def handle_data(self, data: str) -> None:
        """Keep text that is seen."""
        if not self.hidden:
            self.text += data


def in_sentences(text: str) -> list[str]:
    """Return the sentences of a text."""
    return [part for part in _END.split(text.translate(PLAIN)) if part]


def sentences_of_assessment(figures: dict[str, Any]) -> list[str]:
    """Return the sentences of a page and its screen, of every caution and of every part of the method."""
    texts = Texts()
    texts.feed(assess_page({**figures, "page": {**figures["page"], "weeks": []}}))
    said = [text for text in texts.found if not text.startswith(("Source:", "Terms:"))]
    said += [line for line in summary_lines(figures) if "█" not in line]
    return [sentence for text in [*said, *fixed_texts()] for sentence in in_sentences(text)]


def fixed_texts() -> list[str]:
    """Return every caution and what every part of the method says, whatever the scenario."""
    found: dict[str, None] = {}
    for coupling, flag in product(("none", "sockets", "plug_in", "whole_home", "off_grid"), (True, False)):
        kit = {"coupling": coupling, "has_modules": True, "has_battery": True}
        for caution in cautions(**kit, modules_in_series=1 + flag, renting=flag, exports_stored=flag, bridges=flag):
            found[caution] = None
        told = method(
            **kit, generated_weather=flag, metered=flag, ageing_law="lfp", moves=True, outages=True, searched=True,
            by_need=flag, forecasts=True, exports_stored=True,
        )  # fmt: skip
        found |= dict.fromkeys(text for part in told for text in (part.says, part.limit) if text)
    return list(found)


def banned(sentences: list[str]) -> list[str]:
    """Return the sentences that hold a banned turn."""
    return [sentence for sentence in sentences if BANNED.search(sentence)]


def first_screen(figures: dict[str, Any]) -> str:
    """Return what a household reads first."""
    parts = (answer.asked_words, answer.verdict_words, answer.worth_in_brief, answer.refused_words, answer.check_first)
    return " ".join(part(figures) for part in parts).translate(PLAIN)


def main(names: list[str], target: Path) -> None:
    """Write the sentences of the scenarios named, all without a name, and print the measures."""
    import riskcalc.api

    try:
        from textstat import flesch_reading_ease
    except ImportError:
        flesch_reading_ease = None
    folder = Path(__file__).parents[2] / "scenarios"
    every: dict[str, None] = {}
    for name in names or sorted(path.stem for path in folder.glob("*.toml")):
        page = riskcalc.api.assess(folder / f"{name}.toml").page
        every |= dict.fromkeys(sentences_of_assessment(page))
        ease = (
            "textstat is not installed"
            if flesch_reading_ease is None
            else f"{flesch_reading_ease(first_screen(page)):.0f}"
        )
        print(f"{name}: Flesch reading ease of the first screen {ease}")
    sentences = list(every)
    lengths = sorted(len(sentence.split()) for sentence in sentences)
    target.write_text("\n".join(sentences) + "\n", encoding="utf-8")
    print(
        f"{len(sentences)} sentences in {target}: {lengths[len(lengths) // 2]} words in the middle, {lengths[-1]} at most"
    )
    for sentence in banned(sentences):
        print(f"banned: {sentence}")
    for sentence in sentences:
        if len(sentence.split()) > 32:
            print(f"too long: {sentence}")


if __name__ == "__main__":
    out = sys.argv.index("--out") if "--out" in sys.argv else len(sys.argv)
    main(sys.argv[1:out], Path(sys.argv[out + 1] if out < len(sys.argv) else "sentences.txt"))
