"""The documents are complete and lead where they say: every block of a result, every link, every exit code."""

import ast
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import riskcalc

ROOT = Path(__file__).parents[2]
PACKAGE = Path(riskcalc.__file__).parent
REPORTS = (ROOT / "reports/README.md").read_text(encoding="utf-8")
DOCUMENTS = sorted(
    path
    for folder in ("", "scenarios", "reports", "reports/evidence", "scenarios/data", "riskcalc/tables")
    for path in (ROOT / folder).glob("*.md")
)
#: Blocks of `assess` that only some scenarios have.
SOME = {
    *("payback_in_cash_years", "payback_with_sale_years", "paid_back_with_sale_within_years"),
    *("foresight", "running", "outages", "loss_of_load", "alternative"),
}


def explained(heading: str) -> set[str]:
    """Return the blocks that the table under a heading names in its first column."""
    part = REPORTS.split(f"## {heading}\n")[1].split("\n## ")[0]
    return {key for row in re.findall(r"^\| (`.*?) \|", part, re.MULTILINE) for key in re.findall(r"`(\w+)`", row)}


def returned(function: str, of: str) -> set[str]:
    """Return the keys of the dicts that a function of `of` returns, those of functions beside it that it unpacks too."""
    for path in sorted((PACKAGE / "answers").glob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        functions = {node.name: node for node in tree.body if isinstance(node, ast.FunctionDef)}
        given = functions[function].args.args[:1] if function in functions else []
        if given and given[0].annotation and ast.unparse(given[0].annotation) == of:
            break
    else:
        raise LookupError(f"{function} of {of}")

    def keys(name: str) -> set[str]:
        found = set()
        for node in ast.walk(functions[name]):
            if isinstance(node, ast.Return) and isinstance(node.value, ast.Dict):
                for key, value in zip(node.value.keys, node.value.values, strict=True):
                    if isinstance(key, ast.Constant):
                        found.add(str(key.value))
                    elif (
                        isinstance(value, ast.Call) and isinstance(value.func, ast.Name) and value.func.id in functions
                    ):
                        found |= keys(value.func.id)
        return found

    return keys(function)


def anchors(path: Path) -> set[str]:
    """Return the anchors of the headings of a document, as they are made on the web."""
    text = re.sub(r"```.*?```", "", path.read_text(encoding="utf-8"), flags=re.DOTALL)
    titles = re.findall(r"^#+ (.+)$", text, re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", title.lower()).replace(" ", "-") for title in titles}


def test_every_block_of_an_assessment_is_explained() -> None:
    """What the results of the gallery hold, and what only some scenarios have, stands in the table; nothing else does."""
    found = set()
    for path in sorted((ROOT / "reports/examples").glob("*/result.json")):
        found |= set(json.loads(path.read_text(encoding="utf-8")))
    assert len(found) > 35
    code = "".join(path.read_text(encoding="utf-8") for path in (PACKAGE / "answers").glob("*.py"))
    assert [key for key in sorted(SOME) if f'"{key}"' not in code] == []
    assert found | SOME == explained("result.json of `assess`")


@pytest.mark.parametrize(
    ("heading", "function", "of"),
    [
        ("result.json of `compare`", "result", "Comparison"),
        ("result.json of `match`", "result", "Matching"),
        ("ranking.json of `rank`", "ranked_figures", "Ranked"),
        ("update.json of `update`", "update_figures", "Update"),
        ("What `check --json` prints", "check_figures", "Scenario"),
    ],
)
def test_every_block_of_the_other_results_is_explained(heading: str, function: str, of: str) -> None:
    """Each key that the command writes stands in its table, and each key of the table is written."""
    written = returned(function, of)
    assert len(written) >= 3
    assert written == explained(heading)


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_every_link_of_the_documents_leads_somewhere(document: Path) -> None:
    """A link to a file finds the file, one with an anchor its heading; examples in code are no links."""
    text = re.sub(r"```.*?```|`[^`\n]*`", "", document.read_text(encoding="utf-8"), flags=re.DOTALL)
    for target in re.findall(r"\]\(([^)\s]+)\)", text):
        if target.startswith("https://"):
            continue
        name, _, anchor = target.partition("#")
        path = document if not name else (document.parent / name).resolve()
        assert path.exists(), f"{target}: no such file"
        assert not anchor or anchor in anchors(path), f"{target}: no such heading"


def test_the_readme_is_complete() -> None:
    """A picture near the top, five lines of what one gets, two commands, every command, every exit code."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    head, rest = text.split("What you get:")
    assert re.search(r"!\[[^\]]+\]\(reports/examples/[\w-]+/first-screen\.png\)", head)
    assert len(re.findall(r"^- ", rest.split("\n## ")[0], re.MULTILINE)) == 5
    assert text.count("<!-- command:") == 2
    for command in commands():
        assert re.search(rf"`riskcalc {command}\b", text), command
    codes = text.split("Exit codes:")[1].split("\n\n")[0]
    assert [int(code) for code in re.findall(r"\b(\d) ", codes)] == [0, 2, 3, 1]
    assert "`replay` found figures that differ" in codes


def test_the_guide_for_contributors_is_short() -> None:
    """At most 150 lines, and it names every package."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert len(text.splitlines()) <= 150
    for path in PACKAGE.iterdir():
        if (path / "__init__.py").is_file():
            assert f"`{path.name}/`" in text, path.name


def commands() -> list[str]:
    """Return the names of the commands."""
    import typer.main

    from riskcalc.cli import app

    group: Any = typer.main.get_command(app)
    return sorted(group.commands)


def test_a_broken_link_would_be_noticed(tmp_path: Path) -> None:
    """A link to a heading that is not there fails."""
    page = tmp_path / "page.md"
    page.write_text("# Here\n\n[there](#there)\n", encoding="utf-8")
    check: Callable[[Path], None] = test_every_link_of_the_documents_leads_somewhere
    with pytest.raises(AssertionError, match="no such heading"):
        check(page)
    page.write_text("# Here\n\n[here](#here) [gone](gone.md)\n", encoding="utf-8")
    with pytest.raises(AssertionError, match="no such file"):
        check(page)
