"""A solar module as its datasheet states it, and the checks of the datasheet against itself."""

from __future__ import annotations

from dataclasses import dataclass

from riskcalc.errors import InputError, Problem

STANDARD_W_M2 = 1000.0
STANDARD_CELL_C = 25.0
LOW_LIGHT_W_M2 = 200.0
KELVIN = 273.15


@dataclass(frozen=True)
class Module:
    """One module as its datasheet states it, at 1000 W/m2 and cells at 25 degC.

    Coefficients are decimals per kelvin relative to the value at 25 degC (-0.0034 is -0.34 %/K).
    `low_light_ratio` is efficiency at 200 W/m2 over efficiency at 1000 W/m2. `noct_c` is informative only.
    """

    power_w: float
    voc_v: float
    isc_a: float
    vmp_v: float
    imp_a: float
    cells_in_series: int
    gamma_pmax_per_k: float
    beta_voc_per_k: float
    alpha_isc_per_k: float
    low_light_ratio: float = 0.96
    noct_c: float | None = None


def check_module(module: Module, *, file: str = "scenario", key: str = "kit.module") -> None:
    """Raise InputError with every way in which the datasheet contradicts itself."""
    problems = []

    def refuse(name: str, given: object, accepted: str, hint: str = "") -> None:
        problems.append(Problem(file, f"{key}.{name}", str(given), accepted, hint))

    product = module.vmp_v * module.imp_a
    if abs(product / module.power_w - 1.0) > 0.03:
        refuse(
            "power_w",
            f"{module.power_w:g}",
            f"vmp_v x imp_a = {product:.4g} W within 3 %",
            "copy all three from the same column of the datasheet (1000 W/m2)",
        )
    if not module.vmp_v < module.voc_v:
        refuse("vmp_v", f"{module.vmp_v:g}", f"less than voc_v = {module.voc_v:g}")
    if not module.imp_a < module.isc_a:
        refuse("imp_a", f"{module.imp_a:g}", f"less than isc_a = {module.isc_a:g}")
    for name, low, high in (
        ("gamma_pmax_per_k", -0.007, 0.0),
        ("beta_voc_per_k", -0.006, 0.0),
        ("alpha_isc_per_k", -0.001, 0.003),
    ):
        value = getattr(module, name)
        if not low <= value <= high:
            hint = "decimals per kelvin: -0.34 %/K is -0.0034" if abs(value) > abs(low) else ""
            refuse(name, f"{value:g}", f"{low:g} to {high:g}", hint)
    per_cell = module.voc_v / module.cells_in_series
    if not 0.45 <= per_cell <= 0.8:
        refuse(
            "cells_in_series",
            module.cells_in_series,
            f"voc_v / cells_in_series from 0.45 to 0.8 V (crystalline silicon), here {per_cell:.3f} V",
            "half-cut modules count the cells in series, half of all cells",
        )
    if not 0.8 <= module.low_light_ratio <= 1.05:
        refuse("low_light_ratio", f"{module.low_light_ratio:g}", "0.8 to 1.05")
    if not problems:
        fill = product / (module.voc_v * module.isc_a)
        if not 0.6 <= fill <= 0.88:
            refuse("power_w", f"fill factor {fill:.3f}", "vmp x imp / (voc x isc) from 0.60 to 0.88")
    if problems:
        raise InputError(problems)
