"""Fetching real years: a server on loopback speaks the recorded form, and misbehaves in every way a network does."""

from __future__ import annotations

import http.server
import json
import os
import re
import resource
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pandas as pd
import pytest

from riskcalc.errors import InputError
from riskcalc.weather import record
from riskcalc.weather.files import read_csv_years
from riskcalc.weather.record import Service, check_years, fetch_years
from riskcalc.weather.solar import sun_path

PLACE = (-33.5, 151.25)
#: About what a year takes on the disk.
YEAR_BYTES = 400_000
Reply = Callable[["Handler", dict[str, Any]], None]


def answer(year: int, latitude: float, longitude: float, *, altitude: float = 42.5) -> dict[str, Any]:
    """Return one year in the form of the service: columns by hour of UTC, begin of the hour, and a head."""
    hours = pd.date_range(f"{year}-01-01", f"{year}-12-31 23:00", freq="h")
    sun = sun_path(latitude, longitude, 0.0, 0.0)
    outside = np.resize(sun.extraterrestrial_horizontal_w, len(hours))
    high = np.resize(np.maximum(sun.cos_zenith, 0.05), len(hours))
    series = {
        "ALLSKY_SFC_SW_DWN": 0.55 * outside,
        "ALLSKY_SFC_SW_DIFF": 0.25 * outside,
        "ALLSKY_SFC_SW_DNI": np.minimum(0.3 * outside / high, 900.0),
        "T2M": 15.0 + year % 10 + 8.0 * np.sin(np.arange(len(hours)) * np.pi / 12.0),
        "WS10M": np.full(len(hours), 3.25),
    }
    stamps = hours.strftime("%Y%m%d%H")
    return {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [longitude, latitude, altitude]},
        "properties": {
            "parameter": {
                name: dict(zip(stamps, np.round(values, 2).tolist(), strict=True)) for name, values in series.items()
            }
        },
        "header": {
            "title": "Hourly data",
            "api": {"version": "v2", "name": "Hourly"},
            "sources": ["SYN1DEG", "MERRA2"],
            "fill_value": -999.0,
            "time_standard": "UTC",
        },
        "messages": [],
        "parameters": {name: {"units": "", "longname": ""} for name in series},
        "times": {"data": 0.1, "process": 0.0},
    }


class Handler(http.server.BaseHTTPRequestHandler):
    """Answers one year, or does what the next entry of `faults` says."""

    faults: list[Reply]
    asked: list[dict[str, str]]

    def do_GET(self) -> None:
        """Note what was asked, and answer."""
        query = {name: values[0] for name, values in parse_qs(urlsplit(self.path).query).items()}
        self.asked.append(query)
        content = answer(int(query["start"][:4]), float(query["latitude"]), float(query["longitude"]))
        reply = self.faults.pop(0) if self.faults else whole
        reply(self, content)

    def send(self, body: bytes, *, status: int = 200, length: int | None = None) -> None:
        """Send a status and a body."""
        self.send_response(status)
        self.send_header("Content-Type", "application/json")
        self.send_header("Content-Length", str(len(body) if length is None else length))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *_: object) -> None:
        """Stay silent."""


def whole(handler: Handler, content: dict[str, Any]) -> None:
    """Answer as it should be."""
    handler.send(json.dumps(content).encode())


def status(code: int, body: bytes = b'{"messages": ["too many requests, or out of order"]}') -> Reply:
    """Return a reply with an error status."""
    return lambda handler, _: handler.send(body, status=code)


def broken_off(handler: Handler, content: dict[str, Any]) -> None:
    """Promise a whole answer, send half of it and hang up."""
    body = json.dumps(content).encode()
    handler.send(body[: len(body) // 2], length=len(body))
    handler.connection.shutdown(socket.SHUT_RDWR)


def half_text(handler: Handler, content: dict[str, Any]) -> None:
    """Send half of the text as if it were all."""
    body = json.dumps(content).encode()
    handler.send(body[: len(body) // 2])


def half_year(handler: Handler, content: dict[str, Any]) -> None:
    """Send whole JSON that holds January to June."""
    series = content["properties"]["parameter"]
    for name, values in series.items():
        series[name] = {stamp: value for stamp, value in values.items() if stamp[4:6] < "07"}
    whole(handler, content)


def without_wind(handler: Handler, content: dict[str, Any]) -> None:
    """Send an answer of four columns."""
    del content["properties"]["parameter"]["WS10M"]
    whole(handler, content)


def filled(hours: int) -> Reply:
    """Return a reply in which so many hours of light are marked as unknown."""

    def reply(handler: Handler, content: dict[str, Any]) -> None:
        for name in ("ALLSKY_SFC_SW_DWN", "ALLSKY_SFC_SW_DIFF", "ALLSKY_SFC_SW_DNI"):
            values = content["properties"]["parameter"][name]
            for stamp in list(values)[2000 : 2000 + hours]:
                values[stamp] = -999.0
        whole(handler, content)

    return reply


def silent(handler: Handler, _: dict[str, Any]) -> None:
    """Take longer than anybody waits in these tests."""
    time.sleep(1.5)
    handler.close_connection = True


@pytest.fixture
def server(monkeypatch: pytest.MonkeyPatch) -> Iterator[type[Handler]]:
    """Start a server on loopback and return what it should do wrong and was asked."""
    for name in ("HTTP_PROXY", "http_proxy", "ALL_PROXY", "all_proxy"):
        monkeypatch.delenv(name, raising=False)
    kind = type("Own", (Handler,), {"faults": [], "asked": []})
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), kind) as running:
        running.daemon_threads = True
        kind.url = f"http://127.0.0.1:{running.server_port}/hourly"
        thread = threading.Thread(target=running.serve_forever, daemon=True)
        thread.start()
        yield kind
        running.shutdown()


def fetch(server: type[Handler], file: Path, years: range = range(2003, 2006), **more: Any) -> record.Fetched:
    """Fetch years from the server without waiting between tries."""
    service = Service(url=server.url, waits_s=(0.0, 0.0), longest_answer_s=more.pop("longest_answer_s", 20.0))
    return fetch_years(*PLACE, years=years, file=file, service=service, **more)


def test_years_come_back_as_one_file_that_reads_by_itself(server: type[Handler], tmp_path: Path) -> None:
    """Three years, one of them a leap year, are asked one by one and read with no word on zone, label or place."""
    file = tmp_path / "there.csv"
    found = fetch(server, file)
    assert [query["start"] for query in server.asked] == ["20030101", "20040101", "20050101"]
    assert {query["time-standard"] for query in server.asked} == {"utc"}
    assert (found.years, found.left_out, found.altitude_m) == ((2003, 2004, 2005), (), 42.5)
    text = file.read_text(encoding="utf-8")
    head = text[: text.index("time,")]
    for line in (
        "# latitude_deg: -33.5",
        "# longitude_deg: 151.25",
        "# altitude_m: 42.5",
        "# zone: UTC",
        "# label: start",
    ):
        assert line in head
    assert "# licence: open data" in head
    assert f"# retrieved: {date.today().isoformat()}" in head
    assert "SYN1DEG, MERRA2; 2003 to 2005" in head
    pool = read_csv_years(file, site_zone="Australia/Sydney")
    assert (pool.years, pool.real_years, pool.utc_offset_hours) == (3, 3, 10.0)
    assert (pool.latitude_deg, pool.longitude_deg, pool.altitude_m) == (-33.5, 151.25, 42.5)
    assert pool.temp_air.mean(axis=1) == pytest.approx([18.0, 19.0, 20.0], abs=0.01)
    assert "NASA" in pool.source
    assert list(tmp_path.iterdir()) == [file]


@pytest.mark.parametrize(
    ("fault", "reason"),
    [
        (status(429), "too many requests"),
        (status(500), "out of order"),
        (status(503, b"<html>busy</html>"), "no data: busy"),
        (status(200, b'{"header": {}}'), "without its data"),
        (broken_off, "broke off halfway|cut off"),
        (half_text, "cut off halfway"),
        (half_year, "half an answer: 4344 of 8760 hours"),
        (without_wind, "without wind_speed"),
    ],
)
def test_a_fault_that_passes_is_waited_out(server: type[Handler], tmp_path: Path, fault: Reply, reason: str) -> None:
    """One bad answer among good ones is said, tried again, and leaves no trace in the file."""
    told: list[str] = []
    server.faults[:] = [whole, fault]
    years = range(2005, 2008)
    file = tmp_path / "there.csv"
    assert fetch(server, file, years, told=told.append).years == tuple(years)
    assert [query["start"][:4] for query in server.asked] == ["2005", "2006", "2006", "2007"]
    assert len(told) == 1
    assert re.search(f"year 2006: .*({reason})", told[0]), told
    assert read_csv_years(file).years == 3


@pytest.mark.parametrize("fault", [status(429), status(502, b"bad gateway"), half_year, half_text])
def test_a_fault_that_stays_ends_after_three_tries_and_keeps_what_is_there(
    server: type[Handler], tmp_path: Path, fault: Reply
) -> None:
    """The error names the year, the reason and the years kept; the file is not there; the next call goes on."""
    file = tmp_path / "there.csv"
    server.faults[:] = [whole, fault, fault, fault]
    with pytest.raises(InputError, match=r"year 2004\n(.*\n)+.*1 of 3 years are kept in .*there\.csv\.years; the same"):
        fetch(server, file)
    assert len(server.asked) == 4
    assert not file.exists()
    server.asked.clear()
    assert fetch(server, file).years == (2003, 2004, 2005)
    assert [query["start"][:4] for query in server.asked] == ["2004", "2005"]


def test_a_year_damaged_on_the_disk_is_fetched_again(server: type[Handler], tmp_path: Path) -> None:
    """A kept year whose rows do not match their checksum is not used."""
    file = tmp_path / "there.csv"
    server.faults[:] = [whole, *[status(500)] * 3]
    with pytest.raises(InputError):
        fetch(server, file)
    (part,) = (tmp_path / "there.csv.years").iterdir()
    part.write_text(part.read_text(encoding="utf-8")[:-40], encoding="utf-8")
    server.asked.clear()
    fetch(server, file)
    assert len(server.asked) == 3


def test_slow_server_is_not_waited_for_without_end(server: type[Handler], tmp_path: Path) -> None:
    """No answer within the limit is a failed try."""
    server.faults[:] = [silent] * 3
    with pytest.raises(InputError, match=r"no whole answer within 0\.1 s"):
        fetch(server, tmp_path / "there.csv", longest_answer_s=0.1)


def test_no_network_and_dead_proxy(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A port where nobody listens, as service or as proxy, ends with words, not with a traceback."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    service = Service(url=f"http://127.0.0.1:{port}/", waits_s=(0.0,))
    with pytest.raises(InputError, match="no connection"):
        fetch_years(*PLACE, years=range(2003, 2005), file=tmp_path / "a.csv", service=service)
    monkeypatch.setenv("HTTP_PROXY", f"http://127.0.0.1:{port}")
    service = Service(url="http://weather.invalid/", waits_s=())
    with pytest.raises(InputError, match="the proxy does not answer"):
        fetch_years(*PLACE, years=range(2003, 2005), file=tmp_path / "a.csv", service=service)
    assert list(tmp_path.iterdir()) == []


def test_short_gaps_stay_for_the_reader_and_long_ones_leave_the_year_out(server: type[Handler], tmp_path: Path) -> None:
    """Three unknown hours are filled by the reader; a year with forty is left out, named, and not asked again."""
    server.faults[:] = [filled(3), filled(40)]
    file = tmp_path / "there.csv"
    found = fetch(server, file)
    assert found.years == (2003, 2005)
    assert found.left_out == ("2004: ghi is unknown for 40 hours in a row",)
    assert "# left out: 2004: ghi is unknown for 40 hours in a row" in file.read_text(encoding="utf-8")
    pool = read_csv_years(file, site_zone="Australia/Sydney")
    assert pool.years == 2
    assert pool.temp_air.mean(axis=1) == pytest.approx([18.0, 20.0], abs=0.01)
    assert any("3 missing hours filled" in note for note in pool.notes)
    assert any("years not in the file left out: 2004" in note for note in pool.notes)
    west = read_csv_years(file, site_zone="Australia/Perth")
    assert west.years == 2


def test_no_whole_year_is_an_error(server: type[Handler], tmp_path: Path) -> None:
    """Where every year has long gaps, no file is written."""
    server.faults[:] = [filled(40)]
    with pytest.raises(InputError, match="at least one year without long gaps"):
        fetch(server, tmp_path / "there.csv", range(2003, 2004))
    assert not (tmp_path / "there.csv").exists()


@pytest.fixture(params=["largest file", "small disk"])
def small(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[tuple[Path, str, Callable[[], None]]]:
    """Give a folder in which the system itself refuses to write more than a year and a half, its words, and the way out."""
    if request.param == "largest file":
        before = resource.getrlimit(resource.RLIMIT_FSIZE)
        resource.setrlimit(resource.RLIMIT_FSIZE, (YEAR_BYTES * 3 // 2, before[1]))
        yield tmp_path, "File too large", lambda: resource.setrlimit(resource.RLIMIT_FSIZE, before)
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
        return
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = ["mount", "-t", "tmpfs", "-o", f"size={YEAR_BYTES * 3 // 2}", "none", str(disk)]
    if os.geteuid() != 0 or subprocess.run(mounted, check=False, capture_output=True).returncode != 0:
        pytest.skip("a small disk needs the right to mount one")
    larger = ["mount", "-o", "remount,size=64m", str(disk)]
    yield disk, "No space left on device", lambda: subprocess.run(larger, check=True) and None
    subprocess.run(["umount", str(disk)], check=True)


def test_full_disk_keeps_what_is_there(server: type[Handler], small: tuple[Path, str, Callable[[], None]]) -> None:
    """Where the system takes no more bytes, its own words stand, whole years are kept and named, and no half file is left."""
    folder, words, more_room = small
    file = folder / "there.csv"
    with pytest.raises(InputError, match=rf"{words}(.*\n)+.*\d of 3 years are kept"):
        fetch(server, file)
    assert not file.exists()
    kept = sorted((folder / "there.csv.years").iterdir())
    assert 1 <= len(kept) <= 3
    assert all(part.suffix != ".tmp" for part in kept)
    asked = len(server.asked)
    more_room()
    assert fetch(server, file).years == (2003, 2004, 2005)
    assert len(server.asked) == asked + 3 - len(kept)
    assert read_csv_years(file).years == 3


def test_height_zero_is_asked(server: type[Handler], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Height 0, open water in this record, stops after one year unless it is meant."""
    monkeypatch.setattr(sys.modules[__name__], "answer", _on_water)
    with pytest.raises(InputError, match=r"height 0 m\n.*a place on land\n.*--at-sea"):
        fetch(server, tmp_path / "there.csv")
    assert len(server.asked) == 1
    assert fetch(server, tmp_path / "there.csv", at_sea=lambda: True).years == (2003, 2004, 2005)
    assert len(server.asked) == 3


_on_land = answer


def _on_water(year: int, latitude: float, longitude: float) -> dict[str, Any]:
    return _on_land(year, latitude, longitude, altitude=0.0)


def test_a_changed_file_is_refused(server: type[Handler], tmp_path: Path) -> None:
    """One digit changed in a file that carries a checksum is noticed."""
    file = tmp_path / "there.csv"
    fetch(server, file, range(2003, 2004))
    text = file.read_text(encoding="utf-8")
    file.write_text(text.replace(",3.25\n", ",3.26\n", 1), encoding="utf-8")
    with pytest.raises(InputError, match=r"sha256\n(.*\n)+.*fetch it again"):
        read_csv_years(file)


def test_years_that_the_record_does_not_have_are_refused() -> None:
    """Before 2001, beyond last year, or the wrong way round."""
    for first, last in ((1999, 2005), (2005, 2004), (2020, date.today().year)):
        with pytest.raises(InputError, match=rf"{first} to {last}\n.*2001 to {date.today().year - 1}"):
            check_years(first, last)


def test_the_command_says_that_it_uses_the_network_and_refuses_nonsense(
    here: Callable[..., subprocess.CompletedProcess[str]], server: type[Handler], tmp_path: Path
) -> None:
    """By the command line: southern and western places are no options; swapped ones, and a file that is there, end with 2."""

    def run(*words: str) -> subprocess.CompletedProcess[str]:
        return here("weather", *words, "--url", server.url, "--from", 2003, "--to", 2003, cwd=tmp_path)

    good = run("-33.5", "-70.25")
    assert good.returncode == 0, good.stderr
    assert "This uses the network: 1 year of hourly weather at -33.5, -70.25 from 127.0.0.1" in good.stderr
    assert 'site.weather = { source = "csv", file = "weather_-33.5_-70.25.csv" }' in good.stdout
    assert "Fewer than 10 years" in good.stdout
    again = run("-33.5", "-70.25")
    assert (again.returncode, "--overwrite" in again.stderr) == (2, True)
    swapped = run("151.25", "-33.5")
    assert swapped.returncode == 2
    assert "swapped? Latitude first: -33.5 151.25" in swapped.stderr
    assert len(server.asked) == 1


def test_ctrl_c_keeps_and_names_what_is_there(server: type[Handler], tmp_path: Path) -> None:
    """Interrupted within the second year: exit code 2, no traceback, the first year kept and named."""
    server.faults[:] = [whole, silent]
    process = subprocess.Popen(
        [
            sys.executable,
            "-m",
            "riskcalc",
            "weather",
            "10",
            "20",
            "--url",
            server.url,
            "--from",
            "2003",
            "--to",
            "2005",
        ],
        stderr=subprocess.PIPE,
        text=True,
        cwd=tmp_path,
    )
    while len(server.asked) < 2:
        assert process.poll() is None
        time.sleep(0.02)
    process.send_signal(signal.SIGINT)
    _, said = process.communicate(timeout=30)
    assert process.returncode == 2, said
    assert "Traceback" not in said
    assert "1 of 3 years are kept in weather_10_20.csv.years" in said
    assert not (tmp_path / "weather_10_20.csv").exists()
