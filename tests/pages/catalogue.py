"""The messages of the sources, found by reading them, and the catalogues brought up to date with them.

Run `python tests/pages/catalogue.py` after changing sentences of the pages: it adds what is new to every catalogue,
without a translation, and drops what is gone. The tests of the languages then name what has to be translated.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

PACKAGE = Path(__file__).parents[2] / "riskcalc"
#: Said in the terminal, in English.
TERMINAL = ("screen.py", "screen_ranking.py", "screen_sites.py", "progress.py", "engine.py")
#: Functions whose texts are messages: the places of such arguments, and names of arguments.
GATES = {
    **dict.fromkeys(("say", "translated", "words", "upright_title"), (0,)),
    "counted": (0, 1),
    "table": (0, 1),
    "fold": (0,),
    "section": (1,),
    "items": (0,),
    "MethodPart": (0, 1, 2, 3, 4),
}
KEYWORDS = {"title", "reading", "alternative", "legend", "table", "more"}
#: Tables of words that are looked up: all their words are messages, but for keys, colours and units.
TABLES = {
    *(
        "ADVICE",
        "CABLE",
        "CAME",
        "DEEDS",
        "DEMAND",
        "FIRST_YEAR",
        "FLOWS",
        "FORESIGHT",
        "KINDS",
        "LEVELS",
        "MEASURES",
        "NAMES",
    ),
    *(
        "ORDER_WORDS",
        "PLACED",
        "READINGS",
        "OUTAGES",
        "OUTCOMES",
        "SOLAR",
        "TERMS",
        "VERDICTS",
        "WENT",
        "WITHOUT_SUPPLY",
        "_COUPLING",
        "_LAWS",
    ),
    *("header", "lines"),
}
#: No words: colours with the form of their key in a legend, units, names of keys.
NO_WORDS = re.compile(
    r"(ink|quiet|paid|never|solar|battery|grid|beyond|unmet)( line| dashed| hollow)?"
    r"|money|share|kWh|days|h|m|share/year|[a-z_.]*[_.][a-z_.]*"
)
SEVERAL_WORDS = re.compile(r"[A-Za-z]{2,}[,:;]? [A-Za-z0-9({“]|[a-z][.:]$")
A_WORD = re.compile(r"[A-Za-z]{2}|^%|“")
CODE = re.compile(r"[<>=\[\]|]|\w\(|^#|sans-serif")
TEMPLATE_MESSAGE = re.compile(r'_\("([^"]+)"\)')
PART = re.compile(r"(?<![_^])\{(\w+)(?::\w+)?\}")


def texts(node: ast.AST) -> Iterator[ast.Constant]:
    """Yield every text within a piece of a program, but those of f-strings and the keys of dicts."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield node
    elif isinstance(node, ast.Subscript):
        yield from texts(node.value)
    elif not isinstance(node, ast.JoinedStr | ast.Compare):
        children = node.values if isinstance(node, ast.Dict) else ast.iter_child_nodes(node)
        for child in children:
            yield from texts(child)


def name_of(call: ast.Call) -> str:
    """Return the name of what is called."""
    return str(getattr(call.func, "id", getattr(call.func, "attr", "")))


def plurals(tree: ast.AST) -> dict[str, str]:
    """Return the messages that have a plural, with it."""
    calls = (node for node in ast.walk(tree) if isinstance(node, ast.Call) and name_of(node) == "counted")
    pairs = (zip(texts(call.args[0]), texts(call.args[1]), strict=True) for call in calls if len(call.args) > 1)
    return {one.value: many.value for pair in pairs for one, many in pair}


def gated(tree: ast.AST) -> Iterator[ast.Constant]:
    """Yield the texts that pass a gate, or stand in a table that is looked up on the way to one."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            name = name_of(node)
            arguments = [node.args[place] for place in GATES.get(name, ()) if place < len(node.args)]
            arguments += [
                word.value for word in node.keywords if name in ("chart", "MethodPart") and word.arg in KEYWORDS
            ]
            for argument in arguments:
                yield from texts(argument)
        elif isinstance(node, ast.Assign) and (name := getattr(node.targets[0], "id", "")) in TABLES:
            rows = node.value.elts if isinstance(node.value, ast.Tuple) else [node.value]
            # The first of each row is a key.
            for row in rows:
                for piece in row.elts[1:] if isinstance(row, ast.Tuple) else [row]:
                    yield from texts(piece)
            if name == "DEEDS" and isinstance(node.value, ast.Dict):
                yield from (key for key in node.value.keys if isinstance(key, ast.Constant))


def not_said(tree: ast.AST) -> set[ast.AST]:
    """Return the texts that no reader sees: docstrings, errors, keys, and the pieces of f-strings."""
    out: set[ast.AST] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef) and ast.get_docstring(node) is not None:
            out.update(ast.walk(node.body[0]))
        if isinstance(node, ast.JoinedStr | ast.Raise | ast.Assert):
            out.update(text for text in ast.walk(node) if isinstance(text, ast.Constant))
        if isinstance(node, ast.Subscript):
            out.update(ast.walk(node.slice))
    return out


def messages_of(tree: ast.AST) -> Iterator[str]:
    """Yield every message of a module: what passes a gate, and all else that reads like words."""
    through, silent = set(gated(tree)), not_said(tree)
    for node in ast.walk(tree):
        if not isinstance(node, ast.Constant) or not isinstance(node.value, str):
            continue
        text = node.value
        if NO_WORDS.fullmatch(text) or text.startswith("<"):
            continue
        if node in through:
            if A_WORD.search(PART.sub("", text)):
                yield text
        elif node not in silent and not CODE.search(text) and SEVERAL_WORDS.search(text):
            yield text


def messages() -> dict[str, tuple[str, str | None]]:
    """Return every message of the pages with its file and its plural, in the order of the files."""
    found: dict[str, tuple[str, str | None]] = {}
    for path in sorted((PACKAGE / "pages").rglob("*.py")):
        if path.name in TERMINAL:
            continue
        tree, file = ast.parse(path.read_text(encoding="utf-8")), path.relative_to(PACKAGE.parent).as_posix()
        many = plurals(tree)
        for text in messages_of(tree):
            if (text in many or text not in many.values()) and (text not in found or text in many):
                found[text] = (file, many.get(text))
    for path in sorted((PACKAGE / "pages").glob("*.j2")):
        for text in TEMPLATE_MESSAGE.findall(path.read_text(encoding="utf-8")):
            found.setdefault(text, (path.relative_to(PACKAGE.parent).as_posix(), None))
    return found


def bring_up_to_date(path: Path) -> tuple[int, int]:
    """Add to a catalogue what is new, without a translation, drop what is gone; return how many of each."""
    from babel.messages.pofile import read_po, write_po

    with path.open("rb") as file:
        known = read_po(file, locale=path.parts[-3])
    wanted = messages()
    gone = [row.id for row in known if row.id and not row.context and first(row.id) not in wanted]
    for message in gone:
        known.delete(message)
    new = [(text, many) for text, (_, many) in wanted.items() if text not in known]
    for text, many in new:
        known.add((text, many) if many else text, ("", "") if many else "")
    with path.open("wb") as file:
        write_po(file, known, width=110)
    return len(new), len(gone)


def first(message: str | tuple[str, ...]) -> str:
    """Return the message itself, of one with a plural its singular."""
    return message if isinstance(message, str) else message[0]


if __name__ == "__main__":
    import sys

    for catalogue in sorted((PACKAGE / "locale").glob("*/LC_MESSAGES/riskcalc.po")):
        added, dropped = bring_up_to_date(catalogue)
        sys.stdout.write(f"{catalogue}: {added} new, {dropped} gone\n")
