"""How the figures come about: equations, sources and limits of what a scenario uses, for the appendix of its page.

This is the one place where the method is told to readers; each part is left out where the scenario has no use for it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from riskcalc.language import translated
from riskcalc.pages.exhibit import Block, fold
from riskcalc.pages.figures import say


@dataclass(frozen=True)
class MethodPart:
    """One part of the method.

    title : what is calculated.
    says : how, in plain sentences.
    equations : one line each, in the letters that `says` explains.
    source : publications, or "our own".
    limit : what this part cannot say, "" if nothing stands out.
    more : further sentences, for what only some scenarios have.
    """

    title: str
    says: str
    equations: tuple[str, ...]
    source: str
    limit: str = ""
    more: tuple[str, ...] = ()


def method_blocks(traits: Mapping[str, Any]) -> tuple[Block, ...]:
    """Return the appendix, folded; `traits` as for `method`."""
    parts = method(traits)
    blocks = [
        Block(
            "part",
            {
                "title": translated(part.title),
                "says": " ".join(translated(text) for text in (part.says, *part.more) if text),
                "equations": tuple(map(translated, part.equations)),
                "source": say(
                    "Source: {source}. Limit: {limit}", source=translated(part.source), limit=translated(part.limit)
                )
                if part.limit
                else say("Source: {source}.", source=translated(part.source)),
            },
        )
        for part in parts
    ]
    return (fold(say("Equations, sources and limits in {count} parts", count=len(parts)), *blocks),)


def method(traits: Mapping[str, Any]) -> tuple[MethodPart, ...]:
    """Return the parts that stand behind a page, in the order of the computation; traits as in `page_dict`."""
    parts = [DRAWS, GENERATED if traits["generated_weather"] else MEASURED]
    if traits["has_modules"]:
        parts += [LIGHT, MODULES]
    parts.append(METER if traits["metered"] else APPLIANCES)
    if traits["coupling"] != "none":
        parts.append(_power(traits["coupling"], exports_stored=traits.get("exports_stored", False)))
    if traits.get("searched"):
        parts.append(_search(traits["forecasts"], by_need=traits["by_need"]))
    if traits["has_battery"]:
        parts.append(_wear(traits["ageing_law"]))
    parts += [*_prices(), *[MOVES] * traits["moves"], *[BRIDGING] * traits["outages"], MONEY, DECIDING]
    return tuple(parts)


DRAWS = MethodPart(
    "Futures and their standard errors",
    "Every uncertain input x is read off its distribution F at a point u between 0 and 1. The points are those of a "
    "scrambled Sobol' design. Inputs that move together have their normal scores z correlated by the factor L of the "
    "matrix. Each future takes one weather year and one demand year of the pool in each year of the horizon. All of "
    "them are used equally often. The design is repeated with R independent scrambles, each with its own part of the "
    "pool. The spread of a figure t between them gives its standard error.",
    ("x = F^{−1}(u)", "z′ = L z with L L^T the matrix of correlations, u′ = Φ(z′)", "se(t) = sd(t_1 … t_R) / √R"),
    "Owen, Monte Carlo theory, methods and examples, ch. 17",
    "The standard error covers the noise of the sampling and of the pool, not whether the assumptions are right.",
)

GENERATED = MethodPart(
    "Weather years",
    "Years are drawn from published monthly means. The clearness of a day is its light over that of a clear sky. It "
    "follows a mixture of clear and other days that remembers the day before. Hours scatter about their day, and the "
    "total of the year varies from year to year. The pool is shifted until its months have the published means. "
    "Light is split into beam and diffuse by solar time, height of the sun and three clearness indices. These are kt of "
    "the hour, K of the day and ψ of the neighbouring hours. Temperature and wind go with the sky.",
    ("diffuse / global = 1 / (1 + exp(b_0 + b_1 kt + b_2 time + b_3 height + b_4 K + b_5 ψ))",),
    "monthly means: see the source of the weather; clear sky: Perez, Ineichen, Seals and Zelenka 1990, Solar Energy "
    "45, 111; split: Ridley, Boland and Lauret 2010, Renewable Energy 35, 478; wind: Justus and others 1978, J. "
    "Applied Meteorology 17, 350; laws of days and hours: our own, tuned to typical and real years",
    "Hourly means; good and bad years, but no record ones. Least sure: steep planes that face away from the equator.",
)

MEASURED = MethodPart(
    "Weather years",
    "The hours of the file are converted to the site's standard time. The sun stands where it does in the middle of "
    "each hour. Whole years are drawn, never parts of years. Where the file has only the sum of the light, it is "
    "split into beam and diffuse by a published law.",
    (),
    "the file named under weather; split: Ridley, Boland and Lauret 2010, Renewable Energy 35, 478",
    "Hourly means. A single typical year holds neither good nor bad years.",
)

LIGHT = MethodPart(
    "Light on the modules",
    "Beam B (DNI), diffuse D (DHI) and the ground's reflection of the global light G (GHI, albedo ρ) are transposed "
    "to the plane of tilt β. The share A of the diffuse light comes from around the sun, the rest from the whole "
    "sky. Glass reflects part of it away at the angle of incidence θ. A skyline hides the sun and its part of the "
    "sky. Shading takes the given share off everything.",
    (
        "light = B τ(θ) cos θ + D ((1 − A) sky(β) + A τ(θ) cos θ / cos ζ) + G ρ ground(β)",
        "A = B / light outside the atmosphere, ζ = angle of the sun from the zenith",
    ),
    "sun: Reda and Andreas 2008, NREL/TP-560-34302; sky: Hay and Davies 1980; glass: De Soto, Klein and Beckman "
    "2006, Solar Energy 80, 78, equations 15 and 16",
    "Shade is a share of the light. In reality a little shade can stop a whole string.",
)

MODULES = MethodPart(
    "Power of the modules",
    "The single-diode equation is fitted to the datasheet. Open-circuit voltage, short-circuit current and the point "
    "of maximum power are met exactly, low-light efficiency as nearly as possible. The cells are warmer than the air "
    "by the light G over the heat loss at the wind speed w. Dirt, wires, mismatch and the yearly decline d take their "
    "shares. The input's voltage window, current and power limit the rest.",
    (
        "I = I_L − I_0 (exp((V + I R_s) / a) − 1) − (V + I R_s) / R_{sh}",
        "T_{cell} = T_{air} + G / (u_0 + u_1 w)",
        "power in year n = power when new × (1 − d)^{n − 1}",
    ),
    "De Soto, Klein and Beckman 2006; cells: Faiman 2008, Progress in Photovoltaics 16, 307; losses: Dobos 2014, "
    "NREL/TP-6A20-62641; decline: Jordan and Kurtz 2013",
)

APPLIANCES = MethodPart(
    "Demand",
    "Each appliance starts its cycles by chance, minute by minute. How often and for how long comes from published "
    "use statistics; most start when somebody is at home and awake. Light and heating pumps follow the season. The "
    "year is scaled to the annual use. On each day somebody is at home or out, and movable use moves or does not. "
    "Days are switched, never blended, so short peaks keep their watts.",
    (),
    "Richardson, Thomson, Infield and Clifford 2010, Energy and Buildings 42, 1878; hourly shape: mean of two "
    "published load profiles (Electricity Association 1997, VDEW 1999); rows without a source are common practice",
    "One household of the described kind. Yours may have other habits, which a meter file would show.",
)

METER = MethodPart(
    "Demand",
    "The days of the meter file are drawn again within their month and kind of day. Half-hourly readings get short "
    "peaks from homes of appliances with similar readings. The energy of each reading stays the meter's; the peaks "
    "have the size that appliances have.",
    (),
    "the meter file; peaks: our own, compared with the minutes of a real home",
    "The file holds the habits of its own time. It cannot say which load is plugged into the unit.",
)


_COUPLING = {
    "sockets": "What is plugged into the unit runs from it or, passed through, from the grid: the whole load at once. A "
    "load above the rating passes to the grid as a whole. When the unit's energy runs out within a step, it carries the "
    "load for that share of the step. It sends nothing to the grid.",
    "plug_in": "The inverter feeds the sockets' own wires up to its limit, and the grid fills what is missing. What "
    "nobody uses goes out to the grid as far as that is allowed.",
    "whole_home": "The inverter feeds the wires of the home up to its rating, and the grid fills what is missing. The "
    "rest charges the battery and then goes to the grid, up to the limit.",
    "off_grid": "Loads run from the inverter or not at all. Demand that nothing serves is counted.",
}


def _power(coupling: str, *, exports_stored: bool) -> MethodPart:
    sold = (
        "In the hours in which stored energy is sold, the cells are first charged up to what is kept. Then sun and "
        "cells use the rest of the inverter, up to the export limit. Nothing is sold while the supply charges."
        if exports_stored
        else ""
    )
    return MethodPart(
        "Where the energy of each step goes",
        _COUPLING[coupling],
        (
            "power from battery and sun = idle + a L + b L^2 for a load L",
            "demand + export + charge + losses = sun used + import + discharge + unmet, in every step",
        ),
        "our own; form of the losses: Schmidt and Sauer 1996, Sonnenenergie 4, from memory",
        "The plan is a rule set in advance. Reactive power and voltage limits of the grid are left out.",
        more=(
            "The sun serves loads first, then the battery. The battery serves loads in the hours in "
            "which it may. Where the plan says so, the charger fills it in cheap hours up to the target. The inverter takes "
            "its idle draw for as long as it is on. Its losses a and b follow from its efficiencies at half and full load. "
            "A battery that stands outdoors does not charge below freezing.",
            sold,
        ),
    )


def _search(forecasts: bool, *, by_need: bool) -> MethodPart:
    formulas = ("forecast = r z + √(1 − r^2) ε, z = light of the day within its month",) if forecasts else ()
    if by_need:
        return _own_targets(forecasts, formulas)
    told = (
        "Each evening a forecast calls the next day dull, mixed or bright, a third of the days of a month each. It is "
        "right as often as its correlation r with the outcome allows. The targets are chosen for each kind of day."
    )
    return MethodPart(
        "Charging targets and switch dates",
        "Some futures are run through their first year with each target in turn, and their bills are kept day by day. "
        "Each month takes the target that costs its days least. The season on solar only is the stretch of days that "
        "costs least without charging. What is kept for the dearest hours is chosen by the month. The result is run as a "
        "whole. The plain rule, full every night, stays if nothing beats it.",
        formulas,
        "our own",
        "The same plan serves all futures and years. A household that knows its own roof can do better.",
        more=(told if forecasts else "",),
    )


def _own_targets(forecasts: bool, formulas: tuple[str, ...]) -> MethodPart:
    told = (
        "The sun of the next day is that of its forecast. It is right as often as its correlation r with the outcome "
        "allows."
        if forecasts
        else ""
    )
    return MethodPart(
        "Charging targets and switch dates",
        "Some futures are run through their first year in many ways, and their bills are kept day by day. The ways are "
        "targets by the month, a season on solar only, energy kept for the dearest hours, and a target for each "
        "household. Here the last one was cheapest. It charges to a share a of what such a day of the month usually "
        "needs while the cells serve. From that it takes a share b of the expected sun, and adds a share c of the "
        "capacity, chosen by the month.",
        ("target = (floor + a need − b sun) / capacity + c, between 0 and 1", *formulas),
        "our own",
        "The shares a, b and c serve all futures and years. Each household is assumed to know its usual need and sun "
        "from the first day.",
        more=(told,),
    )


_LAWS = {
    "lfp": (
        ("calendar loss = k(T, charge) √time, cycle loss = k(depth, current) √cycles",),
        "Naumann and others 2018, J. Energy Storage 17, 153, and 2020, J. Power Sources 451, 227666",
    ),
    "nmc": (
        ("calendar loss = α(T, voltage) time^{0.75}, cycle loss = β(voltage, depth) √(charge through the cell)",),
        "Schmalstieg, Käbitz, Ecker and Sauer 2014, J. Power Sources 257, 325",
    ),
    "datasheet": (
        ("loss = 0.2 cycles / cycles to 80 % + 0.2 years / years to 80 %",),
        "our own: the simplest reading of a datasheet; real losses start faster and slow down",
    ),
}


def _wear(law: str) -> MethodPart:
    equations, source = _LAWS.get(law, _LAWS["lfp"])
    return MethodPart(
        "Wear of the battery",
        "Loss by time and loss by use add up. Conditions change from year to year. The loss so far is converted into the "
        "time that would have caused it under the new conditions, and the year is added. A factor that differs from "
        "future to future stands for cells unlike those of the law.",
        equations,
        source,
        "Fitted to single cells in a laboratory over a few years. A whole battery over fifteen years goes beyond that.",
    )


def _prices() -> Iterator[MethodPart]:
    yield MethodPart(
        "Prices",
        "The yearly growth g of the logarithm of the price runs about its trend. It remembers part φ of the year before, "
        "has a shock of spread σ and now and then a jump J, up or down. A share f of a jump fades within three years. "
        "Jumps are counted less their mean m, so prices grow by the trend on average. Export prices and inflation move "
        "with it as far as their correlations say.",
        (
            "d_y = φ d_{y − 1} + σ ε_y",
            "g_y = ln(1 + trend) + d_y + (J_y − m) − f (J_{y − 1} + J_{y − 2} + J_{y − 3} − 3 m) / 3",
            "price_y = price_1 exp(g_2 + … + g_y)",
        ),
        "form, spread and jumps compared with household prices of the United States (EIA 1990-2021, BLS 1979-2021) and of "
        "the United Kingdom (ONS 1988-2025)",
        "Nobody knows how often prices jump. The tariff keeps its shape.",
    )


MOVES = MethodPart(
    "Staying and moving",
    "The household moves at the end of a year, when its stay is over. The kit goes along, is sold or stays behind as "
    "the scenario says. A new home has usable sun by chance, with a yield of its own. Permission may be refused "
    "before anything is bought.",
    ("value when sold = price × share × (1 − loss per year)^{age}",),
    "our own",
)

BRIDGING = MethodPart(
    "Outages",
    "Outages come at any time with the same chance. How long the kit carries its loads is estimated from the stored "
    "energy, the load and the sun of the year. The estimate is scaled by outages put into some traced years step by "
    "step.",
    (),
    "our own",
    "Nobody saves energy during the outage. A household that does bridges more.",
)

MONEY = MethodPart(
    "Money",
    "The saving of a year is the bill without the kit less the bill with it. Upkeep, replacements and moves are paid "
    "in the money of their year. Worth is the sum of all flows f, those of year y discounted at the nominal rate r to "
    "the day of purchase. It includes the resale value at the end. Payback is when the running sum of flows without "
    "resale first reaches zero, on a straight line within the year. A payback that is not reached counts as such "
    "and enters no average.",
    ("worth = Σ f_y (1 + r)^{−y}, y = 0 … N", "payback = first t with f_0 + f_1 + … + f_t ≥ 0"),
    "ASTM E917, E964, E1057 and E1121; 10 CFR 436.19 to 436.23",
    "No tax on savings; energy is billed, peaks are not.",
)

DECIDING = MethodPart(
    "What decides it",
    "The worth W of the futures is fitted by a sum of smooth functions, one of each input's place in its own "
    "distribution (penalised splines). The variance V that goes with one input is its share.",
    ("share of x = V(E(W | x)) / V(W)",),
    "Wood 2017, Generalized additive models, ch. 5; Kim and Gu 2004, J. R. Statist. Soc. B 66, 337",
    "These shares leave out what inputs do only together.",
)
