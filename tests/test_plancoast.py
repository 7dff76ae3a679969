"""Which coastline a plan takes, and what it says where two of them disagree."""

import numpy as np
import pytest
import shapely
from _coasts import coast_of

from routeplan._osm import store as _coaststore
from routeplan._osm.land import Background, land_map
from routeplan._osm.store import About
from routeplan._plan.coast import choose_coast, compare_coasts
from routeplan._shore.coastbox import Box
from routeplan.coastline import Coastline
from routeplan.coastsource import CombinedCoastline, data_dir, read_source
from routeplan.errors import InputError
from routeplan.geodesy import direct
from routeplan.limits import Limits, Verdict
from routeplan.plan import Trip, plan_trip
from routeplan.route import Waypoint, route_from_points

BOX = Box(9.8, -0.2, 10.4, 0.2)
NOW = np.datetime64("2026-11-25T12:00", "ns")


@pytest.fixture(scope="module")
def mainland():
    """The default coastline of these tests: land east of 10.3 E, and nothing of the islet."""
    return coast_of(shapely.box(10.3, -2.0, 12.0, 2.0), nominal_error_m=500.0)


@pytest.fixture(autouse=True)
def _own_folder(tmp_path, monkeypatch, mainland):
    monkeypatch.setenv("ROUTEPLAN_DATA_DIR", str(tmp_path))
    monkeypatch.setattr(Coastline, "default", classmethod(lambda _cls: mainland))


@pytest.fixture
def keep(mainland):
    """Keep a local source with an islet at 10.1 E that the default coastline lacks."""

    def write(name="bay", *, error_m=None, islet=True):
        shore = np.array([(10.3, 1.0), (10.3, 0.05), (10.3, -1.0)])
        ways = [shore]
        if islet:
            ring = [(10.1, 0.0), (10.102, 0.0), (10.102, 0.002), (10.1, 0.002), (10.1, 0.0)]
            ways.append(np.array(ring))
        land = land_map(ways, [], BOX, Background("test", mainland.is_land))
        about = About(
            name=name,
            box=(BOX.west, BOX.south, BOX.east, BOX.north),
            date="2026-11-20T06:00:00Z",
            fetched="2026-11-25T06:00:00Z",
            server="http://127.0.0.1/api",
            licence="ODbL 1.0",
            attribution="© OpenStreetMap contributors, ODbL 1.0",
            nominal_error_m=error_m,
            notes=("one way was split",),
            points=5,
            sha256=_coaststore.digest(land),
        )
        return _coaststore.save(about, land, data_dir())

    return write


def past_the_islet(metres_west=300.0):
    """Two kilometres northward, west of the islet and 22 km from the mainland."""
    lon, _ = direct(10.1, 0.0, 270.0, metres_west)
    ends = [direct(lon, 0.001, bearing, 600.0) for bearing in (180.0, 0.0)]
    points = [Waypoint(float(y), float(x), n) for (x, y), n in zip(ends, "ab", strict=True)]
    return route_from_points(points, name="past the islet")


def test_without_a_local_source_the_default_is_taken(mainland):
    chosen = choose_coast(None, past_the_islet())
    assert chosen.coast is mainland
    assert chosen.source is None
    assert chosen.notes == ()


def test_a_local_source_that_covers_the_route_is_preferred(keep, mainland):
    keep()
    chosen = choose_coast(None, past_the_islet())
    assert isinstance(chosen.coast, CombinedCoastline)
    assert chosen.source.name == "bay"
    assert chosen.notes == ("one way was split",)
    away = route_from_points([Waypoint(0.0, 9.0, "a"), Waypoint(0.01, 9.0, "b")])
    assert choose_coast(None, away).coast is mainland


def test_a_coastline_that_is_given_stands_before_a_local_source(keep, mainland):
    keep()
    assert choose_coast(mainland, past_the_islet()).coast is mainland


def test_files_that_are_no_sources_are_left_out_and_said(mainland):
    data_dir().mkdir(parents=True)
    (data_dir() / "odd.coast.npz").write_bytes(b"nonsense")
    chosen = choose_coast(None, past_the_islet())
    assert chosen.coast is mainland
    (note,) = chosen.notes
    assert note.startswith("A local coastline is left out: ")
    assert "odd.coast.npz" in note


def test_a_damaged_source_of_the_route_is_refused_by_name(keep):
    path = keep()
    with np.load(path) as file:
        arrays = {name: file[name] for name in file.files}
    arrays["lonlat"] = arrays["lonlat"] + 1e-9
    with path.open("wb") as file:
        np.savez_compressed(file, **arrays)
    with pytest.raises(InputError, match=r"bay\.coast\.npz: not a usable coast source"):
        plan_trip(Trip(past_the_islet()))


def test_a_plan_says_where_the_coastlines_disagree(keep):
    keep()
    plan = plan_trip(Trip(past_the_islet(), now=NOW))
    (comparison,) = plan.comparisons
    assert comparison.limit_m == 1_000.0
    assert (comparison.coarse_verdict, comparison.fine_verdict) == ("beyond", "within")
    assert comparison.differs
    (flag,) = plan.flags[0]
    assert flag.startswith(
        "the coastlines differ on the limit of 1,000 m from shore: by the default"
    )
    # The islet's near corner is 300 m off the line at the closest, its ends 600 m along.
    assert plan.exposures[0].offshore_max_m == pytest.approx(np.hypot(300.0, 490.0), abs=20.0)
    assert plan.offshore_verdicts == (Verdict.CLOSE,)  # the finer one's error is unknown


def test_a_stated_error_of_the_finer_source_counts(keep):
    keep(error_m=50.0)
    plan = plan_trip(Trip(past_the_islet()))
    assert plan.offshore_verdicts == (Verdict.WITHIN,)
    assert plan.sources[0].error == "50 m inside the box, 500 m beyond it"


def test_coastlines_that_agree_are_no_flag(keep):
    keep(islet=False)
    plan = plan_trip(Trip(past_the_islet()))
    assert not plan.comparisons[0].differs
    assert [f for f in plan.flags[0] if "differ" in f] == []


def test_the_notice_stands_in_for_a_limit_that_is_not_set(keep):
    keep()
    limits = Limits(offshore_m=None, offshore_notice_m=2_000.0)
    coast = read_source("bay")
    (comparison,) = compare_coasts(past_the_islet(), coast, limits, 100.0)
    assert comparison.limit_m == 2_000.0
    assert "a distance of 2,000 m" in plan_trip(Trip(past_the_islet(), limits=limits)).flags[0][0]


def test_one_coastline_is_compared_with_nothing(mainland):
    assert compare_coasts(past_the_islet(), mainland, Limits(), 100.0) == (None,)


def test_source_of_a_finer_coast_repeats_date_licence_attribution_and_age(keep):
    keep()
    (source,) = plan_trip(Trip(past_the_islet(), now=NOW)).sources
    assert source.name.startswith("OpenStreetMap coast bay, data of 2026-11-20")
    assert source.name.endswith("beyond it test")
    assert source.licence == "ODbL 1.0"
    assert source.attribution.startswith("© OpenStreetMap contributors, ODbL 1.0")
    assert source.date == "2026-11-20T06:00:00Z"
    assert source.age_s == (5 * 24 + 6) * 3600.0
    assert source.error == "not stated by the source inside the box, 500 m beyond it"
