"""Speed of the dispatch kernels: a table of ratios from one run, and the machine's own limit for the same arithmetic.

python tests/benchmarks/kernel.py [--draws 1024] [--bases 5]

All variants run the sockets step with the inverter on day and night, one-minute steps, and must give the same flows.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable

import numba
import numpy as np
from numpy.typing import NDArray

from riskcalc.dispatch import (
    COUPLINGS,
    DispatchInputs,
    Flow,
    Param,
    SlotPlan,
    dispatch_slow,
    dispatch_year,
    inverter_curve,
    param_rows,
)
from riskcalc.dispatch.kernel.rows import ONE, TINY, fma
from riskcalc.dispatch.twin import SLACK

Floats = NDArray[np.float64]
DAYS = 365
#: The slower variants run these days around an equinox: half day, half night, like the year.
SAMPLE = slice(76, 83)
POOL_YEARS = 32
#: Vector operations per step and draw, counted in `dispatch/transfer.py` (min, max, add, multiply, fma, compare each
#: count as one) and `dispatch/slot.py`; one division in either loop.
OPERATIONS_SUN, OPERATIONS_NIGHT, OPERATIONS_LOAD_PER_BASIS = 33, 14, 1


def best_seconds(
    function: Callable[[], object], repeats: int = 5, clock: Callable[[], float] = time.thread_time
) -> float:
    """Return the shortest time of several runs; by default that of this thread, so that other programs count less."""
    seconds = []
    for _ in range(repeats):
        start = clock()
        function()
        seconds.append(clock() - start)
    return min(seconds)


def year_case(draws: int, bases: int) -> tuple[DispatchInputs, SlotPlan, Floats, dict[str, Floats]]:
    """Return an invented year: 300 W on average with spikes, 800 W of modules, a 2 kWh unit."""
    rng = np.random.default_rng(1)
    hours, steps = DAYS * 24, DAYS * 1440
    light = np.clip(np.sin((np.arange(hours) % 24 - 6.0) / 12.0 * np.pi), 0.0, None).astype(np.float32)
    reachable = rng.random((POOL_YEARS, bases, steps), dtype=np.float32) * np.float32(400.0 / bases)
    for year in range(POOL_YEARS):
        for minute in rng.integers(0, steps - 6, 1500):
            reachable[year, rng.integers(0, bases), minute : minute + 6] += 1500.0
    hour = np.arange(hours)
    inputs = DispatchInputs(
        solar_w=rng.random((POOL_YEARS, 2, hours), dtype=np.float32) * light * np.float32(400.0),
        reachable_w=reachable,
        wired_w=np.full((POOL_YEARS, bases, hours), 200.0 / bases),
        input_of_plane=[0, 1],
        rank_row=np.arange(bases) % 3 - 1,
        rank_below=np.ones(bases),
        scale_row=np.zeros(bases),
        day_rank=rng.random((POOL_YEARS, 2, DAYS)),
        charge_allowed=np.ones((POOL_YEARS, DAYS)),
        step_minutes=1,
    )
    plan = SlotPlan(slot_minutes=60, month=np.minimum(hour // 730, 11), day=hour // 24, hour=hour, rate=hour % 24 // 12)
    linear, quadratic = inverter_curve(1800.0, idle_w=12.0, efficiency_half_load=0.92, efficiency_full_load=0.90)
    params = param_rows(
        draws, capacity_wh=rng.uniform(1500.0, 2500.0, draws), charge_w=900.0, discharge_w=2200.0,
        charge_efficiency=0.96, discharge_efficiency=0.96, solar_efficiency=0.97, inverter_rating_w=1800.0, idle_w=12.0,
        standby_w=3.0, loss_linear=linear, loss_quadratic=quadratic, charger_w=600.0, charger_efficiency=0.93,
        export_limit_w=800.0, household_scale=rng.uniform(0.7, 1.3, draws), home_share=rng.random(draws),
        moved_share=rng.random(draws),
    )  # fmt: skip
    return inputs, plan, params, {
        "plane_weight": np.tile(rng.uniform(0.8, 1.0, draws), (2, 1)),
        "input_limit_w": np.full((2, draws), 500.0),
        "pool_year": rng.permutation(np.arange(draws) % POOL_YEARS),
        "stored_wh": np.full(draws, 500.0),
    }  # fmt: skip


def part_of(inputs: DispatchInputs, plan: SlotPlan, days: slice) -> tuple[DispatchInputs, SlotPlan]:
    """Return inputs and plan cut to some days."""
    hours, steps = slice(days.start * 24, days.stop * 24), slice(days.start * 1440, days.stop * 1440)
    count = hours.stop - hours.start
    cut = DispatchInputs(
        **{name: getattr(inputs, name) for name in inputs.arrays()._fields if not name.endswith("_w")},
        solar_w=inputs.solar_w[..., hours], reachable_w=inputs.reachable_w[..., steps],
        wired_w=inputs.wired_w[..., hours], step_minutes=1,
    )  # fmt: skip
    return cut, SlotPlan(
        slot_minutes=60, month=plan.month[hours], day=plan.day[hours], hour=np.arange(count), rate=plan.rate[hours]
    )


class Arrays:
    """Constants and states of the sockets step, draws last, for the variants that do not use lanes."""

    def __init__(self, inputs: DispatchInputs, plan: SlotPlan, params: Floats, given: dict[str, Floats]) -> None:
        figure = {param: params[param] for param in Param}
        self.linear, self.quadratic = figure[Param.LOSS_LINEAR], figure[Param.LOSS_QUADRATIC]
        self.idle, self.rating = figure[Param.IDLE_W], figure[Param.INVERTER_RATING_W] * SLACK
        per_step = figure[Param.DISCHARGE_EFFICIENCY] * 60.0
        self.give = figure[Param.DISCHARGE_W] * figure[Param.DISCHARGE_EFFICIENCY] * SLACK
        self.to_stored = figure[Param.CHARGE_EFFICIENCY] * figure[Param.DISCHARGE_EFFICIENCY]
        self.cells = figure[Param.CHARGE_W] * figure[Param.DISCHARGE_EFFICIENCY]
        self.room = figure[Param.CAPACITY_WH] * per_step
        self.above = np.minimum(given["stored_wh"], figure[Param.CAPACITY_WH]) * per_step
        year = given["pool_year"]
        power = inputs.solar_w[year].astype(float) * given["plane_weight"].T[..., None]
        power = np.minimum(power, given["input_limit_w"].T[..., None]).sum(axis=1)
        self.solar = np.ascontiguousarray((power * figure[Param.SOLAR_EFFICIENCY][:, None]).T)
        share = np.stack([figure[Param.HOME_SHARE], figure[Param.MOVED_SHARE]])
        row = inputs.rank_row
        rank = inputs.day_rank[year][:, np.maximum(row, 0)][..., plan.day]
        active = (row[:, None] < 0) | (rank < share[np.maximum(row, 0)].T[..., None])
        # (hours, bases, draws): weights change with the day only, but so they are simple to look up.
        weight = np.where(active, figure[Param.HOUSEHOLD_SCALE][:, None, None], 0.0)
        self.weight = np.ascontiguousarray(weight.transpose(2, 1, 0))
        self.year = year
        self.left, self.direct, self.from_cells, self.charged, self.sun_to_load, self.on = np.zeros((6, len(year)))


def numpy_idiomatic(state: Arrays, reachable: NDArray[np.float32]) -> None:
    """Run all steps, numpy across draws, as one would write it."""
    s = state
    for step in range(reachable.shape[2]):
        solar = s.solar[step // 60]
        load = (s.weight[step // 60] * reachable[s.year, :, step].T).sum(axis=0)
        bus = s.idle + load * (s.linear + s.quadratic * load)
        direct_on = np.minimum(solar, bus)
        from_cells_on = bus - direct_on
        refill = np.minimum(solar * s.to_stored, s.cells) + TINY
        on = np.minimum((s.above + refill) / (from_cells_on + refill), 1.0)
        on = np.where((load <= s.rating) & (from_cells_on <= s.give), on, 0.0)
        above = s.above - on * from_cells_on
        charge = np.minimum((solar - on * direct_on) * s.to_stored, np.minimum(s.cells, s.room - above))
        s.above = np.maximum(above + charge, 0.0)
        s.left += load - on * load
        s.direct += on * direct_on
        s.from_cells += on * from_cells_on
        s.charged += charge
        s.sun_to_load += on * load * direct_on / bus
        s.on += on


def numpy_tuned(state: Arrays, reachable: NDArray[np.float32]) -> None:  # noqa: PLR0915 - one statement per operation
    """Run all steps, numpy across draws without temporaries: the same operations into buffers made once."""
    s = state
    by_step = np.ascontiguousarray(reachable.transpose(2, 1, 0))  # (steps, bases, years)
    count = len(s.year)
    load, bus, direct_on, from_cells_on, on, a, b = np.empty((7, count))
    gathered = np.empty(count, dtype=np.float32)
    mask, other = np.empty((2, count), dtype=bool)
    refill, solar_stored = np.empty((2, count))
    for step in range(len(by_step)):
        solar, weight = s.solar[step // 60], s.weight[step // 60]
        if step % 60 == 0:
            np.multiply(solar, s.to_stored, out=solar_stored)
            np.minimum(solar_stored, s.cells, out=refill)
            np.add(refill, TINY, out=refill)
        load[:] = 0.0
        for basis in range(by_step.shape[1]):
            np.take(by_step[step, basis], s.year, out=gathered, mode="clip")
            np.multiply(weight[basis], gathered, out=a)
            np.add(load, a, out=load)
        np.multiply(s.quadratic, load, out=bus)
        np.add(bus, s.linear, out=bus)
        np.multiply(bus, load, out=bus)
        np.add(bus, s.idle, out=bus)
        np.minimum(solar, bus, out=direct_on)
        np.subtract(bus, direct_on, out=from_cells_on)
        np.add(s.above, refill, out=on)
        np.add(from_cells_on, refill, out=a)
        np.divide(on, a, out=on)
        np.minimum(on, 1.0, out=on)
        np.less_equal(load, s.rating, out=mask)
        np.less_equal(from_cells_on, s.give, out=other)
        np.logical_and(mask, other, out=mask)
        np.multiply(on, mask, out=on)
        np.multiply(on, from_cells_on, out=a)
        np.add(s.from_cells, a, out=s.from_cells)
        np.subtract(s.above, a, out=s.above)
        np.multiply(on, direct_on, out=b)
        np.add(s.direct, b, out=s.direct)
        np.multiply(b, s.to_stored, out=a)
        np.subtract(solar_stored, a, out=a)
        np.minimum(a, s.cells, out=a)
        np.subtract(s.room, s.above, out=b)
        np.minimum(a, b, out=a)
        np.add(s.charged, a, out=s.charged)
        np.add(s.above, a, out=s.above)
        np.maximum(s.above, 0.0, out=s.above)
        np.multiply(on, load, out=a)
        np.subtract(load, a, out=load)
        np.add(s.left, load, out=s.left)
        np.divide(direct_on, bus, out=b)
        np.multiply(a, b, out=a)
        np.add(s.sun_to_load, a, out=s.sun_to_load)
        np.add(s.on, on, out=s.on)


@numba.njit(error_model="numpy", nogil=True)
def _per_draw(linear, quadratic, idle, rating, give, to_stored, cells, room, above, solar, weight, load_w, sums):
    bases, steps = load_w.shape
    left, direct, from_cells, charged, sun_to_load, on_sum = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    for step in range(steps):
        sun = solar[step // 60]
        load = 0.0
        for basis in range(bases):
            load = fma(weight[step // 60, basis], np.float64(load_w[basis, step]), load)
        bus = fma(load, fma(quadratic, load, linear), idle)
        direct_on = min(sun, bus)
        from_cells_on = bus - direct_on
        refill = min(sun * to_stored, cells) + TINY
        wanted = from_cells_on + refill
        inverse = ONE / (wanted * bus)
        on = min((above + refill) * (bus * inverse), 1.0)
        on = on if load <= rating and from_cells_on <= give else 0.0
        above = fma(-on, from_cells_on, above)
        charge = min((sun - on * direct_on) * to_stored, cells, room - above)
        above = max(above + charge, 0.0)
        left += load - on * load
        direct += on * direct_on
        from_cells += on * from_cells_on
        charged += charge
        sun_to_load += on * load * (direct_on * (wanted * inverse))
        on_sum += on
    sums[:] = (left, direct, from_cells, charged, sun_to_load, on_sum)


def numba_per_draw(state: Arrays, reachable: NDArray[np.float32]) -> None:
    """Run all steps of one draw after the other: the kernel's clamp form without lanes."""
    s = state
    sums = np.zeros(6)
    for draw in range(len(s.year)):
        _per_draw(
            s.linear[draw], s.quadratic[draw], s.idle[draw], s.rating[draw], s.give[draw], s.to_stored[draw],
            s.cells[draw], s.room[draw], s.above[draw], np.ascontiguousarray(s.solar[:, draw]),
            np.ascontiguousarray(s.weight[..., draw]), reachable[s.year[draw]], sums,
        )  # fmt: skip
        s.left[draw], s.direct[draw], s.from_cells[draw], s.charged[draw], s.sun_to_load[draw], s.on[draw] = sums


@numba.njit(error_model="numpy")
def _many_operations(values: Floats, constants: Floats, repeats: int, lanes: int) -> None:
    # 32 operations per number and pass: eight each of fma, min, max and add, in four independent chains.
    lanes = min(lanes, 32)
    for _ in range(repeats):
        for lane in range(lanes):
            w, x = values[lane], values[32 + lane]
            y, z = values[64 + lane], values[96 + lane]
            a, b = constants[lane], constants[32 + lane]
            for _ in range(2):
                w, x, y, z = fma(w, a, b), min(x, a), max(y, b), z + a
                w, x, y, z = w + b, fma(x, a, b), min(y, a), max(z, b)
                w, x, y, z = max(w, a), x + b, fma(y, a, b), min(z, a)
                w, x, y, z = min(w, b), max(x, a), y + b, fma(z, a, b)
            values[lane], values[32 + lane], values[64 + lane], values[96 + lane] = w, x, y, z


@numba.njit(error_model="numpy")
def _many_divisions(values: Floats, repeats: int, lanes: int) -> None:
    lanes = min(lanes, 128)
    for _ in range(repeats):
        for lane in range(lanes):
            values[lane] = 1.0 / (values[lane] + 1.0)


def machine_limits() -> tuple[float, float]:
    """Return the measured ns per vector operation and per division, for each number in the vector."""
    store = np.ones(128 + 8)
    start = (-store.ctypes.data % 64) // 8
    values = store[start : start + 128]
    constants = np.linspace(0.9, 1.1, 64)
    _many_operations(values, constants, 1, 32)
    _many_divisions(values, 1, 128)
    operation = best_seconds(lambda: _many_operations(values, constants, 20_000, 32), 15) / (20_000 * 32 * 32)
    division = best_seconds(lambda: _many_divisions(values, 20_000, 128), 15) / (20_000 * 128)
    return operation * 1e9, division * 1e9


def check_same_flows(state: Arrays, expected: Floats, params: Floats, name: str) -> None:
    """Stop if a variant's energies differ from the kernel's by more than 1e-9 of the draw's demand."""
    discharge = params[Param.DISCHARGE_EFFICIENCY]
    flows = {
        Flow.GRID_TO_LOAD: state.left,
        Flow.PV_TO_LOAD: state.sun_to_load,
        Flow.BATTERY_DISCHARGE: state.from_cells / discharge,
        Flow.BATTERY_CHARGE: state.charged / discharge,
    }
    for flow, sums in flows.items():
        error = np.abs(sums / 60e3 - expected[flow]) / expected[Flow.DEMAND_REACHABLE]
        if error.max() > 1e-9:
            raise SystemExit(f"{name}: {flow.name} differs by {error.max():.1e} of the demand")


def print_table(title: str, rows: list[tuple[str, float]], unit: str) -> None:
    """Print names and figures, each also as a multiple of the first."""
    print(f"\n{title:<58} {unit:>12}  ratio")
    for name, figure in rows:
        print(f"{name:<58} {figure:12.3f} {figure / rows[0][1]:6.1f}")


def print_couplings(inputs: DispatchInputs, plan: SlotPlan, params: Floats, given: dict[str, Floats]) -> None:
    """Print the kernel's speed for each coupling, with the inverter always on and with night charging."""
    work = DAYS * 1440 * params.shape[1] / 1e9
    charging = SlotPlan(
        slot_minutes=60, month=plan.month, day=plan.day, hour=plan.hour, rate=plan.rate,
        discharge_on=plan.hour % 24 >= 7, grid_charge_on=plan.hour % 24 < 7,
    )  # fmt: skip
    rows = []
    for coupling in COUPLINGS:
        for name, over in (("always on", plan), ("night charge", charging)):
            seconds = best_seconds(
                lambda c=coupling, p=over: dispatch_year(c, inputs, p, params, threads=1, **given), 3
            )
            rows.append((f"{coupling}, {name}", seconds / work))
    print_table("all couplings, one thread", rows, "ns/step/draw")


def print_growth(inputs: DispatchInputs, plan: SlotPlan, params: Floats, given: dict[str, Floats]) -> None:
    """Print how the time grows with draws; lanes are full from 32 draws per pool year."""
    draws = params.shape[1]
    rows = []
    for count in (draws, 10 * draws, draws // 4):
        repeat = np.arange(count) % draws
        more = {name: values[..., repeat] for name, values in given.items()}
        some = params[:, repeat]
        seconds = best_seconds(lambda p=some, m=more: dispatch_year("sockets", inputs, plan, p, threads=1, **m), 2)
        rows.append((f"{count} draws", seconds / (DAYS * 1440 * count / 1e9)))
    print_table("growth with draws, one thread", rows, "ns/step/draw")


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--draws", type=int, default=1024)
    parser.add_argument("--bases", type=int, default=5)
    chosen = parser.parse_args()
    draws, bases = chosen.draws, chosen.bases
    inputs, plan, params, given = year_case(draws, bases)
    inputs.slot_totals()
    work = DAYS * 1440 * draws / 1e9

    def year(threads: int, coupling: str = "sockets", over: SlotPlan = plan) -> Callable[[], object]:
        return lambda: dispatch_year(coupling, inputs, over, params, threads=threads, **given)

    year(1)()
    one = best_seconds(year(1))
    one_by_the_wall, two = (best_seconds(year(threads), clock=time.perf_counter) for threads in (1, 2))
    week, week_plan = part_of(inputs, plan, SAMPLE)
    week_work = (SAMPLE.stop - SAMPLE.start) * 1440 * draws / 1e9
    expected = dispatch_year("sockets", week, week_plan, params, **given).monthly_kwh.sum(axis=1)
    rows = [("lanes, one thread", one / work), ("lanes, two threads", two / work)]
    for name, variant in (
        ("numba, one draw at a time, clamp form", numba_per_draw),
        ("numpy across draws, tuned", numpy_tuned),
        ("numpy across draws, idiomatic", numpy_idiomatic),
    ):
        state = Arrays(week, week_plan, params, given)
        if variant is numba_per_draw:
            variant(Arrays(week, week_plan, params, given), week.reachable_w)
        start = time.thread_time()
        variant(state, week.reachable_w)
        rows.append((name, (time.thread_time() - start) / week_work))
        check_same_flows(state, expected, params, name)

    few = min(draws, 64)
    part = {name: values[..., :few] for name, values in given.items()}
    dispatch_slow("sockets", week, week_plan, params[:, :few], use_numba=True, **part)
    seconds = best_seconds(
        lambda: dispatch_slow("sockets", week, week_plan, params[:, :few], use_numba=True, **part), 2
    )
    rows.insert(3, ("numba, one draw at a time, the twin's branches", seconds / (week_work * few / draws)))
    day, day_plan = part_of(inputs, plan, slice(80, 81))
    one_draw = {name: values[..., :1] for name, values in given.items()}
    seconds = best_seconds(lambda: dispatch_slow("sockets", day, day_plan, params[:, :1], **one_draw), 3)
    rows.append(("plain Python, the twin", seconds / (1440 / 1e9)))
    print_table(f"sockets, {draws} draws, {bases} demand bases, one minute", rows, "ns/step/draw")

    operation, division = machine_limits()
    sun = np.mean(inputs.solar_w.max(axis=1) > 0.0)
    loads = OPERATIONS_LOAD_PER_BASIS * bases
    count = loads + sun * OPERATIONS_SUN + (1.0 - sun) * OPERATIONS_NIGHT
    limit = count * operation + division
    print(f"\nmachine: {operation:.4f} ns per vector operation, {division:.4f} ns per division, each per draw")
    print(f"the step needs {count:.1f} operations and 1 division: limit {limit:.3f} ns; the kernel takes ")
    print(f"{one / work / limit:.2f} times that on one thread (books, loads and stores included)")
    print(f"two threads are {one_by_the_wall / two:.2f} times as fast as one, on {one_by_the_wall:.2f} s of work")

    print_couplings(inputs, plan, params, given)
    print_growth(inputs, plan, params, given)


if __name__ == "__main__":
    main()
