"""The built-in trip as it is planned: by the command line and by the page alike."""

from __future__ import annotations

from typing import TYPE_CHECKING

from routeplan._demo.files import demo_files, demo_group_file

if TYPE_CHECKING:
    from routeplan.plan import Trip

__all__ = ["demo_trip"]


def demo_trip() -> Trip:
    """Read the files of the demonstration into a trip; all of it is invented but the coast."""
    # What reads forecasts is heavy, and is loaded when the trip is wanted.
    from routeplan._plan.ashoretable import read_ashore
    from routeplan.coastline import Coastline
    from routeplan.forecast import open_forecast
    from routeplan.gpx import read_gpx
    from routeplan.limits import read_limits
    from routeplan.plan import Trip
    from routeplan.rules import read_group

    files, group = demo_files(), demo_group_file()
    route = read_gpx(files.route)
    return Trip(
        route,
        coast=Coastline.default(),  # the demo is the same everywhere
        forecast=open_forecast(files.forecast_netcdf, bounds=route.bounds),
        limits=read_limits(files.limits),
        title=f"Demo: {route.name}",
        invented=True,
        group=read_group(group),
        ashore=read_ashore(group),
    )
