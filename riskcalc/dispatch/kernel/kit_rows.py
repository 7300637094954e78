"""From the figures of `Param` to the rows of the kernels: units, reciprocals and limits worked out once a year."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from riskcalc.dispatch.kernel import rows
from riskcalc.dispatch.kernel.rows import LANES
from riskcalc.dispatch.terms import Param
from riskcalc.dispatch.twin import SLACK

#: Takes the place of a missing idle draw where the kernel divides by bus power.
_NO_IDLE = 1e-150
#: Power that a unit with nothing to give is said to have, so that no load on no idle draw counts as carried.
_NO_POWER = 1e-130


def kit_rows(params: NDArray[np.float64], *, off_grid: bool) -> NDArray[np.float64]:
    """Return the kit's rows (rows, draws) in the order of `rows`, from LINEAR to MOVED.

    Powers stay in W; stored energy becomes W times minutes, as the cells would deliver it to the bus.
    """
    figure = dict(zip(Param, params, strict=True))
    battery = figure[Param.CAPACITY_WH] > 0.0
    charge = figure[Param.CHARGE_EFFICIENCY]
    discharge = figure[Param.DISCHARGE_EFFICIENCY]
    to_bus = discharge * 60.0
    capacity = figure[Param.CAPACITY_WH] * to_bus
    give = np.where(battery, figure[Param.DISCHARGE_W], 0.0) * discharge
    idle = figure[Param.IDLE_W]
    rating = figure[Param.INVERTER_RATING_W]
    has_idle = idle > 0.0
    standby = np.zeros_like(idle) if off_grid else figure[Param.STANDBY_W]
    rating_most = rating if off_grid else rating * SLACK
    charger_to_stored = figure[Param.CHARGER_EFFICIENCY] * charge * discharge
    values = {
        rows.LINEAR: figure[Param.LOSS_LINEAR],
        rows.QUADRATIC: figure[Param.LOSS_QUADRATIC],
        rows.INVERSE_LINEAR: 1.0 / figure[Param.LOSS_LINEAR],
        rows.IDLE: np.where(has_idle, idle, _NO_IDLE),
        rows.RATING: rating,
        rows.RATING_SLACK: rating * SLACK,
        rows.RATING_MOST: rating_most,
        rows.ENOUGH: rows.CLEARLY
        * rating_most
        * (figure[Param.LOSS_LINEAR] + figure[Param.LOSS_QUADRATIC] * rating_most),
        rows.ALWAYS: np.full_like(idle, np.inf if off_grid else -np.inf),
        rows.GIVE: give,
        rows.SOLAR_MOST: np.full_like(idle, 1.0 / SLACK if off_grid else 1.0),
        rows.GIVE_MOST: (give / SLACK if off_grid else give * SLACK) + _NO_POWER,
        rows.TO_STORED: charge * discharge,
        rows.CELLS: np.where(battery, figure[Param.CHARGE_W], 0.0) * discharge,
        rows.CAPACITY: capacity,
        rows.FLOOR: np.minimum(figure[Param.FLOOR_WH] * to_bus, capacity),
        rows.STANDBY: standby,
        rows.STANDBY_ON: np.where(has_idle, standby, 0.0),
        rows.CHARGER: figure[Param.CHARGER_W],
        rows.CHARGER_TO_STORED: charger_to_stored,
        rows.SOCKET: figure[Param.SOCKET_LIMIT_W],
        rows.EXPORT_MOST: figure[Param.EXPORT_LIMIT_W],
        rows.SOLAR_EFFICIENCY: figure[Param.SOLAR_EFFICIENCY],
        rows.INVERSE_SOLAR: 1.0 / figure[Param.SOLAR_EFFICIENCY],
        rows.INVERSE_TO_STORED: 1.0 / (charge * discharge),
        rows.INVERSE_DISCHARGE: 1.0 / discharge,
        rows.INVERSE_CHARGER_TO_STORED: 1.0 / charger_to_stored,
        rows.INVERSE_IDLE: np.where(has_idle, 1.0 / np.where(has_idle, idle, 1.0), 0.0),
        rows.ON_WITHOUT_IDLE: np.where(has_idle, 0.0, 1.0),
        rows.INVERSE_CAPACITY: np.where(battery, 1.0 / np.where(battery, capacity, 1.0), 0.0),
        rows.HOUSEHOLD: figure[Param.HOUSEHOLD_SCALE],
        rows.CAR: figure[Param.CAR_SCALE],
        rows.ALWAYS_ON: figure[Param.BASE_SCALE],
        rows.SMALL: figure[Param.SMALL_SCALE],
        rows.HOME: figure[Param.HOME_SHARE],
        rows.MOVED: figure[Param.MOVED_SHARE],
    }
    count = rows.MOVED // LANES + 1
    return np.stack([np.broadcast_to(values[row * LANES], idle.shape) for row in range(count)])
