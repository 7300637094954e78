"""List every sentence a user can meet and measure how hard it is to read.

    python tests/studies/readability.py [NAME ...] [--draws N] [--out FILE]

Runs every command that writes a page, on the shipped scenarios with few draws, and reads its pages and its screen. To
these come the messages in the source (errors, labels, questions, words of the scripts; parts to be filled in stand as
"…"), the help of every command and key, all cautions and all parts of the method. All sentences go into one text file.
The report says how long they are, how easily the first screen reads (Flesch, by textstat), and which hold a turn that
is not to be used. `tests/pages/test_readability.py` holds the same bounds on what is quick to collect.
"""

from __future__ import annotations

import ast
import re
import tempfile
from collections.abc import Iterable, Iterator
from html.parser import HTMLParser
from itertools import product
from pathlib import Path

import typer.main
from typer.testing import CliRunner

import riskcalc
from riskcalc.cli import app
from riskcalc.pages.exhibits.cautions import cautions
from riskcalc.pages.exhibits.method import method
from riskcalc.pages.figures import PLAIN

ROOT = Path(__file__).parents[2]
PACKAGE = Path(riskcalc.__file__).parent
LONGEST, MIDDLE, EASE = 32, 14, 60.0
#: Turns that read as if translated, or that nobody would say to a neighbour.
BANNED = re.compile(
    r"\b(whoever|whomever|whatsoever|thereof|therein|thereby|hereby|herein|hitherto|wherein|whereby|for want of"
    r"|such as are|of which|oneself|one's|let all futures back|what it still fetches|deepest debt|luckiest|whatever sum"
    r"|shuns|inquiry|worked out anew|valued anew|held against|do not part them|within reach does|came out again"
    r"|beyond doubt|in the light of|upon|nor do(?:es)?|so as to|in order to|be it|albeit|lest|ere|amongst|whilst|hence"
    r"|thus|shall|utili[sz]e|prior to|in the event of|with respect to)\b"
    # Inversions: the verb before its subject, which English keeps for questions.
    r"|(?:^|[.;:] )(?:Not|Never|Only then|Nor|Nowhere|Here) (?:do|does|did|can|will|is|are|has|have)"
    r" (?:the|a|an|it|they|we|you)\b",
    re.IGNORECASE,
)
#: Sections of a page whose texts come from elsewhere: sources, settings as given, checksums.
ELSEWHERE = ("assumed", "again")
_END = re.compile(r"(?<=[.!?])\s+(?=[A-Z“(])")
#: What is no prose: code, markup, keys, file names, patterns, citations with their year.
_NO_PROSE = re.compile(
    r"[<>{}|=\\#;_@^$]|\b(19|20)\d\d\b|https?:|\.\w+\(|  |://|\w/\w+/|,\.|%[sdY]|(?:\b[A-Z]{3}\b[ :].*){4}"
)


class Texts(HTMLParser):
    """Collects the text of each paragraph, item and heading; drawings, tables, code and sources are left out."""

    LEFT_OUT = ("script", "style", "svg", "code", "nav", "table", "pre", "dl", "head", "blockquote")
    BLOCKS = ("p", "li", "h1", "h2", "h3", "h4", "summary")

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
            self.text = "" if kind not in ("equation", "about", "facts") else "\x00"

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


def page_texts(html: str) -> list[str]:
    """Return the texts of a page, sources left out."""
    texts = Texts()
    texts.feed(html)
    return [text for text in texts.found if not text.startswith("Source:")]


def source_texts(folder: Path = PACKAGE) -> Iterator[str]:
    """Yield every text in the source that reads as prose, with "…" for each part to be filled in; no docstrings."""
    for path in sorted(folder.rglob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        silent = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
        for node in ast.walk(tree):
            if isinstance(node, ast.JoinedStr):
                silent |= {id(part) for part in ast.walk(node) if part is not node}
            if id(node) in silent:
                continue
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                yield from _prose(node.value)
            elif isinstance(node, ast.JoinedStr):
                parts = (part.value if isinstance(part, ast.Constant) else "…" for part in node.values)
                yield from _prose("".join(map(str, parts)))


def code_texts(folder: Path = PACKAGE) -> Iterator[str]:
    """Yield every docstring and every comment, for engineers to read at once."""
    for path in sorted(folder.rglob("*.py")):
        code = path.read_text(encoding="utf-8")
        for node in ast.walk(ast.parse(code)):
            if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef) and (said := ast.get_docstring(node)):
                yield " ".join(said.split())
        lines = [line.strip().lstrip("#: ") if line.strip().startswith("#") else "" for line in code.splitlines()]
        # Comments of several lines are read as one text.
        yield from (" ".join(block.split("\n")) for block in re.split(r"\n{2,}", "\n".join(lines)) if block.strip())


def document_texts() -> Iterator[str]:
    """Yield the paragraphs of the documents, code and tables left out."""
    for name in ("README.md", "DEVELOPERS.md", "scenarios/README.md", "scenarios/PYTHON.md", "reports/README.md"):
        text = re.sub(r"(?s)```.*?```|<!--.*?-->", "", (ROOT / name).read_text(encoding="utf-8"))
        text = re.sub(r"(?m)^(\||    |!\[).*$", "", text)
        for block in re.split(r"\n\s*\n|\n(?=- )", text):
            said = " ".join(re.sub(r"^[#\-\s]+|\*\*|`", "", re.sub(r"\[([^\]]*)\]\([^)]*\)", r"\1", block)).split())
            if said:
                yield said


def help_texts() -> list[str]:
    """Return the help of the program, of every command and of every option."""
    group = typer.main.get_command(app)
    commands = [group, *group.commands.values()]  # type: ignore[attr-defined]
    texts = [part for command in commands for part in (command.help or "").split("\n\n")]
    texts += [getattr(given, "help", None) or "" for command in commands for given in command.params]
    return [" ".join(text.split()) for text in texts if text]


def fixed_texts() -> list[str]:
    """Return every caution and what every part of the method says, whatever the scenario."""
    found: dict[str, None] = {}
    for coupling, flag in product(("none", "sockets", "plug_in", "whole_home", "off_grid"), (True, False)):
        kit = {"coupling": coupling, "has_modules": True, "has_battery": True}
        for caution in cautions(**kit, modules_in_series=1 + flag, renting=flag, exports_stored=flag, bridges=flag):
            found[caution] = None
        every = dict.fromkeys(("moves", "outages", "searched", "forecasts", "exports_stored"), True)
        mixed = dict.fromkeys(("generated_weather", "metered", "by_need"), flag)
        told = method({**kit, **every, **mixed, "ageing_law": "lfp"})
        found |= dict.fromkeys(text for part in told for text in (part.says, part.limit) if text)
    return list(found)


def banned(sentences: Iterable[str]) -> list[str]:
    """Return the sentences that hold a banned turn."""
    return [sentence for sentence in sentences if BANNED.search(sentence)]


def too_long(sentences: Iterable[str]) -> list[str]:
    """Return the sentences above the longest length."""
    return [sentence for sentence in sentences if len(sentence.split()) > LONGEST]


def middle_length(sentences: Iterable[str]) -> int:
    """Return the median number of words."""
    lengths = sorted(len(sentence.split()) for sentence in sentences)
    return lengths[len(lengths) // 2]


def reading_ease(text: str) -> float:
    """Return the Flesch reading ease of an English text: 60 and above is plain."""
    from textstat import flesch_reading_ease

    return float(flesch_reading_ease(text))


def first_screen_of(html: str) -> str:
    """Return the first screen as it stands on a finished page: the answer, why, and what to check."""
    body = html[html.index('<div class="hero">') : html.index('<dl class="figures">')]
    check = re.search(r'<p class="first">.*?</p>', html, re.DOTALL)
    text = re.sub(r"<[^>]*>", " ", body + (check[0] if check else ""))
    return " ".join(text.translate(PLAIN).replace(" .", ".").split())


def _prose(text: str) -> Iterator[str]:
    said = re.sub(r"\{[\w:.]*\}", "…", " ".join(text.split()))
    if len(said.split()) >= 4 and not _NO_PROSE.search(said) and re.match(r"[A-Za-z…“(]", said):
        yield said


def _runs(names: list[str], draws: int, folder: Path) -> Iterator[tuple[str, list[str], str]]:
    """Run every command that has a page; yield its name, its words and its screen."""
    few = ["--draws", str(draws), "--step", "30", "--set", "study.pool_years=8"]
    shelf = ROOT / "scenarios"
    scenarios = [str(shelf / f"{name}.toml") for name in names]
    measured = folder / "measured.csv"
    measured.write_text("month,import_kwh\n2026-01,260\n2026-02,220\n2026-03,190\n", encoding="utf-8")
    calls: list[tuple[str, list[str]]] = [("assess", [path, *few]) for path in scenarios]
    calls += [("check", [path]) for path in scenarios]
    calls += [
        ("compare", [str(shelf / "terrace-rooftop.toml"), str(shelf / "terrace-tenant.toml"), "--no-stay", *few]),
        ("match", ["--homes", str(shelf / "homes/studio.toml"), "--kits", str(shelf / "kits/p*.toml"), *few]),
        ("rank", [str(shelf / "tenant-balcony.toml"), "--points", "16", *few]),
        ("trace", [str(shelf / "tenant-balcony.toml"), "--draw", "0", "--year", "1", *few]),
        (
            "update",
            [str(shelf / "tenant-balcony.toml"), "--measured", str(measured), "--error", "0.3", *few, "--draws", "512"],
        ),
    ]
    for number, (command, words) in enumerate(calls):
        out = folder / str(number)
        target = out / "year.csv" if command == "trace" else out
        done = CliRunner().invoke(app, [command, *words, "--out", str(target)], catch_exceptions=False)
        assert done.exit_code == 0, done.output
        yield command, [path.read_text(encoding="utf-8") for path in sorted(out.rglob("*.html"))], done.stdout


def main(names: list[str], draws: int, target: Path | None) -> None:
    """Collect the sentences, write them where that is asked for, and print the measures."""
    names = names or sorted(path.stem for path in (ROOT / "scenarios").glob("*.toml"))
    texts: dict[str, list[str]] = {
        "source: messages, labels, errors": list(source_texts()),
        "help of commands and options": help_texts(),
        "cautions and method": fixed_texts(),
        "documents": list(document_texts()),
    }
    print("Flesch reading ease of the first screen, as a household meets it (60 and above is plain English)")
    with tempfile.TemporaryDirectory() as folder:
        for command, pages, screen in _runs(names, draws, Path(folder)):
            kind = f"pages of {command}"
            for html in pages:
                texts.setdefault(kind, []).extend(page_texts(html))
                if command == "assess":
                    title = re.search("<h1>(.*?)</h1>", html)
                    ease = reading_ease(first_screen_of(html))
                    print(f"  {ease:5.0f}  {title[1] if title else ''}{'' if ease >= EASE else '  TOO HARD'}")
            texts.setdefault(f"screen of {command}", []).extend(
                line.strip()
                for line in screen.splitlines()
                if "█" not in line and "  " not in line.strip() and " " in line
            )
    print(f"\n{'':34}{'sentences':>10}{'median':>8}{'longest':>9}{'above ' + str(LONGEST):>10}{'banned':>8}")
    every: dict[str, None] = {}
    for kind, found in texts.items():
        own = list(dict.fromkeys(sentence for text in found for sentence in in_sentences(text)))
        every |= dict.fromkeys(own)
        if own:  # the screen of a trace names its files only
            _print_row(kind, own)
    _print_row("all", list(every))
    for sentence in too_long(every):
        print(f"too long: {sentence}")
    for sentence in banned(every):
        print(f"banned: {sentence}")
    if target is not None:
        target.write_text("\n".join(every) + "\n", encoding="utf-8")


def _print_row(kind: str, own: list[str]) -> None:
    longest = max(len(sentence.split()) for sentence in own)
    print(f"{kind:34}{len(own):10}{middle_length(own):8}{longest:9}{len(too_long(own)):10}{len(banned(own)):8}")


if __name__ == "__main__":
    import argparse

    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("names", nargs="*")
    parser.add_argument("--draws", type=int, default=256)
    parser.add_argument("--out", type=Path)
    asked = parser.parse_args()
    main(asked.names, asked.draws, asked.out)
