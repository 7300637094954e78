"""Does the array suit its input? Voltage in the cold and in the heat, current, power: each with margin and verdict."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from riskcalc.weather.climates import table_rows
from riskcalc.weather.diode import operating_point
from riskcalc.weather.module import Module, cell_temperature

#: Margins under which a fit that holds is called tight, as shares of the limit; common practice, no source.
TIGHT_SHARE = 0.03
#: Array power over input power from which light is thrown away often enough to say so; common practice, no source.
WASTEFUL_RATIO = 1.3
#: Continuous current of modules under strong light, NEC (NFPA 70) 690.8(A)(1).
STRONG_LIGHT_FACTOR = 1.25
#: Light and wind for which the hottest cell is reckoned; common practice, no source.
HOT_LIGHT_W_M2 = 1000.0
HOT_WIND_M_S = 1.0

COEFFICIENT_SOURCE = (
    "open-circuit voltage by temperature coefficient: NEC (NFPA 70) 690.7(A)(1); same form in IEC 62548-1"
)
TABLE_SOURCE = "factor of NEC (NFPA 70) table 690.7(A), crystalline silicon"


@dataclass(frozen=True)
class FitLine:
    """One comparison of the array with its input.

    `margin` is what is left before the limit, as a share of it (negative: the limit is passed; for a lower limit,
    what the value lies above it). `bound` is "most" for an upper limit, "least" for a lower one.
    `verdict` is "ok", "tight", "refused" or "wasteful"; `advice` says what would fit, empty when nothing has to
    change.
    """

    what: str
    value: float
    limit: float
    margin: float
    unit: str
    verdict: str
    advice: str
    method: str
    bound: str = "most"


def electrical_fit(
    module: Module,
    *,
    modules_in_series: int,
    strings_in_parallel: int = 1,
    record_low_c: float,
    hot_cell_c: float,
    max_voltage_v: float,
    tracker_min_v: float | None = None,
    tracker_max_v: float | None = None,
    max_current_a: float | None = None,
    max_power_w: float | None = None,
) -> tuple[FitLine, ...]:
    """Return every comparison of one array with one input, the gravest kind of limit first.

    Parameters
    ----------
    record_low_c : float
        Lowest air temperature on record, taken as the coldest cell at sunrise [degC].
    hot_cell_c : float
        Hottest cell in full sun [degC], see `hot_cell_c`.
    max_voltage_v : float
        Voltage the input must never see [V].
    tracker_min_v, tracker_max_v : float, optional
        Range in which the input finds the maximum power point [V].
    max_current_a, max_power_w : float, optional
        Most current and power the input takes [A], [W].

    Notes
    -----
    Too high a voltage or a string that falls out of the tracking range in the heat is refused; more current than the
    input takes is cut off by it (wasteful), and so is more power. See `modules_that_fit` for what would do.
    """
    if modules_in_series < 1 or strings_in_parallel < 1:
        raise ValueError("modules_in_series and strings_in_parallel: accepted: 1 or more")
    most = modules_that_fit(module, record_low_c=record_low_c, max_voltage_v=max_voltage_v)
    lines = [_cold_by_coefficient(module, modules_in_series, record_low_c, max_voltage_v, most)]
    by_table = cold_factor(record_low_c)
    if by_table is not None:
        lines.append(_cold_by_table(module, modules_in_series, by_table, max_voltage_v))
    hot_v = float(operating_point(module, _one(HOT_LIGHT_W_M2), _one(hot_cell_c))[1][0])
    cold_v = float(operating_point(module, _one(HOT_LIGHT_W_M2), _one(record_low_c))[1][0])
    if tracker_min_v is not None:
        lines.append(_hot_voltage(hot_v, modules_in_series, tracker_min_v, most, hot_cell_c))
    if tracker_max_v is not None:
        lines.append(_cold_operating(cold_v, modules_in_series, tracker_max_v, record_low_c))
    if max_current_a is not None:
        lines.append(_current(module, strings_in_parallel, max_current_a))
    if max_power_w is not None:
        lines.append(_power(module, modules_in_series * strings_in_parallel, max_power_w))
    return tuple(lines)


def cold_voc_v(module: Module, *, cell_c: float) -> float:
    """Return one module's open-circuit voltage at a cell temperature [V]: Voc (1 + beta (T - 25)).

    Limiting case: 25 degC gives the datasheet's value.
    """
    return module.voc_v * (1.0 + module.beta_voc_per_k * (cell_c - 25.0))


def cold_factor(record_low_c: float) -> float | None:
    """Return the table's factor on open-circuit voltage; 1 above its range, None below it (-40 degC).

    Source: NEC (NFPA 70) table 690.7(A). Whole degrees: a temperature between two rows counts as the colder one.
    """
    degree = math.floor(record_low_c)
    rows = _factor_rows()
    if degree > rows[0][0]:
        return 1.0
    for high, low, factor in rows:
        if low <= degree <= high:
            return factor
    return None


def modules_that_fit(module: Module, *, record_low_c: float, max_voltage_v: float, by_table: bool = False) -> int:
    """Return the greatest number in series whose cold open-circuit voltage stays within the limit (0: not even one).

    By the coefficient of the datasheet, or by the factor of the table where the temperature is within it.
    """
    factor = cold_factor(record_low_c) if by_table else None
    each = cold_voc_v(module, cell_c=min(record_low_c, 25.0)) if factor is None else module.voc_v * factor
    return math.floor(max_voltage_v / each + 1e-9)


def hot_cell_c(design_high_c: float, *, mounting: str = "open") -> float:
    """Return the hottest cell [degC] at 1000 W/m2 and 1 m/s of wind at 10 m, by the law of `cell_temperature`."""
    light, air, wind = _one(HOT_LIGHT_W_M2), _one(design_high_c), _one(HOT_WIND_M_S)
    return float(cell_temperature(light, air, wind, mounting=mounting)[0])


def _cold_by_coefficient(module: Module, in_series: int, low_c: float, limit_v: float, most: int) -> FitLine:
    value = in_series * cold_voc_v(module, cell_c=min(low_c, 25.0))
    advice = ""
    if value > limit_v:
        advice = f"at most {most} in series at {low_c:.3g} °C" if most else "no module of this kind: choose another"
    return _upper(f"open-circuit voltage at {low_c:.3g} °C", value, limit_v, "V", "refused", advice, COEFFICIENT_SOURCE)


def _cold_by_table(module: Module, in_series: int, factor: float, limit_v: float) -> FitLine:
    value = in_series * module.voc_v * factor
    most = math.floor(limit_v / (module.voc_v * factor) + 1e-9)
    advice = ""
    if value > limit_v:
        advice = f"by the table, meant for modules without a stated coefficient, at most {most} in series"
    what = f"open-circuit voltage by table, factor {factor:g}"
    # The coefficient of the datasheet goes before the table: passing only the table's limit is a warning.
    return _upper(what, value, limit_v, "V", "tight", advice, TABLE_SOURCE)


def _hot_voltage(hot_v: float, in_series: int, least_v: float, most: int, cell_c: float) -> FitLine:
    value = in_series * hot_v
    needed = math.ceil(least_v / hot_v - 1e-9)
    margin = value / least_v - 1.0 if least_v > 0.0 else math.inf
    advice, verdict = "", "ok"
    if margin < 0.0:
        verdict = "refused"
        advice = f"at least {needed} in series keep tracking with cells at {cell_c:.0f} °C"
        if needed > most:
            advice += f", but the cold allows only {most}: this module does not suit this input"
    elif margin < TIGHT_SHARE:
        verdict = "tight"
    method = "voltage at maximum power, single-diode equation fitted to the datasheet, 1000 W/m2"
    what = f"operating voltage, cells at {cell_c:.0f} °C"
    return FitLine(what, value, least_v, margin, "V", verdict, advice, method, bound="least")


def _cold_operating(cold_v: float, in_series: int, highest_v: float, low_c: float) -> FitLine:
    value = in_series * cold_v
    advice = (
        f"at most {math.floor(highest_v / cold_v + 1e-9)} in series work at full power there"
        if value > highest_v
        else ""
    )
    method = "voltage at maximum power, single-diode equation fitted to the datasheet, 1000 W/m2"
    return _upper(f"operating voltage, cells at {low_c:.3g} °C", value, highest_v, "V", "wasteful", advice, method)


def _current(module: Module, strings: int, limit_a: float) -> FitLine:
    value = strings * module.isc_a * STRONG_LIGHT_FACTOR
    advice = ""
    if value > limit_a:
        most = math.floor(limit_a / (module.isc_a * STRONG_LIGHT_FACTOR) + 1e-9)
        plain = strings * module.imp_a
        advice = f"at most {most} in parallel stay below the limit in strong light"
        if plain <= limit_a:
            advice += f"; at 1000 W/m2 the array runs at {plain:.1f} A, so little is cut off"
        advice += "; ask the maker whether a short-circuit current above the limit harms the input"
    method = "short-circuit current x 1.25: NEC (NFPA 70) 690.8(A)(1)"
    return _upper("short-circuit current in strong light", value, limit_a, "A", "wasteful", advice, method)


def _power(module: Module, modules: int, limit_w: float) -> FitLine:
    value = modules * module.power_w
    ratio = value / limit_w
    verdict = "wasteful" if ratio > WASTEFUL_RATIO else "ok"
    advice = ""
    if verdict == "wasteful":
        advice = f"{math.floor(WASTEFUL_RATIO * limit_w / module.power_w + 1e-9)} modules are what this input can use"
    method = "sum of rated power; up to 1.3 times the input's power is usual, common practice, no source"
    return FitLine("rated power of the array", value, limit_w, 1.0 - ratio, "W", verdict, advice, method)


def _upper(what: str, value: float, limit: float, unit: str, beyond: str, advice: str, method: str) -> FitLine:
    margin = 1.0 - value / limit
    verdict = beyond if margin < 0.0 else "tight" if margin < TIGHT_SHARE else "ok"
    return FitLine(what, value, limit, margin, unit, verdict, advice, method)


def _one(value: float) -> NDArray[np.float64]:
    return np.array([value])


@cache
def _factor_rows() -> tuple[tuple[int, int, float], ...]:
    return tuple(
        (int(row["ambient_high_c"]), int(row["ambient_low_c"]), float(row["factor"]))
        for row in table_rows("cold_voltage_factor.csv")
    )
