"""`docs/json.md` and the documents: every key is described, every key described is there."""

import json
import re
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
from planmaker import NOW, demo_plan, legs_plan

from routeplan._demo.files import demo_files, demo_group_file
from routeplan._osm.store import About
from routeplan._plan.kit import kit_of
from routeplan._show.clicoast import _document as coasts_document
from routeplan._show.forecastgot import Got, got_document
from routeplan._show.forecastpage import ForecastFacts, forecast_document
from routeplan.coastsource import CoastSource, OffshoreComparison
from routeplan.forecast import inspect_forecast
from routeplan.gpx import read_gpx
from routeplan.plan import Ashore, Trip, plan_trip
from routeplan.providers import DownloadedForecast
from routeplan.report import document_text, legs_document, plan_document
from routeplan.rules import read_group
from routeplan.simulation import Pace
from routeplan.stops import Place, StageWishes

DOCS = Path(__file__).parent.parent / "docs" / "json.md"

# Backticked on the page, but no keys: values, commands, sections, the names of limits.
VALUES = {
    "avoid", "beyond", "board", "canoe", "card", "carry", "close", "coastline", "current",
    "daylight", "demo", "do", "dry", "group", "gust", "headwind", "kayak", "null", "offshore",
    "paddling", "pdf", "progress", "track", "trip", "txt", "wave_height", "wear", "wind", "within",
}  # fmt: skip


@cache
def documents():
    """Documents that have everything between them."""
    files = demo_files()
    route = read_gpx(files.route)
    base = demo_plan().trip
    sides = (
        Place(58.63436, 11.214, "Quay", "landing"),
        Place(58.4844, 11.2993, "Village", "road"),
        Place(58.65746, 11.26649, "Spring", "water"),
        Place(58.65, 11.20, "Cliffs", "no landing", end=(11.199, 58.64)),
    )
    trip = Trip(
        route,
        coast=base.coast,
        forecast=base.forecast,
        limits=base.limits,
        group=read_group(demo_group_file()),
        ashore=Ashore(contact="Cleo"),
        pace=Pace(factor=0.95, rest_every_s=5_400.0, rest_s=600.0),
        places=sides,
        wishes=StageWishes(other_trips=True),
        now=NOW,
        picked={1: NOW},
    )
    whole = plan_trip(trip)
    carried = replace(whole.exposures[0], portage=True, land=((0.0, 300.0),))
    kit = kit_of(trip, (carried, *whole.exposures[1:]), whole.stages)
    whole = replace(whole, kit=kit)
    legs = legs_plan("plain")
    compared = tuple(
        OffshoreComparison(leg.number, 1e3, 4e2, 2e3, "within", "beyond", 1.6e3, 11.1, 58.6)
        for leg in legs.route.legs
    )
    fine = _Finer(legs.coast)
    two = replace(legs, coast=fine, comparisons=compared)
    shown = forecast_document(
        ForecastFacts(
            inspect_forecast(files.forecast_netcdf), "f.nc", route, base.forecast, NOW, 43_200.0
        )
    )
    found = [
        plan_document(whole, [Path("map.png")]),
        legs_document(two),
        shown,
        {**got_document(_got()), "files": []},
        coasts_document([_source()]),
    ]
    return [json.loads(document_text(document)) for document in found]


class _Finer:
    """A coastline that stands for one that was got."""

    def __init__(self, coarse):
        self.source, self.attribution, self.nominal_error_m = "finer", "its makers", 10.0
        self.coarse = coarse


def _got():
    hour = np.timedelta64(1, "h")
    found = DownloadedForecast(
        provider="gfs",
        title="a forecast",
        paths=(Path("f.grib2"),),
        sidecar=Path("f.grib2.json"),
        run=NOW,
        first=NOW,
        last=NOW + 6 * hour,
        box=(10.0, 58.0, 12.0, 59.0),
        members=(),
        licence="open",
        licence_url="https://example.org",
        attribution="its makers",
        missing={"gust": 1},
    )
    return Got(found, (Path("f.grib2"),), NOW, 43_200.0)


def _source():
    about = About(
        name="here",
        box=(11.0, 58.0, 12.0, 59.0),
        date="2026-07-01T00:00:00Z",
        fetched="2026-07-02T00:00:00Z",
        server="https://example.org",
        licence="ODbL",
        attribution="its makers",
        nominal_error_m=10.0,
        points=4,
        notes=("a note",),
        sha256="",
    )
    return CoastSource(about, Path("here.gpkg"))


def keys_of(value, path=""):
    """Every key of a document with the path to it; those of a mapping of names are left out."""
    if isinstance(value, dict):
        for key, part in value.items():
            if not path.endswith((".missing", ".fields_missing", ".range")):
                yield key
            yield from keys_of(part, f"{path}.{key}")
    elif isinstance(value, list):
        for part in value:
            yield from keys_of(part, path)


def described():
    """Keys on the page: words in backticks, and words with a unit or an underscore in them."""
    found = re.findall(r"`([a-z][a-z_0-9.<>\[\]]*)`", DOCS.read_text(encoding="utf-8"))
    return {part.removesuffix("[]").strip("<>") for path in found for part in path.split(".")}


def test_every_key_of_a_document_is_described():
    found = {key for document in documents() for key in keys_of(document)}
    text = DOCS.read_text(encoding="utf-8")
    words = described() | {w for w in re.findall(r"[a-z_0-9]+", text) if "_" in w}
    assert found - words == set()


def test_every_key_that_is_described_is_in_some_document():
    found = {key for document in documents() for key in keys_of(document)}
    assert described() - found - VALUES == set()


def test_the_documents_have_what_they_are_to_be_looked_at_for():
    """So that the test above looks at full lists, not at empty ones."""
    whole = documents()[0]
    assert whole["files"] == ["map.png"]
    for key in ("launches", "windows", "kit", "legs", "stages"):
        assert whole[key], key
    assert whole["stages"][0]["picked"] is True
    assert whole["sheet"]["contact"] == "Cleo"
    assert whole["itinerary"]["others"]
    for key in ("turn_back", "landings", "drift", "bailouts"):
        assert whole["stages"][0][key], key
    assert any(way["ahead"] for way in whole["stages"][0]["bailouts"])
