"""Weather years that every draw shares: K whole years of hourly means on one standard-time axis."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import DAYS, MONTH_OF_DAY

HOURS = DAYS * 24
HOUR_SERIES = ("ghi", "dni", "dhi", "temp_air", "wind_speed")

#: Real years from which on a pool is made of them alone; judgement: the spread of ten is known to a quarter of itself.
LEAST_YEARS = 10

#: Month (0..11) of each hour of the 365-day year, shape (8760,).
MONTH_OF_HOUR = np.repeat(MONTH_OF_DAY, 24)


@dataclass(frozen=True)
class WeatherPool:
    """K weather years; every series has shape (K, 8760), float64, read-only, mean over the hour.

    Hour h starts h hours after 1 January 00:00 local standard time; there is no 29 February.

    Parameters
    ----------
    ghi, dni, dhi : ndarray (K, 8760)
        Global horizontal, direct normal and diffuse horizontal irradiance [W/m2].
    temp_air : ndarray (K, 8760)
        Air temperature [degC].
    wind_speed : ndarray (K, 8760)
        Wind speed at 10 m [m/s].
    latitude_deg, longitude_deg : float
        North and east positive [deg].
    altitude_m : float
        Height above the sea [m].
    utc_offset_hours : float
        Standard time of the site, east positive [h].
    source : str
        Citation for the report.
    notes : tuple of str
        What a reader has to know: gaps filled, one typical year only, 29 February left out ...
    understood : dict
        How a weather file was read, in words by subject; empty for a built-in climate.
    real_years : int
        Number of distinct real or typical years behind the pool; 0 for generated weather.
    """

    ghi: NDArray[np.float64]
    dni: NDArray[np.float64]
    dhi: NDArray[np.float64]
    temp_air: NDArray[np.float64]
    wind_speed: NDArray[np.float64]
    latitude_deg: float
    longitude_deg: float
    altitude_m: float
    utc_offset_hours: float
    source: str
    notes: tuple[str, ...] = ()
    real_years: int = 0
    understood: dict[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Freeze the arrays and refuse shapes and values that no weather has."""
        shape = np.shape(self.ghi)
        if len(shape) != 2 or shape[1] != HOURS or shape[0] < 1:
            raise ValueError(f"ghi: shape {shape}; accepted: (years, {HOURS})")
        for name in HOUR_SERIES:
            values = np.array(getattr(self, name), dtype=np.float64)
            if values.shape != shape:
                raise ValueError(f"{name}: shape {values.shape}; accepted: {shape}, the shape of ghi")
            if not np.isfinite(values).all():
                raise ValueError(f"{name}: {int((~np.isfinite(values)).sum())} values are not finite numbers")
            if name != "temp_air" and (values < 0.0).any():
                raise ValueError(f"{name}: {int((values < 0.0).sum())} values are negative")
            values.flags.writeable = False
            object.__setattr__(self, name, values)

    @property
    def years(self) -> int:
        """Number of years K in the pool."""
        return int(self.ghi.shape[0])

    @property
    def lowest_temp_c(self) -> float:
        """Lowest hourly air temperature of all years [degC]."""
        return float(self.temp_air.min())

    @property
    def highest_temp_c(self) -> float:
        """Highest hourly air temperature of all years [degC]."""
        return float(self.temp_air.max())

    @property
    def cautious_low_c(self) -> float:
        """Temperature to take for a record low where none is known: the pool's lowest less 5 K [degC].

        Pools hold a few years of hourly means, records hold all years and minutes; common practice, no source.
        """
        return self.lowest_temp_c - 5.0

    def understood_place(self) -> dict[str, str]:
        """Return in words where a file says that it was recorded, and the light of a year."""
        north, east = "north" if self.latitude_deg >= 0.0 else "south", "east" if self.longitude_deg >= 0.0 else "west"
        where = f"{abs(self.latitude_deg):g}° {north}, {abs(self.longitude_deg):g}° {east}, {self.altitude_m:g} m above the sea"
        return {"place": where, "year": f"{self.annual_ghi_kwh().mean():,.0f} kWh/m² of light on the horizontal"}

    def monthly_means(self, name: str = "ghi") -> NDArray[np.float64]:
        """Return the mean of one series per year and month, shape (K, 12), in the unit of the series."""
        values = getattr(self, name)
        return np.stack([values[:, month == MONTH_OF_HOUR].mean(axis=1) for month in range(12)], axis=1)

    def annual_ghi_kwh(self) -> NDArray[np.float64]:
        """Return each year's energy on the horizontal, shape (K,) [kWh/m2]."""
        return self.ghi.sum(axis=1) / 1000.0

    def resampled(self, years: int) -> WeatherPool:
        """Return a pool of exactly `years` years, made by repeating whole years in turn.

        Year k of the new pool is year k mod K of this one, so that each real year is used equally often (to
        within one). Nothing is invented: when the pool grows, a note says how many distinct years stand behind it.

        Raises
        ------
        ValueError
            If `years` is less than 1.
        """
        if years < 1:
            raise ValueError(f"years: {years}; accepted: 1 or more")
        index = np.arange(years) % self.years
        notes = self.notes
        if years > self.years:
            what = "year" if self.years == 1 else "years"
            notes = (*notes, f"{self.years} distinct weather {what}, repeated whole to fill a pool of {years}")
        return replace(self, notes=notes, **{name: getattr(self, name)[index] for name in HOUR_SERIES})

    def rotated(self, utc_offset_hours: float) -> WeatherPool:
        """Return the pool on the hours of another standard time, each year turned in a ring.

        A year keeps its hours: those pushed over one end of the year come back at the other.

        Raises
        ------
        ValueError
            If the two standard times do not differ by whole hours.
        """
        shift = utc_offset_hours - self.utc_offset_hours
        if abs(shift - round(shift)) > 1e-9:
            raise ValueError(
                f"utc_offset_hours: {utc_offset_hours:g}; accepted: {self.utc_offset_hours:g} + whole hours"
            )
        if shift == 0.0:
            return self
        turned = {name: np.roll(getattr(self, name), round(shift), axis=1) for name in HOUR_SERIES}
        note = f"turned from UTC{self.utc_offset_hours:+g} h to the site's standard time, UTC{utc_offset_hours:+g} h"
        return replace(self, utc_offset_hours=utc_offset_hours, notes=(*self.notes, note), **turned)
