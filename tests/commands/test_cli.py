"""The command line as its user meets it: exit codes, files, one clear block for bad input."""

import csv
import io
import json
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

SCENARIOS = Path(__file__).parents[2] / "scenarios"


def run(*words, cwd):
    """Run riskcalc in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "riskcalc", *map(str, words)], cwd=cwd, capture_output=True, text=True, check=False
    )


def table(path):
    """Read a CSV file into a list of rows."""
    return list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"))))


def test_help_answers_without_the_heavy_libraries():
    """`--help` lists the commands and imports none of the libraries that cost half a second."""
    code = (
        "import sys\nfrom typer.testing import CliRunner\nfrom riskcalc.cli import app\n"
        "out = CliRunner().invoke(app, ['--help'])\nassert out.exit_code == 0, out\n"
        "assert 'assess' in out.output and 'trace' in out.output\n"
        "heavy = {'numpy', 'pandas', 'scipy', 'numba', 'pvlib', 'altair', 'SALib', 'pydantic'} & set(sys.modules)\n"
        "assert not heavy, heavy\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_assess_writes_its_three_files_and_names_the_report_last(small_file, tmp_path):
    """assess ends with exit code 0 and the report's path on the last line; the files hold what the README says."""
    done = run("assess", small_file, "--draws", 16, "--set", "purchase.price=200", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    folder = tmp_path / "reports" / "small"
    assert done.stdout.splitlines()[-1] == "reports/small/report.html"
    assert sorted(path.name for path in folder.iterdir()) == ["draws.csv", "report.html", "result.json"]
    result = json.loads((folder / "result.json").read_text())
    for payback in ("payback_years", "discounted_payback_years"):
        assert {"p5", "p25", "p50", "p75", "p95", "never_share"} <= set(result[payback])
    worth = {
        "mean",
        "sd",
        "p5",
        "p25",
        "p50",
        "p75",
        "p95",
        "loss_probability",
        "gain_probability",
        "mean_of_worst_5_percent",
    }
    assert worth <= set(result["net_present_value"])
    year = {"saving", "import_kwh", "export_kwh", "solar_used_kwh", "battery_throughput_kwh"}
    assert year <= set(result["first_year"])
    for group in ("payback_years", "net_present_value", "first_year"):
        for name, figure in result[group].items():
            # A quantile of a payback may be never: its interval is said too.
            more = {"interval_95"} if group == "payback_years" and name != "never_share" else set()
            assert set(figure) == {"value", "standard_error"} | more
    assert result["provenance"]["draws"] == 16
    assert result["provenance"]["files"][0]["sha256"]
    assert any(row["key"] == "kit.inverter.idle_w" for row in result["assumptions"])
    rows = table(folder / "draws.csv")
    assert len(rows) == 16
    assert {"draw", "payback_years", "net_present_value", "first_year_saving"} <= set(rows[0])


def test_never_is_an_empty_cell_and_a_null(here, small_file, tmp_path):
    """A purchase that cannot pay back: null quantiles, never-share 1, empty cells; nothing is averaged."""
    done = here("assess", small_file, "--set", "purchase.price=90000", "--out", "out", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    result = json.loads((tmp_path / "out" / "result.json").read_text())
    assert result["payback_years"]["p50"] == {"value": None, "standard_error": None, "interval_95": [None, None]}
    assert result["payback_years"]["never_share"]["value"] == 1.0
    rows = table(tmp_path / "out" / "draws.csv")
    assert {row["payback_years"] for row in rows} == {""}


def test_json_goes_to_standard_output(here, small_file, tmp_path):
    """--json prints the figures and nothing else."""
    done = here("assess", small_file, "--json", cwd=tmp_path)
    assert json.loads(done.stdout)["scenario"] == "small"


def test_trace_writes_the_columns_of_the_readme(here, small_file, tmp_path):
    """A traced year has one row per step, wall-clock times with offset, and balances to the digits written."""
    done = here("trace", small_file, "--draw", 2, "--year", 1, "--out", "t.csv", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    rows = table(tmp_path / "t.csv")
    assert len(rows) == 365 * 24 * 4
    assert rows[0]["time"] == "2025-01-01T00:00:00+00:00"
    assert rows[180 * 96]["time"].endswith("+01:00")
    for row in rows[::977]:
        number = {name: float(cell) for name, cell in row.items() if name != "time"}
        assert number["pv_available_w"] == pytest.approx(number["pv_used_w"] + number["pv_curtailed_w"], abs=1e-6)
        sources = number["pv_used_w"] + number["grid_import_w"] + number["battery_discharge_w"] + number["unmet_w"]
        sinks = number["demand_w"] + number["grid_export_w"] + number["battery_charge_w"] + number["losses_w"]
        assert sources == pytest.approx(sinks, rel=1e-6, abs=1e-6)
    assert done.stdout.splitlines() == ["t.csv", "t.html"]
    page = (tmp_path / "t.html").read_text(encoding="utf-8")
    assert "<h1>One future, step by step</h1>" in page
    assert f"riskcalc trace {small_file.as_posix()} --draw 2 --year 1 --out t.csv" in page


def test_bad_input_is_one_block_and_exit_code_2(here, small_file, tmp_path):
    """A wrong key and a wrong value are both named, with no traceback and no output folder."""
    done = here("assess", small_file, "--set", "kit.inverter.idel_w=5", "--set", "purchase.price=-3", cwd=tmp_path)
    assert done.returncode == 2
    assert "2 problems with the input" in done.stderr
    assert "idle_w" in done.stderr
    assert "purchase.price" in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "reports").exists()


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("trace", "--draw", "999", "--year", "1", "--out", "t.csv"), "0 to 15"),
        (("trace", "--draw", "0", "--year", "9", "--out", "t.csv"), "1 to 3, the horizon"),
        (("assess", "--step", "7"), "study.step_minutes"),
        (("assess", "--step", "60"), "a divisor of 30"),
    ],
)
def test_options_out_of_range_are_bad_input(here, words, message, small_file, tmp_path):
    """Draws, years and steps that do not exist are refused with what is accepted."""
    done = here(words[0], small_file, *words[1:], cwd=tmp_path)
    assert done.returncode == 2, done.stdout
    assert message in done.stderr
    assert "Traceback" not in done.stderr


def test_check_refuses_a_string_that_is_too_long(here, small_file, tmp_path):
    """check prints the fit, says what would fit, and ends with exit code 2; a kit that fits ends with 0."""
    good = here("check", small_file, cwd=tmp_path)
    bad = here("check", small_file, "--set", "kit.arrays.one.modules_in_series=2", cwd=tmp_path)
    assert good.returncode == 0
    assert "licensed electrician" in good.stdout
    assert bad.returncode == 2
    assert "open-circuit voltage" in bad.stderr


def test_sites_and_schema(here, tmp_path):
    """The lists that help to write a scenario: climates with their source, and a JSON Schema."""
    listed = here("sites", cwd=tmp_path).stdout
    assert "thames" in listed
    assert "Standard Assessment Procedure" in listed
    assert json.loads(here("schema", cwd=tmp_path).stdout)["properties"]["kit"]
    near = here("sites", "--near", "51.5", "-0.1", cwd=tmp_path).stdout.splitlines()
    assert [line.split()[0] for line in near[:4]] == ["region", "thames", "south_east_england", "east_anglia"]
    far = here("sites", "--near", "-33.9", "151.2", cwd=tmp_path).stdout
    assert "too far to stand for this place" in far
    assert "riskcalc weather -33.9 151.2" in far


@pytest.mark.parametrize("scenario", sorted(SCENARIOS.glob("*.toml")), ids=lambda path: path.stem)
def test_shipped_scenarios_check(here, scenario, tmp_path):
    """Every shipped scenario is sound and its kit fits its modules."""
    done = here("check", scenario, cwd=tmp_path)
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize("ending", ["SIGINT", "SIGTERM"])
@pytest.mark.parametrize("when", ["tidying", "waiting"])
def test_a_signal_after_the_work_is_done_ends_in_silence(ending, when):
    """While threads are waited for it ends the process, while the end tidies it changes nothing; no traceback either way."""
    kill = f"os.kill(os.getpid(), signal.{ending})"
    begun = {
        "tidying": f"atexit.register(lambda: {kill})",
        "waiting": f"threading.Thread(target=lambda: (time.sleep(1.0), {kill}, time.sleep(9.0))).start()",
    }[when]
    script = f"import atexit, os, signal, sys, threading, time\nfrom riskcalc.cli import main\n{begun}\n"
    done = subprocess.run(
        [sys.executable, "-c", script + "sys.argv = ['riskcalc', '--help']\nmain()"],
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert done.stderr == ""
    assert "assess" in done.stdout
    assert done.returncode == (0 if when == "tidying" else -getattr(signal, ending))


def test_ctrl_c_while_modules_are_read_ends_in_silence(tmp_path):
    """Six moments of the start, when imports and callbacks of libraries would turn it into a traceback or swallow it."""
    for number in range(6):
        process = subprocess.Popen(
            [sys.executable, "-m", "riskcalc", "assess", "scenarios/night-only.toml", "--out", str(tmp_path)],
            cwd=Path(__file__).parents[2],
            stderr=subprocess.PIPE,
            text=True,
        )
        time.sleep(0.3 + 0.1 * number)
        process.send_signal(signal.SIGINT)
        _, errors = process.communicate(timeout=60)
        assert process.returncode == -signal.SIGINT
        assert errors == ""
    assert not list(tmp_path.iterdir())
