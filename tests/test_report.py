"""The document and the terminal text of a plan."""

import io
import json
import re
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from planmaker import demo_plan, legs_plan, with_names, with_scan
from rich.console import Console

from routeplan import __version__
from routeplan._show.answers import chosen_window, stage_answer
from routeplan._show.legdetails import leg_details, sector_words
from routeplan._show.sourcewords import comparison_words
from routeplan._show.strips import strip_legend, strip_rows
from routeplan._show.values import rounded, utc
from routeplan._show.wording import (
    LIMIT_LETTERS,
    LIMIT_WORDS,
    Clock,
    compass_point,
    degrees,
    duration,
    fit,
    kilometres,
    knots,
    metres,
    number,
    percent,
    plain,
    position,
)
from routeplan.coastsource import OffshoreComparison
from routeplan.errors import InputError
from routeplan.limits import Limits, Verdict
from routeplan.report import (
    document_text,
    forecast_document,
    legs_document,
    plan_document,
    render_forecast,
    render_legs,
    render_plan,
)

DOCS = Path(__file__).parent.parent / "docs" / "json.md"
HOSTILE = "[red]x[/red] \x1b[31mred\x1b[0m\nsecond line \u202egnol\u202c"
STOCKHOLM = Clock("Europe/Stockholm")


def shown(render, plan, width=80, encoding="utf-8", **how):
    out = io.TextIOWrapper(io.BytesIO(), encoding=encoding)
    console = Console(file=out, width=width, **how)
    render(plan, console)
    out.flush()
    return out.buffer.getvalue().decode(encoding)


@pytest.fixture(scope="module")
def document():
    return json.loads(document_text(plan_document(demo_plan(), [Path("out/map.png")])))


# --- the document -------------------------------------------------------------------------


def test_document_begins_with_version_invented_cautions_and_sources(document):
    assert list(document)[:4] == ["routeplan", "invented", "cautions", "sources"]
    assert document["routeplan"] == __version__
    assert document["invented"] is True
    assert len(document["cautions"]) >= 3
    assert {s["kind"] for s in document["sources"]} == {"coastline", "forecast"}


def test_document_has_the_promised_keys(document):
    leg = {
        "number", "from", "to", "length_m", "course_deg", "offshore_max_m", "offshore_mean_m",
        "beyond_offshore_limit_m", "crosses_land", "flags",
    }  # fmt: skip
    launch = {"launch", "arrive", "verdict", "binding", "reasons", "share_within", "legs", "stage"}
    of_launch = {
        "enter", "leave", "wind_ms", "gust_ms", "headwind_ms", "crosswind_ms", "wave_height_m",
        "offshore_m", "speed_over_ground_ms", "verdict",
    }  # fmt: skip
    window = {"first_launch", "last_launch", "latest_arrival", "margin", "stage"}
    stage = {"stage", "from", "to", "length_m", "launch", "arrive", "verdict", "binding"}
    assert all(leg <= set(entry) for entry in document["legs"])
    assert all(launch <= set(entry) for entry in document["launches"])
    assert all(of_launch <= set(entry) for i in document["launches"] for entry in i["legs"])
    assert all(window <= set(entry) for entry in document["windows"])
    assert all(stage <= set(entry) for entry in document["stages"])
    assert document["route"]["length_m"] == pytest.approx(demo_plan().route.length_m, abs=0.1)
    assert {"source", "nominal_error_m"} <= set(document["coast"])
    assert document["files"] == ["out/map.png"]


def test_document_says_what_the_plan_says(document):
    plan = demo_plan()
    scans = [sp.scan for sp in plan.stages]
    assert len(document["launches"]) == sum(scan.launch.size for scan in scans)
    assert len(document["windows"]) == sum(len(sp.windows) for sp in plan.stages)
    verdicts = [entry["verdict"] for entry in document["launches"]]
    words = [Verdict(int(v)).word for scan in scans for v in scan.verdict]
    assert verdicts == words
    assert len(set(verdicts)) >= 2
    assert any(leg["flags"] for leg in document["legs"])
    first = document["launches"][0]
    assert first["launch"] == "2026-07-13T06:00:00Z"
    assert first["legs"][0]["wind_ms"] == pytest.approx(scans[0].wind_ms[0, 0], abs=0.005)


def test_verdict_is_the_worst_of_the_legs_or_worse(document):
    order = ["within", "close", "unknown", "beyond"]
    for entry in document["launches"]:
        worst = max(order.index(leg["verdict"]) for leg in entry["legs"])
        assert order.index(entry["verdict"]) >= worst
        assert (entry["binding"] is None) == (entry["verdict"] == "within")


def walk(value, path=""):
    if isinstance(value, dict):
        for key, inner in value.items():
            yield key, inner, f"{path}.{key}"
            yield from walk(inner, f"{path}.{key}")
    elif isinstance(value, list):
        for inner in value:
            yield from walk(inner, path)


def test_times_are_iso_with_z(document):
    keys = {"launch", "arrive", "enter", "leave", "first_launch", "last_launch", "when", "now",
            "latest_arrival", "first", "last", "robust_first", "robust_last"}  # fmt: skip
    times = [(path, value) for key, value, path in walk(document) if key in keys]
    assert times
    for path, value in times:
        ok = value is None or re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", value)
        assert ok, (path, value)


def test_every_key_is_documented(document):
    text = DOCS.read_text(encoding="utf-8")
    known = set(re.findall(r"`([a-z_0-9]+)(?:\[\])?`", text))
    known |= {name for name in re.findall(r"[a-z_0-9]+", text) if "_" in name}
    data = demo_plan().trip.forecast
    both = [document, forecast_document(data, demo_plan().route)]
    keys = {key for value in both for key, _, path in walk(value) if ".missing." not in path}
    assert keys - known == set()


def test_unknown_becomes_null_and_never_nan():
    scan = demo_plan().stages[0].scan
    nan = np.full(scan.wind_ms.shape, np.nan)
    plan = with_scan(
        demo_plan(),
        wind_ms=nan,
        gust_ms=np.full_like(nan, np.inf),
        arrive=np.full(scan.launch.shape, np.datetime64("NaT", "ns")),
        margin=np.full(scan.launch.shape, np.nan),
    )
    text = document_text(plan_document(plan))
    assert not re.search(r"\b(NaN|Infinity)\b", text)
    launch = json.loads(text)["launches"][3]
    assert launch["arrive"] is None
    assert launch["margin"] is None
    assert launch["legs"][0]["wind_ms"] is None
    assert launch["legs"][0]["gust_ms"] is None
    with pytest.raises(ValueError, match="not JSON compliant"):
        document_text({"value": float("nan")})


def test_share_of_members_is_told():
    count = demo_plan().stages[0].scan.launch.size
    plan = with_scan(demo_plan(), share_within=np.linspace(0.0, 1.0, count), members=50)
    launches = plan_document(plan)["launches"]
    assert launches[0]["share_within"] == 0.0
    assert launches[-1]["share_within"] == 1.0


def test_proposal_is_null_when_no_launch_is_good():
    stage = plan_document(with_scan(demo_plan()))["stages"][0]
    assert [stage[k] for k in ("launch", "arrive", "verdict", "binding")] == [None] * 4


def test_unknown_coast_error_is_null():
    class Coast:
        source, attribution, nominal_error_m = "own survey", "", float("nan")

    document = legs_document(replace(legs_plan("plain"), coast=Coast()))
    assert document["coast"]["nominal_error_m"] is None


def test_legs_document_has_no_launches():
    document = legs_document(legs_plan("plain"))
    assert "launches" not in document
    assert "windows" not in document
    assert document["invented"] is False
    assert len(document["legs"]) == 13


def test_hostile_names_are_cleaned_in_the_document():
    text = document_text(plan_document(with_names(demo_plan(), HOSTILE)))
    assert "\\u001b" not in text
    assert "\x1b" not in text
    assert "\u202e" not in text
    name = json.loads(text)["legs"][0]["from"]
    assert name == "[red]x[/red] [31mred[0m second line gnol"


def test_rounded_and_utc():
    assert rounded(np.float32(1.239), 2) == 1.24
    assert str(rounded(-0.0001, 2)) == "0.0"
    assert rounded(None, 1) is None
    assert rounded(np.inf, 1) is None
    assert utc(np.datetime64("2026-07-13T05:00:00.9", "ns")) == "2026-07-13T05:00:00Z"
    assert utc(np.datetime64("NaT")) is None


# --- the terminal -------------------------------------------------------------------------


@pytest.mark.parametrize("width", [60, 80, 132])
def test_text_keeps_to_the_width(width):
    for render, plan in ((render_plan, demo_plan()), (render_legs, legs_plan("plain"))):
        for line in shown(render, plan, width).splitlines():
            assert len(line.rstrip()) <= width


def test_answer_comes_first_and_names_zone_and_cause():
    text = shown(render_plan, demo_plan())
    lines = [line.strip() for line in text.splitlines()]
    start = next(i for i, line in enumerate(lines) if line.startswith("Stage 1:"))
    assert re.match(
        r"Launch between \d\d:\d\d and \d\d:\d\d on \w+ \d+ July \(CEST\)", lines[start + 1]
    )
    answer = " ".join(lines[start : start + 10])
    assert "Closes by" in answer
    assert text.index("Stage 1:") < text.index("Legs") < text.index("Sources")
    assert "Europe/Stockholm" in text


def test_closing_sentence_is_the_finding_of_the_launch_after_the_window():
    stage = demo_plan().stages[0]
    window = chosen_window(stage)
    scans = [stage.scan] if stage.scan.fine is None else [stage.scan, stage.scan.fine]
    later = [(t, s, i) for s in scans for i, t in enumerate(s.launch) if t > window.last_launch]
    launch, scan, after = min(later, key=lambda entry: entry[0])
    finding = scan.findings(after)[0]
    told = [line for line in stage_answer(stage, STOCKHOLM) if line.startswith("Closes")]
    assert len(told) == 1
    assert finding.text.rstrip(".") in told[0]
    assert STOCKHOLM.time(launch) in told[0]


def in_order(scan):
    scans = [scan] if scan.fine is None else [scan, scan.fine]
    return sorted(((s.launch[i], s, i) for s in scans for i in range(s.launch.size)),
                  key=lambda entry: entry[0])  # fmt: skip


@pytest.mark.parametrize("number", [0, 1, 2])
def test_edges_are_explained_by_launches_that_really_are_not_good(number):
    stage = demo_plan().stages[number]
    window = chosen_window(stage)
    tried = in_order(stage.scan)
    outside = {
        "Opens": [e for e in reversed(tried) if e[0] < window.first_launch],
        "Closes": [e for e in tried if e[0] > window.last_launch],
    }
    told = {line.split()[0]: line for line in stage_answer(stage, STOCKHOLM)}
    for word, launches in outside.items():
        if not launches:
            assert (
                told[word] == f"{word} with the forecast {'start' if word == 'Opens' else 'end'}."
            )
            continue
        when, scan, i = next(e for e in launches if e[1].verdict[e[2]] > Verdict.CLOSE)
        finding = scan.findings(i)[0]
        assert finding.verdict > Verdict.CLOSE
        assert f"{STOCKHOLM.time(when)}" in told[word]
        assert finding.text.rstrip(".") in told[word]
        if launches[0][1].verdict[launches[0][2]] == Verdict.CLOSE:
            assert f"{STOCKHOLM.time(launches[0][0])} is only close:" in told[word]


def test_an_edge_with_only_good_launches_beyond_it_says_so():
    stage = demo_plan().stages[0]
    window = chosen_window(stage)
    good = np.full(stage.scan.launch.shape, Verdict.WITHIN, np.int8)
    scan = replace(stage.scan, verdict=good, fine=None)
    ends = replace(window, first_launch=scan.launch[3], last_launch=scan.launch[5],
                   opened_by="gust", closed_by="unknown")  # fmt: skip
    lines = stage_answer(replace(stage, scan=scan, windows=(ends,), best=None), STOCKHOLM)
    assert "Opens by gusts. Every launch before it is good as well." in lines
    assert "Closes where the forecast has a gap. Every launch after it is good as well." in lines


def test_windows_of_the_plan_are_all_in_the_table():
    text = shown(render_plan, demo_plan())
    for stage in demo_plan().stages:
        for window in stage.windows:
            first, last = STOCKHOLM.time(window.first_launch), STOCKHOLM.time(window.last_launch)
            row = first if first == last else f"{first}–{last}"
            assert re.search(rf"{STOCKHOLM.short_day(window.first_launch)} +{row}", text)


def test_every_leg_flag_caution_source_and_note_is_said():
    plan = demo_plan()
    text = " ".join(shown(render_plan, plan, 200).split())
    for leg in plan.route.legs:
        assert f"{leg.start.name} – {leg.end.name}" in text
    said = [f for flags in plan.flags for f in flags]
    said += [*plan.cautions, *plan.notes, *(s.name for s in plan.sources)]
    for words in said:
        assert " ".join(words.split()) in text


def test_what_is_not_judged_is_said_loudly():
    assert demo_plan().stages[0].scan.not_judged
    assert re.search(r"NOT JUDGED.*visibility", " ".join(shown(render_plan, demo_plan()).split()))


def test_invented_stands_in_the_heading_only_when_it_is():
    assert shown(render_plan, demo_plan()).splitlines()[0].startswith("INVENTED DATA")
    assert "INVENTED" not in shown(render_legs, legs_plan("plain"))


def test_no_good_launch_is_said_with_what_stands_against_it():
    scan = demo_plan().stages[0].scan
    beyond = np.full(scan.verdict.shape, Verdict.BEYOND, np.int8)
    plan = with_scan(demo_plan(), verdict=beyond, binding=np.full(scan.launch.shape, "gust"))
    text = " ".join(shown(render_plan, plan).split())
    assert "No launch of this forecast is within the limits." in text
    assert f"gusts {scan.launch.size}" in text


def test_unknown_launches_are_said_and_never_look_good():
    scan = demo_plan().stages[0].scan
    unknown = np.full(scan.verdict.shape, Verdict.UNKNOWN, np.int8)
    plan = with_scan(demo_plan(), verdict=unknown, binding=np.full(scan.launch.shape, "wind"))
    text = shown(render_plan, plan)
    assert "Unknown: no launch of this stage can be judged" in " ".join(text.split())
    strip = [line for line in text.splitlines() if re.match(r"  \w{3} \d+ Jul +[#+?a-z]+$", line)]
    assert strip
    assert not any("#" in line or "+" in line for line in strip)


@pytest.mark.parametrize("render", [render_plan, render_legs])
def test_hostile_names_are_shown_as_text(render):
    text = shown(render, with_names(demo_plan(), HOSTILE), 200)
    assert "\x1b" not in text
    assert "\u202e" not in text
    assert "[red]x[/red] [31mred[0m second line gnol" in text
    coloured = shown(
        render, with_names(demo_plan(), "[red]x[/red]"), 200, force_terminal=True,
        color_system="truecolor", no_color=True,
    )  # fmt: skip
    assert "[red]x[/red]" in coloured


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "cp437"])
def test_terminals_without_our_characters(encoding):
    plan = with_names(demo_plan(), "Väderöarna → 北")
    text = shown(render_plan, plan, 80, encoding)  # raises if anything cannot be encoded
    assert "Launch between" in text
    assert ("Väder" if encoding != "ascii" else "Vaderoarna > ?") in text


def test_forecast_is_shown_with_what_it_lacks():
    plan = demo_plan()
    text = shown(
        lambda data, console: render_forecast(data, console, plan.route), plan.trip.forecast
    )
    assert text.startswith("INVENTED DATA")
    assert "Mon 13 Jul 06:00 UTC to Sat 18 Jul 2026, 06:00 UTC" in text
    assert "wind_speed_of_gust" in text
    assert "Lacks" in text
    assert re.search(r"All \d+ points of the route lie on the grid", text)
    far = replace(plan.route.legs[0], longitude=np.array([0.0, 0.1]), latitude=np.array([0.0, 0.0]))
    away = replace(plan.route, legs=(far,))
    assert forecast_document(plan.trip.forecast, away)["route"]["points_off_grid"] == 2


def test_an_old_forecast_is_flagged_before_the_answer():
    plan = replace(demo_plan(), warnings=("The forecast is old: get a newer one.",))
    text = shown(render_plan, plan)
    assert text.index("WARNING: The forecast is old") < text.index("Stage 1:")
    assert plan_document(plan)["warnings"] == ["The forecast is old: get a newer one."]
    assert "WARNING" not in shown(render_plan, demo_plan())


def test_run_and_age_of_the_forecast_are_told():
    coverage = replace(demo_plan().coverage, reference_time="2026-07-12T19:00:00Z")
    coast, weather = demo_plan().sources
    aged = replace(weather, date=coverage.reference_time, age_s=11 * 3600.0, licence="CC BY 4.0")
    plan = replace(demo_plan(), coverage=coverage, sources=(coast, aged))
    text = " ".join(shown(render_plan, plan).split())
    assert "Forecast of the run of Sun 12 Jul 21:00 CEST, 11 h old, for Mon 13 Jul" in text
    assert "run of 2026-07-12T19:00:00Z, 11 h old; licence: CC BY 4.0" in text
    document = plan_document(plan)
    assert document["sources"][1]["age_s"] == 11 * 3600
    assert document["sources"][1]["licence"] == "CC BY 4.0"
    assert document["forecast"]["age_s"] == 11 * 3600
    assert document["forecast"]["old"] is False
    future = replace(plan, sources=(coast, replace(aged, age_s=-60.0)))
    assert "dated in the future" in shown(render_plan, future)


def test_age_of_a_forecast_without_a_run_is_null(document):
    plan = replace(demo_plan(), coverage=replace(demo_plan().coverage, reference_time=""))
    assert plan_document(plan)["forecast"]["age_s"] is None
    assert plan_document(plan)["forecast"]["old"] is None
    assert document["forecast"]["old_after_s"] == 12 * 3600


def two_coasts():
    """The demo's legs with a comparison of two coastlines that differ on leg 6."""
    plan = legs_plan("plain")

    def compared(leg):
        far = 1_200.0 if leg.number == 6 else 400.0
        verdict = "beyond" if far > 1_000.0 else "within"
        return OffshoreComparison(
            leg.number, 1_000.0, 400.0, far, "within", verdict, far - 400.0, 11.1, 58.6
        )

    comparisons = tuple(compared(leg) for leg in plan.route.legs)
    coast = SimpleNamespace(
        source="finer", attribution="its makers", nominal_error_m=float("nan"), coarse=plan.coast
    )
    return replace(plan, coast=coast, comparisons=comparisons)


def test_two_coastlines_are_in_the_document():
    document = legs_document(two_coasts())
    assert document["coast"]["compared_with"] == {
        "source": legs_plan("plain").coast.source,
        "nominal_error_m": 500.0,
        "limit_m": 1_000.0,
        "legs_that_differ": [6],
    }
    leg = document["legs"][5]["compared"]
    assert leg["differs"] is True
    assert (leg["default_verdict"], leg["default_offshore_max_m"]) == ("within", 400.0)
    assert (leg["finer_verdict"], leg["finer_offshore_max_m"]) == ("beyond", 1_200.0)
    assert leg["largest_difference_m"] == 800.0
    assert legs_document(legs_plan("plain"))["coast"]["compared_with"] is None
    assert legs_document(legs_plan("plain"))["legs"][5]["compared"] is None


def test_two_coastlines_are_told_in_words():
    plan = two_coasts()
    words = " ".join(shown(render_legs, plan).split())
    told = f"coastline compared with {legs_plan('plain').coast.source} on 1,000 m from shore"
    assert f"{told}: another verdict on leg 6" in words
    agreed = tuple(replace(c, fine_verdict="within") for c in plan.comparisons)
    words = " ".join(shown(render_legs, replace(plan, comparisons=agreed)).split())
    assert f"{told}: the same verdict on every leg" in words
    both = tuple(replace(c, fine_verdict="unknown") for c in plan.comparisons[:2])
    assert comparison_words(replace(plan, comparisons=both)).endswith("on legs 1, 2")
    assert comparison_words(legs_plan("plain")) == ""


def test_every_key_of_two_coastlines_is_documented():
    test_every_key_is_documented(json.loads(document_text(legs_document(two_coasts()))))


def test_carries_are_told_without_a_mark_of_warning():
    plan = legs_plan("plain")
    notes = (("carry of 120 m over land (from its start: 0 m to 120 m)",), *plan.leg_notes[1:])
    carried = replace(plan, leg_notes=notes)
    lines = shown(render_legs, carried).splitlines()
    (line,) = [line for line in lines if "carry of 120 m" in line]
    assert line.startswith("  leg 1: carry")
    assert legs_document(carried)["legs"][0]["notes"] == list(notes[0])


@pytest.mark.parametrize("width", [60, 80])
def test_details_have_a_paragraph_a_leg_and_keep_to_the_width(width):
    plan = legs_plan("plain")
    text = shown(lambda p, console: render_legs(p, console, details=True), plan, width)
    lines = [line.rstrip() for line in text.splitlines()]
    assert max(map(len, lines)) <= width
    details = " ".join("\n".join(lines).split("Details\n")[1].split("Sources\n")[0].split())
    paragraphs = re.split(r"leg \d+: ", details)[1:]
    assert len(paragraphs) == len(plan.route.legs)
    for paragraph, exposure in zip(paragraphs, plan.exposures, strict=True):
        assert paragraph.startswith("effective fetch ")
        assert "winds off the land: " in paragraph
        assert "nearest shore " in paragraph
        assert ("no shore within 1,000 m from" in paragraph) is bool(exposure.far_stretches)
    assert "Details" not in shown(render_legs, plan)


def test_winds_off_the_land_are_told_by_points_of_the_compass():
    assert sector_words(50.0, 90.0) == "NE to E"
    assert sector_words(350.0, 10.0) == "N"
    assert sector_words(320.0, 40.0) == "NW to NE"
    assert sector_words(20.0, 10.0) == "N to N"  # nearly all round
    exposure = legs_plan("plain").exposures[0]
    unknown = replace(exposure, wind_side=np.full((36, 3), np.nan))
    none = replace(exposure, wind_side=np.zeros((36, 3)))
    plan = legs_plan("plain")
    for leg, words in (
        (unknown, "land: unknown"),
        (none, "winds off the land: none on most of it"),
    ):
        assert words in leg_details(replace(plan, exposures=(leg,)))[0]


def test_winds_of_a_leg_are_in_the_document():
    plan = legs_plan("plain")
    for leg, exposure in zip(legs_document(plan)["legs"], plan.exposures, strict=True):
        assert len(leg["offshore_wind_share"]) == len(leg["onshore_wind_share"]) == 36
        assert leg["longest_effective_fetch_m"] == max(leg["effective_fetch_m"])
        sectors = [(s["first_deg"], s["last_deg"]) for s in leg["offshore_winds"]]
        assert sectors == list(exposure.offshore_winds())


# --- strips -------------------------------------------------------------------------------


def scan_of(first, count, step_min, verdict=Verdict.WITHIN, binding=""):
    launch = np.datetime64(first, "ns") + np.arange(count) * np.timedelta64(step_min, "m")
    return replace(
        demo_plan().stages[0].scan,
        launch=launch,
        verdict=np.full(count, verdict, np.int8),
        binding=np.full(count, binding, "U16"),
    )


def marks(rows):
    return "".join(re.sub(r"^\w{3} \d+ \w{3} *", "", row) for row in rows if row[0] != " ")


def test_strip_has_one_mark_a_launch_and_tells_verdicts_apart():
    scan = scan_of("2026-07-13T22:00", 48, 30)  # midnight in Stockholm
    verdict, binding = scan.verdict.copy(), scan.binding.copy()
    verdict[10:20], binding[10:20] = Verdict.CLOSE, "gust"
    verdict[20:30], binding[20:30] = Verdict.UNKNOWN, "wind"
    verdict[30:40], binding[30:40] = Verdict.BEYOND, "wave_height"
    verdict[40:], binding[40:] = Verdict.BEYOND, "something new"
    scan = replace(scan, verdict=verdict, binding=binding)
    rows = strip_rows(scan, STOCKHOLM, 78)
    assert len(rows) == 2
    assert rows[1] == "Tue 14 Jul  " + "#" * 10 + "+" * 10 + "?" * 10 + "s" * 10 + "b" * 8
    legend = strip_legend(scan)
    for part in ("#=within", "+=close", "?=unknown", "s=waves", "b=something new", "30 min"):
        assert part in legend


@pytest.mark.parametrize(("step", "width", "parts"), [(60, 78, 1), (30, 78, 1), (10, 78, 3),
                                                      (30, 40, 2), (5, 78, 6)])  # fmt: skip
def test_strip_folds_days_that_are_too_wide(step, width, parts):
    count = 24 * 60 // step
    rows = strip_rows(scan_of("2026-07-13T22:00", count, step), STOCKHOLM, width)
    days = [row for row in rows if row[0] != " "]
    assert len(days) == parts
    assert all(len(row) <= width for row in rows)
    assert len(marks(rows)) == count * max(1, 48 // count)


def test_strip_shows_the_worse_of_two_launches_when_clocks_go_back():
    # Stockholm leaves summer time on 2026-10-25 at 01:00 UTC (03:00 CEST becomes 02:00 CET).
    scan = scan_of("2026-10-24T22:00", 25, 60)
    verdict, binding = scan.verdict.copy(), scan.binding.copy()
    verdict[2], binding[2] = Verdict.BEYOND, "wind"  # 02:00 CEST; the good one at 02:00 CET hides
    rows = strip_rows(replace(scan, verdict=verdict, binding=binding), STOCKHOLM, 78)
    assert marks(rows) == "####ww" + "#" * 42


def test_letters_of_limits_are_distinct_and_cover_the_limits():
    letters = list(LIMIT_LETTERS.values())
    assert len(set(letters)) == len(letters)
    assert "b" not in letters
    assert not set(letters) & set("#+?")
    assert set(LIMIT_LETTERS) == set(LIMIT_WORDS)
    judged = set(demo_plan().stages[0].scan.binding) - {""}
    assert judged <= set(LIMIT_WORDS)
    assert {f.split("_m")[0] for f in ("wind_ms", "gust_ms")} <= set(LIMIT_WORDS)
    assert Limits().explicit == frozenset()


# --- words --------------------------------------------------------------------------------


def test_figures():
    assert number(float("nan")) == "?"
    assert number(-0.2) == "0"
    assert number(12345.6, 1) == "12,345.6"
    assert kilometres(12_345) == "12.3"
    assert kilometres(123_456, "km") == "123 km"
    assert metres(999) == "999 m"
    assert metres(1_234) == "1.2 km"
    assert knots(10.2889) == "20"  # 20 kn = 10.2889 m/s by definition of the knot
    assert degrees(359.6) == "000°"
    assert degrees(7.2) == "007°"
    assert [compass_point(a) for a in (0, 22, 23, 180, 337, 338, 360)] == [
        "N", "N", "NE", "S", "NW", "N", "N",
    ]  # fmt: skip
    assert duration(5400) == "90 min"
    assert duration(2 * 3600) == "2 h"
    assert duration(5 * 86400) == "5 days"
    assert duration(float("nan")) == "?"


def test_share_is_never_rounded_up_to_whole():
    assert percent(0.999) == "99 %"
    assert percent(1.0) == "100 %"
    assert percent(0.29) == "29 %"
    assert percent(-0.129) == "-12 %"
    assert percent(None) == "?"


def test_position_carries_minutes_over():
    assert position(11.0, 58.99999999) == "59° 00.000′ N 011° 00.000′ E"
    assert position(-70.5, -33.25) == "33° 15.000′ S 070° 30.000′ W"
    assert position(float("nan"), 1.0) == "?"


def test_plain_keeps_text_and_drops_what_steers_a_terminal():
    assert plain("Väderö\tsund \r\n x") == "Väderö sund x"
    assert plain("a\x00b\x9bc\u200fd\ud800e") == "abcde"
    assert plain("e" + "\u0301" * 50 + "!") == "e" + "\u0301" * 4 + "!"
    assert len(plain("x" * 5000)) == 300
    assert plain("x" * 5000).endswith("…")


def test_fit():
    assert fit("Öland → 5°", "utf-8") == "Öland → 5°"
    assert fit("Öland → 5°", "latin-1") == "Öland > 5°"
    assert fit("Öland → 5°", "ascii") == "Oland > 5 "
    assert fit("Öland", "no such encoding") == "Oland"


@pytest.mark.parametrize(
    ("zone", "when", "moment", "heading"),
    [
        ("Europe/Stockholm", "2026-07-14T05:30", "Tue 14 Jul 07:30 CEST",
         "Europe/Stockholm (CEST, UTC+02:00)"),
        ("America/Sao_Paulo", "2026-01-01T01:00", "Wed 31 Dec 22:00 UTC-03:00",
         "America/Sao_Paulo (UTC-03:00)"),
        ("America/St_Johns", "2026-01-01T12:00", "Thu 1 Jan 08:30 NST",
         "America/St_Johns (NST, UTC-03:30)"),
        ("UTC", "2026-02-28T23:59", "Sat 28 Feb 23:59 UTC", "UTC"),
    ],
)  # fmt: skip
def test_clock(zone, when, moment, heading):
    clock, time = Clock(zone), np.datetime64(when, "ns")
    assert clock.moment(time) == moment
    assert clock.heading(time) == heading


def test_a_date_with_its_year_reads_in_order():
    assert STOCKHOLM.dated(np.datetime64("2026-12-31T23:30", "ns")) == "Fri 1 Jan 2027, 00:30 CET"
    assert STOCKHOLM.dated(np.datetime64("NaT")) == "?"
    covered = demo_plan().coverage
    text = " ".join(shown(render_plan, demo_plan()).split())
    assert f"to {STOCKHOLM.dated(covered.last)}. Times are local" in text
    assert f"worked out on {STOCKHOLM.dated(demo_plan().trip.now)}" in text


def test_clock_refuses_unknown_zones_and_shows_unknown_times():
    for zone in ("Mars/Olympus", "", "../../etc/passwd", "x" * 300):
        with pytest.raises(InputError, match=r"time zone .* allowed are names"):
            Clock(zone)
    assert STOCKHOLM.time(np.datetime64("NaT")) == "?"
    assert STOCKHOLM.moment(np.datetime64("NaT")) == "?"
