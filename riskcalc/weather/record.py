"""Real hourly years of any place from an open worldwide record, fetched year by year and written as one CSV.

The only module that uses the network. The record is NASA POWER: light of CERES SYN1deg and its successors on a grid of
one degree, air and wind of MERRA-2 on half a degree. It is free of charge and needs no key.
"""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from riskcalc.errors import InputError, one_problem
from riskcalc.interruption import putting_away
from riskcalc.output import write_files
from riskcalc.weather.axis import LONGEST_GAP_HOURS
from riskcalc.weather.csv_years import file_head, read_csv_years, sealed
from riskcalc.weather.pool import HOUR_SERIES

if TYPE_CHECKING:
    import pandas as pd

URL = "https://power.larc.nasa.gov/api/temporal/hourly/point"
FIRST_YEAR = 2001
SOURCE = (
    "hourly data of the NASA Langley Research Center POWER project, funded through the NASA Earth Science and Applied"
    " Science programmes"
)
LICENCE = "open data of the United States government, free to use with acknowledgement (terms from memory)"
#: Waits before another try at one year [s], and the longest wait for one answer: judgement.
WAITS_S = (3.0, 10.0, 30.0)
LONGEST_ANSWER_S = 180.0


@dataclass(frozen=True)
class Service:
    """Where the record is asked, how often again after a failure [s], and how long one answer may take [s]."""

    url: str = URL
    waits_s: tuple[float, ...] = WAITS_S
    longest_answer_s: float = LONGEST_ANSWER_S


@dataclass(frozen=True)
class Fetched:
    """What was written: the file, its years, the years left out with the reason, the height of the place [m]."""

    file: Path
    years: tuple[int, ...]
    left_out: tuple[str, ...]
    altitude_m: float


def check_years(first: int, last: int) -> None:
    """Raise InputError for years that the record does not have."""
    latest = date.today().year - 1
    if not FIRST_YEAR <= first <= last <= latest:
        accepted = f"whole years from {FIRST_YEAR} to {latest}, the first not after the last"
        raise one_problem("command line", "--from, --to", f"{first} to {last}", accepted)


def fetch_years(
    latitude_deg: float,
    longitude_deg: float,
    *,
    years: Sequence[int],
    file: Path,
    service: Service | None = None,
    told: Callable[[str], None] = lambda _: None,
    advance: Callable[[], None] = lambda: None,
    at_sea: Callable[[], bool] = lambda: False,
) -> Fetched:
    """Fetch the years that are not there yet, each kept as soon as it is whole, and write all of them into `file`.

    Parameters
    ----------
    told : callable
        Is told in a sentence when a try failed and when the next one is.
    advance : callable
        Called after each year.
    at_sea : callable
        Asked whether a place at height 0 is meant, which in this record is open water.

    Raises
    ------
    InputError
        If a year cannot be fetched whole, the disk is full, or Ctrl-C is pressed: what is there is kept and named, and
        the same call goes on from there. `file` is written at the end, whole, or not at all.
    """
    kept = file.with_name(f"{file.name}.years")
    name = f"{latitude_deg:.4f}_{longitude_deg:.4f}"
    service = service or Service()
    texts: dict[int, str] = {}
    try:
        with putting_away():
            for year in years:
                part = kept / f"{name}_{year}.csv"
                text = _kept_text(part)
                if text is None:
                    text = _patiently(latitude_deg, longitude_deg, year, service=service, told=told)
                    write_files(kept, {part.name: text})
                texts[year] = text
                if len(texts) == 1 and float(file_head(text)[0]["altitude_m"]) == 0.0 and not at_sea():
                    given = f"{latitude_deg:g} {longitude_deg:g}, height 0 m"
                    raise one_problem(
                        "command line",
                        "LATITUDE LONGITUDE",
                        given,
                        "a place on land",
                        "on the sea? --at-sea if it is meant",
                    )
                advance()
            return _written(file, kept, texts)
    except KeyboardInterrupt:
        raise _stopped(
            kept, texts, years, "stopped by Ctrl-C", "the same command again, which goes on from there"
        ) from None
    except InputError as error:
        if not texts:
            raise
        given = "; ".join(problem.given for problem in error.problems)
        accepted = "; ".join(problem.accepted for problem in error.problems)
        hint = "; ".join(problem.hint for problem in error.problems if problem.hint)
        raise _stopped(kept, texts, years, given, accepted, hint) from error


def _stopped(
    kept: Path, texts: dict[int, str], years: Sequence[int], given: str, accepted: str, hint: str = ""
) -> InputError:
    there = (
        f"{hint}; " if hint else ""
    ) + f"{len(texts)} of {len(years)} years are kept in {kept}; the same command goes on from there"
    return one_problem("weather", f"year {years[min(len(texts), len(years) - 1)]}", given, accepted, there)


def _patiently(
    latitude_deg: float, longitude_deg: float, year: int, *, service: Service, told: Callable[[str], None]
) -> str:
    """Return one whole year as CSV, trying again after each wait."""
    for wait in (*service.waits_s, None):
        try:
            return _year_text(*_answer(latitude_deg, longitude_deg, year, service))
        except _NoYearError as error:
            if wait is None:
                accepted = "a whole answer: check the connection, the proxy (HTTPS_PROXY), or try later"
                raise one_problem(service.url, f"year {year}", str(error), accepted) from error
            told(f"year {year}: {error}; trying again in {wait:g} s")
            time.sleep(wait)
    raise AssertionError("the last try returns or raises")


class _NoYearError(Exception):
    """One try failed: why, in a few words."""


def _answer(
    latitude_deg: float, longitude_deg: float, year: int, service: Service
) -> tuple[pd.DataFrame, dict[str, Any], int]:
    """Ask for one year on a thread of its own, since the reader knows no limit of time."""
    from pvlib import iotools

    result: queue.Queue[tuple[Any, BaseException | None]] = queue.Queue()

    def ask() -> None:
        try:
            result.put(
                (
                    iotools.get_nasa_power(
                        latitude_deg,
                        longitude_deg,
                        f"{year}-01-01",
                        f"{year}-12-31",
                        list(HOUR_SERIES),
                        url=service.url,
                    ),
                    None,
                )
            )
        except Exception as error:  # noqa: BLE001 whatever a network does to a reader
            result.put((None, error))

    threading.Thread(target=ask, daemon=True).start()
    try:
        answer, error = result.get(timeout=service.longest_answer_s)
    except queue.Empty:
        raise _NoYearError(f"no whole answer within {service.longest_answer_s:g} s") from None
    if error is not None:
        raise _NoYearError(_reason(error)) from error
    return (*answer, year)


def _reason(error: BaseException) -> str:
    """Return in plain words why a request failed; the reader passes on the errors of its network library."""
    kind = type(error).__name__
    for ending, words in (
        ("ProxyError", "the proxy does not answer"),
        ("ConnectTimeout", "no connection"),
        ("SSLError", "no safe connection (certificate)"),
        ("ConnectionError", "no connection, or cut off: is there a network?"),
        ("ChunkedEncodingError", "the answer broke off halfway"),
        ("JSONDecodeError", "an answer that is no data: busy, moved, or cut off halfway"),
        ("KeyError", f"an answer without its data ({error})"),
    ):
        if kind == ending:
            return words
    return f"the service refused it: {' '.join(str(error).split())[:300]}"


def _year_text(table: pd.DataFrame, meta: dict[str, Any], year: int) -> str:
    """Return the CSV of one year; its head tells the place, and why it is left out if it has long gaps.

    Raises
    ------
    _NoYearError
        If hours are missing from the answer.
    """
    import pandas as pd

    hours = pd.date_range(f"{year}-01-01", f"{year + 1}-01-01", freq="h", tz="UTC", inclusive="left")
    missing = [name for name in HOUR_SERIES if name not in table]
    if missing:
        raise _NoYearError(f"an answer without {', '.join(missing)}")
    there = int(hours.isin(table.index).sum())
    if there < len(hours):
        raise _NoYearError(f"half an answer: {there} of {len(hours)} hours")
    table = table.reindex(hours)[list(HOUR_SERIES)].astype(float)
    for name in ("ghi", "dni", "dhi", "wind_speed"):
        table[name] = table[name].clip(lower=0.0)
    head = {
        "latitude_deg": f"{float(meta['latitude']):g}",
        "longitude_deg": f"{float(meta['longitude']):g}",
        "altitude_m": f"{float(meta['altitude']):g}",
        "left out": _longest_gap(table, year),
        "data of": ", ".join(map(str, meta.get("sources", []))),
        "retrieved": date.today().isoformat(),
    }
    table.index = hours.strftime("%Y-%m-%dT%H:%MZ")
    body = table.round(2).to_csv(index_label="time", lineterminator="\n")
    return _with_head(head | {"sha256": sealed(body)}, body)


def _longest_gap(table: pd.DataFrame, year: int) -> str:
    """Return why a year is left out: hours marked as unknown in a row, more than the reader of the file would fill."""
    for name in table:
        unknown = np.concatenate([[0], table[name].isna().to_numpy().astype(np.int8), [0]])
        edges = np.flatnonzero(np.diff(unknown))
        longest = int((edges[1::2] - edges[::2]).max(initial=0))
        if longest > LONGEST_GAP_HOURS:
            return f"{year}: {name} is unknown for {longest} hours in a row"
    return ""


def _with_head(head: dict[str, str], body: str) -> str:
    return "".join(f"# {name}: {value}\n" for name, value in head.items()) + body


def _kept_text(part: Path) -> str | None:
    """Return a year that was fetched before, if it is there as it was written."""
    try:
        text = part.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        return None
    head, lines = file_head(text)
    body = "".join(text.splitlines(keepends=True)[lines:])
    return text if body and head.get("sha256") == sealed(body) else None


def _written(file: Path, kept: Path, texts: dict[int, str]) -> Fetched:
    """Write the years that have no long gaps as one file, read it once, and put the single years away."""
    heads = {year: file_head(text)[0] for year, text in texts.items()}
    whole = [year for year in texts if not heads[year]["left out"]]
    left_out = tuple(heads[year]["left out"] for year in texts if heads[year]["left out"])
    if not whole:
        raise one_problem("weather", "years", "; ".join(left_out), "at least one year without long gaps")
    first = heads[whole[0]]
    rows = [texts[year].splitlines(keepends=True)[len(heads[year]) :] for year in whole]
    body = "".join([rows[0][0], *("".join(lines[1:]) for lines in rows)])
    head = {
        "weather": f"{len(whole)} real years, {whole[0]} to {whole[-1]}, mean of each hour; W/m2, degC, m/s at 10 m",
        **{name: first[name] for name in ("latitude_deg", "longitude_deg", "altitude_m")},
        "zone": "UTC",
        "label": "start",
        "source": f"{SOURCE}; {first['data of']}; {whole[0]} to {whole[-1]}",
        "licence": LICENCE,
        "retrieved": first["retrieved"],
        "left out": "; ".join(left_out) or "no year",
        "sha256": sealed(body),
    }
    write_files(file.parent, {file.name: _with_head(head, body)})
    try:
        read_csv_years(file)
    except InputError:
        file.unlink()
        raise
    for part in kept.glob("*.csv"):
        part.unlink()
    if not any(kept.iterdir()):
        kept.rmdir()
    return Fetched(file=file, years=tuple(whole), left_out=left_out, altitude_m=float(first["altitude_m"]))
