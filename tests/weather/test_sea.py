"""Places on the sea are asked again, before anything is fetched; coasts and islands are not, and anybody can insist."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from riskcalc.cli import app
from riskcalc.errors import InputError
from riskcalc.weather import record
from riskcalc.weather.sea import check_on_land, near_land

COASTS = {
    "Miami": (25.76, -80.19),
    "New York": (40.71, -74.01),
    "Lisbon": (38.72, -9.14),
    "Cape Town": (-33.92, 18.42),
    "Reykjavik": (64.15, -21.94),
    "Singapore": (1.35, 103.82),
    "Suva, by the date line": (-18.14, 178.44),
    "Provideniya, beyond it": (64.42, -173.23),
    "Bermuda": (32.3, -64.78),
    "Tristan da Cunha": (-37.07, -12.31),
    "the South Pole": (-90.0, 0.0),
    "Essen, 200 km inland": (51.46, 7.01),
}
SEAS = {
    "the middle of the Atlantic": (30.0, -45.0),
    "the Pacific": (0.0, -140.0),
    "0 0": (0.0, 0.0),
    "the date line": (-45.0, 180.0),
    "the date line, said the other way": (-45.0, -180.0),
    "the Norwegian Sea": (69.0, 2.0),
    "the North Pole": (90.0, 0.0),
    "Lisbon without its minus, then swapped": (9.14, 60.0),
}


@pytest.mark.parametrize("place", COASTS)
def test_coasts_islands_and_land_are_land(place: str) -> None:
    """Nobody who lives there is asked."""
    assert near_land(*COASTS[place])
    check_on_land(*COASTS[place], insist="")


@pytest.mark.parametrize("place", SEAS)
def test_the_sea_is_refused_with_a_way_to_insist(place: str) -> None:
    """What was given, why it is refused, and how to go on where the map is wrong."""
    with pytest.raises(InputError, match="on the sea: more than 75 km from any land") as caught:
        check_on_land(*SEAS[place], insist="--at-sea if it is meant")
    assert "a small island may be missing from our map: --at-sea if it is meant" in str(caught.value)


def test_coordinates_the_wrong_way_round_are_offered_the_right_way() -> None:
    """Those of Recife, swapped, lie south of South Africa."""
    with pytest.raises(InputError, match=r"swapped\? Latitude first: -8\.05 -34\.9"):
        check_on_land(-34.9, -8.05, insist="")


def test_weather_asks_before_it_uses_the_network(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No request is made for the middle of the Atlantic; --at-sea lets it through."""
    asked = []

    def fetch(*place: float, **_: object) -> None:
        asked.append(place)
        raise InputError([])

    monkeypatch.setattr(record, "fetch_years", fetch)
    words = ["weather", "30", "-45", "--from", "2003", "--to", "2003", "--out", str(tmp_path / "there.csv")]
    refused = CliRunner().invoke(app, words)
    assert isinstance(refused.exception, InputError)
    assert "--at-sea if it is meant" in str(refused.exception)
    assert "This uses the network" not in refused.output
    assert asked == []
    CliRunner().invoke(app, [*words, "--at-sea"])
    assert asked == [(30.0, -45.0)]


@pytest.mark.parametrize("meant", [False, True])
def test_at_a_terminal_weather_asks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, *, meant: bool) -> None:
    """The question names the place; only a yes goes on."""
    asked = []
    monkeypatch.setattr(record, "fetch_years", lambda *place, **_: asked.append(place))
    monkeypatch.setattr(sys.modules["typer"], "confirm", lambda text: "30 -45 lies more than 75 km" in text and meant)
    monkeypatch.setattr("riskcalc.commands.weather.on_a_terminal", lambda: True)
    CliRunner().invoke(
        app, ["weather", "30", "-45", "--from", "2003", "--to", "2003", "--out", str(tmp_path / "a.csv")]
    )
    assert asked == ([(30.0, -45.0)] if meant else [])


def test_new_asks_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As an option the place is refused, with what to name instead; typed, it is asked again."""
    monkeypatch.chdir(tmp_path)
    refused = CliRunner().invoke(app, ["new", "a.toml", "--yes", "--place", "30 -45"])
    assert "name a region (`riskcalc sites` lists them) or a weather file" in str(refused.exception)
    typed = CliRunner().invoke(app, ["new", "a.toml"], input="30 -45\nthames\n")
    assert typed.output.count("Place: a region") == 2
    assert "on the sea: more than 75 km from any land" in typed.output
    assert list(tmp_path.iterdir()) == []
