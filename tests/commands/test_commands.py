"""Small comforts of the command line: opening the last report, colour where it is wanted, completion of words."""

import os
import subprocess
import sys
import webbrowser
from pathlib import Path

import pytest
from typer.testing import CliRunner

from riskcalc.cli import COMMANDS, app
from riskcalc.commands import open_report
from riskcalc.commands.compare import folder_name
from riskcalc.commands.error_block import error_block, wants_colour
from riskcalc.errors import InputError, Problem

ERROR = InputError(Problem("home.toml", "home.annual_use_kwh", "-3", "20 to 100000 kWh a year", "a hint"))


def report_in(folder: Path, *, age_s: float) -> Path:
    """Write a page of some age."""
    folder.mkdir(parents=True)
    page = folder / "report.html"
    page.write_text("<!doctype html>", encoding="utf-8")
    os.utime(page, (1e9 - age_s, 1e9 - age_s))
    return page


@pytest.fixture
def shown(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Two reports, and a browser that only notes what it is asked to show."""
    monkeypatch.chdir(tmp_path)
    report_in(tmp_path / "reports/older", age_s=100.0)
    report_in(tmp_path / "reports/newer", age_s=1.0)
    asked: list[str] = []
    monkeypatch.setattr(webbrowser, "open", lambda address: asked.append(address) or True)
    monkeypatch.setattr(open_report, "has_screen", lambda: True)
    return asked


def test_open_shows_the_last_report(shown: list[str], tmp_path: Path) -> None:
    """The newest page goes to the browser as a file, and its path is printed."""
    done = CliRunner().invoke(app, ["open"], catch_exceptions=False)
    assert done.output.strip() == "reports/newer/report.html"
    assert shown == [(tmp_path / "reports/newer/report.html").as_uri()]


@pytest.mark.parametrize("name", ["older", "reports/older", "reports/older/report.html"])
def test_open_finds_a_report_by_name_folder_or_file(shown: list[str], name: str) -> None:
    """Any way of naming it will do."""
    done = CliRunner().invoke(app, ["open", name], catch_exceptions=False)
    assert done.output.strip().endswith("reports/older/report.html")
    assert len(shown) == 1


def test_open_prints_the_path_where_there_is_no_screen(shown: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """Without a display nothing is started."""
    monkeypatch.undo()
    monkeypatch.setattr(webbrowser, "open", shown.append)
    for name in ("DISPLAY", "WAYLAND_DISPLAY"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr(sys, "platform", "linux")
    assert not open_report.has_screen()
    monkeypatch.setenv("DISPLAY", ":0")
    assert open_report.has_screen()
    assert shown == []


def test_open_names_the_reports_there_are(shown: list[str]) -> None:
    """A name that is not there is bad input."""
    with pytest.raises(InputError, match="there are: newer, older"):
        CliRunner().invoke(app, ["open", "oldest"], catch_exceptions=False)
    assert shown == []


def test_open_without_reports_says_what_makes_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An empty folder is bad input with a way out."""
    monkeypatch.chdir(tmp_path)
    with pytest.raises(InputError, match="riskcalc assess SCENARIO writes one"):
        CliRunner().invoke(app, ["open"], catch_exceptions=False)


def test_colour_adds_nothing_but_colour() -> None:
    """Without its escape codes the coloured block is the plain one."""
    import re

    coloured = error_block(ERROR, coloured=True)
    assert "\x1b[" in coloured
    assert re.sub(r"\x1b\[[0-9;]*m", "", coloured) == error_block(ERROR, coloured=False)
    assert "\x1b[" not in error_block(ERROR, coloured=False)


@pytest.mark.parametrize(
    ("terminal", "settings", "wanted"),
    [
        (True, {}, True),
        (False, {}, False),
        (True, {"NO_COLOR": "1"}, False),
        (True, {"NO_COLOR": ""}, True),
        (True, {"TERM": "dumb"}, False),
    ],
)
def test_colour_is_for_terminals_that_want_it(
    terminal: bool, settings: dict[str, str], wanted: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A pipe, NO_COLOR and a dumb terminal get none."""
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setenv("TERM", "xterm")
    for name, value in settings.items():
        monkeypatch.setenv(name, value)
    monkeypatch.setattr(sys.stderr, "isatty", lambda: terminal, raising=False)
    assert wants_colour() is wanted


@pytest.mark.parametrize(
    ("words", "completed"),
    [
        ("riskcalc as", "assess"),
        ("riskcalc ", "new"),
        ("riskcalc assess --dr", "--draws"),
        ("riskcalc new --kit portable-2kwh-", "portable-2kwh-two-modules"),
        ("riskcalc new --place th", "thames"),
        ("riskcalc new --tariff tw", "two-rate"),
    ],
)
def test_shells_complete_words(words: str, completed: str) -> None:
    """What a shell's completion asks of the command: commands, options, kits, regions."""
    count = len(words.split()) - (0 if words.endswith(" ") else 1)
    environment = os.environ | {
        "_RISKCALC_COMPLETE": "complete_bash",
        "_TYPER_COMPLETE_ARGS": words,
        "COMP_WORDS": words,
        "COMP_CWORD": str(count),
    }
    code = "import sys; sys.argv[0] = 'riskcalc'; from riskcalc.cli import main; main()"
    done = subprocess.run(
        [sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=False, timeout=60
    )
    assert completed in done.stdout.split(), (done.stdout, done.stderr)


def test_the_list_of_commands_cuts_no_sentence_short() -> None:
    """Every command has a line of its own that fits."""
    shown = CliRunner().invoke(app, ["--help"], catch_exceptions=False, terminal_width=80).output
    listed = shown.partition("Commands:")[2].splitlines()[1:]
    assert [line.split()[0] for line in listed if line.strip()] == [name for name, _, _ in COMMANDS]
    assert not any("..." in line for line in listed)


@pytest.mark.parametrize(("option", "key"), [("--draws", "study.draws"), ("--step", "study.step_minutes")])
def test_a_wrong_option_is_named_as_it_was_typed(small_file: Path, option: str, key: str) -> None:
    """What stands behind an option is named by it, not only by the key that it changes."""
    with pytest.raises(InputError) as caught:
        CliRunner().invoke(app, ["assess", str(small_file), option, "0"], catch_exceptions=False)
    (problem,) = caught.value.problems
    assert (problem.file, problem.key, problem.given) == ("command line", f"{option} ({key})", "0")


def test_one_option_against_nothing_does_not_write_over_its_assessment() -> None:
    """`compare` of one scenario has a folder of its own."""
    assert folder_name(["home"]) == "home-or-nothing"
    assert folder_name(["a", "b"]) == "a-or-b"
