"""Subsets that a server cuts out: the grib filter of NOAA's NOMADS.

Query parameters and file names are those of the filter's own pages at
nomads.ncep.noaa.gov (``dir``, ``file``, ``var_X=on``, ``lev_X=on``, ``subregion``, ``leftlon``,
``rightlon``, ``toplat``, ``bottomlat``) and of the NCEP products inventory,
www.nco.ncep.noaa.gov/pmb/products (gfs, gens, wave).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from routeplan._download.fetcher import Job
from routeplan._provider.base import Ask, Field, NotThereError, Part, absent, contains, stamp
from routeplan._provider.grib import GribField, read_messages
from routeplan.errors import DownloadError

__all__ = ["GEFS", "GFS", "NomadsService", "gefs_steps", "gfs_steps"]

_PIECE_BYTES = 64 * 1024 * 1024
_HOUR = np.timedelta64(3600, "s")

_SURFACE = ((1, 0.0),)
_TEN_METRES = ((103, 10.0),)
_AIR = (
    Field("eastward_wind", (0, 2, 2), ("UGRD",), _TEN_METRES, required=True, instant=True),
    Field("northward_wind", (0, 2, 3), ("VGRD",), _TEN_METRES, required=True, instant=True),
    Field("wind_speed_of_gust", (0, 2, 22), ("GUST",), _SURFACE, instant=True),
    Field("air_temperature", (0, 0, 0), ("TMP",), ((103, 2.0),), instant=True),
    Field("visibility_in_air", (0, 19, 0), ("VIS",), _SURFACE, instant=True),
    Field(
        "atmosphere_convective_available_potential_energy",
        (0, 7, 6),
        ("CAPE",),
        _SURFACE,
        instant=True,
    ),
    Field("precipitation_flux", (0, 1, 7), ("PRATE",), _SURFACE, instant=True),
)
_AIR_LEVELS = ("surface", "2_m_above_ground", "10_m_above_ground")
_SEA = (
    Field("sea_surface_wave_significant_height", (10, 0, 3), ("HTSGW",), required=True),
    Field("sea_surface_wave_mean_period", (10, 0, 11), ("PERPW",)),
    Field("sea_surface_wave_from_direction", (10, 0, 10), ("DIRPW",)),
)


@dataclass(frozen=True, slots=True)
class _Files:
    """Where the files of a part are; `{m}` is the member's mark."""

    script: str
    directory: str
    file: str
    levels: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NomadsService:
    """A model on the grib filter."""

    air: _Files
    sea: _Files
    numbered: bool  # whether files are per member

    def parts(self, members: bool) -> tuple[Part, ...]:  # noqa: ARG002  # the same for both
        """Return wind and weather, and waves."""
        return Part("air", "weather", _AIR, True), Part("sea", "waves", _SEA, False)

    def probe(self, ask: Ask, part: Part) -> None:
        """Fetch the last file, which comes out last; it is needed anyway."""
        member = ask.members[-1] if ask.members else None
        _fetch_one(ask, self._job(ask, part, ask.steps_h[-1], member))

    def fetch(self, ask: Ask, part: Part) -> list[Path]:
        """Fetch one file for each step and member."""
        members: tuple[int | None, ...] = ask.members or (None,)
        jobs = [self._job(ask, part, step, m) for step in ask.steps_h for m in members]
        try:
            return ask.fetcher.fetch_all(jobs, ask.report(part.title))
        except DownloadError as error:
            raise _as_absent(error) from error

    def finish(self, ask: Ask, joined: Path) -> None:
        """Do nothing: the server has cut the box out."""

    def _job(self, ask: Ask, part: Part, step: int, member: int | None) -> Job:
        files = self.air if part.name == "air" else self.sea
        mark = "" if not self.numbered else f"p{member:02d}" if member else "c00"
        date, hour = stamp(ask.run)[:8], stamp(ask.run)[8:]
        place = {"date": date, "hour": hour, "step": f"{step:03d}", "m": mark}
        west, south, east, north = ask.box
        params = {"dir": files.directory.format(**place), "file": files.file.format(**place)}
        params |= {f"var_{name}": "on" for f in part.fields for name in f.names}
        params |= {f"lev_{level}": "on" for level in files.levels}
        params |= {"subregion": "", "leftlon": f"{west:g}", "rightlon": f"{east:g}"}
        params |= {"toplat": f"{north:g}", "bottomlat": f"{south:g}"}
        return Job(
            url=f"{ask.base_url}/cgi-bin/{files.script}",
            name=f"{ask.folder}/{part.name}{mark}-f{step:03d}.grib2",
            params=params,
            expect="grib",
            max_bytes=_PIECE_BYTES,
            check=_checker(ask, part, step, member),
        )


def _fetch_one(ask: Ask, job: Job) -> None:
    try:
        ask.fetcher.fetch(job)
    except DownloadError as error:
        raise _as_absent(error) from error


def _as_absent(error: DownloadError) -> DownloadError:
    if not absent(error):
        return error
    return NotThereError(str(error), url=error.url, status=error.status)


def _checker(ask: Ask, part: Part, step: int, member: int | None) -> Callable[[Path], str]:
    valid = ask.run + step * _HOUR

    def check(path: Path) -> str:
        try:
            found = [f for message in read_messages(path) for f in message.fields]
        except ValueError as error:
            return str(error)
        for field in part.fields:
            same = [f for f in found if field.matches(f)]
            if field.required and not same:
                return f"no {field.name} in it"
            for one in same:
                fault = _field_fault(one, ask, valid, member)
                if fault:
                    return f"{field.name} is {fault}"
        return ""

    return check


def _field_fault(found: GribField, ask: Ask, valid: np.datetime64, member: int | None) -> str:
    if found.reference != ask.run:
        return f"of the run of {found.reference}Z, {ask.run}Z was asked"
    if found.valid != valid:
        return f"for {found.valid}Z, {valid}Z was asked"
    if member is not None and found.member != member and (member or found.member is not None):
        return f"of member {found.member}, {member} was asked"
    if found.box is None or not contains(found.box, ask.bounds):
        return "for another area than asked"
    return ""


def gfs_steps(_hour: int) -> tuple[int, ...]:
    """Hourly to 120 h, then 3-hourly to 384 h, in all runs (NCEP products inventory)."""
    return (*range(121), *range(123, 385, 3))


def gefs_steps(_hour: int) -> tuple[int, ...]:
    """3-hourly to 240 h at 0.25 degrees, in all runs (NCEP products inventory)."""
    return tuple(range(0, 241, 3))


GFS = NomadsService(
    air=_Files(
        "filter_gfs_0p25_1hr.pl",
        "/gfs.{date}/{hour}/atmos",
        "gfs.t{hour}z.pgrb2.0p25.f{step}",
        _AIR_LEVELS,
    ),
    sea=_Files(
        "filter_gfswave.pl",
        "/gfs.{date}/{hour}/wave/gridded",
        "gfswave.t{hour}z.global.0p25.f{step}.grib2",
        ("surface",),
    ),
    numbered=False,
)

GEFS = NomadsService(
    air=_Files(
        "filter_gefs_atmos_0p25s.pl",
        "/gefs.{date}/{hour}/atmos/pgrb2sp25",
        "ge{m}.t{hour}z.pgrb2s.0p25.f{step}",
        _AIR_LEVELS,
    ),
    sea=_Files(
        "filter_gefs_wave_0p25.pl",
        "/gefs.{date}/{hour}/wave/gridded",
        "gefs.wave.t{hour}z.{m}.global.0p25.f{step}.grib2",
        ("surface",),
    ),
    numbered=True,
)
