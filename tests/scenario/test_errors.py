"""Broken scenarios, each with its exact message: file, key, what was given, what is accepted, a hint."""

import itertools
import sys
import tomllib
from pathlib import Path

import pytest

from riskcalc.errors import InputError
from riskcalc.scenario import read_scenario

FLAT = (Path(__file__).parents[1] / "data" / "flat.toml").read_text(encoding="utf-8")
SHELF = '[kit]\ncoupling = "socket"\n'


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    """Work in an empty folder `scenarios`, so that messages name short relative paths."""
    place = tmp_path / "scenarios"
    place.mkdir()
    monkeypatch.chdir(place)
    return place


def message(old="", new="", *, text=None, files=None, overrides=()):
    """Return the message about flat.toml with `old` replaced by `new`, or about `text`, beside other `files`."""
    assert text is not None or old in FLAT
    Path("flat.toml").write_text(FLAT.replace(old, new, 1) if text is None else text, encoding="utf-8")
    for name, content in (files or {}).items():
        Path(name).parent.mkdir(parents=True, exist_ok=True)
        Path(name).write_bytes(content if isinstance(content, bytes) else content.encode())
    with pytest.raises(InputError) as caught:
        read_scenario("flat.toml", overrides)
    return str(caught.value)


def said(key, given, accepted, hint="", file="flat.toml"):
    """Return the text of one problem."""
    lines = [f"{file}: {key}" if key else file, f"  given:    {given}", f"  accepted: {accepted}"]
    return "\n".join([*lines, f"  hint:     {hint}"] if hint else lines)


TABLE = tomllib.loads((Path(__file__).parents[1] / "data" / "broken.toml").read_text(encoding="utf-8"))
BROKEN = {row["fault"]: row for row in TABLE["broken"]}
OVERRIDES = {row["text"]: row["message"].rstrip("\n") for row in TABLE["override"]}


@pytest.mark.parametrize("fault", BROKEN)
def test_each_fault_has_its_message(fault):
    """One fault in an otherwise sound scenario gives exactly its own message."""
    row = BROKEN[fault]
    assert message(row["old"], row["new"]) + "\n" == row["message"]


def test_the_unbroken_scenario_is_sound():
    """The scenario that the table breaks is itself accepted, so each message is due to its fault."""
    Path("flat.toml").write_text(FLAT, encoding="utf-8")
    assert read_scenario("flat.toml").name == "flat"


def test_every_fault_is_told_at_once():
    """Four faults in four tables, one of them between tables, give four problems in one error."""
    text = FLAT.replace("annual_use_kwh = 2300", "annual_use_kwh = -1").replace('"GBP"', '"GPB"')
    text = text.replace("rating_w = 1800", "rating_w = 1.8").replace('"00:30-07:30"', '"00:30-07:32"')
    Path("flat.toml").write_text(text + 'solar_only_from = "05-01"\n', encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_scenario("flat.toml")
    assert [problem.key for problem in caught.value.problems] == [
        "currency",
        "home.annual_use_kwh",
        "tariff.rates.night.windows[1]",
        "kit.inverter.rating_w",
        "dispatch.solar_only_until",
    ]


def test_correlations_that_cannot_hold_together():
    """Three inputs, two pairs at 0.9 and the third at -0.9: refused with the factor that would do.

    Hand-computed: the matrix with off-diagonals (0.9, 0.9, -0.9) f is positive definite for f < 1/1.8 = 0.5556
    (determinant 1 - 3 (0.9 f)^2 - 2 (0.9 f)^3 has its root at 0.9 f = 0.5).
    """
    keys = ["kit.battery.capacity_kwh", "tariff.rates.day.import_price_per_kwh", "purchase.price"]
    pairs = [(0, 1, 0.9), (1, 2, 0.9), (0, 2, -0.9)]
    entries = "".join(f'[[correlations]]\nbetween = ["{keys[a]}", "{keys[b]}"]\nvalue = {v}\n' for a, b, v in pairs)
    text = FLAT.replace("price = 1250", 'price = { distribution = "uniform", low = 900, high = 1300 }') + entries
    assert message(text=text) == said(
        "correlations",
        "correlations between kit.battery.capacity_kwh, purchase.price, tariff.rates.day.import_price_per_kwh "
        "that cannot all hold at once",
        "correlations that fit together (a positive definite matrix)",
        "multiply them by 0.55 or less, or add the pairs that are missing (they count as 0)",
    )


FILES = {
    "no file": (None, said("", "no such file", "a scenario file", file="gone.toml")),
    "not TOML": (
        b"currency = GBP\n",
        said(
            "",
            "line 1: currency = GBP (Invalid value)",
            "TOML: key = value, texts in quotes, tables in [brackets]",
            "put texts in quotes",
            file="gone.toml",
        ),
    ),
    "not UTF-8": (
        b"# caf\xe9\n",
        said(
            "",
            "line 1: byte 0xe9 is not UTF-8",
            "text saved as UTF-8",
            "save it again with the encoding UTF-8",
            file="gone.toml",
        ),
    ),
    "too large": (
        b"#" * 200_001,
        said("", "200001 bytes", "a scenario file of at most 200000 bytes", file="gone.toml"),
    ),
    "nested too deeply": (
        b"x = " + b"[" * 5000,
        said(
            "",
            "keys, tables or lists nested too deeply",
            "TOML with figures and tables of a sensible size",
            file="gone.toml",
        ),
    ),
    "number of thousands of digits": (
        b"x = " + b"9" * 5000,
        said("", "a number too long to read", "TOML with figures and tables of a sensible size", file="gone.toml"),
    ),
}


@pytest.mark.parametrize("fault", FILES)
def test_files_that_cannot_be_read(fault):
    """A file that is missing, no TOML, no UTF-8, or out of all proportion is refused by name."""
    content, expected = FILES[fault]
    if content is not None:
        Path("gone.toml").write_bytes(content)
    with pytest.raises(InputError) as caught:
        read_scenario("gone.toml")
    assert str(caught.value) == expected


def test_folder_instead_of_a_file():
    """A folder is named as such."""
    with pytest.raises(InputError) as caught:
        read_scenario(".")
    assert str(caught.value) == said("", "a folder", "a scenario file", file=".")


def test_misspelt_scenario_name_gets_the_neighbour():
    """A missing file brings up the file of nearly that name."""
    Path("flat.toml").write_text(FLAT, encoding="utf-8")
    with pytest.raises(InputError, match=r'did you mean "flat.toml"\?'):
        read_scenario("flt.toml")


def shared(target):
    """Return the edit that takes the kit from another file."""
    return 'coupling = "sockets"', f'from = "{target}"'


def test_fault_in_a_shared_file_is_told_there():
    """A wrong value that came through `from` is reported against the file in which it stands."""
    assert message(*shared("kits/unit.toml"), files={"kits/unit.toml": SHELF}) == said(
        "kit.coupling",
        '"socket"',
        'one of "sockets", "plug_in", "whole_home" or "off_grid"',
        'did you mean "sockets"?',
        file="kits/unit.toml",
    )


PATH = "a path to a TOML file relative to this file, inside the folder scenarios"
SHARING = {
    "missing": (
        "kits/unit.toml",
        {},
        said(
            "",
            "no such file",
            "a scenario file (named by kit.from in flat.toml)",
            "there is no folder kits",
            "kits/unit.toml",
        ),
    ),
    "out of the folder": (
        "../unit.toml",
        {"../unit.toml": SHELF},
        said("kit.from", '"../unit.toml"', PATH, "move or copy the file into that folder"),
    ),
    "out of the folder and back": (
        "../../../../../../../../etc/passwd",
        {},
        said("kit.from", '"../../../../../../../../etc/passwd"', PATH, "move or copy the file into that folder"),
    ),
    "absolute": (
        "/etc/unit.toml",
        {},
        said("kit.from", '"/etc/unit.toml"', PATH, "write the path relative to this file, with / between folders"),
    ),
    "circular": (
        "a.toml",
        {"a.toml": '[kit]\nfrom = "b.toml"\n', "b.toml": 'from = "a.toml"\ncoupling = "sockets"\n'},
        said(
            "kit.from",
            "flat.toml -> a.toml -> b.toml -> a.toml",
            "files that do not lead back to themselves",
            file="b.toml",
        ),
    ),
    "unknown table": (
        "unit.toml",
        {"unit.toml": '[kit]\ncoupling = "sockets"\n[prchase]\nprice = 3\n'},
        said(
            "prchase",
            "{price = 3}",
            "a shared file holds tables such as [site], [home], [tariff], [prices], [kit], [dispatch], [purchase], "
            "[tenure], [alternative], [outages], [study]",
            'did you mean "purchase"?',
            file="unit.toml",
        ),
    ),
    "not TOML": (
        "unit.toml",
        {"unit.toml": "[kit\n"},
        said(
            "",
            "line 1: [kit (Expected ']' at the end of a table declaration)",
            "TOML: key = value, texts in quotes, tables in [brackets] (named by kit.from in flat.toml)",
            file="unit.toml",
        ),
    ),
}


@pytest.mark.parametrize("fault", SHARING)
def test_files_that_cannot_be_shared(fault):
    """`from` stays inside the scenario folder, never circles, and names what is wrong with the other file."""
    target, files, expected = SHARING[fault]
    assert message(*shared(target), files=files) == expected


def test_link_out_of_the_folder_is_refused(folder):
    """A symbolic link does not lead `from` out of the scenario folder."""
    (folder.parent / "unit.toml").write_text(SHELF, encoding="utf-8")
    Path("unit.toml").symlink_to(folder.parent / "unit.toml")
    assert said("kit.from", '"unit.toml"', PATH, "move or copy the file into that folder") == message(
        *shared("unit.toml")
    )


@pytest.mark.parametrize("override", OVERRIDES)
def test_overrides_that_cannot_be_taken(override):
    """A wrong override is reported against `--set` with the same words as a wrong file."""
    assert message(overrides=[override]) == OVERRIDES[override]


COLUMNS = {
    "no file": ("gone.csv", "kwh", None, "the CSV file that home.annual_use_kwh names in flat.toml"),
    "no column": ("use.csv", "kwhs", "year,kwh\n2020,2300\n", "one of the columns year, kwh"),
    "no number": ("use.csv", "kwh", "year,kwh\n2020,2300\n2021,n/a\n", "a finite number in every line"),
    "infinite": ("use.csv", "kwh", "year,kwh\n2020,inf\n", "a finite number in every line"),
    "empty": ("use.csv", "kwh", "year,kwh\n", "at least one line below the header"),
    "short line": ("use.csv", "kwh", "year,kwh\n2020\n", "a finite number in every line"),
}


@pytest.mark.parametrize("fault", COLUMNS)
def test_columns_that_cannot_be_read(fault):
    """An empirical distribution names the line of its file that is wrong, and only that problem is told."""
    name, column, content, accepted = COLUMNS[fault]
    table = f'annual_use_kwh = {{ distribution = "empirical", file = "{name}", column = "{column}" }}'
    text = message("annual_use_kwh = 2300", table, files={} if content is None else {name: content})
    assert f"  accepted: {accepted}" in text
    assert text.count("accepted:") == 1
    if fault == "no number":
        assert text == said("line 3, column kwh", '"n/a"', accepted, file="use.csv")


#: Files out of all proportion, by a number that makes them long.
OVERGROWN = {
    "unknown keys": lambda number: "\n".join(f"key{place} = 1" for place in range(number)),
    "a key of many parts": lambda number: ".".join(["a"] * number) + " = 1",
    "rates": lambda number: (
        FLAT + "".join(f"[tariff.rates.r{place}]\nimport_price_per_kwh = 0.3\n" for place in range(number))
    ),
    "a long list": lambda number: "[site]\nzone = [" + "1.5," * number + "]",
}


def refused(content: str) -> tuple[InputError, int]:
    """Return the error about a scenario, and how many calls of functions led to it."""
    Path("flat.toml").write_text(content, encoding="utf-8")
    calls = itertools.count()
    before = sys.getprofile()
    sys.setprofile(lambda *_: next(calls) and None)
    try:
        read_scenario("flat.toml")
    except InputError as error:
        sys.setprofile(before)
        return error, next(calls)
    finally:
        sys.setprofile(before)
    raise AssertionError("not refused")


def test_a_file_too_large_is_not_read(monkeypatch):
    """A file above the limit, 70 times the longest that is shipped, is refused by its size: no byte of it is read."""
    Path("flat.toml").write_text(FLAT + "#" * 200_000, encoding="utf-8")
    monkeypatch.setattr(Path, "read_bytes", lambda _: pytest.fail("read"))
    monkeypatch.setattr(tomllib, "loads", lambda _: pytest.fail("parsed"))
    with pytest.raises(InputError, match="a scenario file of at most 200000 bytes"):
        read_scenario("flat.toml")


def test_a_key_of_many_parts_is_not_parsed(monkeypatch):
    """The parser's time grows with the square of the parts of a key, so it is refused before."""
    monkeypatch.setattr(tomllib, "loads", lambda _: pytest.fail("parsed"))
    error, _ = refused(OVERGROWN["a key of many parts"](2000))
    assert error.problems[0].given == "keys, tables or lists nested too deeply"


@pytest.mark.parametrize("fault", OVERGROWN)
def test_the_work_of_refusing_grows_with_the_file(fault):
    """Twice the length takes at most 2.2 times the work, counted in calls, and the message stays one that can be read."""
    refused(OVERGROWN[fault](500))  # what is imported and kept on first use
    (short, few), (long, many) = (refused(OVERGROWN[fault](number)) for number in (2000, 4000))
    assert many < 2.2 * few
    for error in (short, long):
        assert len(error.problems) <= 101
        assert len(str(error)) < 60_000


def test_device_is_no_data_file():
    """A device that never ends is refused before a byte of it is read."""
    if not Path("/dev/zero").exists():
        pytest.skip("no devices here")
    found = message(
        'source = "climate", region = "thames"', 'source = "epw"', overrides=['site.weather.file="/dev/zero"']
    )
    assert found == said(
        "site.weather.file",
        '"/dev/zero": no regular file',
        "a data file that can be read; its path is relative to the file that names it",
        file="--set",
    )


@pytest.mark.parametrize(
    ("path", "hint"),
    [
        ("/etc/passwd", "write the path relative to this file, with / between folders"),
        ("C:\\\\weather.epw", "write the path relative to this file, with / between folders"),
        ("../../../../../../../../etc/passwd", "move or copy the file into that folder"),
        ("link/passwd", "move or copy the file into that folder"),
    ],
)
def test_data_files_out_of_the_folder_are_refused(path, hint):
    """Nor does a scenario read weather, or observed values, from wherever it likes: not absolute, above or by a link."""
    Path("link").symlink_to("/etc")
    accepted = "a path relative to this file, inside the folder scenarios"
    weather = message('source = "climate", region = "thames"', f'source = "epw", file = "{path}"')
    shown_path = f'"{path}"'.replace("\\\\", "\\")
    assert weather == said("site.weather.file", shown_path, accepted, hint)
    table = f'annual_use_kwh = {{ distribution = "empirical", file = "{path}", column = "kwh" }}'
    assert message("annual_use_kwh = 2300", table) == said("home.annual_use_kwh.file", shown_path, accepted, hint)
