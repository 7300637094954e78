"""Modules: the single-diode fit gives back its datasheet, pvlib solves the same equation, limits act on the curve."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from riskcalc.errors import InputError
from riskcalc.weather.diode import (
    BOLTZMANN_V_PER_K,
    GRID_CELL_C,
    GRID_W_M2,
    GridPlace,
    curves,
    diode,
    maximum_power,
    operating_point,
    power_at_current,
    power_at_voltage,
    power_surface,
)
from riskcalc.weather.module import Module, check_module

#: Invented modules of three common kinds: half-cut, 72 cells, and a small one for caravans.
MODULES = (
    Module(
        power_w=430,
        voc_v=38.9,
        isc_a=14.0,
        vmp_v=32.4,
        imp_a=13.28,
        cells_in_series=54,
        gamma_pmax_per_k=-0.0030,
        beta_voc_per_k=-0.0025,
        alpha_isc_per_k=0.00045,
        low_light_ratio=0.97,
    ),
    Module(
        power_w=400,
        voc_v=49.5,
        isc_a=10.2,
        vmp_v=41.6,
        imp_a=9.62,
        cells_in_series=72,
        gamma_pmax_per_k=-0.0035,
        beta_voc_per_k=-0.0027,
        alpha_isc_per_k=0.0005,
    ),
    Module(
        power_w=100,
        voc_v=22.3,
        isc_a=6.1,
        vmp_v=18.2,
        imp_a=5.5,
        cells_in_series=36,
        gamma_pmax_per_k=-0.0043,
        beta_voc_per_k=-0.0033,
        alpha_isc_per_k=0.0005,
        low_light_ratio=0.94,
    ),
)


@pytest.mark.parametrize("module", MODULES)
def test_diode_gives_back_the_datasheet(module: Module) -> None:
    """Short circuit, open circuit and the maximum power point of the fitted curve are the datasheet's."""
    fit = diode(module)
    curve = curves(fit, module, np.array(1000.0), np.array(25.0))
    inner_short = np.array(module.isc_a * fit.series_ohm)
    assert curve.current(inner_short) == pytest.approx(module.isc_a, rel=1e-9)
    assert curve.current(np.array(module.voc_v)) == pytest.approx(0.0, abs=1e-6)
    power, voltage = maximum_power(curve)
    assert power == pytest.approx(module.vmp_v * module.imp_a, rel=1e-6)
    assert voltage == pytest.approx(module.vmp_v, rel=1e-3)


@pytest.mark.parametrize("module", MODULES)
def test_temperature_coefficients_are_the_datasheets(module: Module) -> None:
    """Around 25 degC open-circuit voltage moves by beta, power by gamma, and the rated power is met."""
    fit = diode(module)
    for step in (-1.0, 1.0):
        curve = curves(fit, module, np.array(1000.0), np.array(25.0 + step))
        wanted = module.voc_v * (1.0 + module.beta_voc_per_k * step)
        assert curve.current(np.array(wanted)) == pytest.approx(0.0, abs=2e-3 * module.isc_a)
    power, _ = operating_point(module, np.array([1000.0, 1000.0, 1000.0]), np.array([25.0, 20.0, 30.0]))
    assert power[0] == pytest.approx(module.power_w, rel=1e-9)
    assert (power[2] - power[1]) / 10.0 / power[0] == pytest.approx(module.gamma_pmax_per_k, abs=3e-5)


@pytest.mark.parametrize("module", MODULES)
def test_low_light_is_the_datasheets(module: Module) -> None:
    """Efficiency at 200 W/m2 over that at 1000 W/m2 is what the datasheet says, to 0.002."""
    power, _ = operating_point(module, np.array([200.0, 1000.0]), np.array([25.0, 25.0]))
    assert 5.0 * power[0] / power[1] == pytest.approx(module.low_light_ratio, abs=0.002)


@pytest.mark.parametrize("module", MODULES)
@pytest.mark.parametrize(
    ("light", "cell_c"), [(1000.0, 25.0), (800.0, 45.0), (200.0, 5.0), (50.0, -10.0), (1100.0, 70.0)]
)
def test_pvlib_solves_the_same_curve(module: Module, light: float, cell_c: float) -> None:
    """Maximum power, its voltage and the power held at a voltage agree with pvlib's single-diode solver."""
    from pvlib import pvsystem

    fit = diode(module)
    curve = curves(fit, module, np.array(light), np.array(cell_c))
    arguments = (
        float(curve.light_a),
        float(curve.saturation_a),
        fit.series_ohm,
        1.0 / float(curve.shunt_s),
        float(curve.thermal_v),
    )
    theirs = pvsystem.singlediode(*arguments)
    power, voltage = maximum_power(curve)
    assert power == pytest.approx(theirs["p_mp"], rel=1e-6)
    assert voltage == pytest.approx(theirs["v_mp"], rel=2e-3)
    held_v = 0.9 * float(theirs["v_mp"])
    current = float(pvsystem.i_from_v(held_v, *arguments))
    assert power_at_voltage(curve, held_v) == pytest.approx(current * held_v, rel=1e-6)
    held_a = 0.8 * float(theirs["i_mp"])
    volts = float(pvsystem.v_from_i(held_a, *arguments))
    assert power_at_current(curve, held_a) == pytest.approx(volts * held_a, rel=1e-6)


def test_ideality_is_that_of_silicon() -> None:
    """The diodes behind ordinary datasheets have idealities between 0.9 and 1.4 and positive resistances."""
    for module in MODULES:
        fit = diode(module)
        ideality = fit.thermal_v / (module.cells_in_series * BOLTZMANN_V_PER_K * 298.15)
        assert 0.9 < ideality < 1.4
        assert fit.series_ohm > 0.0
        assert fit.shunt_s >= 0.0
        assert 0.8 < fit.gap_v < 1.4


def test_table_agrees_with_the_equation_between_its_points() -> None:
    """Reading between the grid points costs less than 0.1 % of rated power, in float32 too."""
    module = MODULES[0]
    rng = np.random.default_rng(3)
    light, cell_c = rng.uniform(0.0, 1400.0, 500), rng.uniform(-30.0, 90.0, 500)
    surface = power_surface(module)
    exact, _ = maximum_power(curves(diode(module), module, light, cell_c))
    own, _ = maximum_power(curves(diode(module), module, GRID_W_M2[:, None], GRID_CELL_C[None, :]))
    ratio = GridPlace.of(np.maximum(light, 10.0), cell_c).read(surface.power_w / np.maximum(own, 1e-9))
    read = GridPlace.of(light, cell_c).read(surface.power_w)
    assert np.abs(read - exact * ratio).max() < 0.001 * module.power_w
    read32 = GridPlace.of(light.astype(np.float32), cell_c.astype(np.float32)).read(surface.power_w)
    assert read32.dtype == np.float32
    assert np.abs(read32 - read).max() < 0.01


def test_power_rises_with_light_and_falls_with_heat() -> None:
    """Everywhere on the surface more light gives more and hotter cells give less; no light gives nothing."""
    for module in MODULES:
        power = power_surface(module).power_w
        assert (np.diff(power, axis=0) > 0.0).all()
        assert (np.diff(power[1:], axis=1) < 0.0).all()
        assert np.abs(power[0]).max() < 1e-6


def test_limits_only_ever_take() -> None:
    """A limit of voltage or current lowers the surface where it binds and nowhere else."""
    module = MODULES[0]
    free = power_surface(module)
    low_v = power_surface(module, highest_voltage_v=31.0)
    binds = free.voltage_v > 31.0
    assert (low_v.power_w[binds] < free.power_w[binds]).all()
    assert np.array_equal(low_v.power_w[~binds], free.power_w[~binds])
    low_a = power_surface(module, highest_current_a=10.0)
    binds = free.power_w / np.maximum(free.voltage_v, 1e-9) > 10.2
    assert (low_a.power_w[binds] < free.power_w[binds]).all()
    # the strings climb their curve towards open circuit: more than current times the old voltage
    full_sun = (int(np.flatnonzero(GRID_W_M2 == 1000.0)[0]), int(np.flatnonzero(GRID_CELL_C == 25.0)[0]))
    assert 10.0 * 32.4 < low_a.power_w[full_sun] < 10.0 * 38.9


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"power_w": 500.0}, r"power_w[\s\S]*500[\s\S]*430\.3 W within 3 %"),
        ({"vmp_v": 40.0, "imp_a": 10.75}, r"vmp_v[\s\S]*less than voc_v = 38\.9"),
        ({"isc_a": 13.0}, r"imp_a[\s\S]*less than isc_a = 13"),
        ({"gamma_pmax_per_k": -0.30}, r"gamma_pmax_per_k[\s\S]*decimals per kelvin: -0\.34 %/K is -0\.0034"),
        ({"beta_voc_per_k": 0.0025}, r"beta_voc_per_k[\s\S]*-0\.006 to 0"),
        ({"cells_in_series": 108}, r"cells_in_series[\s\S]*0\.360 V[\s\S]*half of all cells"),
        ({"low_light_ratio": 96.0}, r"low_light_ratio[\s\S]*0\.8 to 1\.05"),
    ],
)
def test_datasheet_that_contradicts_itself_is_refused(change: dict[str, float], message: str) -> None:
    """Each slip of the pen is named with what was given and what is accepted."""
    with pytest.raises(InputError, match=message):
        check_module(replace(MODULES[0], **change))


def test_every_slip_is_reported_at_once() -> None:
    """Two contradictions give two problems."""
    with pytest.raises(InputError) as caught:
        check_module(replace(MODULES[0], gamma_pmax_per_k=-0.3, low_light_ratio=2.0))
    assert len(caught.value.problems) == 2
