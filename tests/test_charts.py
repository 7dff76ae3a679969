"""The pictures: what they say, that nothing covers anything, that grey is enough."""

import io
import struct
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from matplotlib.colors import to_rgb
from planmaker import demo_plan, legs_plan, with_names, with_scan

from routeplan._plan.sources import COAST_CAUTION
from routeplan._show import map as _map
from routeplan._show.canvas import DOTS_PER_INCH, drawable, png_bytes, text_width, wrapped
from routeplan._show.labels import LabelField
from routeplan._show.launchaxis import LaunchAxis, hour_step
from routeplan._show.launchchart import _LOOKS, _NIGHT, launches_figure
from routeplan._show.map import map_figure
from routeplan._show.wording import Clock
from routeplan.charts import draw_launches, draw_map
from routeplan.coastline import Coastline
from routeplan.errors import InputError
from routeplan.geodesy import inverse
from routeplan.limits import Verdict
from routeplan.plan import Trip, plan_trip
from routeplan.route import Waypoint, route_from_points
from routeplan.sun import civil_daylight

NAMES_THAT_BITE = ["$\\frac{1}{0}$", "100 % _x_ {y} \\", "[red]\x1b[31m", "北の浜 🛶", "x" * 400]


def texts(figure):
    return [t for axes in figure.axes for t in axes.texts] + list(figure.texts)


def words(figure):
    return "\n".join(t.get_text() for t in texts(figure))


def luminance(colour):
    """Relative luminance of sRGB, as WCAG 2.1 defines it."""
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(colour)]
    return float(np.dot([0.2126, 0.7152, 0.0722], linear))


@pytest.fixture(scope="module")
def chart():
    return launches_figure(demo_plan())


@pytest.fixture(scope="module")
def map_():
    return map_figure(demo_plan())


@pytest.mark.parametrize("draw", [draw_map, draw_launches])
def test_a_png_is_written_whole_and_never_over_a_file(draw, tmp_path):
    path = tmp_path / "picture.png"
    draw(demo_plan(), path)
    content = path.read_bytes()
    assert content[:8] == b"\x89PNG\r\n\x1a\n"
    width, height = struct.unpack(">II", content[16:24])
    assert 1_000 < width < 4_000
    assert 500 < height < 4_000
    with pytest.raises(InputError, match=r"picture\.png: is there already"):
        draw(demo_plan(), path)
    draw(demo_plan(), path, overwrite=True)
    assert path.read_bytes() == content  # the same plan gives the same picture
    assert [p.name for p in tmp_path.iterdir()] == ["picture.png"]


@pytest.mark.parametrize("draw", [map_figure, launches_figure])
def test_pictures_say_title_date_zone_sources_and_invented(draw):
    said = words(draw(demo_plan()))
    assert demo_plan().route.name in said
    assert "Jul 2026" in said or "CEST 2026" in said
    assert "Europe/Stockholm" in said
    for source in demo_plan().sources:
        assert source.name in said
        assert source.error in said
    assert "INVENTED DATA" in said


@pytest.mark.parametrize("draw", [map_figure, launches_figure])
def test_pictures_say_warnings_attribution_and_what_the_coast_may_lack(draw):
    weather = replace(
        demo_plan().sources[1], attribution="their words " * 40, licence="CC BY 4.0", age_s=7200.0
    )
    plan = replace(
        demo_plan(),
        warnings=("The forecast is old: get a newer one.",),
        sources=(demo_plan().sources[0], weather),
    )
    figure = draw(plan)
    lines = sorted(figure.texts, key=lambda text: -text.get_position()[1])  # as one reads them
    said = " ".join(" ".join(text.get_text() for text in lines).split())
    assert "WARNING: The forecast is old" in said
    assert "WARNING: see the first lines below" in said
    assert ("their words " * 40).strip() in said
    assert "licence: CC BY 4.0" in said
    assert "2 h old" in said
    assert COAST_CAUTION in said
    assert "WARNING" not in words(draw(demo_plan()))
    figure.set_dpi(DOTS_PER_INCH)  # letters are not as wide at every size of a pixel
    assert png_bytes(figure)[:4] == b"\x89PNG"
    width = figure.get_figwidth() * figure.dpi
    canvas = figure.canvas.get_renderer()
    for text in figure.texts:
        assert text.get_window_extent(canvas).x1 <= width, text.get_text()


def test_pictures_of_real_data_do_not_say_invented():
    figure = map_figure(legs_plan("plain"))
    assert "invented" not in words(figure).lower()


@pytest.mark.parametrize("name", NAMES_THAT_BITE)
def test_names_are_written_as_they_read(name):
    plan = with_names(demo_plan(), name)
    for figure in (map_figure(plan), launches_figure(with_scan(plan))):
        assert png_bytes(figure)[:4] == b"\x89PNG"
        assert drawable(name, 300)[:20] in words(figure)
        assert "\x1b" not in words(figure)


# --- the map ------------------------------------------------------------------------------


def test_map_keeps_shapes():
    frame = _map.frame_of(demo_plan())
    lon, lat = frame.longitude, frame.latitude
    for step in ((0.01, 0.0), (0.0, 0.01), (0.01, 0.01)):
        _, truth = inverse(lon, lat, lon + step[0], lat + step[1])
        drawn = np.hypot(
            frame.x(lon + step[0]) - frame.x(lon), frame.y(lat + step[1]) - frame.y(lat)
        )
        assert drawn == pytest.approx(float(truth), rel=0.005)  # sphere against ellipsoid
    assert frame.lat(float(frame.y(58.5))) == pytest.approx(58.5, abs=1e-9)
    assert frame.lon(float(frame.x(11.3))) == pytest.approx(11.3, abs=1e-9)


def test_map_names_ends_and_camps_and_covers_none_of_them(map_):
    axes = map_.axes[0]
    canvas = map_.canvas.get_renderer()
    names = [demo_plan().route.legs[0].start.name, demo_plan().route.legs[-1].end.name]
    names += [camp.name for camp in demo_plan().route.camps]
    written = {t.get_text(): t for t in axes.texts}
    assert set(names) <= set(written)
    numbers = {str(leg.number) for leg in demo_plan().route.legs}
    assert numbers <= set(written)
    placed = [t for text, t in written.items() if text and text not in {"N"} | numbers]
    boxes = [t.get_window_extent(canvas) for t in placed]
    for i, box in enumerate(boxes):
        assert axes.bbox.x0 <= box.x0
        assert box.x1 <= axes.bbox.x1
        for other in boxes[i + 1 :]:
            assert not box.overlaps(other)


def test_map_lists_flags_and_marks_what_is_beyond_the_notice_twice(map_):
    said = " ".join(words(map_).split())
    flagged = [
        leg.number for leg, f in zip(demo_plan().route.legs, demo_plan().flags, strict=True) if f
    ]
    assert flagged
    for flags in demo_plan().flags:
        for flag in flags:
            assert flag in said
    assert "cross strokes: more than 1,000 m from shore" in said
    strokes = [c for c in map_.axes[0].collections if c.get_zorder() == 3]
    assert len(strokes) == sum(bool(e.far_stretches) for e in demo_plan().exposures)
    black = {t.get_text() for t in map_.axes[0].texts if t.get_color() == "white"}
    assert black == {str(number) for number in flagged}


def test_map_has_ticks_where_they_say():
    axes = map_figure(demo_plan()).axes[0]
    frame = _map.frame_of(demo_plan())
    for y, label in zip(axes.get_yticks(), axes.get_yticklabels(), strict=True):
        degrees, minutes = label.get_text().rstrip("′N").split("°")
        assert frame.lat(y) == pytest.approx(int(degrees) + float(minutes) / 60, abs=1e-6)


def plan_along(*points):
    places = [Waypoint(lat, lon, name) for lat, lon, name in points]
    return plan_trip(Trip(route_from_points(places, name="line")))


def test_map_across_the_antimeridian_is_one_piece():
    # Taveuni strait, Fiji: 180° runs through it.
    plan = plan_along((-16.70, 179.95, "west"), (-16.72, -179.98, "east"))
    frame = _map.frame_of(plan)
    left, _, right, _ = frame.box
    assert right - left < 30_000
    axes = map_figure(plan).axes[0]
    labels = [label.get_text() for label in axes.get_xticklabels()]
    assert any(label.endswith("E") for label in labels)
    assert any(label.endswith("W") for label in labels)
    legs = [c for c in axes.collections if c.get_zorder() == 5]
    x = np.concatenate([segment[:, 0] for c in legs for segment in c.get_segments()])
    assert left < x.min() < x.max() < right


def test_map_of_open_lines_draws_the_shore_without_land():
    plan = demo_plan()
    lines = SimpleNamespace(knows_land=False, shoreline=plan.coast.shoreline)
    figure = map_figure(replace(plan, coast=lines))
    assert png_bytes(figure)[:4] == b"\x89PNG"
    assert [type(c).__name__ for c in figure.axes[0].collections if c.get_zorder() == 1] == [
        "LineCollection"
    ]


def test_land_and_lakes_are_on_the_map():
    # Lake Taupo, New Zealand: water with land all round and an island.
    plan = plan_along((-38.74, 175.85, "a"), (-38.88, 175.82, "b"))
    figure = map_figure(plan)
    land = [c for c in figure.axes[0].collections if c.get_zorder() == 1]
    assert len(land) == 1
    frame = _map.frame_of(plan)
    paths = land[0].get_paths()

    def is_land(lon, lat):
        point = (float(frame.x(lon)), float(frame.y(lat)))
        inside = 0
        for path in paths:
            for ring in path.to_polygons():
                inside += _in_ring(point, ring)
        return inside % 2 == 1

    def _in_ring(point, ring):
        x, y = ring[:, 0], ring[:, 1]
        x2, y2 = np.roll(x, -1), np.roll(y, -1)
        crosses = (y > point[1]) != (y2 > point[1])
        with np.errstate(divide="ignore", invalid="ignore"):
            at = x + (point[1] - y) * (x2 - x) / (y2 - y)
        return int(np.count_nonzero(crosses & (at > point[0])))

    coast = Coastline.default()
    rng = np.random.default_rng(1)
    lon, lat = rng.uniform(175.74, 175.92, 40), rng.uniform(-38.88, -38.73, 40)
    far = coast.distance_to_shore(lon, lat) > 50
    wanted = coast.is_land(lon, lat)
    assert wanted[far].any()
    assert not wanted[far].all()
    assert [is_land(*at) for at in zip(lon[far], lat[far], strict=True)] == wanted[far].tolist()


# --- the launch chart ---------------------------------------------------------------------


def test_verdicts_differ_in_grey_hatch_and_letter():
    grey = {v: luminance(look[0]) for v, look in _LOOKS.items()}
    assert grey[Verdict.WITHIN] > grey[Verdict.CLOSE] + 0.2
    assert grey[Verdict.CLOSE] > grey[Verdict.BEYOND] + 0.2
    assert abs(grey[Verdict.WITHIN] - luminance(_NIGHT)) > 0.2
    assert len({look[1] for look in _LOOKS.values()}) == 4
    assert len({look[3] for look in _LOOKS.values()}) == 4
    assert set(_LOOKS) == set(Verdict)
    assert _LOOKS[Verdict.UNKNOWN][1]


def cells(axes, row):
    """Runs of one row (0: the whole stage) as (left, right, fill)."""
    drawn = [
        (
            *path.vertices[:2, 0],
            path.vertices[1:3, 1].mean(),
            tuple(c.get_facecolor()[0][:3]),
        )
        for c in axes.collections
        if c.get_zorder() == 2
        for path in c.get_paths()
    ]
    middles = sorted({round(middle, 3) for _, _, middle, _ in drawn})
    found = [cell[:2] + cell[3:] for cell in drawn if round(cell[2], 3) == middles[row]]
    return sorted(found)


def test_every_cell_has_the_colour_of_its_verdict(chart):
    fills = {v: to_rgb(look[0]) for v, look in _LOOKS.items()}
    panels = [axes for axes in chart.axes if axes.get_yticks().size == 0 and axes.axison]
    assert len(panels) == len(demo_plan().stages)
    for axes, stage in zip(panels, demo_plan().stages, strict=True):
        scan = stage.scan
        hours = (scan.launch - scan.launch[0]) / np.timedelta64(1, "h")
        for row in range(scan.leg_numbers.size + 1):
            verdicts = scan.verdict if row == 0 else scan.leg_verdict[:, row - 1]
            runs = cells(axes, row)
            for hour, verdict in zip(hours, verdicts, strict=True):
                fill = [f for left, right, f in runs if left <= hour < right]
                assert len(fill) == 1
                assert fill[0] == pytest.approx(fills[Verdict(int(verdict))])


def test_windows_are_bracketed_and_the_binding_limit_named(chart):
    panels = [axes for axes in chart.axes if axes.get_yticks().size == 0 and axes.axison]
    for axes, stage in zip(panels, demo_plan().stages, strict=True):
        brackets = [line for line in axes.lines if len(line.get_xdata()) == 4]
        assert len(brackets) == len(stage.windows)
        dashed = [line.get_linestyle() != "-" for line in brackets]
        assert dashed == [w.verdict != Verdict.WITHIN for w in stage.windows]
        proposed = [line for line in axes.lines if line.get_marker() == "v"]
        assert len(proposed) == (stage.best is not None)
    assert "daylight" in words(chart)
    assert "no headway" in words(chart)
    assert "not judged, as the forecast has no data" in words(chart)


def test_night_is_shaded_where_the_plan_knows_daylight():
    stage = demo_plan().stages[0]
    launch = stage.scan.launch
    start = stage.stage.start
    light = civil_daylight(start.longitude, start.latitude, launch[0], launch[-1])
    dark = SimpleNamespace(
        stage=stage.stage, scan=stage.scan, windows=stage.windows, best=stage.best, daylight=light
    )
    figure = launches_figure(replace(demo_plan(), stages=(dark,)))
    assert "night at the start" in words(figure)
    panel = next(axes for axes in figure.axes if axes.get_yticks().size == 0 and axes.axison)
    night = to_rgb(_NIGHT)
    spans = [
        (p.get_x(), p.get_x() + p.get_width())
        for p in panel.patches
        if p.get_facecolor()[:3] == pytest.approx(night)
    ]
    hours = (launch - launch[0]) / np.timedelta64(1, "h")
    shaded = [any(a <= hour < b for a, b in spans) for hour in hours]
    assert shaded == (~light.is_light(launch)).tolist()


def test_no_forecast_no_chart():
    with pytest.raises(InputError, match="needs a forecast"):
        launches_figure(legs_plan("plain"))


def test_axis_follows_the_local_clock_over_a_change():
    # Stockholm leaves summer time on 2026-10-25 at 01:00 UTC: that day has 25 hours.
    launch = np.datetime64("2026-10-24T12:00", "ns") + np.arange(49) * np.timedelta64(1, "h")
    axis = LaunchAxis(launch, Clock("Europe/Stockholm"), 10.0)
    days = axis.days()
    assert [name for _, _, name in days] == ["Sat 24 Oct", "Sun 25 Oct", "Mon 26 Oct"]
    assert days[1][1] - days[1][0] == pytest.approx(25.0)
    assert [text for _, text in axis.hours(6)] == ["18", "00", "06", "12", "18", "00", "06", "12"]
    assert axis.hours(24)[0] == (pytest.approx(10.0), "00")


def test_axis_of_half_hour_zones_and_of_one_launch():
    axis = LaunchAxis(np.array(["2026-01-01T00:00"], "datetime64[ns]"), Clock("Asia/Kolkata"), 5.0)
    assert axis.limits == (-0.5, 0.5)
    assert axis.hours(1) == [(pytest.approx(0.5), "06")]  # 00:30 UTC
    nepal = LaunchAxis(
        np.datetime64("2026-01-01", "ns") + np.arange(25) * np.timedelta64(1, "h"),
        Clock("Asia/Kathmandu"),
        5.0,
    )
    assert nepal.hours(24) == [(pytest.approx(18.25), "00")]
    assert [hour_step(s) for s in (12, 48, 120, 240, 400)] == [1, 3, 6, 12, 24]


# --- labels -------------------------------------------------------------------------------


def test_labels_find_free_room():
    line = np.column_stack([np.linspace(0, 400, 200), np.full(200, 200.0)])
    field = LabelField((0.0, 0.0, 400.0, 400.0), line)
    boxes = []
    for x in (100.0, 120.0, 140.0, 395.0):
        spot = field.place(x, 200.0, 90.0, 14.0, 10.0)
        box = (spot.x, spot.y, spot.x + 90.0, spot.y + 14.0)
        assert spot.covered == pytest.approx(0.0, abs=1e-6)
        field.take(box)
        boxes.append(box)
    for i, a in enumerate(boxes):
        assert a[0] >= 0.0
        assert a[2] <= 400.0
        for b in boxes[i + 1 :]:
            assert a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]


def test_wrapped_lines_fit():
    text = "A sentence with " + "averyverylongword" * 9 + " and some more to break over lines"
    lines = wrapped(text, 2.0, 7.0)
    assert len(lines) > 2
    assert all(text_width(line) * 7.0 / 72.0 <= 2.0 for line in lines)
    assert "more to break over lines" in " ".join(lines)


def test_png_is_readable_and_not_blank(chart):
    from PIL import Image

    image = np.asarray(Image.open(io.BytesIO(png_bytes(chart))).convert("L"))
    assert image.std() > 20
