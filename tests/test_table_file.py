"""Tables that others wrote: bounded in size and width, unpacked, refused in words."""

import bz2
import gzip
import lzma
import os
from pathlib import Path

import pytest

from riskcalc.answers.measured import read_measured
from riskcalc.demand.meter_file import read_meter_days
from riskcalc.errors import InputError
from riskcalc.money import price_file
from riskcalc.price_series import read_price_series
from riskcalc.scenario import read_scenario
from riskcalc.table_file import table_text
from riskcalc.weather.files import read_csv_years, read_epw

WEATHER = "# latitude_deg: 51\n# longitude_deg: 0\ntime,ghi,temp_air,wind_speed\n" + "2020-01-01 00:00,1,2,3\n" * 2


def _column_of(path):
    """Read a column of observed values, as a scenario names it."""
    changes = (f'purchase.price={{ distribution = "empirical", file = "{path}", column = "value" }}',)
    return read_scenario(Path(__file__).parent / "data" / "flat.toml", changes)


TEXT = "time,power_w\n2023-01-01 00:00,1\n"
PACKERS = {".gz": gzip.compress, ".bz2": bz2.compress, ".xz": lzma.compress}


@pytest.mark.parametrize("ending", PACKERS)
def test_packed_tables_are_unpacked_and_damaged_ones_refused(tmp_path, ending):
    """The same text from the packed file; cut short, with a bit turned or not packed at all it is refused."""
    path, packed = tmp_path / f"m.csv{ending}", PACKERS[ending](TEXT.encode() * 50)
    path.write_bytes(packed)
    assert table_text(path, accepted="a table") == TEXT * 50
    damages = [packed[: len(packed) // 2], packed[:20] + bytes([packed[20] ^ 255]) + packed[21:], TEXT.encode()]
    for damage in damages:
        path.write_bytes(damage)
        with pytest.raises(InputError, match="cannot be read"):
            table_text(path, accepted="a table")


def test_a_small_file_that_unpacks_to_a_huge_one_is_refused(tmp_path):
    """Ten thousand times its size: refused once it is larger than allowed, never held whole."""
    path = tmp_path / "m.csv.gz"
    path.write_bytes(gzip.compress(b"0" * 3_000_000))
    assert path.stat().st_size < 10_000
    with pytest.raises(InputError, match="more than 1000000 bytes"):
        table_text(path, accepted="a table", largest=1_000_000)


def read_weather(path):
    """Read a weather file."""
    return read_csv_years(path, zone="UTC", label="start", latitude_deg=51.5, longitude_deg=0.0)


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"time," + b"1,2023-01-01T00:00Z," * 10_000, "20002 columns"),
        (b"a,b\n1,2,3\n", "3 cells under a header of 2"),
        (b"", "an empty file"),
        (b"\n\n", "an empty file"),
        (b"time,\xff\n", "byte 0xff"),
        (b"time," + b"x" * 200_000, "a cell of more than 131072 characters"),
    ],
)
def test_tables_that_are_none(tmp_path, content, message):
    """A file that lost its line ends, rows wider than the header, nothing, other encodings, a cell without end."""
    path = tmp_path / "m.csv"
    path.write_bytes(content)
    with pytest.raises(InputError, match=message):
        read_weather(path)
    with pytest.raises(InputError, match=r"accepted: .*a table with times"):
        read_meter_days(path, zone="UTC")


@pytest.mark.parametrize("read", [read_weather, lambda path: read_meter_days(path, zone="UTC")])
def test_what_is_no_file_is_never_opened(tmp_path, read):
    """A folder, a pipe that nobody writes to, a device without end and nothing at all."""
    os.mkfifo(tmp_path / "pipe")
    for path in (tmp_path, tmp_path / "pipe", "/dev/zero", tmp_path / "none.csv"):
        with pytest.raises(InputError, match=r"no such file|a folder|no regular file"):
            read(path)


OPEN_QUOTE = '2021-01-01 00:00,"1\n' + "x" * 140_000
#: How each kind of file is read, its header, and the line of a cell that is left open.
READERS = {
    "meter": (lambda path: read_meter_days(path, zone="UTC"), "time,power_w\n2023-01-01 00:00,1\n", 3),
    "weather": (lambda path: read_csv_years(path, zone="UTC", label="start"), WEATHER, 6),
    "measured": (read_measured, "month,bill\n2026-01,30\n", 3),
    "prices by year": (lambda path: price_file._read(path, 0, 0), "year,import_price\n2026,1\n", 3),
    "price series": (lambda path: read_price_series(path, zone="UTC"), "time,price\n2025-01-01T00:00Z,1\n", 3),
    "column": (_column_of, "value,other\n1,2\n", 3),
}


@pytest.mark.parametrize("kind", READERS)
def test_a_cell_left_open_is_named_with_file_and_line(tmp_path, kind):
    """A quotation mark that is never closed: our words with file and line, not those of a tokenizer."""
    read, head, line = READERS[kind]
    path = tmp_path / "table.csv"
    path.write_text(head + OPEN_QUOTE, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read(path)
    said = str(caught.value)
    assert "table.csv" in said
    assert f"line {line}" in said
    assert "quotation mark" in said
    for raw in ("field larger", "okeniz", "EOF", "C error", "unexpected end", "Error"):
        assert raw not in said


def test_a_weather_file_of_another_form_is_told_in_plain_words(tmp_path):
    """An EPW file with a line cut short: its line and cells, not what the library says."""
    path = tmp_path / "w.epw"
    path.write_text(
        "\n".join(
            ["LOCATION,a,b,c,d,0,51,0,0,10"] + ["X,1"] * 7 + ["2021,1,1,1," + "1," * 31 + "1"] * 20 + ["2021,1,1,2,3"]
        )
    )
    with pytest.raises(InputError) as caught:
        read_epw(path)
    assert "line 29 has 5 cells where most have 36" in str(caught.value)


def test_times_that_the_clocks_skip_are_named_with_their_line(tmp_path):
    """A wall-clock time that summer time skips: the time and its line."""
    path = tmp_path / "w.csv"
    rows = "\n".join(f"2021-03-28 {hour:02d}:00,0,5,2" for hour in range(4))
    path.write_text(f"{WEATHER.splitlines()[0]}\n{WEATHER.splitlines()[1]}\ntime,ghi,temp_air,wind_speed\n{rows}\n")
    with pytest.raises(InputError) as caught:
        read_csv_years(path, zone="Europe/London", label="start")
    assert "'2021-03-28 01:00' in line 5, which the clocks skip" in str(caught.value)
