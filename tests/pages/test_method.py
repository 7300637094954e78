"""The method is told for what a scenario uses, each part with its source, and says what the code does."""

import itertools
import re

import numpy as np
import pytest

from riskcalc.answers.page_dict import page_dict
from riskcalc.dispatch import inverter_curve
from riskcalc.money.measures import net_present_value, simple_payback_years
from riskcalc.money.prices import price_path
from riskcalc.pages.exhibits.method import MethodPart, method
from riskcalc.pages.page import assess_page
from riskcalc.weather.module import linear_temperature
from riskcalc.years.ageing import LAWS, Conditions

FULL = {
    "generated_weather": True,
    "metered": False,
    "coupling": "sockets",
    "has_modules": True,
    "has_battery": True,
    "ageing_law": "lfp",
    "moves": True,
    "outages": True,
}


def titles(**changes: object) -> list[str]:
    """Return the titles of the parts told."""
    return [part.title for part in method({**FULL, **changes})]


def part(name: str, **changes: object) -> MethodPart:
    """Return one part."""
    return next(part for part in method({**FULL, **changes}) if part.title == name)


def test_every_part_has_a_source() -> None:
    """Whatever the scenario: a publication with its year, a document, a file, or "our own"."""
    for coupling, law, generated, metered in itertools.product(
        ("none", "sockets", "plug_in", "whole_home", "off_grid"),
        ("lfp", "nmc", "datasheet"),
        (True, False),
        (True, False),
    ):
        parts = method(
            {**FULL, "coupling": coupling, "ageing_law": law, "generated_weather": generated, "metered": metered}
        )
        for told in parts:
            assert re.search(r"\b(19|20)\d\d\b|our own|Owen|ASTM|file", told.source), told.title
            assert told.says.endswith(".")
            assert not told.source.endswith(".")
        assert len({told.title for told in parts}) == len(parts)


def test_what_a_scenario_does_not_use_is_not_told() -> None:
    """No modules, no battery, no kit, no move, no outage: their parts are left out."""
    every = titles()
    assert {"Light on the modules", "Wear of the battery", "Staying and moving", "Outages"} <= set(every)
    assert "Light on the modules" not in titles(has_modules=False)
    assert "Wear of the battery" not in titles(has_battery=False)
    assert "Where the energy of each step goes" not in titles(coupling="none")
    assert "Staying and moving" not in titles(moves=False)
    assert "Outages" not in titles(outages=False)
    assert "Sobol'" in part("Futures and their standard errors").says


def test_equations_say_what_the_code_does() -> None:
    """Worth, payback, cells, inverter, prices and the datasheet law, as told, against the functions that are used."""
    flows = np.array([-100.0, 30.0, 40.0, 50.0])
    assert "Σ f_y (1 + r)^{−y}" in part("Money").equations[0]
    told = sum(flow * 1.05**-year for year, flow in enumerate(flows))
    assert net_present_value(flows[:, None], discount_rate=0.05)[0] == pytest.approx(told, rel=1e-12)
    assert simple_payback_years(flows[:, None])[0] == pytest.approx(2 + 30 / 50)

    assert "T_{air} + G / (u_0 + u_1 w)" in part("Power of the modules").equations[1]
    light = np.array([800.0]), np.array([20.0]), np.array([2.0])
    assert linear_temperature(*light, heat_loss=(25.0, 6.84))[0] == pytest.approx(20 + 800 / (25 + 6.84 * 2))

    assert "idle + a L + b L^2" in part("Where the energy of each step goes").equations[0]
    a, b = inverter_curve(1000.0, idle_w=10.0, efficiency_half_load=0.92, efficiency_full_load=0.9)
    assert 10 + a * 500 + b * 500**2 == pytest.approx(500 / 0.92)

    growth = "g_y = ln(1 + trend) + d_y + (J_y − m) − f (J_{y − 1} + J_{y − 2} + J_{y − 3} − 3 m) / 3"
    assert part("Prices").equations[:2] == ("d_y = φ d_{y − 1} + σ ε_y", growth)
    shock, jump, trend = np.array([9.0, 0.5, -1.0]), np.log(1.2) + 0.1 * 0.7, np.log(1.02)
    path = price_path(
        years=3,
        trend=0.02,
        persistence=0.3,
        spread=0.04,
        jump_chance=0.5,
        jump_mean=0.2,
        jump_spread=0.1,
        jump_fade_share=0.6,
        normals=shock[:, None],
        jump_uniforms=np.array([[0.9], [0.9], [0.1]]),
        jump_normals=np.full((3, 1), 0.7),
    )
    mean = 0.5 * np.log(1.2)
    first = trend + 0.04 * 0.5 + (0.0 - mean)
    second = trend + 0.3 * 0.04 * 0.5 + 0.04 * -1.0 + (jump - mean) - 0.6 * (0.0 - mean) / 3
    assert path[:, 0] == pytest.approx(np.exp(np.cumsum([0.0, first, second])))

    assert (
        part("Wear of the battery", ageing_law="datasheet")
        .equations[0]
        .startswith("loss = 0.2 cycles / cycles to 80 %")
    )
    held = Conditions(0.8, 0.5, 20.0, 0.5, cycles_to_80_percent=3000.0)
    assert 300 * LAWS["datasheet"].cycle_rate(held) == pytest.approx(0.2 * 300 / 3000)


def test_the_page_tells_the_method_of_its_scenario(read_small) -> None:
    """A flat with modules and a battery, no move, generated weather: those parts and no others."""
    from riskcalc.study.model import assessment

    shown = page_dict(assessment(read_small()), command="")
    told = method(shown["page"]["method"])
    assert [part.title for part in told] == titles(moves=False, outages=False)
    page = assess_page(shown)
    assert 'id="method"' in page
    assert page.count('class="equation"') == sum(len(part.equations) for part in told)


def test_equations_have_their_marks_above_and_below_the_line() -> None:
    """Marks with and without braces; what is not a mark stays text."""
    from riskcalc.pages.document import equation_html

    assert equation_html("x = a_1 b^{n - 1} <i>") == "x = a<sub>1</sub> b<sup>n - 1</sup> &lt;i&gt;"
    for told in method(FULL):
        for equation in told.equations:
            assert not re.search(r"[_^{}]", equation_html(equation)), equation
