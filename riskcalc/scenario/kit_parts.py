"""Tables [kit.battery], [kit.inverter], [kit.charger] and [kit.ageing]."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Annotated, Any, Literal

from pydantic import model_validator

from riskcalc.scenario.complaints import Complaint
from riskcalc.scenario.fields import (
    Table,
    absent,
    common_practice,
    default,
    default_number,
    field_study,
    needed,
    optional,
    published_law,
)
from riskcalc.scenario.uncertain import Number, Uncertain, Whole
from riskcalc.uncertainty.endless import Lognormal
from riskcalc.uncertainty.quantity import Quantity, plain

Efficiency = Uncertain(0.3, 1, unit="share")
#: Powers over capacity [1/h] that no cell bears; data sheets of the hardiest cells say 30; judgement.
MOST_PER_HOUR = 60.0
Watts = Number(50, 1_000_000, unit="W")
Volts = Number(1, 2000, unit="V")
#: Slack for figures that meet the limit exactly, such as 1 and 1 without idle draw.
EFFICIENCY_ROUNDING = 1e-9


class Battery(Table):
    """The battery, as its user meets it."""

    capacity_kwh: Annotated[Quantity, Uncertain(0.05, 500, unit="kWh")] = needed(
        "usable capacity of one battery in kWh", title="Battery capacity"
    )
    charge_w: Annotated[Quantity, Uncertain(10, 200_000, unit="W")] = needed(
        "most power into the cells, in watts", title="Charging power"
    )
    discharge_w: Annotated[Quantity, Uncertain(10, 200_000, unit="W")] = needed(
        "most power out of the cells, in watts", title="Discharging power"
    )
    charge_efficiency: Annotated[Quantity, Efficiency] = default_number(
        0.96, "energy stored over energy put in", title="Charging efficiency"
    )
    discharge_efficiency: Annotated[Quantity, Efficiency] = default_number(
        0.96, "energy given over energy taken out", title="Discharging efficiency"
    )
    floor_share: Annotated[Quantity, Uncertain(0, 0.9, unit="share")] = default_number(
        0.0, "share of the usable capacity that is never used", title="Unused floor of the battery"
    )
    extra_batteries: Annotated[int, Whole(0, 50)] = default(
        0, "batteries of the same kind added to the first", absent("none"), title="Extra batteries"
    )


class Inverter(Table):
    """The inverter: what it carries and what it burns."""

    rating_w: Annotated[float, Watts] = needed("power it can carry for hours, in watts", title="Inverter rating")
    surge_w: Annotated[float, Watts] | None = optional(
        "power it can carry for seconds", "rating_w", title="Inverter surge rating"
    )
    idle_w: Annotated[Quantity, Uncertain(0, 1000, unit="W")] = needed(
        "its own draw while it is on, in watts", title="Own use of the inverter (idle draw)"
    )
    standby_w: Annotated[Quantity, Uncertain(0, 500, unit="W")] = default_number(
        3.0, "draw from the supply while it is off", title="Own use of the kit while off (standby)"
    )
    efficiency_half_load: Annotated[Quantity, Efficiency] = needed(
        "efficiency at half load, such as 0.92", title="Inverter efficiency at half load"
    )
    efficiency_full_load: Annotated[Quantity, Efficiency] = needed(
        "efficiency at full load, such as 0.90", title="Inverter efficiency at full load"
    )
    export_limit_w: Annotated[float, Number(0, 1_000_000, unit="W")] | None = optional(
        "most power sent to the grid", "the inverter's rating", title="Export limit"
    )


class Charger(Table):
    """The charger that fills the battery from the supply."""

    power_w: Annotated[float, Watts] = needed("most power it draws from the supply, in watts", title="Charger power")
    efficiency: Annotated[Quantity, Efficiency] = default_number(
        0.92, "energy given over energy drawn", title="Charger efficiency"
    )
    socket_limit_w: Annotated[float, Watts] | None = optional(
        "most power the supply socket may carry in all, charger and loads together",
        "no limit: check the socket",
        title="Limit of the wall socket",
    )


#: Usable capacity lost by 21 home storage systems in up to eight years: 2 to 3 % a year. The median makes the law lose 2.5 %
#: a year over eight years of a home's use (some 250 cycles a year, 20 C); that systems differ by 0.3 is a judgement.
FIELD_AGEING = (
    "2 to 3 % of the usable capacity a year in homes: Figgener et al., Nature Energy 9 (2024) 1438-1447; the spread is a "
    "judgement"
)
AGEING_SCALE = {"nmc": 0.45, "datasheet": 1.0}

#: Nothing is published about how long portable units live, so the range is wide.
PORTABLE_LIFE = {
    "distribution": "lognormal",
    "median": 12.0,
    "sigma": 0.6,
    "minimum": 1.0,
    "maximum": 60.0,
    "source": "judgement: nothing is published about portable units; a wide range around a dozen years",
}


class Ageing(Table):
    """How the battery, the modules and the electronics wear."""

    law: Literal["lfp", "nmc", "datasheet"] = default(
        "lfp",
        "law of capacity loss",
        published_law("Naumann 2018/2020 (lfp), Schmalstieg 2014 (nmc)"),
        title="Law of battery ageing",
    )
    scale: Annotated[Quantity, Uncertain(0.05, 20)] = default_number(
        Lognormal(median=1.2, sigma=0.3, minimum=0.4, maximum=3.0),
        "capacity loss over that of the law: 2 wears twice as fast; 1.2 for lfp, 0.45 for nmc, 1 for datasheet, each with a "
        "spread, unless given",
        field_study(FIELD_AGEING),
        title="Speed of battery ageing",
    )
    cycles_to_80_percent: Annotated[Quantity, Uncertain(50, 100_000)] | None = optional(
        "full cycles until 80 % of the capacity is left", "needed for law datasheet", title="Battery cycle life"
    )
    calendar_life_years: Annotated[Quantity, Uncertain(1, 60, unit="years")] | None = optional(
        "years until 80 % of the capacity is left without use",
        "no calendar loss under law datasheet",
        title="Battery calendar life",
    )
    module_decline_per_year: Annotated[Quantity, Uncertain(0, 0.05, unit="share/year")] = default_number(
        0.005,
        "share of their power that modules lose each year",
        field_study("Jordan & Kurtz 2013, median"),
        title="Decline of the modules",
    )
    end_of_life_share: Annotated[Quantity, Uncertain(0, 0.95, unit="share")] = default_number(
        0.6,
        "share of the first capacity at which the battery counts as worn",
        common_practice(
            "warranties of home batteries promise 60 to 70 % after ten years (60 %: pv magazine USA, 25 July 2024); when "
            "households replace one, nobody has measured"
        ),
        title="Capacity at end of life",
    )
    electronics_life_years: Annotated[Quantity, Uncertain(0.5, 100, unit="years")] = default_number(
        Lognormal(median=19.1, sigma=0.6, minimum=1.0, maximum=100.0),
        "years until the electronics fail; a median of 12 for a portable unit (sockets), unless given",
        field_study(
            "34.3 % of the inverters of 1,195 homes had failed once after 15 years: Bucher, Wandel & Joss, WCPEC-8, 2022; "
            "the spread is a judgement"
        ),
        title="How long the electronics (inverter) last",
    )
    failure_chance_per_year: Annotated[Quantity, Uncertain(0, 1, unit="1/year")] = default_number(
        0.0,
        "chance that the electronics fail in a year, whatever their age",
        absent("none beside their life unless given"),
        title="Failure chance of the electronics",
    )

    @model_validator(mode="before")
    @classmethod
    def scaled(cls, given: Any) -> Any:
        """Fill in the speed of ageing that makes the law named fit homes in use, where the scenario says nothing."""
        law = given.get("law") if isinstance(given, dict) else None
        if not isinstance(law, str) or law not in AGEING_SCALE:
            return given
        source = FIELD_AGEING if law == "nmc" else "judgement: the datasheet as printed, and cells that differ from it"
        spread = {
            "distribution": "lognormal",
            "median": AGEING_SCALE[law],
            "sigma": 0.3,
            "minimum": 0.1,
            "maximum": 3.0,
        }
        return {"scale": spread | {"source": source}} | given


def battery_complaints(battery: Battery) -> Iterator[Complaint]:
    """Refuse powers that no cell bears: a battery that is full or empty within a minute."""
    most = MOST_PER_HOUR * 1000 * battery.capacity_kwh.support[1]
    for name in ("charge_w", "discharge_w"):
        least = getattr(battery, name).support[0]
        if least > most:
            accepted = f"at most {plain(most)} W: {MOST_PER_HOUR:g} times the capacity an hour"
            hint = "check the units: capacity_kwh in kWh, powers in watts"
            yield Complaint(("kit", "battery", name), f"{plain(least)} W", accepted, hint)


def inverter_complaints(inverter: Inverter) -> Iterator[Complaint]:
    """Yield what does not fit together; paths start at `kit`."""
    if inverter.surge_w is not None and inverter.surge_w < inverter.rating_w:
        accepted = f"rating_w ({plain(inverter.rating_w)} W) or more"
        yield Complaint(("kit", "inverter", "surge_w"), plain(inverter.surge_w), accepted)
    yield from _loss_curve(inverter)


def _loss_curve(inverter: Inverter) -> Iterator[Complaint]:
    """Hold the two efficiencies and the idle draw to a curve that an inverter can have, over all their draws.

    With power in = idle + a out + b out^2, a >= 1 (no load gets more than is taken) and b >= 0 (losses grow with load):
    a = 2/half - 1/full - 3 idle/rating and b rating = 2 (1/full - 1/half + idle/rating).
    """
    idle_low, idle_high = (idle / inverter.rating_w for idle in inverter.idle_w.practical_support)
    half_low, half_high = inverter.efficiency_half_load.practical_support
    full_low, full_high = inverter.efficiency_full_load.practical_support
    most_half = 2 / (1 + 1 / full_low + 3 * idle_high)
    if half_high > most_half + EFFICIENCY_ROUNDING:
        accepted = (
            f"at most {math.floor(1000 * most_half) / 1000} beside {plain(full_low)} at full load and an idle draw of"
            f" {plain(idle_high * inverter.rating_w)} W: the three figures contradict each other"
        )
        hint = "lower it, raise efficiency_full_load, or lower idle_w"
        yield Complaint(("kit", "inverter", "efficiency_half_load"), plain(half_high), accepted, hint)
    most_full = 1 / max(1 / half_low - idle_low, 1.0)
    if full_high > most_full + EFFICIENCY_ROUNDING:
        accepted = (
            f"at most {math.floor(1000 * most_full) / 1000} beside {plain(half_low)} at half load and an idle draw of"
            f" {plain(idle_low * inverter.rating_w)} W: the three figures contradict each other"
        )
        hint = "lower it, raise efficiency_half_load, or raise idle_w"
        yield Complaint(("kit", "inverter", "efficiency_full_load"), plain(full_high), accepted, hint)
