"""The energy of futures, kept on disk by what decides it, so that another price does not simulate them again.

What the simulation reads of a scenario is its kit, home, site, tenure and outages, the plan of the year, the pools, and
the values of every quantity that is not money; `tests/study/test_energy_kept.py` holds that it reads no other. Price
levels, incentives, loans and the discount rate are not among them; a window or a rate that changes the plan is.
A shorter horizon is the beginning of a longer one.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Iterator
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from riskcalc.dispatch import SlotPlan
from riskcalc.jit import source_digest
from riskcalc.scenario import Scenario
from riskcalc.study.draw_blocks import Block, Workers
from riskcalc.types import Values
from riskcalc.years.failures import electronics_course
from riskcalc.years.pools import Pools
from riskcalc.years.simulation import Simulation
from riskcalc.years.store import Store
from riskcalc.years.tenure import Course, tenure_course

#: Begin the keys of quantities that no simulation reads, except those of `_READ_ALL_THE_SAME`.
MONEY = ("purchase.", "prices.", "tariff.", "alternative.")
_READ_ALL_THE_SAME = ("purchase.warranty_years",)
#: Most draws of a run whose energy is kept: some 40 MB on disk, in a store that drops what was not used for longest.
MOST_DRAWS = 8192
#: Packages besides those that make pools whose sources decide what a simulation gives.
_SOURCES = ("dispatch", "scenario")

#: Arrays of `Simulation` without an axis of years, and those that have it second to last.
_WITHOUT_YEARS = ("first_year_monthly_kwh", "overload_minutes", "overload_kwh", "hours_bridged")


def energy_values(values: Values) -> dict[str, NDArray[np.float64]]:
    """Return the values that a simulation may read."""
    return {key: drawn for key, drawn in values.items() if not key.startswith(MONEY) or key in _READ_ALL_THE_SAME}


def energy_key(scenario: Scenario, pools: Pools, plan: SlotPlan, block: Block) -> str:
    """Return everything that decides the energy of a block's first year and of those that follow, as text."""
    digest = hashlib.sha256()
    package = Path(__file__).parents[1]
    tenure = scenario.tenure
    # A household that moves is followed over as many homes as its horizon asks for.
    horizon = 0 if tenure is None else scenario.study.horizon_years
    purchase = None if scenario.purchase is None else scenario.purchase.when_worn
    read = (scenario.kit, scenario.home, scenario.site, tenure, horizon, scenario.outages, purchase)
    rates = (len(scenario.tariff.rates), bool(scenario.tariff.blocks))
    digest.update(repr((read, rates, pools.key, pools.outage_scale, plan.slot_minutes, plan.rates)).encode())
    for name in _SOURCES:
        digest.update(source_digest(package / name).encode())
    for name, array in plan.arrays()._asdict().items():
        digest.update(name.encode() + np.ascontiguousarray(array).tobytes())
    digest.update(repr(None if plan.need is None else _of_need(plan)).encode())
    for key, drawn in sorted(energy_values(block.values).items()):
        digest.update(key.encode() + np.ascontiguousarray(drawn).tobytes())
    digest.update(np.ascontiguousarray(block.pool_year[0]).tobytes())
    return digest.hexdigest()


def simulations_kept(
    store: Store,
    workers: Workers,
    scenario: Scenario,
    pools: Pools,
    plan: SlotPlan,
    blocks: Iterable[Block],
    *,
    on_draw_years: Callable[[int], None],
) -> Iterator[tuple[slice, Simulation]]:
    """Yield each block's simulation, those at hand first; `workers` do the others, which are then kept."""
    years, keys, missing = scenario.study.horizon_years, {}, []
    for block in blocks:
        key = energy_key(scenario, pools, plan, block)
        found = _found(store, key, scenario, block, years)
        if found is None:
            keys[block.which.start] = (key, block)
            missing.append(block)
        else:
            on_draw_years(block.draws * years)
            yield block.which, found
    if not missing:
        return
    for which, simulation in workers.simulations(scenario, pools, plan, missing, on_draw_years=on_draw_years):
        key, block = keys[which.start]
        store.put("energy", key, _content(simulation, block))
        yield which, simulation


def _of_need(plan: SlotPlan) -> tuple[Any, ...]:
    need = plan.need
    assert need is not None
    usual = [array.tobytes() for array in vars(need.usual).values()]
    return (usual, need.need_share, need.sun_share, need.offset_share.tobytes())


def _content(simulation: Simulation, block: Block) -> dict[str, Any]:
    content: dict[str, Any] = {"pool_year": block.pool_year}
    for entry in fields(simulation):
        value = getattr(simulation, entry.name)
        if isinstance(value, Course):
            content |= {f"course_{part.name}": getattr(value, part.name) for part in fields(value)}
        else:
            content[entry.name] = value
    return content


def _found(store: Store, key: str, scenario: Scenario, block: Block, years: int) -> Simulation | None:
    """Return what is kept of a block, cut to the horizon; None where there is none, or a shorter one."""
    content = store.found("energy", key)
    if content is None or not np.array_equal(content["pool_year"][:years], block.pool_year):
        return None
    arrays: dict[str, Any] = {
        entry.name: _cut(entry.name, content[entry.name], years)
        for entry in fields(Simulation)
        if entry.name != "course"
    }
    if len(content["pool_year"]) == years:
        course = Course(**{part.name: content[f"course_{part.name}"] for part in fields(Course)})
        return Simulation(course=course, **arrays)
    course = tenure_course(scenario, block.values, years=years, draws=block.draws)
    _, replaced = electronics_course(scenario, block.values, years=years, draws=block.draws)
    replaced[:-1] &= course.held[1:]
    worn = np.array(arrays["battery_replaced"])
    # Nothing is replaced at the end of the last year.
    worn[-1] = False
    return replace(Simulation(course=course, **arrays), battery_replaced=worn, electronics_replaced=replaced)


def _cut(name: str, array: NDArray[Any] | None, years: int) -> NDArray[Any] | None:
    if array is None or name in _WITHOUT_YEARS:
        return array
    return array[..., :years, :]
