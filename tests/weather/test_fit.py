"""Electrical fit: the code's table and worked examples, and what is said when an array does not suit its input."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from riskcalc.weather.fit import FitLine, cold_factor, cold_voc_v, electrical_fit, hot_cell_c, modules_that_fit
from riskcalc.weather.module import Module

Record = Callable[[str, object], None]

#: Open-circuit voltage and coefficient of the worked example; the other figures are made up to go with them.
EXAMPLE = Module(
    power_w=450,
    voc_v=49.5,
    isc_a=11.2,
    vmp_v=41.7,
    imp_a=10.8,
    cells_in_series=72,
    gamma_pmax_per_k=-0.0034,
    beta_voc_per_k=-0.0027,
    alpha_isc_per_k=0.0005,
)
SITE = {"record_low_c": -10.0, "hot_cell_c": 65.0}


def line(lines: tuple[FitLine, ...], start: str) -> FitLine:
    """Return the one line whose subject starts so."""
    (found,) = [entry for entry in lines if entry.what.startswith(start)]
    return found


@pytest.mark.published
def test_worked_example_by_coefficient_and_table(record_property: Record) -> None:
    """NEC 690.7(A): 49.5 V, -0.27 %/K, -10 degC is 54.18 V; 600 V takes 11 modules at 596 V, the table 10.

    A worked example in public circulation; 49.5 x 1.0945 = 54.18, 600 / 54.18 = 11.07; 49.5 x 1.14 = 56.43, 10.6.
    """
    assert cold_voc_v(EXAMPLE, cell_c=-10.0) == pytest.approx(54.18, abs=5e-3)
    assert modules_that_fit(EXAMPLE, record_low_c=-10.0, max_voltage_v=600.0) == 11
    assert modules_that_fit(EXAMPLE, record_low_c=-10.0, max_voltage_v=600.0, by_table=True) == 10
    lines = electrical_fit(EXAMPLE, modules_in_series=11, max_voltage_v=600.0, **SITE)
    assert line(lines, "open-circuit voltage at").value == pytest.approx(596.0, abs=0.5)
    assert line(lines, "open-circuit voltage by table").value == pytest.approx(11 * 56.43, abs=0.01)
    computed = cold_voc_v(EXAMPLE, cell_c=-10.0)
    record_property("published", ("cold open-circuit voltage V", "NEC 690.7(A) worked example", 54.18, computed))


@pytest.mark.published
@pytest.mark.parametrize(
    ("temp_c", "factor"),
    [
        (25, 1.0),
        (24, 1.02),
        (20, 1.02),
        (19, 1.04),
        (14, 1.06),
        (5, 1.08),
        (4, 1.10),
        (0, 1.10),
        (-1, 1.12),
        (-5, 1.12),
        (-6, 1.14),
        (-10, 1.14),
        (-11, 1.16),
        (-16, 1.18),
        (-20, 1.18),
        (-21, 1.20),
        (-26, 1.21),
        (-31, 1.23),
        (-36, 1.25),
        (-40, 1.25),
        (-41, None),
        (-5.5, 1.14),
    ],
)
def test_table_of_factors(temp_c: float, factor: float | None, record_property: Record) -> None:
    """NEC (NFPA 70) table 690.7(A) row by row; between two rows the colder one counts, below it there is none."""
    assert cold_factor(temp_c) == factor
    if factor is not None:
        record_property(
            "published", (f"cold factor at {temp_c} degC", "NEC table 690.7(A)", factor, cold_factor(temp_c))
        )


@pytest.mark.published
def test_current_in_strong_light(record_property: Record) -> None:
    """NEC 690.8(A)(1): 11.2 A of short-circuit current count as 14.0 A."""
    lines = electrical_fit(EXAMPLE, modules_in_series=2, max_voltage_v=600.0, max_current_a=20.0, **SITE)
    current = line(lines, "short-circuit current")
    assert current.value == pytest.approx(14.0)
    record_property("published", ("current in strong light A", "NEC 690.8(A)(1)", 14.0, current.value))
    assert current.margin == pytest.approx(0.3)
    assert current.verdict == "ok"


def test_too_many_in_series_is_refused_with_the_number_that_fits() -> None:
    """Twelve modules are refused, eleven are called tight, ten are well."""
    verdicts = {}
    for count in (10, 11, 12):
        lines = electrical_fit(EXAMPLE, modules_in_series=count, max_voltage_v=600.0, **SITE)
        verdicts[count] = line(lines, "open-circuit voltage at")
    assert [verdicts[count].verdict for count in (10, 11, 12)] == ["ok", "tight", "refused"]
    assert verdicts[12].advice == "at most 11 in series at -10 °C"
    assert verdicts[12].margin < 0.0 < verdicts[11].margin


def test_passing_only_the_tables_limit_is_a_warning() -> None:
    """Eleven modules pass the table's limit: tight, because a stated coefficient goes before the table."""
    lines = electrical_fit(EXAMPLE, modules_in_series=11, max_voltage_v=600.0, **SITE)
    table = line(lines, "open-circuit voltage by table")
    assert table.verdict == "tight"
    assert "at most 10 in series" in table.advice


def test_not_even_one_module_fits() -> None:
    """A 50 V input takes no module that reaches 54 V in the cold."""
    lines = electrical_fit(EXAMPLE, modules_in_series=1, max_voltage_v=50.0, **SITE)
    assert line(lines, "open-circuit voltage at").advice == "no module of this kind: choose another"


def test_hot_string_below_the_tracking_range_is_refused() -> None:
    """One module of some 36 V in the heat does not reach 60 V; two do."""
    window = {"max_voltage_v": 150.0, "tracker_min_v": 60.0, "tracker_max_v": 145.0}
    one = line(electrical_fit(EXAMPLE, modules_in_series=1, **window, **SITE), "operating voltage, cells at 65")
    assert one.verdict == "refused"
    assert one.advice == "at least 2 in series keep tracking with cells at 65 °C"
    # gamma less alpha of -0.0039 per kelvin: 41.7 x (1 - 0.0039 x 40) = 35.2 V, within 3 %
    assert one.value == pytest.approx(35.2, rel=0.03)
    two = line(electrical_fit(EXAMPLE, modules_in_series=2, **window, **SITE), "operating voltage, cells at 65")
    assert two.verdict == "ok"


def test_module_that_suits_neither_cold_nor_heat() -> None:
    """Where the heat asks for more modules than the cold allows, the advice says that the module does not suit."""
    lines = electrical_fit(EXAMPLE, modules_in_series=1, max_voltage_v=60.0, tracker_min_v=50.0, **SITE)
    assert "this module does not suit this input" in line(lines, "operating voltage, cells at 65").advice


def test_too_much_current_and_power_are_wasteful() -> None:
    """Three strings on a 15 A input and 2,700 W on 1,000 W lose light, with what would do instead."""
    lines = electrical_fit(
        EXAMPLE,
        modules_in_series=2,
        strings_in_parallel=3,
        max_voltage_v=150.0,
        max_current_a=15.0,
        max_power_w=1000.0,
        **SITE,
    )
    current, power = line(lines, "short-circuit current"), line(lines, "rated power")
    assert (current.verdict, power.verdict) == ("wasteful", "wasteful")
    assert "at most 1 in parallel" in current.advice
    assert power.value == pytest.approx(2700.0)
    assert power.advice == "2 modules are what this input can use"


def test_hot_cell_is_faimans() -> None:
    """At 35 degC, 1000 W/m2, 1 m/s: 35 + 1000 / 28.86 = 69.7 degC free, 35 + 1000 / 20.59 = 83.6 on a roof."""
    assert hot_cell_c(35.0) == pytest.approx(69.65, abs=0.01)
    assert hot_cell_c(35.0, mounting="roof") == pytest.approx(83.57, abs=0.01)


def test_every_line_has_a_method() -> None:
    """Each comparison says how it was reckoned, and its verdict is one of four."""
    lines = electrical_fit(
        EXAMPLE,
        modules_in_series=2,
        max_voltage_v=150.0,
        tracker_min_v=20.0,
        tracker_max_v=145.0,
        max_current_a=15.0,
        max_power_w=1000.0,
        **SITE,
    )
    assert len(lines) == 6
    for entry in lines:
        assert entry.method
        assert entry.unit in {"V", "A", "W"}
        assert entry.verdict in {"ok", "tight", "refused", "wasteful"}
    with pytest.raises(ValueError, match="1 or more"):
        electrical_fit(EXAMPLE, modules_in_series=0, max_voltage_v=150.0, **SITE)
