"""Tables that others wrote: bounded in size and width, unpacked, refused in words."""

import bz2
import gzip
import lzma
import os

import pytest

from riskcalc.demand.meter_file import read_meter_days
from riskcalc.errors import InputError
from riskcalc.table_file import table_text
from riskcalc.weather.files import read_csv_years

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
        (b"time," + b"x" * 200_000, "not a CSV file: field larger"),
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
