"""What surrounds a run: outputs in the way, settings, text that plays tricks, memory that is short."""

from __future__ import annotations

import ast
import csv
import io
import json
import os
import subprocess
import sys
import tomllib
from collections.abc import Callable
from pathlib import Path
from subprocess import CompletedProcess

import pytest
from typer.testing import CliRunner

import riskcalc
from riskcalc import output
from riskcalc.cli import app
from riskcalc.commands.error_block import error_block
from riskcalc.commands.options import say
from riskcalc.errors import InputError, one_problem, with_extra
from riskcalc.output import check_outputs, clean_text, csv_text
from riskcalc.pages import engine, page

ROOT = Path(__file__).parents[2]


def run(*words: object) -> str:
    """Run a command in this process; bad input is raised."""
    done = CliRunner().invoke(app, list(map(str, words)), catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done.output


def test_an_output_that_is_an_input_is_refused(tmp_path: Path) -> None:
    """By any path to it, hard links and --overwrite included; nothing is touched."""
    scenario = tmp_path / "home.toml"
    scenario.write_text("x", encoding="utf-8")
    (tmp_path / "link.csv").symlink_to(scenario)
    os.link(scenario, tmp_path / "hard.csv")
    (tmp_path / "below").mkdir()
    for folder, name in (
        (tmp_path, "home.toml"),
        (tmp_path, "link.csv"),
        (tmp_path, "hard.csv"),
        (tmp_path / "below" / "..", "home.toml"),
    ):
        with pytest.raises(InputError, match=r"an input of this run"):
            check_outputs(folder, [name], inputs=[scenario], overwrite=True)
    assert scenario.read_text(encoding="utf-8") == "x"


@pytest.mark.parametrize("name", ["result.json", "draws.csv", "report.html", "draws.parquet", "notes"])
def test_a_file_that_is_not_ours_stays(tmp_path: Path, name: str) -> None:
    """Refused with the option that replaces it; an empty file is nobody's loss."""
    (tmp_path / name).write_text('{"mine": 1}', encoding="utf-8")
    with pytest.raises(InputError, match=r"riskcalc did not write[\s\S]*--overwrite"):
        check_outputs(tmp_path, [name])
    check_outputs(tmp_path, [name], overwrite=True)
    (tmp_path / name).write_text("", encoding="utf-8")
    check_outputs(tmp_path, [name])
    assert [path.name for path in tmp_path.iterdir()] == [name]


def test_every_command_knows_its_own_files_again(small_file: Path, tmp_path: Path) -> None:
    """assess, rank and compare run twice into one folder; a foreign file of the name is refused before any work."""
    quick = ["--set", "study.horizon_years=2", "--set", "study.pool_years=3"]
    words: dict[str, list[object]] = {
        "assess": ["assess", small_file, "--draws", 16, *quick],
        "rank": [
            "rank",
            small_file,
            "--points",
            2,
            *quick,
            "--set",
            "purchase.price={distribution='uniform',low=1,high=2}",
        ],
        "compare": ["compare", small_file, "--draws", 16, "--no-stay", *quick],
    }
    for command, given in words.items():
        folder = tmp_path / command
        for _ in range(2):
            run(*given, "--out", folder)
        for path in list(folder.iterdir()):
            path.write_text("mine", encoding="utf-8")
        with pytest.raises(InputError, match="did not write") as refused:
            run(*given, "--out", folder)
        assert len(refused.value.problems) == len(list(folder.iterdir()))
        assert {path.read_text(encoding="utf-8") for path in folder.iterdir()} == {"mine"}


@pytest.mark.parametrize("kind", ["svg", "png"])
def test_charts_know_their_pictures_and_leave_others(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str
) -> None:
    """Drawn again over their own; somebody else's picture of the same name stays, unless --overwrite is said.

    Two charts of the result are enough for that.
    """
    monkeypatch.setattr(page, "charts_in", lambda figures, every=page.charts_in: every(figures)[:2])
    words = ["charts", ROOT / "reports/examples/night-only/result.json", "--format", kind, "--out", tmp_path]
    run(*words)
    first, *_ = sorted(tmp_path.iterdir())
    drawn = first.read_bytes()
    run(*words)
    assert first.read_bytes() == drawn
    first.write_bytes(b"mine")
    with pytest.raises(InputError, match="did not write"):
        run(*words)
    assert first.read_bytes() == b"mine"
    run(*words, "--overwrite")
    assert first.read_bytes() == drawn


@pytest.mark.skipif(not Path("/proc").exists(), reason="needs a folder that nobody can write")
@pytest.mark.parametrize(
    ("command", "work"), [("rank", "riskcalc.answers.ranked.ranked"), ("assess", "riskcalc.study.model.assessment")]
)
def test_the_folder_is_tried_before_the_work(
    small_file: Path, monkeypatch: pytest.MonkeyPatch, command: str, work: str
) -> None:
    """A folder that takes no files is said before a point or a future is computed; `new` says it before it asks."""
    monkeypatch.setattr(work, lambda *_, **__: pytest.fail("worked first"))
    with pytest.raises(InputError, match="cannot be written"):
        run("new", "/proc/nowhere/home.toml")
    with pytest.raises(InputError, match="cannot be written"):
        run(command, small_file, "--out", "/proc/nowhere")


@pytest.mark.parametrize(
    ("given", "clean"),
    [
        ("plain", "plain"),
        ("two\nlines\tand a tab", "two\nlines\tand a tab"),
        ("red \x1b[31m", "red  [31m"),
        ("null \x00 byte", "null   byte"),
        ("\u202eright to left\u202c", "right to left"),
        ("\u2066a\u2069\u200b\ufeff\u061c", "a"),
        ("bell\x07 and \x9b", "bell  and  "),
        ("over\rwritten", "over written"),
        ("half \ud800", "half "),
        ("Grüße, 漢字 £", "Grüße, 漢字 £"),
    ],
)
def test_text_loses_what_plays_tricks(given: str, clean: str) -> None:
    """Control characters become spaces, marks of direction go, all other writing stays."""
    assert clean_text(given) == clean


def test_screen_and_page_are_written_through_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Neither the terminal nor a page sees the characters."""
    say(["a\x1b[2J", "\u202eb"])
    assert capsys.readouterr().out == "a [2J\nb\n"
    output.write_files(tmp_path, {"page.html": "<p>\u202ea\x00</p>"})
    assert (tmp_path / "page.html").read_text(encoding="utf-8") == "<p>a </p>"


def test_every_command_speaks_through_it() -> None:
    """Only `say` and the block of bad input, whose problems are clean lines, write to the terminal themselves."""
    speakers = {"echo", "secho", "print", "print_exc"}
    found = set()
    for path in [ROOT / "riskcalc/cli.py", *sorted((ROOT / "riskcalc/commands").glob("*.py"))]:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            called = node.func if isinstance(node, ast.Call) else None
            if getattr(called, "attr", getattr(called, "id", "")) in speakers:
                found.add((path.name, ast.unparse(called)))
    assert found == {("options.py", "typer.echo"), ("error_block.py", "typer.echo")}


def test_no_command_hands_on_what_plays_tricks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The name of a report's folder, on the screen of `open`; bad input, on the error stream, in colour too."""
    folder = tmp_path / "reports" / "a\x1b[2J\u202eb"
    folder.mkdir(parents=True)
    (folder / "report.html").write_text("x", encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("DISPLAY", raising=False)
    monkeypatch.delenv("WAYLAND_DISPLAY", raising=False)
    assert not {"\x1b", "\u202e"} & set(run("open"))
    block = error_block(one_problem("a\x1b[2J", "b\u202e", "c\x00", "d\x9b", "e\u2066"), coloured=True)
    assert not {"\x00", "\u202e", "\x9b", "\u2066"} & set(block)
    assert "\x1b[2J" not in block


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["TRICK"], "No such command"),
        (["assess", "--TRICK", "x.toml"], "No such option"),
        (["assess", "x.toml", "TRICK"], "unexpected extra argument"),
        (["assess", "x.toml", "--language", "TRICK"], "is not one of 'en', 'de'"),
        (["assess", "x.toml", "--step", "TRICK"], "valid integer"),
        (["assess", "TRICK"], "no such file"),
        (["check", "tests/data/flat.toml", "--set", "TRICK"], "key=value"),
        (["sites", "--near", "TRICK", "0"], "Invalid value"),
    ],
)
def test_what_was_typed_plays_no_tricks(
    here: Callable[..., CompletedProcess[str]], words: list[str], said: str
) -> None:
    """A word that cannot be taken is told without its control characters and direction marks, by typer too."""
    typed = [word.replace("TRICK", "a\x1b[2J\u202eb\x9b\u2066c") for word in words]
    told = here(*typed, cwd=ROOT)
    assert told.returncode == 2
    assert not told.stdout
    assert said in told.stderr
    assert not {"\x1b", "\u202e", "\x9b", "\u2066"} & set(told.stderr)


@pytest.mark.parametrize("start", ["=", "+", "-", "@"])
def test_no_cell_of_a_csv_is_a_formula(start: str) -> None:
    """In the header and below; numbers stay numbers, and a mark that hides the sign does not help."""
    hidden = f"\u200b{start}1"
    header, row = csv.reader(io.StringIO(csv_text([f"{start}cmd", "b", "c"], [[f"{start}1+1", -1.5, hidden]])))
    assert header == [f"'{start}cmd", "b", "c"]
    assert row == [f"'{start}1+1", "-1.5", f"'{start}1"]


def test_cache_shows_what_is_kept_and_clears_it(
    small_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Place, size and limit stand there; cleared, what the next run needs is made again and nothing else is touched."""
    folder = tmp_path / "kept"
    monkeypatch.setenv("RISKCALC_CACHE", str(folder))
    monkeypatch.setenv("RISKCALC_CACHE_GIB", "0.25")
    monkeypatch.setattr("riskcalc.jit.kept_code", lambda: sorted((tmp_path / "code").glob("*.nbc")))
    (tmp_path / "code").mkdir()
    (tmp_path / "code" / "loop.nbc").write_bytes(bytes(3 * 2**20))
    run("check", small_file)
    (folder / "mine.txt").write_text("x", encoding="utf-8")
    before = run("cache")
    assert str(folder) in before
    assert "limit: 256.0 MiB" in before
    assert "size:  3.0 MiB" in before
    after = run("cache", "--clear")
    assert after.count("size:  0.0 MiB") == 2
    assert [path.name for path in folder.iterdir()] == ["mine.txt"]


def test_without_room_for_the_chart_engine_the_figures_are_written(small_file: Path, tmp_path: Path) -> None:
    """With 8 GB of address space the engine would end the process; the page says that it has no charts."""
    pytest.importorskip("resource")
    words = [sys.executable, "-m", "riskcalc", "assess", small_file, "--draws", "16", "--out", tmp_path / "out"]
    words += ["--set", "study.horizon_years=2", "--set", "study.pool_years=3"]
    limit = (
        "import resource, sys, os; resource.setrlimit(resource.RLIMIT_AS, (8 << 30,) * 2); "
        "os.execv(sys.argv[1], sys.argv[1:])"
    )
    done = subprocess.run(
        [sys.executable, "-c", limit, *map(str, words)], capture_output=True, text=True, check=False, cwd=ROOT
    )
    assert done.returncode == 0, done.stderr[-2000:]
    assert done.stderr == f"riskcalc: {engine.MISSING}\n"
    assert json.loads((tmp_path / "out/result.json").read_text(encoding="utf-8"))["provenance"]["draws"] == 16
    assert len((tmp_path / "out/draws.csv").read_text(encoding="utf-8").splitlines()) == 17
    page = (tmp_path / "out/report.html").read_text(encoding="utf-8")
    assert "<h1>" in page
    assert engine.MISSING in page


def test_memory_that_does_not_suffice_is_said(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 2 and what helps, no traceback."""

    def short() -> None:
        raise MemoryError

    monkeypatch.setattr("riskcalc.cli._run", short)
    from riskcalc.cli import main

    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code == 2
    assert "not enough memory" in capsys.readouterr().err


def test_a_warning_of_ours_is_a_plain_line(capsys: pytest.CaptureFixture[str]) -> None:
    """Others look as Python shows them."""
    from riskcalc.cli import _shown
    from riskcalc.jit import CodeNotKept

    others: list[object] = []
    show = _shown(lambda *given: others.append(given))
    show("no room", CodeNotKept, "file.py", 3)
    show("other", UserWarning, "file.py", 3)
    assert capsys.readouterr().err == "riskcalc: no room\n"
    assert len(others) == 1


def test_the_version_is_the_one_of_the_package() -> None:
    """`--version` and the project file agree, and the types are marked as there."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert run("--version") == f"riskcalc {project['version']}\n"
    assert riskcalc.__version__ == project["version"]
    assert (ROOT / "riskcalc/py.typed").is_file()


def test_the_hint_fits_how_it_was_installed(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """In a copy of the repository the copy is installed again; elsewhere the package by its name."""
    assert "pip install -e '.[cluster]' in the copy" in with_extra("cluster")
    monkeypatch.setattr("riskcalc.errors.__file__", str(tmp_path / "site-packages/riskcalc/errors.py"))
    assert with_extra("cluster").endswith("pip install 'riskcalc[cluster]'")


def test_check_reads_kept_weather_without_the_solar_library(small_file: Path, tmp_path: Path) -> None:
    """The second `check` of a scenario imports none of the libraries that made its weather."""
    code = (
        "import sys\nfrom typer.testing import CliRunner\nfrom riskcalc.cli import app\n"
        f"out = CliRunner().invoke(app, ['check', {str(small_file)!r}])\nassert out.exit_code == 0, out\n"
        "print(sorted({'pvlib', 'pandas', 'scipy.signal', 'scipy.stats', 'altair', 'vl_convert'} & set(sys.modules)))\n"
    )
    environment = {**os.environ, "RISKCALC_CACHE": str(tmp_path / "cache")}
    for _ in range(2):
        done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, env=environment)
    assert done.stdout.strip() == "[]"
