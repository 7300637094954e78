"""Every file and text that riskcalc reads: a sound example, the function that reads it, and ways to damage it."""

from __future__ import annotations

import gzip
import json
import random
import re
import runpy
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from riskcalc.answers.measured import read_measured
from riskcalc.answers.replay import read_result
from riskcalc.demand.meter_file import read_meter_days
from riskcalc.money.price_file import read_price_file
from riskcalc.price_series import read_price_series
from riskcalc.scenario import read_scenario
from riskcalc.weather.climates import climate
from riskcalc.weather.files import read_csv_years, read_epw, read_tmy3
from riskcalc.weather.generator import generated_years

SMALL = runpy.run_path(str(Path(__file__).parents[1] / "conftest.py"))["SMALL"]
ZONE = "Europe/London"
THAMES = {"latitude_deg": 51.5, "longitude_deg": 0.0, "altitude_m": 50.0}


@dataclass(frozen=True)
class Entry:
    """One thing that is read: the name of its file, a sound example, and how it is read."""

    file: str
    example: Callable[[], bytes]
    read: Callable[[Path], object]


def year_of_hours() -> np.ndarray:
    """Return the hours of 2023."""
    return np.arange("2023-01-01T00", "2024-01-01T00", dtype="datetime64[h]").astype(str)


@cache
def weather_csv() -> bytes:
    """Return a year of hourly weather as riskcalc's plain CSV."""
    made = generated_years(climate("thames"), years=2, seed=1)
    columns = (made.ghi[0], made.temp_air[0], made.wind_speed[0])
    rows = [f"{hour}:00Z,{g:.1f},{t:.1f},{w:.1f}" for hour, g, t, w in zip(year_of_hours(), *columns, strict=True)]
    return ("time,ghi,temp_air,wind_speed\n" + "\n".join(rows) + "\n").encode()


@cache
def epw() -> bytes:
    """Return the same year in EPW form, with the columns that are not read at their marks for missing values."""
    made = generated_years(climate("thames"), years=2, seed=1)
    head = (
        "LOCATION,Invented,-,GBR,generated,0,51.5,0.0,0.0,50.0\nDESIGN CONDITIONS,0\nTYPICAL/EXTREME PERIODS,0\n"
        "GROUND TEMPERATURES,0\nHOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0\nCOMMENTS 1,-\nCOMMENTS 2,-\n"
        "DATA PERIODS,1,1,Data,Sunday,1/1,12/31\n"
    )
    rows = []
    for place, hour in enumerate(year_of_hours()):
        year, month, day, clock = int(hour[:4]), int(hour[5:7]), int(hour[8:10]), int(hour[11:13]) + 1
        light = [f"{getattr(made, name)[0, place]:.0f}" for name in ("ghi", "dni", "dhi")]
        air = [f"{made.temp_air[0, place]:.1f}", "5", "80", "101325", "0", "0", "300"]
        late = ["9999", "9999", "9999", "9999", "180", f"{made.wind_speed[0, place]:.1f}"]
        rest = ["5", "5", "9", "77777", "9", "999999999", "0", ".1", "0", "88", "0.2", "0", "0"]
        rows.append(",".join([f"{year},{month},{day},{clock},0,-", *air, *light, *late, *rest]))
    return (head + "\n".join(rows) + "\n").encode()


@cache
def tmy3() -> bytes:
    """Return the typical year that comes with the solar library."""
    import pvlib

    return (Path(pvlib.__file__).parent / "data" / "723170TYA.CSV").read_bytes()


@cache
def meter_csv() -> bytes:
    """Return five weeks of half-hourly readings on the wall clock, over the change to summer time."""
    from datetime import UTC, datetime, timedelta
    from zoneinfo import ZoneInfo

    start, zone = datetime(2023, 3, 10, tzinfo=UTC), ZoneInfo(ZONE)
    rng = np.random.default_rng(4)
    rows = [
        f"{(start + timedelta(minutes=30 * step)).astimezone(zone).isoformat()},{value:.1f}"
        for step, value in enumerate(rng.gamma(2.0, 150.0, 35 * 48))
    ]
    return ("time,power_w\n" + "\n".join(rows) + "\n").encode()


@cache
def price_series_csv() -> bytes:
    """Return a year of hourly prices."""
    prices = 0.2 + 0.1 * np.random.default_rng(2).normal(size=8760)
    rows = [f"{hour}:00Z,{price:.4f}" for hour, price in zip(year_of_hours(), prices, strict=True)]
    return ("time,price_per_kwh\n" + "\n".join(rows) + "\n").encode()


def price_file_csv() -> bytes:
    """Return twelve years of prices and inflation."""
    rows = [f"{2026 + year},{100 * 1.03**year:.2f},{5 * 1.01**year:.3f},0.02" for year in range(12)]
    return ("year,import,export,inflation\n" + "\n".join(rows) + "\n").encode()


def result_json() -> bytes:
    """Return the parts of a result that are read back."""
    files = [{"path": "small.toml", "sha256": "0" * 64}]
    held = {"overrides": ["study.seed=2"], "files": files, "libraries": {"numpy": "2"}, "python": "3.11"}
    return json.dumps(
        {"scenario": "small", "first_year": {"saving": {"value": 1.5}}, "provenance": held}, indent=2
    ).encode()


def measured_csv() -> bytes:
    """Return a year of measured months."""
    rows = [f"2026-{month:02d},{200 + month},{90 - month},{60.5 + month}" for month in range(1, 13)]
    return ("month,import_kwh,generation_kwh,bill\n" + "\n".join(rows) + "\n").encode()


def scenario_with_column(path: Path) -> object:
    """Read a scenario whose use of electricity comes from the column of a file."""
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "use.csv").write_bytes(path.read_bytes())
        table = 'annual_use_kwh = { distribution = "empirical", file = "use.csv", column = "kwh" }'
        scenario = Path(folder) / "small.toml"
        scenario.write_text(SMALL.replace("annual_use_kwh = 2000", table), encoding="utf-8")
        return read_scenario(scenario)


def scenario_with_override(path: Path) -> object:
    """Read the small scenario with an override of any text."""
    with tempfile.TemporaryDirectory() as folder:
        scenario = Path(folder) / "small.toml"
        scenario.write_text(SMALL, encoding="utf-8")
        return read_scenario(scenario, [path.read_bytes().decode("utf-8", "replace")])


ENTRIES = {
    "scenario": Entry("small.toml", SMALL.encode, read_scenario),
    "override": Entry(
        "override.txt",
        lambda: b'home.annual_use_kwh={ distribution = "triangular", low = 1500, mode = 2000, high = 3000 }',
        scenario_with_override,
    ),
    "observed column": Entry("use.csv", lambda: b"home,kwh\n1,2100\n2,1800\n3,2650.5\n", scenario_with_column),
    "weather CSV": Entry("w.csv", weather_csv, lambda path: read_csv_years(path, zone=ZONE, label="start", **THAMES)),
    "EPW": Entry("w.epw", epw, read_epw),
    "TMY3": Entry("w.csv", tmy3, read_tmy3),
    "meter CSV": Entry("m.csv", meter_csv, lambda path: read_meter_days(path, zone=ZONE)),
    "packed meter": Entry(
        "m.csv.gz", lambda: gzip.compress(meter_csv(), mtime=0), lambda path: read_meter_days(path, zone=ZONE)
    ),
    "price series": Entry("p.csv", price_series_csv, lambda path: read_price_series(path, zone=ZONE)),
    "prices by year": Entry("y.csv", price_file_csv, lambda path: read_price_file(path, years=10)),
    "result": Entry("result.json", result_json, read_result),
    "measured months": Entry("months.csv", measured_csv, read_measured),
}

#: What is put into cells and lines: numbers that are none, other forms of numbers and times, marks of other formats.
PIECES = (
    *("", "nan", "inf", "-inf", "1e999", "-1", "1e-320", "999999999999999999999", "0x10", "1_000", "1,5", "1.2.3"),
    *(
        "None",
        "null",
        "true",
        "abc",
        "\u00e9\u4e2d\U0001f50b",
        "\x00",
        "\x1b[2J",
        '"',
        "'",
        "=1+1",
        "{{7*7}}",
        "<b>",
        "../..",
    ),
    *("2023-02-30T00:00Z", "2023-13-01", "0000-00-00", "9999-12-31T23:59Z", "2023-03-26T01:30", "24:00", "1677-09-21"),
    *(
        "1e400",
        "-0",
        "+5",
        " 7 ",
        "7 W",
        "5 %",
        "[",
        "]",
        "{",
        "}",
        "#",
        ";",
        "\t",
        "\r",
        "\ufeff",
        "9" * 5000,
        "x" * 140_000,
    ),
)
_LINES = re.compile(rb"(?<=\n)")
_CELLS = re.compile(rb"([,=])")


def damaged(content: bytes, chance: random.Random) -> bytes:
    """Return the content with one to four kinds of damage."""
    for _ in range(chance.choice((1, 1, 1, 2, 4))):
        content = chance.choice(DAMAGES)(content, chance)
    return content


def _cell(content: bytes, chance: random.Random) -> bytes:
    lines = _LINES.split(content)
    place = chance.randrange(len(lines))
    cells = _CELLS.split(lines[place].rstrip(b"\n"))
    cells[chance.randrange(len(cells))] = chance.choice(PIECES).encode("utf-8", "surrogatepass")
    lines[place] = b"".join(cells) + b"\n"
    return b"".join(lines)


def _column(content: bytes, chance: random.Random) -> bytes:
    """Damage the same cell of every line; in a year of lines a long piece would be a file of gigabytes."""
    lines = content.split(b"\n")
    cells = [line.split(b",") for line in lines]
    column, piece = (
        chance.randrange(max(1, *map(len, cells))),
        chance.choice(PIECES).encode("utf-8", "surrogatepass")[:5000],
    )
    factor = chance.choice((None, None, 1000.0, 0.001, -1.0, 3.6))
    for row in cells[1:]:
        if column < len(row):
            try:
                row[column] = piece if factor is None else b"%.6g" % (float(row[column]) * factor)
            except ValueError:
                row[column] = piece
    return b"\n".join(b",".join(row) for row in cells)


def _cut(content: bytes, chance: random.Random) -> bytes:
    start = chance.randrange(len(content) + 1)
    return content[:start] + content[start + chance.choice((1, 10, 1000, len(content))) :]


def _twice(content: bytes, chance: random.Random) -> bytes:
    start = chance.randrange(len(content) + 1)
    length = chance.choice((1, 30, 3000))
    return content[: start + length] + content[start:]


def _swap(content: bytes, chance: random.Random) -> bytes:
    lines = _LINES.split(content)
    one, other = (chance.randrange(len(lines)) for _ in range(2))
    lines[one], lines[other] = lines[other], lines[one]
    return b"".join(lines)


def _drop(content: bytes, chance: random.Random) -> bytes:
    lines = _LINES.split(content)
    start = chance.randrange(len(lines))
    del lines[start : start + chance.choice((1, 2, 5, 48, 1000))]
    return b"".join(lines)


def _bits(content: bytes, chance: random.Random) -> bytes:
    held = bytearray(content)
    for _ in range(chance.choice((1, 5, 50)) if held else 0):
        held[chance.randrange(len(held))] = chance.randrange(256)
    return bytes(held)


def _insert(content: bytes, chance: random.Random) -> bytes:
    start = chance.randrange(len(content) + 1)
    piece = chance.choice(PIECES).encode("utf-8", "surrogatepass")
    return content[:start] + chance.choice((b"", b"\n", b",")) + piece * chance.choice((1, 1, 20)) + content[start:]


def _coding(content: bytes, chance: random.Random) -> bytes:
    text = content.decode("utf-8", "replace")
    return text.encode(chance.choice(("utf-16", "utf-16-le", "latin-1", "cp1252", "utf-7", "utf-8-sig")), "replace")


def _ends(content: bytes, chance: random.Random) -> bytes:
    return content.replace(b"\n", chance.choice((b"\r\n", b"\r", b"\n\n", b"", b"\x0b")))


def _marks(content: bytes, chance: random.Random) -> bytes:
    return content.replace(b",", chance.choice((b";", b"\t", b" ", b",,", b"|")))


def _other(content: bytes, chance: random.Random) -> bytes:
    """Give the file of another entry, of those that are small."""
    others = ("scenario", "observed column", "meter CSV", "packed meter", "prices by year", "result", "measured months")
    return ENTRIES[chance.choice(others)].example()


DAMAGES = (
    _cell,
    _cell,
    _cell,
    _column,
    _column,
    _cut,
    _twice,
    _swap,
    _drop,
    _bits,
    _insert,
    _insert,
    _coding,
    _ends,
    _marks,
    _other,
)
