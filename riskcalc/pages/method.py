"""How the figures come about: equations, sources and limits of what a scenario uses, for the appendix of its page.

This is the one place where the method is told to readers; each part is left out where the scenario has no use for it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

OWN = "our own"


@dataclass(frozen=True)
class MethodPart:
    """One part of the method.

    title : what is found.
    says : how, in plain sentences.
    equations : one line each, in the letters that `says` explains.
    source : publications, or "our own".
    limit : what this part cannot say, "" if nothing stands out.
    """

    title: str
    says: str
    equations: tuple[str, ...]
    source: str
    limit: str = ""


def method(
    *,
    generated_weather: bool,
    metered: bool,
    coupling: str,
    has_modules: bool,
    has_battery: bool,
    ageing_law: str,
    moves: bool,
    outages: bool,
    searched: bool = False,
    forecasts: bool = False,
    by_need: bool = False,
    exports_stored: bool = False,
) -> tuple[MethodPart, ...]:
    """Return the parts that stand behind a page, in the order of the computation."""
    parts = [_draws(), _generated() if generated_weather else _measured()]
    if has_modules:
        parts += [_light(), _modules()]
    parts.append(_meter() if metered else _appliances())
    if coupling != "none":
        parts.append(_power(coupling, exports_stored=exports_stored))
    if searched:
        parts.append(_search(forecasts, by_need=by_need))
    if has_battery:
        parts.append(_wear(ageing_law))
    parts += [*_prices(), *([_moves()] if moves else []), *([_outages()] if outages else []), _money(), _deciding()]
    return tuple(parts)


def _draws() -> MethodPart:
    return MethodPart(
        "Futures and their standard errors",
        "Every uncertain input x is read off its distribution F at a point u between 0 and 1. The points are those of a "
        "scrambled Sobol' design; inputs that are said to move together have their normal scores z correlated by the "
        "factor L of the matrix. Each future meets one weather year and one demand year of the pool in each year of the "
        "horizon, so that all are met equally often. The design is repeated with R independent scrambles, each with its "
        "own part of the pool; the spread of a figure t between them is its standard error.",
        ("x = F^{−1}(u)", "z′ = L z with L L^T the matrix of correlations, u′ = Φ(z′)", "se(t) = sd(t_1 … t_R) / √R"),
        "Owen, Monte Carlo theory, methods and examples, ch. 17",
        "The standard error tells the noise of the sampling and of the pool, not whether the assumptions are right.",
    )


def _generated() -> MethodPart:
    return MethodPart(
        "Weather years",
        "Years are drawn from published monthly means. The clearness of each day (light over that of a clear sky) "
        "follows a mixture of clear and other days that remembers the day before; hours scatter about their day; the "
        "total of the year varies from year to year. The pool is shifted until its months have the published means. The "
        "sum of the light is split into beam and diffuse by a law of the clearness index kt of the hour, K of the day "
        "and ψ of the neighbouring hours, solar time and height of the sun. Temperature and wind go with the sky.",
        ("diffuse / global = 1 / (1 + exp(b_0 + b_1 kt + b_2 time + b_3 height + b_4 K + b_5 ψ))",),
        "monthly means: see the source of the weather; clear sky: Perez, Ineichen, Seals and Zelenka 1990, Solar Energy "
        "45, 111; split: Ridley, Boland and Lauret 2010, Renewable Energy 35, 478; wind: Justus and others 1978, J. "
        "Applied Meteorology 17, 350; laws of days and hours: " + OWN + ", tuned to typical and real years",
        "Hourly means; good and bad years, but no record ones. On steep and north-facing planes the light is least sure.",
    )


def _measured() -> MethodPart:
    return MethodPart(
        "Weather years",
        "The hours of the file are brought to the site's standard time; the sun stands where it does in the middle of "
        "each hour. Whole years are drawn, never parts of years. Where the file has the sum of the light only, it is "
        "split into beam and diffuse by a published law.",
        (),
        "the file named under weather; split: Ridley, Boland and Lauret 2010, Renewable Energy 35, 478",
        "Hourly means. A single typical year holds neither good nor bad years.",
    )


def _light() -> MethodPart:
    return MethodPart(
        "Light on the modules",
        "Beam B (DNI), diffuse D (DHI) and the ground's reflection of the global light G (GHI, albedo ρ) are brought to "
        "the plane of tilt β. The share A of the diffuse light comes from around the sun, the rest from the whole sky. "
        "What the glass reflects away at the angle of incidence θ is taken off; a skyline hides the sun and its part of "
        "the sky. Shading takes the given share off everything.",
        (
            "light = B τ(θ) cos θ + D ((1 − A) sky(β) + A τ(θ) cos θ / cos ζ) + G ρ ground(β)",
            "A = B / light outside the atmosphere, ζ = angle of the sun from the zenith",
        ),
        "sun: Reda and Andreas 2008, NREL/TP-560-34302; sky: Hay and Davies 1980; glass: De Soto, Klein and Beckman "
        "2006, Solar Energy 80, 78, equations 15 and 16",
        "Shade is a share of the light; that a little shade can stop a whole string is not followed.",
    )


def _modules() -> MethodPart:
    return MethodPart(
        "Power of the modules",
        "The single-diode equation is fitted to the datasheet, so that open-circuit voltage, short-circuit current and "
        "the point of maximum power are met exactly and the efficiency in low light as nearly as can be. The cells are "
        "warmer than the air by the light G over the heat loss at the wind speed w. Dirt, wires, mismatch and the yearly "
        "decline d take their shares; the input's voltage window, current and power limit the rest.",
        (
            "I = I_L − I_0 (exp((V + I R_s) / a) − 1) − (V + I R_s) / R_{sh}",
            "T_{cell} = T_{air} + G / (u_0 + u_1 w)",
            "power in year n = power when new × (1 − d)^{n − 1}",
        ),
        "De Soto, Klein and Beckman 2006; cells: Faiman 2008, Progress in Photovoltaics 16, 307; losses: Dobos 2014, "
        "NREL/TP-6A20-62641; decline: Jordan and Kurtz 2013",
    )


def _appliances() -> MethodPart:
    return MethodPart(
        "Demand",
        "Each appliance starts its cycles by chance, minute by minute, as often in a year and for as long as published "
        "use statistics say, mostly when somebody is at home and awake; light and heating pumps follow the season. The "
        "year is scaled to the annual use. A day is one of somebody being at home or out, and movable use either moves "
        "or does not: days are switched, never blended, so that short peaks keep their watts.",
        (),
        "Richardson, Thomson, Infield and Clifford 2010, Energy and Buildings 42, 1878; hourly shape: mean of two "
        "published load profiles (Electricity Association 1997, VDEW 1999); rows without a source are common practice",
        "One household of the described kind; yours may have other habits, which a meter file would show.",
    )


def _meter() -> MethodPart:
    return MethodPart(
        "Demand",
        "The days of the meter file are drawn again within their month and kind of day. Half-hourly readings get the "
        "short peaks between them from homes of appliances with like readings: the energy of each reading stays the "
        "meter's, the peaks have the size that appliances have.",
        (),
        "the meter file; peaks: " + OWN + ", held against the minutes of a real home",
        "The file holds the habits of its own time. Which load is plugged into the unit it cannot say.",
    )


_COUPLING = {
    "sockets": "What is plugged into the unit runs from it, or, passed through, from the grid: the whole load at once. A "
    "load above the rating is passed to the grid whole. When the unit's energy runs out within a step it carries the "
    "load for that share of the step. It sends nothing to the grid.",
    "plug_in": "The inverter feeds the sockets' own wires up to its limit and the grid fills what is missing; what "
    "nobody uses goes out to the grid as far as that is allowed.",
    "whole_home": "The inverter feeds the wires of the home up to its rating and the grid fills what is missing; what is "
    "left charges the battery and then goes to the grid up to the limit.",
    "off_grid": "Loads run from the inverter or not at all; demand that nothing serves is counted.",
}


def _power(coupling: str, *, exports_stored: bool) -> MethodPart:
    sold = (
        " In the hours in which stored energy is sold, the cells are first charged up to what is kept; then sun and cells fill "
        "what the loads leave of the inverter, up to the limit of export. Nothing is sold while the supply charges."
        if exports_stored
        else ""
    )
    return MethodPart(
        "Where the energy of each step goes",
        f"{_COUPLING[coupling]} The sun serves loads first, then the battery; the battery serves loads in the hours in "
        "which it may; where the plan says so the charger fills it in cheap hours up to the target. The inverter takes "
        "its idle draw for as long as it is on, and a and b from its efficiencies at half and full load. Charging stops "
        f"below freezing where the battery stands outdoors.{sold}",
        (
            "power from battery and sun = idle + a L + b L^2 for a load L",
            "demand + export + charge + losses = sun used + import + discharge + unmet, in every step",
        ),
        OWN + "; form of the losses: Schmidt and Sauer 1996, Sonnenenergie 4, from memory",
        "The plan is a rule, set beforehand. Reactive power and voltage limits of the grid are left out.",
    )


def _search(forecasts: bool, *, by_need: bool) -> MethodPart:
    formulas = ("forecast = r z + √(1 − r^2) ε, z = light of the day within its month",) if forecasts else ()
    if by_need:
        return _own_targets(forecasts, formulas)
    told = (
        " Each evening a forecast calls the coming day dull, mixed or bright, a third of the days of a month each; it is right "
        "as often as its correlation r with what comes allows, and the targets are chosen for each kind of day."
    )
    return MethodPart(
        "Charging targets and switch dates",
        "Some futures are run through their first year with each target in turn and their bills kept day by day. The days of "
        "a month choose the target that costs them least together, the season on solar only is the stretch of days that "
        "costs least without charging, and what is kept for the dearest hours is chosen by the month. What comes of it is "
        "run as a whole; the plain rule, to full every night, stays if nothing beats it." + (told if forecasts else ""),
        formulas,
        OWN,
        "The same plan serves all futures and years; a household that knows its own roof can do better.",
    )


def _own_targets(forecasts: bool, formulas: tuple[str, ...]) -> MethodPart:
    told = (
        " The sun of the coming day is that of its forecast, which is right as often as its correlation r with what comes allows."
        if forecasts
        else ""
    )
    return MethodPart(
        "Charging targets and switch dates",
        "Some futures are run through their first year in many ways and their bills kept day by day: targets by the month, a "
        "season on solar only, energy kept for the dearest hours, and targets of each household's own. Here the last won: a "
        "share a of what a weekday or weekend day of the month usually needs while the cells serve, less a share b of the "
        "sun that this household may expect, and a share c of the capacity, chosen by the month." + told,
        ("target = (floor + a need − b sun) / capacity + c, between 0 and 1", *formulas),
        OWN,
        "The shares a, b and c serve all futures and years. Every household is taken to know its usual need and sun from "
        "the first day.",
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
        OWN + ": the straightest reading of a datasheet; real losses start faster and slow down",
    ),
}


def _wear(law: str) -> MethodPart:
    equations, source = _LAWS[law]
    return MethodPart(
        "Wear of the battery",
        "Loss by time and loss by use add up. Conditions change from year to year: the loss so far is turned into the "
        "time that would have caused it under the new conditions, and the year is added. A factor that differs from "
        "future to future stands for cells unlike those of the law.",
        equations,
        source,
        "Fitted on single cells in a laboratory over a few years; a whole battery over fifteen years goes beyond that.",
    )


def _prices() -> Iterator[MethodPart]:
    yield MethodPart(
        "Prices",
        "The yearly growth g of the logarithm of the price runs about its trend, remembers part φ of the year before, "
        "has a shock of spread σ and now and then a jump J, up or down, of which a share f fades within three years. Jumps "
        "are counted less their mean m, so that the trend is what prices grow by on average. Export prices and inflation "
        "move with it as far as their correlations say.",
        (
            "d_y = φ d_{y − 1} + σ ε_y",
            "g_y = ln(1 + trend) + d_y + (J_y − m) − f (J_{y − 1} + J_{y − 2} + J_{y − 3} − 3 m) / 3",
            "price_y = price_1 exp(g_2 + … + g_y)",
        ),
        "form, spread and how often prices jump held against household prices of the United States (EIA 1990-2021, BLS "
        "1979-2021); size, falls and fading of jumps are judgements",
        "Nobody knows how often prices jump; the tariff keeps its shape.",
    )


def _moves() -> MethodPart:
    return MethodPart(
        "Staying and moving",
        "The household moves at the end of a year, when its stay is over. The kit goes along, is sold or stays behind as "
        "the scenario says; a new home has usable sun by chance, with a yield of its own. Permission may be refused "
        "before anything is bought.",
        ("value when sold = price × share × (1 − loss per year)^{age}",),
        OWN,
    )


def _outages() -> MethodPart:
    return MethodPart(
        "Outages",
        "Outages come at any time with the same chance. How long the kit carries its loads is estimated from the stored "
        "energy, the load and the sun of the year, and scaled by outages put into some traced years step by step.",
        (),
        OWN,
        "Nobody saves energy during the outage; whoever does bridges more.",
    )


def _money() -> MethodPart:
    return MethodPart(
        "Money",
        "The saving of a year is the bill without the kit less the bill with it. Upkeep, replacements and moves are paid "
        "in the money of their year. Worth is the sum of all flows f, those of year y discounted at the nominal rate r to "
        "the day of purchase; it holds what the kit still fetches at the end. Payback is when the running sum of flows "
        "without resale first reaches zero, on a straight line within the year. A payback that is not reached counts as "
        "never and is part of no average.",
        ("worth = Σ f_y (1 + r)^{−y}, y = 0 … N", "payback = first t with f_0 + f_1 + … + f_t ≥ 0"),
        "ASTM E917, E964, E1057 and E1121; 10 CFR 436.19 to 436.23",
        "No tax on savings; energy is billed, peaks are not.",
    )


def _deciding() -> MethodPart:
    return MethodPart(
        "What decides it",
        "The worth W of the futures is fitted by a sum of smooth functions, one of each input's place in its own "
        "distribution (penalised splines); the variance V that goes with one input is its share.",
        ("share of x = V(E(W | x)) / V(W)",),
        "Wood 2017, Generalized additive models, ch. 5; Kim and Gu 2004, J. R. Statist. Soc. B 66, 337",
        "What inputs do only together is not in these shares.",
    )
