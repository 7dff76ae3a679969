"""A route and its waypoints as GPX 1.1 text. Plumbing of `gpx` and `gis`."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING
from xml.etree import ElementTree

import numpy as np

from routeplan._line.gpxparse import clean_text
from routeplan._line.nodes import SHAPE
from routeplan._line.waypoint import Waypoint

if TYPE_CHECKING:
    from routeplan.route import Leg, Route

__all__ = ["About", "gpx_document"]

_NAMESPACE = "http://www.topografix.com/GPX/1/1"
_MAX_TEXT = 500
_MAX_ABOUT = 5_000


@dataclass(frozen=True, slots=True)
class About:
    """Words on a whole file: its name and description, when it was made, a line on the route.

    `time` is ISO 8601 with Z; what is empty is left out.
    """

    name: str = ""
    description: str = ""
    time: str = ""
    route: str = ""


def gpx_document(
    route: Route, waypoints: Iterable[Waypoint] | None = None, about: About | None = None
) -> bytes:
    """The file's bytes, elements in the order that the schema asks for.

    Waypoints are those of the route when none are given.
    """
    gpx = ElementTree.Element("gpx", version="1.1", creator="routeplan", xmlns=_NAMESPACE)
    about = about or About()
    if about.name or about.description or about.time:
        metadata = ElementTree.SubElement(gpx, "metadata")
        _add_text(metadata, "name", about.name)
        _add_text(metadata, "desc", about.description, _MAX_ABOUT)
        _add_text(metadata, "time", about.time)
    for waypoint in route.waypoints if waypoints is None else waypoints:
        _add_point(gpx, "wpt", waypoint)
    rte = ElementTree.SubElement(gpx, "rte")
    _add_text(rte, "name", route.name)
    _add_text(rte, "desc", about.route, _MAX_ABOUT)
    _add_point(rte, "rtept", route.legs[0].start)
    for leg in route.legs:
        for point in (*_shape(leg), leg.end):
            _add_point(rte, "rtept", point)
    ElementTree.indent(gpx)
    text: bytes = ElementTree.tostring(gpx, encoding="UTF-8", xml_declaration=True)
    return text + b"\n"


def _shape(leg: Leg) -> list[Waypoint]:
    return [
        Waypoint(float(lat), float(lon), kind=SHAPE)
        for lon, lat in zip(leg.longitude[1:-1], leg.latitude[1:-1], strict=True)
    ]


def _add_point(parent: ElementTree.Element, tag: str, point: Waypoint) -> None:
    # The schema's longitudes end before 180, which is the same meridian as -180.
    longitude = -180.0 if point.longitude == 180.0 else point.longitude
    element = ElementTree.SubElement(
        parent, tag, lat=_decimal(point.latitude), lon=_decimal(longitude)
    )
    if point.elevation_m is not None:
        _add_text(element, "ele", _decimal(point.elevation_m))
    _add_text(element, "name", point.name)
    _add_text(element, "desc", point.note)
    _add_text(element, "sym", point.symbol)
    _add_text(element, "type", point.kind)


def _add_text(parent: ElementTree.Element, tag: str, text: str, limit: int = _MAX_TEXT) -> None:
    # Names may come from elsewhere than a GPX file; XML has no place for control characters.
    text = clean_text(text, limit)
    if text:
        ElementTree.SubElement(parent, tag).text = text


def _decimal(value: float) -> str:
    """The shortest decimal without an exponent that reads back as the same number."""
    return str(np.format_float_positional(value, trim="-"))
