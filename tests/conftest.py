"""What the whole suite shares: a small scenario, and the table of published checks."""

from __future__ import annotations

import os
import signal
import time
import warnings
from collections.abc import Callable, Generator, Iterator
from pathlib import Path
from subprocess import CompletedProcess
from types import SimpleNamespace

import numpy as np
import pytest

from riskcalc.scenario import Scenario, read_scenario

SCENARIOS = Path(__file__).parents[1] / "scenarios"

#: A flat with one module and a small unit, everything fixed, nothing unusual: tests override what they are about.
SMALL = """
currency = "EUR"

[site]
zone = "Europe/London"
weather = { source = "climate", region = "thames" }
record_low_c = -12
resource_factor = 1

[home]
annual_use_kwh = 2000
weekday_home_share = 0.4
always_on_factor = 1
lamps_and_screens_factor = 1
appliances = { fridge_freezer = "unit", television = "unit", kettle = "unit", hob = "elsewhere" }
surfaces = { balcony = { tilt_deg = 75, azimuth_deg = 200, mounting = "rail" } }

[tariff]
standing_charge_per_day = 0.5
export_price_per_kwh = 0.05

[tariff.rates.day]
import_price_per_kwh = 0.30

[tariff.rates.night]
import_price_per_kwh = 0.15
windows = ["00:30-07:30"]

[prices]
discount_rate_per_year = 0.04
trend_per_year = 0
spread = 0
jump_chance_per_year = 0
inflation_per_year = 0

[kit]
coupling = "sockets"

[kit.module]
power_w = 430
voc_v = 38.9
isc_a = 13.9
vmp_v = 32.6
imp_a = 13.2
cells_in_series = 54
gamma_pmax_per_k = -0.0030
beta_voc_per_k = -0.0025
alpha_isc_per_k = 0.00045

[kit.arrays.one]
modules_in_series = 1

[kit.inputs.solar]
max_power_w = 600
max_voltage_v = 60

[kit.battery]
capacity_kwh = 1.0
charge_w = 800
discharge_w = 1200

[kit.inverter]
rating_w = 1000
idle_w = 12
efficiency_half_load = 0.91
efficiency_full_load = 0.89

[kit.charger]
power_w = 500
efficiency = 0.92

[kit.ageing]
scale = 1
electronics_life_years = 100

[dispatch]
charge_at = ["night"]

[purchase]
price = 600

[study]
horizon_years = 3
draws = 16
scrambles = 8
pool_years = 1
step_minutes = 15
"""

ReadSmall = Callable[..., Scenario]


@pytest.fixture(scope="session", autouse=True)
def _own_cache(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Keep weather and demand years in a folder of this run, not in that of the user; its workers share it."""
    folder = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        folder = folder.parent
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("RISKCALC_CACHE", str(folder / "cache"))
        yield


@pytest.fixture(scope="session", autouse=True)
def _compiled_once(_own_cache: None, tmp_path_factory: pytest.TempPathFactory) -> None:
    """Of several workers one compiles the loops, which takes some ten seconds; the others wait and read what it kept."""
    if int(os.environ.get("PYTEST_XDIST_WORKER_COUNT", "1")) == 1:
        return
    folder = tmp_path_factory.getbasetemp().parent
    try:
        (folder / "compiling").mkdir()
    except FileExistsError:
        ends = time.monotonic() + 120.0
        while not (folder / "compiled").exists() and time.monotonic() < ends:
            time.sleep(0.1)
        return
    from riskcalc.study.model import assessment

    try:
        path = tmp_path_factory.mktemp("first") / "small.toml"
        path.write_text(SMALL, encoding="utf-8")
        assessment(read_scenario(path))
    finally:
        (folder / "compiled").touch()


@pytest.fixture
def small_file(tmp_path: Path) -> Path:
    """The small scenario as a file."""
    path = tmp_path / "small.toml"
    path.write_text(SMALL, encoding="utf-8")
    return path


@pytest.fixture
def read_small(small_file: Path) -> ReadSmall:
    """A function that reads the small scenario with `key=value` changes."""
    return lambda *changes: read_scenario(small_file, changes)


@pytest.fixture
def read_small_without(tmp_path: Path) -> ReadSmall:
    """A function that reads the small scenario less some tables, with changes: `(("kit.battery", ...), *changes)`."""

    def read(tables: tuple[str, ...], *changes: str) -> Scenario:
        if "kit" in tables:
            tables = (*tables, "kit.ageing")
        kept = [
            block
            for block in SMALL.split("\n\n")
            if not any(block.lstrip().startswith(f"[{table}]") for table in tables)
        ]
        path = tmp_path / "less.toml"
        path.write_text("\n\n".join(kept), encoding="utf-8")
        return read_scenario(path, changes)

    return read


@pytest.fixture
def here(monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]) -> Callable[..., CompletedProcess[str]]:
    """A function that runs a command in this process, which saves the second that a new one takes to start."""

    def run(*words: object, cwd: Path) -> CompletedProcess[str]:
        from riskcalc.cli import main

        code = 0
        capfd.readouterr()
        with monkeypatch.context() as patch:
            patch.chdir(cwd)
            patch.setattr("sys.argv", ["riskcalc", *map(str, words)])
            patch.setattr("warnings.showwarning", warnings.showwarning)  # the command puts its own there
            patch.setattr("riskcalc.cli.atexit", SimpleNamespace(register=lambda *_: None))
            try:
                main()
            except SystemExit as ended:
                code = int(ended.code or 0)
        return CompletedProcess(list(map(str, words)), code, *capfd.readouterr())

    return run


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport() -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Turn numpy numbers in recorded figures into plain ones: workers can send nothing else."""
    report = yield
    report.user_properties = [
        (
            name,
            tuple(float(part) if isinstance(part, np.number) else part for part in value)
            if name == "published"
            else value,
        )
        for name, value in report.user_properties
    ]
    return report


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Print what the published checks computed beside what their sources print."""
    rows = [
        value
        for report in terminalreporter.getreports("passed") + terminalreporter.getreports("failed")
        for name, value in report.user_properties
        if name == "published"
    ]
    if not rows or not terminalreporter.config.getoption("-m"):
        return
    terminalreporter.section("published checks: quantity | source | published | computed | difference")
    for quantity, source, published, computed in rows:
        terminalreporter.line(f"{quantity} | {source} | {published:g} | {computed:.6g} | {computed - published:+.2g}")


@pytest.fixture(autouse=True)
def ctrl_c_is_heeded() -> Iterator[None]:
    """Children heed Ctrl-C even where the tests run behind a shell's `&`, which ignores it: what is ignored is handed on."""
    before = signal.getsignal(signal.SIGINT)
    if before is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)
