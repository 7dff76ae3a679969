"""The interactive report: one safe, complete document, and data that say what the plan says."""

import json
import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from html.parser import HTMLParser
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from planmaker import demo_plan, legs_plan, with_names, with_scan

from routeplan._html.assets import asset_files
from routeplan._html.build import SECTIONS
from routeplan._html.mapdata import _thinned
from routeplan._html.times import time_tag, zone_document
from routeplan._plan.lineweather import line_weather
from routeplan._show.mapframe import frame_of
from routeplan._show.wording import Clock
from routeplan.coastline import Coastline
from routeplan.limits import Verdict
from routeplan.report import plan_document, report_assets, report_html, report_parts

EVIL = (
    "<script>alert(1)</script></SCRIPT ><img src=x onerror=alert(1)>{{7*7}}{% raw %}'\"`&amp;<!--"
    "\u202e\u2066\x1b[31m\u2028${1}"
)
LETTERS = {"W": "within", "C": "close", "U": "unknown", "B": "beyond"}
VOID = {"meta", "link", "input", "img", "br", "hr", "base"}


class Page(HTMLParser):
    """Elements with their attributes, and the text outside scripts and styles."""

    def __init__(self, text):
        super().__init__()
        self.elements, self.open, self.text, self.raw = [], [], [], {}
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open, tag
        assert self.open.pop() == tag

    def handle_data(self, data):
        if self.open and self.open[-1] in ("script", "style"):
            self.raw.setdefault(self.open[-1], []).append(data)
        else:
            self.text.append(data)

    def named(self, *tags):
        return [attrs for tag, attrs in self.elements if tag in tags]


@pytest.fixture(scope="module")
def text():
    return report_html(demo_plan())


@pytest.fixture(scope="module")
def page(text):
    return Page(text)


@pytest.fixture(scope="module")
def parts():
    return report_parts(demo_plan())


@pytest.fixture(scope="module")
def document():
    return json.loads(json.dumps(plan_document(demo_plan())))


def test_report_is_one_small_file_that_asks_for_nothing(text, page):
    assert len(text.encode()) < 6_000_000
    assert page.open == []
    for tag, attrs in page.elements:
        assert "src" not in attrs, tag
        assert attrs.get("href", "#").startswith("#"), attrs
    css = "".join(page.raw["style"])
    assert "@import" not in css
    assert "url(" not in css


def test_same_plan_gives_the_same_file(text):
    assert report_html(demo_plan()) == text


def test_policy_allows_only_what_has_its_nonce(page):
    (policy,) = [m["content"] for m in page.named("meta") if "http-equiv" in m]
    nonce = re.search(r"script-src 'nonce-([0-9a-f]{32})'", policy)[1]
    assert policy.startswith("default-src 'none'; ")
    assert f"style-src 'nonce-{nonce}'" in policy
    assert "unsafe" not in policy
    runs = [s for s in page.named("script") if s.get("type") != "application/json"]
    assert len(runs) == len([n for n in report_assets() if n.endswith(".js")])
    assert {it["nonce"] for it in (*runs, *page.named("style"))} == {nonce}


def test_nothing_is_written_that_the_policy_would_block(page):
    for tag, attrs in page.elements:
        assert "style" not in attrs, tag
        assert not [name for name in attrs if name.startswith("on")], tag


def test_our_scripts_make_no_markup_of_data():
    for name, path in asset_files().items():
        code = path.read_text(encoding="utf-8")
        if name.endswith(".css") or name.startswith("bokeh"):
            continue
        assert len(code.splitlines()) <= 400
        assert not re.search(r"eval\(|new Function|document\.write|outerHTML|insertAdjacent", code)
        # Sections come from templates with autoescape; nothing else becomes markup.
        assert code.count("innerHTML") == (1 if name == "report.js" else 0)
    assert "CustomJS" not in asset_files()["map.js"].read_text(encoding="utf-8")


def test_headings_are_in_order_and_ids_unique(page):
    levels = [int(tag[1]) for tag, _ in page.elements if re.fullmatch("h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))
    ids = [attrs["id"] for _, attrs in page.elements if "id" in attrs]
    assert len(ids) == len(set(ids))
    assert page.named("html")[0]["lang"] == "en"
    for section in SECTIONS:
        assert section in ids
    for link in page.named("a"):
        assert link["href"][1:] in ids
    for label in page.named("label"):
        assert label.get("for", ids[0]) in ids


def test_tables_have_heads_and_times_tell_utc(page):
    assert all(head["scope"] in ("col", "row") for head in page.named("th"))
    times = page.named("time")
    assert len(times) > 100
    for it in times:
        assert it["title"] == it["datetime"].rstrip("Z").replace("T", " ") + " UTC"


def test_the_answer_comes_first_and_says_what_to_do(parts, document):
    answer = " ".join("".join(Page(parts.fragments["rp-answer"]).text).split())
    clock = Clock("Europe/Stockholm")
    for stage in document["stages"]:
        first, last = (np.datetime64(stage[k][:-1]) for k in ("first_launch", "last_launch"))
        assert f"{clock.day(first)}: launch between" in answer
        assert clock.time(last)[:3] in answer
    for words in ("within every limit judged", "because", "Turning back:", "Not judged"):
        assert words in answer
    assert "(leg 6 begins at West skerry, leg 8 begins at Outer south)" in answer
    assert (
        "Turn back or land when you meet wind over 14 kn, gusts over 20 kn, headwind over 12 kn, "
        "waves over 0.7 m or visibility under 2.0 km."
    ) in answer


def test_invented_data_and_warnings_come_before_everything(page):
    words = "".join(page.text)
    assert words.index("INVENTED DATA") < words.index("When to launch")
    warned = report_parts(replace(demo_plan(), warnings=("It is old.",))).fragments
    assert "It is old." in warned["rp-head"]
    real = report_parts(replace(demo_plan(), invented=False)).fragments
    assert "INVENTED" not in real["rp-head"] + real["rp-cautions"]


def test_hostile_text_is_text_everywhere():
    plan = with_names(demo_plan(), EVIL)
    plan = replace(
        plan,
        warnings=(EVIL,),
        cautions=(EVIL,),
        flags=tuple((EVIL,) for _ in plan.flags),
        sources=tuple(
            replace(s, name=EVIL, attribution=EVIL, licence=EVIL, date=EVIL, error=EVIL)
            for s in plan.sources
        ),
    )
    text = report_html(plan)
    clean, evil = Page(report_html(demo_plan())), Page(text)
    assert evil.open == []
    assert len(evil.named("script")) == len(clean.named("script"))
    assert not evil.named("img")
    for _, attrs in evil.elements:
        assert not {"onerror", "style"} & set(attrs)
    shown = "".join(evil.text)
    assert "<script>alert(1)</script>" in shown
    assert "{{7*7}}" in shown
    own = text.replace("".join(evil.raw["script"]), "")  # bokeh has characters of its own
    assert not re.search(r"[\u202a-\u202e\u2066-\u2069\x1b]", "".join(evil.text))
    assert "49" not in re.findall(r"<h1>(.*?)</h1>", own)[0]
    data = json.loads(evil.raw["script"][0])
    assert data["title"].startswith("<script>alert(1)</script>")
    assert not re.search(r"[\u202e\x1b\u2028]", json.dumps(data, ensure_ascii=False))
    assert "<" not in evil.raw["script"][0]


def minutes(text):
    return round(datetime.fromisoformat(text).timestamp() / 60) if text else None


def test_data_say_of_every_launch_what_the_document_says(parts, document):
    by_stage = {s["number"]: s for s in parts.data["stages"]}
    seen = dict.fromkeys(by_stage, 0)
    for launch in document["launches"]:
        stage, i = by_stage[launch["stage"]], seen[launch["stage"]]
        seen[launch["stage"]] += 1
        assert stage["launch"][i] == minutes(launch["launch"])
        assert LETTERS[stage["verdict"][i]] == launch["verdict"]
        if launch["arrive"]:
            assert stage["launch"][i] + stage["arrive"][i] == minutes(launch["arrive"])
        else:
            assert stage["arrive"][i] is None
        told = [stage["texts"][k] for k, _ in stage["why"][i]]
        assert told == launch["reasons"][:5]
        for j, leg in enumerate(launch["legs"]):
            assert stage["legs"][j] == leg["leg"]
            assert LETTERS[stage["leg"]["verdict"][j][i]] == leg["verdict"]
            for key, name, scale in (
                ("wind", "wind_ms", 10 / 0.514444),
                ("gust", "gust_ms", 10 / 0.514444),
                ("head", "headwind_ms", 10 / 0.514444),
                ("wave", "wave_height_m", 100),
            ):
                shown, value = stage["leg"][key][j][i], leg[name]
                assert (shown is None) == (value is None)
                if value is not None:
                    assert shown == pytest.approx(value * scale, abs=0.7)
    assert sum(seen.values()) == len(document["launches"])


def test_legs_are_told_by_what_decides_them():
    for stage in demo_plan().stages:
        scan = stage.scan
        binding, margin = scan.legs_told()
        assert binding.shape == margin.shape == scan.leg_verdict.shape
        within = scan.leg_verdict == Verdict.WITHIN
        assert ((binding == "") == within).all()
        assert (margin[within] >= 0).all()
        measured = (scan.leg_verdict == Verdict.BEYOND) & (binding != "progress")
        assert (margin[measured] < 1e-6).all()
        assert np.isnan(margin[scan.leg_verdict == Verdict.UNKNOWN]).all()
        # The tightest leg is as tight as the launch.
        known = np.isfinite(scan.margin) & np.isfinite(margin).all(axis=1)
        assert known.sum() > 100
        assert margin[known].min(axis=1) == pytest.approx(scan.margin[known], abs=1e-6)


def test_weather_along_the_line_is_the_worst_of_it():
    scan = demo_plan().stages[1].scan
    told, series = line_weather(scan), scan.outing.series
    east, north = series.values["eastward_wind"], series.values["northward_wind"]
    assert told.wind_ms == pytest.approx(np.hypot(east, north).max(axis=(0, 2)))
    # What is met under way is nowhere stronger than the worst of the line around then.
    i = demo_plan().stages[1].best
    met = scan.wind_ms[i].max()
    near = (told.time >= scan.launch[i] - np.timedelta64(1, "h")) & (
        told.time <= scan.arrive[i] + np.timedelta64(1, "h")
    )
    assert met <= told.wind_ms[near].max() + 1e-9


def test_weather_that_is_partly_unknown_is_unknown():
    plan = demo_plan()
    scan = plan.stages[0].scan
    values = {name: v.copy() for name, v in scan.outing.series.values.items()}
    values["wind_speed_of_gust"][3, 5] = np.nan
    series = replace(scan.outing.series, values=values)
    told = line_weather(replace(scan, outing=replace(scan.outing, series=series)))
    assert np.isnan(told.gust_ms[5])
    assert np.isfinite(told.gust_ms[4])
    del values["wind_speed_of_gust"]
    lacking = line_weather(replace(scan, outing=replace(scan.outing, series=series)))
    assert np.isnan(lacking.gust_ms).all()


def test_clocks_that_change_within_a_plan_are_told_to_scripts():
    # Summer time ends in Europe on 25 October 2026 at 01:00 UTC (Directive 2000/84/EC).
    first, last = np.datetime64("2026-10-24T00", "ns"), np.datetime64("2026-10-27T00", "ns")
    zone = zone_document(Clock("Europe/Stockholm"), first, last)
    assert [span[1:] for span in zone["spans"]] == [[120, "CEST"], [60, "CET"]]
    assert zone["spans"][1][0] == minutes("2026-10-25T01:00:00Z")
    info = ZoneInfo("Europe/Stockholm")
    for hours in range(72):
        when = datetime(2026, 10, 24, tzinfo=UTC) + timedelta(hours=hours)
        minute = when.timestamp() / 60
        ahead = [s for s in zone["spans"] if s[0] <= minute][-1][1]
        assert when.astimezone(info).utcoffset() == timedelta(minutes=ahead)


def test_a_time_that_is_not_known_says_so():
    assert time_tag(np.datetime64("NaT", "ns"), Clock("UTC")) == "<span>?</span>"
    told = time_tag(np.datetime64("2026-07-13T06:00", "ns"), Clock("Europe/Stockholm"))
    assert told == ('<time datetime="2026-07-13T06:00Z" title="2026-07-13 06:00 UTC">08:00</time>')


def test_a_server_gets_links_its_nonce_and_its_controls():
    controls = '<form id="own"><button>Plan again</button></form>'
    text = report_html(demo_plan(), controls=controls, assets="/static/", nonce="abc")
    page = Page(text)
    assert controls in text
    assert text.index("rp-answer") < text.index(controls) < text.index('id="rp-choose"')
    linked = [s["src"] for s in page.named("script") if "src" in s]
    linked += [s["href"] for s in page.named("link")]
    assert sorted(linked) == sorted(f"/static/{name}" for name in report_assets())
    assert {s["nonce"] for s in page.named("script", "link") if "type" not in s} == {"abc"}
    assert not [m for m in page.named("meta") if "http-equiv" in m]
    assert len(text) < 1_500_000
    for path in report_assets().values():
        assert path.is_file()


def test_parts_are_the_sections_of_the_document(text, parts):
    assert tuple(parts.fragments) == SECTIONS
    for html in parts.fragments.values():
        assert html in text
        assert Page(html).open == []
    json.dumps(parts.data, allow_nan=False)


def test_a_plan_without_a_forecast_is_told_by_its_legs():
    page = Page(report_html(legs_plan("Line")))
    words = "".join(page.text)
    assert "Without a forecast there are no launches" in words
    assert "Start landing" in words
    assert "INVENTED" not in words
    assert not [f for f in page.named("form") if f.get("id") == "rp-form"]


def test_without_a_good_launch_the_answer_says_no():
    plan = demo_plan()
    scan = plan.stages[0].scan
    bad = with_scan(plan, verdict=np.full_like(scan.verdict, Verdict.BEYOND))
    answer = "".join(Page(report_parts(bad).fragments["rp-answer"]).text)
    assert "No launch" in answer
    assert "beyond a limit" in answer  # of every launch it is known: not a lack of data
    assert "unknown" not in answer
    assert "within every limit judged" not in answer
    day = replace(plan.stages[0].day, verdict=Verdict.UNKNOWN)  # later days may do
    held = replace(bad, stages=(replace(bad.stages[0], day=day),))
    assert "beyond a limit" in answer_of(held)
    assert "unknown" not in answer_of(held)
    some = np.full_like(scan.verdict, Verdict.BEYOND)
    some[-1] = Verdict.UNKNOWN
    answer = "".join(Page(report_parts(with_scan(plan, verdict=some)).fragments["rp-answer"]).text)
    assert "unknown" in answer
    unknown = with_scan(plan, verdict=np.full_like(scan.verdict, Verdict.UNKNOWN))
    answer = "".join(Page(report_parts(unknown).fragments["rp-answer"]).text)
    assert "unknown" in answer
    assert "within every limit judged" not in answer


def answer_of(plan):
    return " ".join("".join(Page(report_parts(plan).fragments["rp-answer"]).text).split())


def test_a_launch_picked_outside_every_window_is_told_as_it_is():
    plan = demo_plan()
    stage = plan.stages[0]
    i = int(np.flatnonzero(stage.scan.verdict == Verdict.BEYOND)[0])
    launch = stage.scan.launch[i]
    day = replace(stage.day, launch=launch, verdict=Verdict.BEYOND, picked=True, margin=-0.25)
    picked = replace(stage, best=i, day=day)
    answer = answer_of(replace(plan, stages=(picked, *plan.stages[1:])))
    clock = Clock("Europe/Stockholm")
    assert f"{clock.day(launch)}: you picked {clock.time(launch)}" in answer
    assert "beyond a limit" in answer
    assert f"Picked: {clock.time(launch)}" in answer
    assert "25 % over the limit of" in answer


def test_windows_of_a_stage_without_a_launch_are_no_answer():
    plan = demo_plan()
    last = plan.stages[2]
    assert last.windows
    day = replace(last.day, verdict=Verdict.UNKNOWN, launch=np.datetime64("NaT", "ns"))
    stages = (*plan.stages[:2], replace(last, best=None, day=day))
    html = report_parts(replace(plan, stages=stages)).fragments["rp-answer"]
    card = html[html.index('aria-labelledby="rp-card-3"') :]
    words = " ".join(
        "".join(Page(f"<article {card[: card.index('</article>')]}</article>").text).split()
    )
    assert "No launch" in words
    assert "launch between" not in words.split("No launch")[0]


def test_an_ensemble_is_told_by_the_share_that_agrees():
    plan = demo_plan()
    stage = plan.stages[0]
    share = np.full(stage.scan.launch.size, 0.92)
    scan = replace(stage.scan, share_within=share, members=25)
    answer = answer_of(replace(plan, stages=(replace(stage, scan=scan), *plan.stages[1:])))
    assert "in 92 % of 25 forecast members" in answer


def test_a_coast_of_many_points_is_thinned_and_says_so():
    rng = np.random.default_rng(5)
    frame = frame_of(demo_plan())
    angle = np.linspace(0.0, 2 * np.pi, 3_000)
    lands = []
    for lon, lat, size in zip(
        rng.uniform(10.9, 11.5, 40), rng.uniform(58.4, 58.8, 40), rng.uniform(1e-3, 2e-2, 40),
        strict=True,
    ):  # fmt: skip
        reach = size * (1 + 0.1 * np.sin(40 * angle))
        lands.append([np.column_stack([lon + reach * np.cos(angle), lat + reach * np.sin(angle)])])
    rings, step_m = _thinned(frame, lands)
    assert step_m > 0
    assert sum(len(ring) for ring_ in rings for ring in ring_) <= 2 * 24_000
    kept, off_m = _thinned(frame, lands[:2])
    assert off_m == 0.0
    xs = np.cumsum(kept[0][0][::2])
    assert xs == pytest.approx(np.round(frame.x(lands[0][0][:, 0])), abs=1)


def test_a_coast_of_open_lines_is_drawn_as_lines(tmp_path):
    path = tmp_path / "lines.geojson"
    line = [[11.0 + 0.01 * k, 58.6 + 0.01 * (k % 3)] for k in range(30)]
    shape = {"type": "LineString", "coordinates": line}
    feature = {"type": "Feature", "properties": {}, "geometry": shape}
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
    plan = replace(legs_plan("Line"), coast=Coastline.from_file(path))
    parts = report_parts(plan)
    assert parts.data["map"]["land"] == []
    assert len(parts.data["map"]["shore"]) == 1
    assert "does not tell land from water" in parts.fragments["rp-map"]
