"""Layout of a lane group's workspace, and the one arithmetic primitive of the kernels.

A *lane group* is up to LANES draws that meet the same pool year. Everything the kernels touch for it stands in one
float64 array, row after row of LANES numbers. Rows are a constant distance apart and a loop over lanes is never longer
than a row (`min(lanes, LANES) & WHOLE` at the head of each function says so to the compiler), so the rows provably do
not overlap and the loops become vector instructions without any run-time check. Separate arrays would need a check for
each pair, and a loop of constant length would be unrolled before it is vectorised; both were measured to be slower.

Energy in the kernels is counted in W times minutes, at the bus: `stored` is what the cells would still deliver to the
bus, Wh at the cells times discharge efficiency times 60. A run of some minutes then needs no factor but its length.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from numba import types
from numba.extending import intrinsic

from riskcalc.dispatch.need import MOST_KINDS
from riskcalc.dispatch.request import MOST_BASES, MOST_INPUTS, MOST_PLANES, MOST_RUNS
from riskcalc.dispatch.terms import Billed, Flow

#: An odd number of cache lines: rows a power of two apart share few places in the nearest cache and put one another out.
LANES = 72
#: Numbers in the widest vector register of present processors; the lanes that run are a multiple of it.
VECTOR = 8
#: `lanes & WHOLE` tells the compiler that no lane is left over after whole vectors.
WHOLE = -VECTOR
FLOW_ROWS = len(Flow)
BILL_ROWS = len(Billed)
MONTHLY_ROWS = FLOW_ROWS * 12

#: A hair above 1, so that what mathematically is a full step does not round to a hair less than one.
ONE = 1.0 + 1e-15

#: Power that exceeds what a load asks for by this factor carries it however the sum is rounded.
CLEARLY = 1.0 + 1e-9

#: Keeps 0 / 0 out: with nothing needed and nothing there, the inverter counts as on, and what takes no time lasts.
TINY = 1e-100

# The kit, one year, set by `kit_rows`; powers at the bus unless said otherwise.
(
    LINEAR,
    QUADRATIC,
    INVERSE_LINEAR,
    IDLE,
    RATING,
    RATING_SLACK,
    RATING_MOST,
    ENOUGH,
    ALWAYS,
    GIVE,
    SOLAR_MOST,
    GIVE_MOST,
    TO_STORED,
    CELLS,
    CAPACITY,
    FLOOR,
    STANDBY,
    STANDBY_ON,
    CHARGER,
    CHARGER_TO_STORED,
    SOCKET,
    EXPORT_MOST,
    SOLAR_EFFICIENCY,
    INVERSE_SOLAR,
    INVERSE_TO_STORED,
    INVERSE_DISCHARGE,
    INVERSE_CHARGER_TO_STORED,
    INVERSE_IDLE,
    ON_WITHOUT_IDLE,
    INVERSE_CAPACITY,
    HOUSEHOLD,
    CAR,
    ALWAYS_ON,
    SMALL,
    HOME,
    MOVED,
) = range(0 * LANES, 36 * LANES, LANES)

# State that lives through the year.
(
    STORED,
    SHARE_SUM,
    SWING_SUM,
    LOWEST,
    HIGHEST,
    OVERLOAD_MINUTES,
    OVERLOAD_ENERGY,
    ON_SUM,
    SHORT_SLOTS,
    SHORT_DAYS,
    SHORT_TODAY,
) = range(36 * LANES, 47 * LANES, LANES)

# The day and the slot.
(
    CELLS_TODAY,
    BASE,
    ABOVE,
    ROOM,
    INPUT_POWER,
    SOLAR_AVAILABLE,
    SOLAR,
    SOLAR_POWER,
    REFILL,
    MOST,
    LIMIT,
    GIVE_NOW,
    TARGET,
    STANDBY_NOW,
    PEAK,
    PART_DEMAND,
    SLOT_DEMAND,
    OUTPUT,
    FOLLOWED,
    EXPORT_BEFORE,
) = range(47 * LANES, 67 * LANES, LANES)

# Sums over a stretch, in W times minutes; the sum of what a slot leaves; and what one lane loop of a run hands to the next.
(
    DEMAND,
    WIRED,
    SOLAR_SUM,
    LEFT,
    DIRECT,
    FROM_CELLS,
    SOLAR_TO_CELLS,
    GRID_TO_CELLS,
    SUN_TO_LOAD,
    ON,
    TO_GRID,
    EXPORT,
    SLOT_LEFT,
    SERVED_NOW,
    IDLE_NOW,
    SURPLUS_NOW,
    POWER_NOW,
    CHARGE_NOW,
    HIGH_NOW,
    KEPT_NOW,
    REST_NOW,
    SERVED_FIRST,
    SUN_FIRST,
    EXPORT_LAST,
) = range(67 * LANES, 91 * LANES, LANES)

FIRST_SUM, END_OF_SUMS = DEMAND, SLOT_LEFT

# Blocks of rows. DURATIONS is of another kind: the minutes of each run of the slot.
FLOWS = EXPORT_LAST + LANES
BILLS = FLOWS + FLOW_ROWS * LANES
#: The month that runs. Its books stand together here, not among those of the year: rows 12 apart hinder one another in
#: the nearest cache, which cost as much as all other work between the steps.
THIS_MONTH = BILLS + BILL_ROWS * LANES
PLANE_WEIGHTS = THIS_MONTH + FLOW_ROWS * LANES
INPUT_LIMITS = PLANE_WEIGHTS + MOST_PLANES * LANES
DURATIONS = INPUT_LIMITS + MOST_INPUTS * LANES
WEIGHTS = DURATIONS + 2 * LANES
LOADS = WEIGHTS + MOST_BASES * LANES
MONTHLY = LOADS + MOST_RUNS * LANES
#: Level and slope of the target of charging by need, by kind of day.
LEVELS = MONTHLY + MONTHLY_ROWS * LANES
SLOPES = LEVELS + MOST_KINDS * LANES
BILLED = SLOPES + MOST_KINDS * LANES


def workspace_size(rates: int) -> int:
    """Return the length of a lane group's workspace, a multiple of LANES."""
    return BILLED + BILL_ROWS * rates * LANES


if TYPE_CHECKING:

    def fma(a: float, b: float, c: float) -> float:
        """Return a * b + c with one rounding."""

else:

    @intrinsic
    def fma(_context, _a, _b, _c):
        """Return a * b + c with one rounding; said outright, so that no compiler decides it by the neighbourhood."""
        signature = types.float64(types.float64, types.float64, types.float64)

        def generate(_target, builder, _signature, arguments):
            return builder.fma(*arguments)

        return signature, generate
