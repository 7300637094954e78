"""Measured solar power in place of the model: it gives back its own energy, goes with the meter's days, and is questioned."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from riskcalc.answers.check import check_figures
from riskcalc.clock import local_clock
from riskcalc.errors import InputError
from riskcalc.scenario import Scenario, read_scenario
from riskcalc.years.planes import plane_weights
from riskcalc.years.pools import Pools, pools

ZONE = "Europe/London"
CLOCK = local_clock(ZONE)
PEAK_W = 3000.0
START = datetime(2023, 1, 1)
Power = Callable[[datetime], float]


def sunny_w(moment: datetime) -> float:
    """Return the power of an array of 3 kW at a moment of standard time: a bell about noon, high in June, day by day another."""
    day = moment.timetuple().tm_yday
    hour = moment.hour + moment.minute / 60.0
    length = 6.0 + 2.2 * np.cos(2.0 * np.pi * (day - 172) / 365.0)
    bell = np.cos(np.clip((hour - 12.0) / length, -1.0, 1.0) * np.pi / 2.0)
    clear = 0.2 + 0.8 * ((day * 7919) % 97) / 97.0
    return float(PEAK_W * clear * (0.45 + 0.25 * np.cos(2.0 * np.pi * (day - 172) / 365.0)) * max(bell, 0.0))


def written(
    path: Path, power: Power = sunny_w, *, days: int = 365, minutes: int = 30, name: str = "power_w", wall: bool = True
) -> Path:
    """Write readings at the middle of each interval, on the wall clock unless told otherwise; hours of no sun are left out."""
    rows, info = [], ZoneInfo(ZONE)
    for step in range(days * 1440 // minutes):
        at = START + timedelta(minutes=minutes * step)
        shift = at.replace(tzinfo=info).dst() if wall else timedelta()
        watts = power(at - (shift or timedelta()) + timedelta(minutes=minutes / 2))
        if name != "power_w" or watts > 0.0:
            rows.append(f"{at:%Y-%m-%d %H:%M},{watts:.3f}")
    path.write_text(f"time,{name}\n" + "\n".join(rows) + "\n", encoding="utf-8")
    return path


@pytest.fixture
def read(tmp_path: Path, small_file: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Scenario]:
    """Return a function that reads the small scenario with measured solar power and changes."""
    monkeypatch.chdir(tmp_path)

    def reading(*changes: str, years: int = 12) -> Scenario:
        text = small_file.read_text(encoding="utf-8")
        (tmp_path / "with.toml").write_text(text, encoding="utf-8")
        said = (f"site.measured_pv.peak_w={PEAK_W}", 'site.measured_pv.file="pv.csv"', f"study.pool_years={years}")
        overrides = (*said, *changes)
        return read_scenario(tmp_path / "with.toml", overrides)

    return reading


def built(scenario: Scenario) -> Pools:
    """Return the pools of a scenario."""
    return pools(scenario, CLOCK)


def test_a_record_gives_back_its_own_year(tmp_path: Path, read: Callable[..., Scenario]) -> None:
    """Per watt of rated power the pool years hold the energy of the record, each month its own, within one per cent."""
    written(tmp_path / "pv.csv")
    scenario = read(years=24)
    made = built(scenario)
    (array,) = scenario.kit.arrays.values()
    module_w = 430.0 * array.modules_in_series * array.strings_in_parallel
    step_hours = 8760.0 / made.solar_w.shape[2]
    got_kwh = made.solar_w[:, 0].sum(dtype=np.float64) * step_hours / 1000.0 / 24.0
    moments = [START + timedelta(minutes=30 * step + 15) for step in range(365 * 48)]
    record = np.array([sunny_w(moment) for moment in moments])
    assert got_kwh == pytest.approx(record.sum() * 0.5 / 1000.0 * module_w / PEAK_W, rel=0.01)
    day_kwh = made.solar_w[:, 0].reshape(24, 365, -1).sum(axis=2, dtype=np.float64).mean(axis=0)
    june, december = day_kwh[151:181].sum(), day_kwh[334:].sum()
    own = record.reshape(365, 48).sum(axis=1)
    assert june / december == pytest.approx(own[151:181].sum() / own[334:].sum(), rel=0.02)


def test_good_and_bad_years_are_those_of_the_weather(tmp_path: Path, read: Callable[..., Scenario]) -> None:
    """Years of the pool differ as their light does: the brightest by light is the brightest in power."""
    written(tmp_path / "pv.csv")
    made = built(read())
    power = made.solar_w[:, 0].sum(axis=1, dtype=np.float64)
    light = made.weather.annual_ghi_kwh()
    assert np.corrcoef(power, light)[0, 1] > 0.8
    assert power.std() / power.mean() > 0.5 * light.std() / light.mean()


def test_days_go_together_with_the_meters(tmp_path: Path, read: Callable[..., Scenario]) -> None:
    """Where the home uses 100 W on dull dates and 1,100 W on bright ones, so do the pool years, day by day."""
    written(tmp_path / "pv.csv")

    def bright(moment: datetime) -> bool:
        return (moment.timetuple().tm_yday * 7919) % 97 > 48

    written(tmp_path / "meter.csv", lambda moment: 1100.0 if bright(moment) else 100.0, name="use_w", wall=False)
    meter = ('home.demand.source="meter"', 'home.demand.file="meter.csv"', "home.demand.reachable_share=1")
    scenario = read(*meter, "home.annual_use_kwh=5000", "home.appliances={}", "site.weather.yearly_spread=0.001")
    made = built(scenario)
    assert made.measured is not None
    assert len(made.measured.paired) == 365
    used = made.demand.reachable_day_kwh[:, 0]
    sun = made.solar_w[:, 0].reshape(made.weather.years, 365, -1).sum(axis=2, dtype=np.float64)
    for days in (slice(0, 31), slice(151, 181)):
        busy = used[:, days] > 15.0
        assert 0.3 < busy.mean() < 0.7
        assert np.median(sun[:, days][busy]) > 1.5 * np.median(sun[:, days][~busy])
    dates = np.array([bright(START + timedelta(days=int(date) - 19358)) for date in made.measured.paired])
    assert ((used > 15.0) == dates[made.measured.rows]).mean() > 0.99  # but for the two days of 23 and 25 hours
    assert "365 dates in both files" in made.measured.understood["days"]


def test_days_of_other_dates_are_dealt_by_themselves(tmp_path: Path, read: Callable[..., Scenario]) -> None:
    """A meter of another year goes beside the record; the page is told that sun and use do not go together."""
    written(tmp_path / "pv.csv")
    text = written(tmp_path / "meter.csv", lambda _: 300.0, name="use_w", wall=False).read_text(encoding="utf-8")
    (tmp_path / "meter.csv").write_text(text.replace("2023-", "2021-"), encoding="utf-8")
    meter = ('home.demand.source="meter"', 'home.demand.file="meter.csv"', "home.demand.reachable_share=1")
    made = built(read(*meter, "home.appliances={}", "home.annual_use_kwh=2628"))
    assert made.measured.paired is None
    assert any("share too few dates" in note for note in made.measured.notes)


def test_a_file_without_summer_time_is_found_by_the_sun(tmp_path: Path, read: Callable[..., Scenario]) -> None:
    """Readings on standard time all year are noticed, so that noon stays at noon in June; on the wall clock too."""
    for wall in (True, False):
        written(tmp_path / "pv.csv", wall=wall)
        made = built(read(f"study.seed={2 + wall}"))
        clock = made.measured.understood["clock"]
        assert clock.startswith("wall clock" if wall else "standard time")
        assert clock.endswith("found from the sun") is not wall
        june = made.measured.day_share[151:181].sum(axis=0)
        assert np.average(np.arange(1440) / 60.0, weights=june) == pytest.approx(12.0, abs=0.1)


def test_losses_of_the_record_are_not_taken_off_again(tmp_path: Path, read: Callable[..., Scenario]) -> None:
    """A measured array keeps its scale and further shade only: dirt, wiring and the resource are in the record."""
    written(tmp_path / "pv.csv")
    made = built(read())
    values = {
        "site.resource_factor": np.array([0.9, 1.1]),
        "kit.soiling": np.array([0.2, 0.2]),
        "kit.wiring": np.zeros(2),
        "kit.mismatch": np.zeros(2),
        "site.measured_pv.scale": np.array([1.0, 1.2]),
        "home.surfaces.balcony.tilt_deg": np.full(2, 75.0),
        "home.surfaces.balcony.azimuth_deg": np.full(2, 200.0),
        "home.surfaces.balcony.shading": np.array([0.0, 0.5]),
    }
    assert plane_weights(made.planes, values, draws=2) == pytest.approx(np.array([[1.0, 0.6]]))


def test_the_scale_of_a_record_is_uncertain(tmp_path: Path, read: Callable[..., Scenario]) -> None:
    """One year of a like array tells the long run within 7 %: the odds hold that, unless the scenario says less."""
    written(tmp_path / "pv.csv")
    assert read().uncertain()["site.measured_pv.scale"].sd == pytest.approx(0.07)
    assert "site.measured_pv.scale" not in read("site.measured_pv.scale=1").uncertain()


def test_part_of_a_year_is_completed_at_the_level_of_the_model(tmp_path: Path, read: Callable[..., Scenario]) -> None:
    """Four months, January to April, give the other eight by the model's swing; the months are named."""
    written(tmp_path / "pv.csv", days=120)
    made = built(read())
    assert any("lacks May, June" in note for note in made.measured.notes)
    days = made.solar_w[:, 0].reshape(12, 365, -1).sum(axis=2).mean(axis=0)
    assert days[151:181].mean() > days[0:31].mean()


def test_power_behind_the_inverter_is_brought_back_to_the_modules(
    tmp_path: Path, read: Callable[..., Scenario]
) -> None:
    """An inverter's output stands for 1 / 0.96 of it at the modules."""
    written(tmp_path / "pv.csv")
    sums = [
        built(read(f"site.measured_pv.after_inverter={word}")).solar_w.sum(dtype=np.float64)
        for word in ("false", "true")
    ]
    assert sums[1] / sums[0] == pytest.approx(1.0 / 0.96, rel=1e-5)


def test_what_cannot_be_is_refused_and_what_is_odd_is_asked(tmp_path: Path, read: Callable[..., Scenario]) -> None:
    """A rated power in kW, a clock half a day off, a turned sign; energy twice the model's is asked about."""
    written(tmp_path / "pv.csv")
    with pytest.raises(InputError, match=r"site\.measured_pv\.peak_w\n.*from modules of 0\.03 kW"):
        built(read("site.measured_pv.peak_w=30"))
    written(tmp_path / "pv.csv", lambda moment: sunny_w(moment + timedelta(hours=12)))
    with pytest.raises(InputError, match="while the sun is down"):
        built(read())
    written(tmp_path / "pv.csv", lambda moment: 100.0 - sunny_w(moment), name="solar_w")
    with pytest.raises(InputError, match="turn the sign"):
        built(read())
    written(tmp_path / "pv.csv", lambda moment: sunny_w(moment + timedelta(hours=2)))
    made = built(read("site.measured_pv.peak_w=1800"))
    asked = " ".join(question.given for question in made.measured.questions)
    assert "of what the model gives" in asked
    assert "h earlier than the model's" in asked
    assert "while the sun is down" in asked


def test_a_surface_that_is_not_there_is_refused(tmp_path: Path, read: Callable[..., Scenario]) -> None:
    """The message names the surfaces of the home."""
    written(tmp_path / "pv.csv", days=30)
    with pytest.raises(InputError, match=r"site\.measured_pv\.surfaces\n.*roof(.*\n)+.*balcony"):
        read('site.measured_pv.surfaces=["roof"]')


def test_columns_of_use_are_left_out(tmp_path: Path, read: Callable[..., Scenario]) -> None:
    """Of a logger's columns the solar one is taken; with two that may be it, the message names the key."""
    pv = written(tmp_path / "a.csv", name="x").read_text(encoding="utf-8").splitlines()[1:]
    rows = [f"{line.split(',')[0]},250,{line.split(',')[1]},-3" for line in pv]
    (tmp_path / "pv.csv").write_text("time,house load W,PV W,grid W\n" + "\n".join(rows), encoding="utf-8")
    assert built(read()).measured.understood["column"] == "PV W"
    (tmp_path / "pv.csv").write_text("time,left W,right W,grid W\n" + "\n".join(rows), encoding="utf-8")
    with pytest.raises(InputError, match=r"left W, right W(.*\n)+.*site\.measured_pv\.columns"):
        built(read())


def test_check_and_page_say_how_it_was_understood(
    here: Callable[..., Any], tmp_path: Path, read: Callable[..., Scenario]
) -> None:
    """Period, step, unit, clock, gaps and yearly sum stand in the check and on the page of the answer."""
    written(tmp_path / "pv.csv")
    figures = check_figures(read())
    said = figures["understood"]["solar file"]
    assert said["period"].startswith("2023-01-01 to 2023-12-31")
    assert (said["step"], said["unit"]) == ("30 minutes", "W")
    assert "kWh for each kW" in said["year"]
    scenario, out = tmp_path / "with.toml", tmp_path / "out"
    sets = [f"site.measured_pv.peak_w={PEAK_W}", 'site.measured_pv.file="pv.csv"', "study.horizon_years=2"]
    sets += ["study.pool_years=8", "study.draws=32", "study.scrambles=4"]
    words = [part for change in sets for part in ("--set", change)]
    assert here("assess", scenario, *words, "--out", out, cwd=tmp_path).returncode == 0
    result = json.loads((out / "result.json").read_text(encoding="utf-8"))
    assert result["understood"]["solar file"]["year"] == said["year"]
    page = (out / "report.html").read_text(encoding="utf-8")
    assert "How the files were understood" in page
    assert "Solar file:" in page
    assert "not of the model" in page
