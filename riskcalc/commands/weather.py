"""`riskcalc weather`: real years of any place, over the network. `riskcalc sites`: the climates that are built in."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from riskcalc.commands.options import say


def on_a_terminal() -> bool:
    """Return whether somebody can be asked."""
    return sys.stdin.isatty()


def weather(
    latitude: Annotated[float, typer.Argument(help="Degrees north; south is negative.", metavar="LATITUDE")],
    longitude: Annotated[float, typer.Argument(help="Degrees east; west is negative.", metavar="LONGITUDE")],
    first: Annotated[int, typer.Option("--from", help="First year.")] = 2001,
    last: Annotated[int, typer.Option("--to", help="Last year.")] = 2024,
    out: Annotated[Path | None, typer.Option(help="The CSV file to write.")] = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace the file if it is there.")] = False,
    at_sea: Annotated[bool, typer.Option("--at-sea", help="The place is meant to be on the water.")] = False,
    url: Annotated[str | None, typer.Option(help="Address of the service, should it have moved.")] = None,
) -> None:
    """Fetch real hourly weather of any place, year by year, into one CSV. The only command that uses the network."""
    from urllib.parse import urlsplit

    from riskcalc.errors import one_problem
    from riskcalc.output import check_writable
    from riskcalc.pages.progress import steps_shown
    from riskcalc.weather.doubts import check_place
    from riskcalc.weather.pool import LEAST_YEARS
    from riskcalc.weather.record import URL, Service, check_years, fetch_years
    from riskcalc.weather.sea import NEAR_KM, check_on_land, near_land

    check_place(latitude, longitude)
    if not at_sea and not near_land(latitude, longitude):
        far = f"{latitude:g} {longitude:g} lies more than {NEAR_KM} km from any land on our map. Is that meant?"
        at_sea = on_a_terminal() and typer.confirm(far)
    if not at_sea:
        check_on_land(latitude, longitude, insist="--at-sea if it is meant")
    check_years(first, last)
    file = out or Path(f"weather_{latitude:g}_{longitude:g}.csv")
    if file.exists() and not overwrite:
        raise one_problem(file, "", "a file that is there already", "a new name", "--overwrite replaces it")
    check_writable(file.parent)
    years = range(first, last + 1)
    service = Service(url=url or URL)
    count = "1 year" if first == last else f"{len(years)} years"
    say(
        f"This uses the network: {count} of hourly weather at {latitude:g}, {longitude:g} from"
        f" {urlsplit(service.url).hostname}, one request a year (some 2 MB each). Ctrl-C stops it; what is there is kept.",
        err=True,
    )
    with steps_shown("years fetched", len(years)) as advance:
        found = fetch_years(
            latitude,
            longitude,
            years=years,
            file=file,
            service=service,
            told=lambda line: say(line, err=True),
            advance=advance,
            at_sea=lambda: at_sea or (on_a_terminal() and typer.confirm("Height 0 m: on the sea. Is that meant?")),
        )
    for line in found.left_out:
        say(f"left out: {line}")
    few = len(found.years) < LEAST_YEARS
    say(
        f"{found.file}: years {found.years[0]} to {found.years[-1]} ({len(found.years)} whole), height {found.altitude_m:g} m\n"
        f'In the scenario: site.weather = {{ source = "csv", file = "{found.file.name}" }}'
        + (f"\nFewer than {LEAST_YEARS} years: good and bad years are generated beside them." if few else "")
    )


def sites(
    near: Annotated[
        tuple[float, float] | None,
        typer.Option(help="Only the climates nearest to this place.", metavar="LATITUDE LONGITUDE"),
    ] = None,
) -> None:
    """List the built-in climates and where their figures come from."""
    from riskcalc.pages.screen_sites import near_lines, site_lines

    say(site_lines() if near is None else near_lines(*near))
