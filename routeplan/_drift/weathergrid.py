"""Wind and current of a forecast at places that move through its grid."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from routeplan.errors import InputError

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["WeatherGrid"]

FloatArray = NDArray[np.float64]

_WIND = ("eastward_wind", "northward_wind")
_CURRENT = ("eastward_sea_water_velocity", "northward_sea_water_velocity")
_EDGE_DEG = 1e-9  # a point on the rim of the grid is inside despite rounding


@dataclass(frozen=True, slots=True, eq=False)
class WeatherGrid:
    """Gridded wind and current, linear between grid points and times.

    Attributes
    ----------
    time : array of datetime64, shape (T,)
    latitude, longitude : array, shapes (y,), (x,), ascending
        [degrees]
    fields : array, shape (f, T, y, x, members)
        Eastward and northward wind and, where there is one, current. [m/s]
    """

    time: NDArray[np.datetime64]
    latitude: FloatArray
    longitude: FloatArray
    fields: FloatArray

    @property
    def members(self) -> int:
        """Number of forecast members; 1 when there is no ensemble."""
        return int(self.fields.shape[4])

    @property
    def has_current(self) -> bool:
        """Whether the forecast tells the current."""
        return bool(self.fields.shape[0] == 4)

    @staticmethod
    def from_forecast(ds: xr.Dataset) -> WeatherGrid:
        """Grid of a forecast as `routeplan.forecast.open_forecast` gives it.

        Raises
        ------
        InputError
            When it has no wind.
        """
        if not all(name in ds for name in _WIND):
            msg = f"the forecast has no {' and '.join(_WIND)}; they are required"
            raise InputError(msg, field="forecast")
        names = [*_WIND, *(_CURRENT if all(name in ds for name in _CURRENT) else ())]
        columns = []
        for name in names:
            field = ds[name]
            if "number" not in field.dims:
                field = field.expand_dims("number")
            ordered = field.transpose("time", "latitude", "longitude", "number")
            columns.append(ordered.to_numpy().astype(np.float64))
        members = max(c.shape[3] for c in columns)
        stack = [np.broadcast_to(c, (*c.shape[:3], members)) for c in columns]
        return WeatherGrid(
            time=ds["time"].to_numpy().astype("datetime64[ns]"),
            latitude=ds["latitude"].to_numpy().astype(np.float64),
            longitude=ds["longitude"].to_numpy().astype(np.float64),
            fields=np.stack(stack),
        )

    def seconds(self, when: NDArray[np.datetime64]) -> FloatArray:
        """Times as seconds after the first of the forecast; nan for NaT."""
        span = np.asarray(when, dtype="datetime64[ns]") - self.time[0]
        return np.where(np.isnat(span), np.nan, span.astype(np.int64) / 1e9)

    def at(
        self, lon: FloatArray, lat: FloatArray, seconds: FloatArray, member: NDArray[np.intp]
    ) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Wind and current at places and times.

        Parameters
        ----------
        lon, lat, seconds : array, one shape
            [degrees], [s after the first time]
        member : array of int, the same shape

        Returns
        -------
        u, v, cu, cv : arrays
            [m/s]; nan outside the grid or its times, and where a neighbour that counts is nan. The
            current is 0 where the forecast has none.
        """
        clock = self.seconds(self.time)
        along = self.longitude[0] - _EDGE_DEG + (lon - self.longitude[0] + _EDGE_DEG) % 360.0
        t, ft, in_t = _bracket(clock, seconds, 0.0)
        y, fy, in_y = _bracket(self.latitude, lat, _EDGE_DEG)
        x, fx, in_x = _bracket(self.longitude, along, _EDGE_DEG)
        inside = in_t & in_y & in_x
        # All eight corners at once; numpy's calls cost more than its sums here.
        dt, dy, dx = ((_CORNERS >> bit & 1).reshape(8, *[1] * lon.ndim) for bit in (2, 1, 0))
        weight = _part(ft, dt) * _part(fy, dy) * _part(fx, dx)
        value = self.fields[
            :,
            np.minimum(t + dt, clock.size - 1),
            np.minimum(y + dy, self.latitude.size - 1),
            np.minimum(x + dx, self.longitude.size - 1),
            member,
        ]
        out = np.zeros((4, *lon.shape))
        # A neighbour that does not count may be unknown.
        out[: value.shape[0]] = np.where(weight > 0.0, value * weight, 0.0).sum(axis=1)
        out[:, ~inside] = np.nan
        return out[0], out[1], out[2], out[3]


_CORNERS = np.arange(8)


def _part(share: FloatArray, upper: NDArray[np.intp]) -> FloatArray:
    return np.where(upper == 1, share, 1.0 - share)


def _bracket(axis: FloatArray, at: FloatArray, edge: float) -> tuple[Any, FloatArray, Any]:
    """Index below, share of the way to the next, and whether inside."""
    inside = (at >= axis[0] - edge) & (at <= axis[-1] + edge)
    clipped = np.clip(np.where(np.isnan(at), axis[0], at), axis[0], axis[-1])
    index = np.clip(np.searchsorted(axis, clipped, side="right") - 1, 0, max(axis.size - 2, 0))
    if axis.size == 1:
        return index, np.zeros(at.shape), inside
    return index, (clipped - axis[index]) / (axis[index + 1] - axis[index]), inside
