"""The page of any place: seasons by hemisphere, none in the tropics, polar night, 45-minute zones, beyond the date line."""

from __future__ import annotations

import re
import runpy
from pathlib import Path

import numpy as np
import pytest

from riskcalc.answers.page_dict import page_dict, whole_result
from riskcalc.pages.page import assess_page
from riskcalc.scenario import read_scenario
from riskcalc.study.model import assessment
from riskcalc.weather.solar import sun_path

SMALL = runpy.run_path(str(Path(__file__).parents[1] / "conftest.py"))["SMALL"]
THAMES = '{ source = "climate", region = "thames" }'


@pytest.mark.parametrize(
    ("latitude", "longitude", "zone", "weeks"),
    [
        (-33.9, 151.2, "Australia/Sydney", {"Summer": "January", "Winter": "July"}),
        (1.3, 103.8, "Asia/Singapore", {"July": "July", "January": "January"}),
        (-43.9, -176.5, "Pacific/Chatham", {"Summer": "January", "Winter": "July"}),
        (78.2, 15.6, "Arctic/Longyearbyen", {"Summer": "July", "Winter": "January"}),
        (-21.1, -175.2, "Pacific/Tongatapu", {"July": "July", "January": "January"}),
    ],
)
def test_the_page_names_the_seasons_of_its_place(
    tmp_path: Path, latitude: float, longitude: float, zone: str, weeks: dict[str, str]
) -> None:
    """Weeks bear the season or the month and begin in it; the sun of each is that of the place; no word is out of place."""
    sun = sun_path(latitude, longitude, 0.0, 0.0)
    light = 0.5 * sun.extraterrestrial_horizontal_w
    start = np.datetime64("2021-01-01T00", "h")
    rows = [f"{start + hour}:00Z,{light[hour]:.2f},15.0,3.0" for hour in range(8760)]
    head = f"# latitude_deg: {latitude}\n# longitude_deg: {longitude}\n# zone: UTC\n# label: start\n"
    (tmp_path / "there.csv").write_text(head + "time,ghi,temp_air,wind_speed\n" + "\n".join(rows), encoding="utf-8")
    text = SMALL.replace(THAMES, '{ source = "csv", file = "there.csv" }')
    (tmp_path / "there.toml").write_text(text, encoding="utf-8")
    facing = 0 if latitude < 0 else 180
    changes = (
        f'site.zone="{zone}"',
        f"home.surfaces.balcony.azimuth_deg={facing}",
        "home.surfaces.balcony.tilt_deg=10",
        *(
            "study.pool_years=4",
            "study.draws=16",
            "study.scrambles=4",
            "study.horizon_years=2",
            "study.step_minutes=30",
        ),
    )
    found = assessment(read_scenario(tmp_path / "there.toml", changes))
    figures = page_dict(found, figures=whole_result(found), command="riskcalc assess there.toml")
    shown = {week["season"].capitalize(): week for week in figures["page"]["weeks"]}
    assert {season: week["first_day"].split()[-1] for season, week in shown.items()} == weeks
    page = assess_page(figures)
    for season in weeks:
        assert f"{season} week" in page
    visible = re.sub(r"<script.*?</script>|<style.*?</style>", "", page, flags=re.DOTALL)
    wrong = {"Summer", "Winter", "July", "January"} - set(weeks)
    assert not [season for season in wrong if f"{season} week" in visible]
    assert "face away from the equator" in visible
    assert "north-facing" not in visible
    assert not re.search(r"\bnan\b|\binf\b", visible, flags=re.IGNORECASE)
    first, second = (float(np.sum(week["solar_w"])) for week in shown.values())
    if abs(latitude) > 66.0:
        assert second == pytest.approx(0.0, abs=1.0)  # polar night
    if abs(latitude) > 23.44:
        assert first > 1.2 * second
    noon = np.average(np.arange(336) % 48 / 2 + 0.25, weights=next(iter(shown.values()))["solar_w"])
    assert 10.5 < noon < 14.5
    understood = figures["understood"]["weather file"]
    assert understood["place"].startswith(f"{abs(latitude):g}° {'north' if latitude > 0 else 'south'}")
