"""The trip of the demo scenario: its points, its limits and the words that go with them.

Everything but the coast is invented. The line was drawn by hand over the default coastline (GSHHG,
full resolution), which lacks most small skerries and every shoal; it is not for navigation.
"""

from __future__ import annotations

from routeplan._demo.files import FORECAST_GRIB, FORECAST_NETCDF, GROUP, LIMITS, ROUTE

__all__ = ["INVENTED", "LIMITS_TEXT", "README_TEXT", "ROUTE_POINTS", "WAYPOINTS", "route_gpx"]

# Latitude, longitude, name, GPX type. Legs run between the named points; the others shape them.
ROUTE_POINTS = (
    (58.65829, 11.26855, "Start landing", "landing"),
    (58.6615, 11.264, "", ""),
    (58.6663, 11.263, "", ""),
    (58.6729, 11.251, "", ""),
    (58.6743, 11.2438, "Inner sound", ""),
    (58.6684, 11.231, "", ""),
    (58.6676, 11.2287, "", ""),
    (58.6649, 11.224, "", ""),
    (58.6616, 11.2154, "", ""),
    (58.661, 11.2091, "Channel mouth", ""),
    (58.652, 11.202, "", ""),
    (58.648, 11.2, "", ""),
    (58.64, 11.199, "", ""),
    (58.632, 11.202, "North skerry", ""),
    (58.622, 11.205, "", ""),
    (58.612, 11.213, "", ""),
    (58.602, 11.209, "", ""),
    (58.59553, 11.2038, "Camp 1", "camp"),
    (58.597, 11.2045, "", ""),
    (58.5995, 11.198, "", ""),
    (58.5975, 11.178, "West skerry", ""),
    (58.59, 11.08, "Outer north", ""),
    (58.578, 11.087, "", ""),
    (58.569, 11.0815, "", ""),
    (58.5615, 11.0885, "", ""),
    (58.554, 11.1, "Outer south", ""),
    (58.548, 11.157, "Return skerry", ""),
    (58.539, 11.162, "", ""),
    (58.537, 11.176, "", ""),
    (58.5355, 11.191, "", ""),
    (58.539, 11.1995, "", ""),
    (58.5475, 11.2005, "", ""),
    (58.548, 11.19795, "Camp 2", "camp"),
    (58.544, 11.208, "", ""),
    (58.5345, 11.2235, "", ""),
    (58.527, 11.224, "Narrows", ""),
    (58.519, 11.2225, "", ""),
    (58.51, 11.224, "", ""),
    (58.506, 11.238, "South cape", ""),
    (58.4985, 11.257, "", ""),
    (58.497, 11.272, "", ""),
    (58.493, 11.279, "", ""),
    (58.4875, 11.286, "Fjord mouth", ""),
    (58.4844, 11.2993, "", ""),
    (58.4829, 11.3023, "", ""),
    (58.4804, 11.3091, "", ""),
    (58.48, 11.315, "", ""),
    (58.4836, 11.329, "", ""),
    (58.4862, 11.3405, "", ""),
    (58.4874, 11.346, "", ""),
    (58.4865, 11.34695, "End landing", "landing"),
)

WAYPOINTS = (
    (58.65746, 11.26649, "Water near the start", "water"),
    (58.63436, 11.214, "Landing, north skerry", "landing"),
    (58.60353, 11.17797, "Landing, west skerry", "landing"),
    (58.578, 11.08117, "Landing, outer north", "landing"),
    (58.55201, 11.09625, "Landing, outer south", "landing"),
    (58.54853, 11.24, "Water across from camp 2", "water"),
    (58.53117, 11.2187, "Landing, narrows", "landing"),
    (58.5021, 11.25925, "Landing, south cape", "landing"),
)

INVENTED = "INVENTED demonstration data, not a forecast"

LIMITS_TEXT = """\
# INVENTED limits of the demo's group of four, not a recommendation for anybody.
# A limit is a number with its unit, or "none".

[limits]
wind = "14 kn"
gust = "20 kn"
headwind = "12 kn"
wave_height = "0.7 m"
offshore = "4000 m"        # the group crosses knowingly; legs beyond 1,000 m are still flagged
daylight = "1 h"
"""

README_TEXT = f"""\
Demo scenario: everything here is INVENTED. Not for navigation, not a forecast.

Four people paddle through the skerries of the Bohuslän coast, Sweden, on their own supplies:
three stages, two nights. Only the coast is real. Route, camps, landings, water points, limits and
weather were made up for this package; the names of the points describe them and are no place
names; nobody was asked whether one may land or camp there.
The line was drawn over the full-resolution GSHHG coastline, which lacks most small skerries and
all shoals, and whose shores can be some hundred metres out of place.

{ROUTE}       route (GPX 1.1) with two camps, landings and water points as waypoints
{FORECAST_NETCDF}     hourly fields, 2026-07-13T06Z to 2026-07-18T06Z, NetCDF with CF names
{FORECAST_GRIB}  the same fields in GRIB edition 2: originating centre missing (65535),
                         the words "{INVENTED}"
                         in the local use section of every message
{LIMITS}     the group's limits
{GROUP}      the group: four people without names, their craft, bags and spares

The weather: fair on 13, 14 and 17 July with an onshore sea breeze in the afternoon; a blow from
the south-west of about 14 m/s on the 15th, after which the sea goes down until the 16th.
Waves are left blank well inland only, and run on into the inner waters, where a real wave model of
this grid would know nothing.

Written by: python -m routeplan._demo.data DIRECTORY
"""


def route_gpx() -> str:
    """Text of the route file, GPX 1.1, marked as invented in its metadata."""
    from gpxpy import gpx  # needed by the writer alone

    text = "INVENTED demo scenario, not for navigation. Only the coast is real."
    document = gpx.GPX()
    document.creator = "routeplan"
    document.name = "INVENTED: three stages through the skerries"
    document.description = text
    document.keywords = "invented, demonstration"
    for latitude, longitude, name, kind in WAYPOINTS:
        place = gpx.GPXWaypoint(latitude, longitude, name=name, type=kind, comment="invented")
        document.waypoints.append(place)
    route = gpx.GPXRoute("Three stages through the skerries (invented)", description=text)
    for latitude, longitude, name, kind in ROUTE_POINTS:
        point = gpx.GPXRoutePoint(latitude, longitude, name=name or None)
        point.type = kind or None
        route.points.append(point)
    document.routes.append(route)
    return str(document.to_xml(version="1.1"))
