"""The report as a file in a real browser: what it draws, says and does without any server."""

import itertools
import json
from contextlib import contextmanager
from dataclasses import replace

import numpy as np
import pytest
from browsing import DESKTOP, PHONE, axe_findings, drawn, sideways, tab_stops, visit
from coastmaker import rectangle
from planmaker import demo_plan, legs_plan, with_names
from stagemaker import north_route

from routeplan._demo.files import demo_group_file
from routeplan.plan import Trip, plan_trip
from routeplan.report import document_text, plan_document, report_html, report_parts
from routeplan.rules import read_group
from routeplan.units import KNOT_MS

LETTER = {"within": "W", "close": "C", "unknown": "U", "beyond": "B"}
MARKUP = "\"'></script><img src=x onerror=alert(1)><svg onload=alert(2)>{{ 7 * 7 }}"


@pytest.fixture(scope="module")
def plan():
    known = demo_plan()
    return plan_trip(replace(known.trip, coast=known.coast, group=read_group(demo_group_file())))


@pytest.fixture(scope="module")
def document(plan):
    return json.loads(document_text(plan_document(plan, [])))


@pytest.fixture(scope="module")
def write(tmp_path_factory):
    """Write a plan's report to a file; gives its address."""

    def written(plan):
        path = tmp_path_factory.mktemp("report") / "two words.html"
        path.write_text(report_html(plan), encoding="utf-8")
        return path.as_uri()

    return written


@pytest.fixture(scope="module")
def report(write, plan):
    return write(plan)


@contextmanager
def opened(browser, address, **how):
    with visit(browser, address, **how) as (page, watch):
        page.wait_for_selector("html[data-report=ready]")
        yield page
    assert watch.fetched == [address]


def launches(document, stage):
    return [it for it in document["launches"] if it["stage"] == stage]


def find(document, stage, verdict):
    """Place of the last launch of a stage with a verdict."""
    return max(i for i, it in enumerate(launches(document, stage)) if it["verdict"] == verdict)


def cells(page, selector):
    """Texts of a table, rows of cells; shown or not."""
    return page.locator(f"{selector} tbody tr").evaluate_all(
        "rows => rows.map(row => [...row.cells].map(cell => cell.textContent.trim()))"
    )


def open_all(page):
    page.evaluate("() => document.querySelectorAll('details').forEach(it => { it.open = true; })")


# --- opening and drawing -----------------------------------------------------------------------


def test_answer_stands_on_the_first_screen(browser, report, document):
    with opened(browser, report) as page:
        bottom = page.locator("#rp-answer .card").first.bounding_box()
        assert bottom["y"] + bottom["height"] < DESKTOP["height"]
        assert "invented" in page.inner_text("#rp-head").lower()
        cards = page.locator("#rp-answer .card").all_inner_texts()
        assert len(cards) == len(document["stages"])
        for card, stage in zip(cards, document["stages"], strict=True):
            assert stage["from"] in card
            assert stage["to"] in card
            assert "launch between" in card.lower()


def test_map_shows_coast_route_and_places(browser, report):
    with opened(browser, report) as page:
        canvas = page.locator("#rp-mapbox canvas").first
        whole = drawn(canvas)
        assert whole["colours"] > 100
        assert 0.1 < whole["inked"] < 0.95
        page.focus("#rp-mapbox")
        page.keyboard.press("+")
        page.wait_for_timeout(300)
        nearer = drawn(canvas)
        assert nearer["sum"] != whole["sum"]
        page.keyboard.press("ArrowLeft")
        page.wait_for_timeout(300)
        assert drawn(canvas)["sum"] != nearer["sum"]


def test_leg_under_the_pointer_tells_its_figures(browser, report, document):
    with opened(browser, report) as page:
        page.locator("#rp-mapbox").scroll_into_view_if_needed()
        box = page.locator("#rp-mapbox canvas").first.bounding_box()
        spot = page.evaluate("""() => {
          const figure = Bokeh.documents.at(-1).roots()[0];
          const { x_range: x, y_range: y } = figure;
          const leg = RP.data.map.legs[5], k = Math.floor(leg.x.length / 4);
          return [(leg.x[k] - x.start) / (x.end - x.start), (y.end - leg.y[k]) / (y.end - y.start)];
        }""")
        page.mouse.move(box["x"] + spot[0] * box["width"], box["y"] + spot[1] * box["height"])
        leg = document["legs"][5]
        told = page.locator("#rp-mapbox .tip:visible").filter(has_text=f"Leg 6, {leg['from']}")
        told.filter(has_text=f"{leg['length_m'] / 1000:.1f} km").wait_for()


# --- choosing a launch -------------------------------------------------------------------------


def assert_shows(page, document, stage, i):
    """Words, table, grid, day and map tell of launch i of a stage what the document tells."""
    it = launches(document, stage)[i]
    chosen = page.locator("#rp-chosen")
    assert chosen.locator("time").first.get_attribute("datetime") == it["launch"][:16] + "Z"
    assert it["verdict"] in chosen.inner_text()
    rows = cells(page, "#rp-chosen-legs")
    assert [row[0] for row in rows] == [str(leg["leg"]) for leg in it["legs"]]
    for row, leg in zip(rows, it["legs"], strict=True):
        assert leg["verdict"] in row[8]
        for shown, key, unit in (
            (row[3], "wind_ms", KNOT_MS),
            (row[4], "gust_ms", KNOT_MS),
            (row[5], "headwind_ms", KNOT_MS),
            (row[6], "wave_height_m", 1.0),
            (row[7], "speed_over_ground_ms", 1 / 3.6),
        ):
            assert_same(shown, leg[key], unit)
    slider = page.get_by_role("slider").nth(stage - 1)
    assert it["verdict"] in slider.get_attribute("aria-valuetext")
    assert slider.get_attribute("aria-valuenow") == str(i + 1)
    assert page.locator("#rp-dayread time, #rp-dayread").first.inner_text()
    bars = page.locator("#rp-daybox rect title").all_text_contents()
    for leg in (leg for leg in it["legs"] if leg["leave"]):
        assert any(f"Leg {leg['leg']}: {leg['verdict']}" in bar for bar in bars)
    marks = {str(leg["leg"]): LETTER[leg["verdict"]] for leg in it["legs"]}
    assert map_marks(page).items() >= marks.items()


def assert_same(shown, value, unit):
    """A shown figure is the value, to half of its last digit and the rounding of the document."""
    if value is None:
        assert shown == "?"
        return
    figure = shown.removesuffix(" behind")
    digits = len(figure.partition(".")[2])
    assert (1 if figure == shown else -1) * float(figure) == pytest.approx(
        value / unit, abs=0.5 * 10**-digits + 0.06
    )


def map_marks(page):
    """Letters that the map has beside the numbers of legs, when it shows verdicts."""
    texts = page.evaluate("""() => {
      const figure = Bokeh.documents.at(-1).roots()[0];
      return figure.renderers.map(it => it.data_source && it.data_source.data.text)
        .filter(it => it).map(it => [...it]);
    }""")
    marks = [text for all_of_one in texts for text in all_of_one if text[-1:] in "WCUB"]
    return {mark[:-1]: mark[-1] for mark in marks}


def test_launch_picked_changes_words_table_charts_and_map(browser, report, document):
    with opened(browser, report) as page:
        page.evaluate("""() => {
          window.heard = [];
          document.addEventListener('routeplan:launch', it => window.heard.push(it.detail));
        }""")
        page.click("#rp-by-verdict")
        pictures = []
        for verdict in ("within", "beyond"):
            i = find(document, 2, verdict)
            page.select_option("#rp-stage", "1")
            page.select_option("#rp-launch", str(i))
            assert_shows(page, document, 2, i)
            page.wait_for_timeout(300)
            pictures.append(
                (
                    drawn(page.locator("#rp-mapbox canvas").first)["sum"],
                    page.inner_html("#rp-daybox"),
                    page.inner_text("#rp-chosen"),
                )
            )
            heard = page.evaluate("() => window.heard.at(-1)")
            assert heard == {"stage": 2, "launch": launches(document, 2)[i]["launch"]}
        for one, other in zip(*pictures, strict=True):
            assert one != other


def test_every_way_to_pick_a_launch_leads_there(browser, report, document):
    with opened(browser, report) as page:
        page.click("#rp-by-verdict")
        page.select_option("#rp-launch", "4")
        page.focus("#rp-launch")
        page.keyboard.press("ArrowDown")
        assert_shows(page, document, 1, 5)
        page.click("#rp-later")
        assert_shows(page, document, 1, 6)
        page.focus("#rp-earlier")
        page.keyboard.press("Enter")
        assert_shows(page, document, 1, 5)
        page.get_by_role("slider").nth(0).focus()
        page.keyboard.press("PageDown")
        page.keyboard.press("End")
        last = len(launches(document, 1)) - 1
        assert_shows(page, document, 1, last)
        page.keyboard.press("ArrowLeft")
        assert_shows(page, document, 1, last - 1)
        grid = page.locator("svg.grid").nth(2)
        grid.scroll_into_view_if_needed()
        box = grid.bounding_box()
        page.mouse.click(box["x"] + box["width"] * 0.5, box["y"] + box["height"] * 0.4)
        stage, launch = page.evaluate("() => Object.entries(routeplanReport.chosen())[2]")
        i = [it["launch"] for it in launches(document, 3)].index(launch)
        assert 0.2 < i / len(launches(document, 3)) < 0.7
        assert_shows(page, document, int(stage), i)
        page.click("#rp-chosen button")
        proposed = document["stages"][2]["launch"]
        i = [it["launch"] for it in launches(document, 3)].index(proposed)
        assert_shows(page, document, 3, i)


def test_parts_of_another_plan_take_the_place_of_the_first(browser, report, plan):
    trip = plan.trip
    stricter = plan_trip(
        replace(trip, coast=plan.coast, limits=replace(trip.limits, gust_ms=9 * KNOT_MS))
    )
    parts = report_parts(stricter)
    document = json.loads(document_text(plan_document(stricter, [])))
    with opened(browser, report) as page:
        page.select_option("#rp-launch", "7")
        page.click("#rp-by-verdict")
        before = page.inner_text("#rp-answer")
        page.evaluate(
            "parts => routeplanReport.update(parts)",
            {"fragments": parts.fragments, "data": json.loads(json.dumps(parts.data))},
        )
        assert page.inner_text("#rp-answer") != before
        assert_shows(page, document, 1, 7)
        assert drawn(page.locator("#rp-mapbox canvas").first)["colours"] > 100


# --- the same figures as everywhere --------------------------------------------------------------


def test_tables_hold_the_figures_of_the_document(browser, report, document):
    with opened(browser, report) as page:
        legs = cells(page, "#rp-rose [aria-label=Legs]")
        assert len(legs) == len(document["legs"])
        for row, leg in zip(legs, document["legs"], strict=True):
            assert row[0].split()[0] == str(leg["number"])
            assert_same(row[2], leg["length_m"], 1000)
            assert float(row[3].rstrip("°")) == pytest.approx(leg["course_deg"], abs=0.51)
            for shown, key in ((row[4], "offshore_max_m"), (row[5], "offshore_mean_m")):
                assert float(shown.replace(",", "")) == pytest.approx(leg[key], abs=0.6)
        for number in (1, 2, 3):
            rows = cells(page, f"[aria-label='Windows of stage {number}']")
            windows = [it for it in document["windows"] if it["stage"] == number]
            assert len(rows) == len(windows) > 0
            for row, window in zip(rows, windows, strict=True):
                assert window["verdict"] in row[3]
                assert float(row[4].rstrip(" %")) == pytest.approx(100 * window["margin"], abs=1)
            times = page.locator(
                f"[aria-label='Windows of stage {number}'] td:nth-child(2)"
            ).evaluate_all(
                "all => all.flatMap(it => [...it.querySelectorAll('time')].slice(0, 2))"
                ".map(it => it.dateTime)"
            )
            told = [it[k][:16] for it in windows for k in ("first_launch", "last_launch")]
            assert [it[:16] for it in times] == told


def test_local_times_carry_utc(browser, report):
    with opened(browser, report) as page:
        found = page.locator("time").evaluate_all(
            "all => all.map(it => [it.dateTime, it.title, it.textContent])"
        )
    assert len(found) > 100
    for utc, title, text in found:
        assert title == f"{utc[:16].replace('T', ' ')} UTC"
        local = np.datetime64(utc[:16]) + np.timedelta64(2, "h")  # CEST in July
        if ":" in text:
            assert str(local)[11:16] in text


# --- for everybody -------------------------------------------------------------------------------


def test_everything_to_press_is_reached_by_keyboard(browser, report):
    with opened(browser, report) as page:
        stops = tab_stops(page)
        assert not [stop for stop in stops if not (stop["seen"] and stop["marked"])]
        reached = {stop["id"] for stop in stops}
        pressed = page.evaluate("""() => [...document.querySelectorAll('main button, main select')]
          .filter(it => !it.disabled && it.checkVisibility()).map(it => it.id)""")
        assert len(pressed) > 8
        assert set(pressed) <= reached
        assert "rp-mapbox" in reached
        assert sum(stop["tag"] == "summary" for stop in stops) > 5


@pytest.mark.parametrize("viewport", [DESKTOP, PHONE], ids=["wide", "phone"])
def test_no_serious_finding_of_axe(browser, report, viewport):
    with opened(browser, report, viewport=viewport) as page:
        page.evaluate(
            "() => document.querySelectorAll('details').forEach("
            "it => { it.open = !it.classList.contains('long'); })"
        )
        page.click("#rp-by-verdict")
        page.check("#rp-show-drift")
        assert axe_findings(page) == []
        if viewport is DESKTOP:
            open_all(page)  # contrast again of some thousand more cells would take long
            assert axe_findings(page, without=("color-contrast",)) == []


def test_phone_scrolls_one_way_only(browser, report):
    with opened(browser, report, viewport=PHONE, has_touch=True, is_mobile=True) as page:
        open_all(page)
        assert sideways(page) == []
        assert page.locator("#rp-answer .when").first.bounding_box()["y"] < PHONE["height"]
        small = page.evaluate("""() => [...document.querySelectorAll('main button, main select')]
          .filter(it => it.checkVisibility() && it.getBoundingClientRect().height < 24)
          .map(it => it.id)""")
        assert small == []  # WCAG 2.2, 2.5.8: 24 px


def test_paper_has_every_table_and_nothing_to_press(browser, report, tmp_path):
    import pypdf

    with opened(browser, report) as page:
        page.emulate_media(media="print")
        hidden = page.evaluate("""() => [...document.querySelectorAll('table')]
          .filter(it => !it.checkVisibility({contentVisibilityAuto: true})
            || it.getBoundingClientRect().height === 0)
          .filter(it => !it.closest('details.long'))  // its drawing and a shorter table are there
          .map(it => it.parentElement.getAttribute('aria-label'))""")
        assert hidden == []
        assert page.locator("#rp-plainmap svg").is_visible()
        for pressed in ("#rp-mapbar", "#rp-form", "nav.contents"):
            assert not page.locator(pressed).first.is_visible()
        page.pdf(path=tmp_path / "paper.pdf", format="A4")
    paper = pypdf.PdfReader(tmp_path / "paper.pdf")
    text = " ".join(" ".join(it.extract_text() for it in paper.pages).split())
    for words in ("launch between", "longest open water", "closes", "nominal error", "Outer north"):
        assert words in text


def luminance(colour):
    """Relative luminance of a colour #rrggbb, by WCAG 2.2."""
    share = np.array([int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)])
    linear = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    return float(linear @ (0.2126, 0.7152, 0.0722))


def test_verdicts_differ_without_colour(browser, report):
    with opened(browser, report) as page:
        fills = page.evaluate("() => RP.FILL")
        light = sorted(luminance(fill) for fill in fills.values())
        for darker, lighter in itertools.pairwise(light):
            assert (lighter + 0.05) / (darker + 0.05) > 1.25
        patterns = page.locator("svg.grid rect[fill^=url]").evaluate_all(
            "all => all.map(it => it.getAttribute('fill'))"
        )
        assert {f"url(#rp-p-{letter})" for letter in "WCB"} <= set(patterns)
        marks = page.locator("svg pattern").evaluate_all(
            "all => all.map(it => [it.id, it.children.length])"
        )
        assert dict(marks)["rp-p-C"] > 1
        assert dict(marks)["rp-p-B"] > 1
        assert dict(marks)["rp-p-U"] > 1


def test_without_scripts_it_can_be_read(browser, report, document):
    with visit(browser, report, java_script_enabled=False) as (page, _):
        words = page.inner_text("body")
        for stage in document["stages"]:
            assert stage["from"] in words
        assert page.locator("#rp-answer time").count() >= 6
        assert page.locator("#rp-plainmap svg path").count() > 5
        assert page.locator("#rp-plainmap svg").is_visible()
        assert not page.locator("#rp-mapbox").is_visible()
        assert page.locator("noscript").first.is_visible() or "Without scripts" in words
        page.click("#rp-grid summary >> nth=0")
        assert page.locator("#rp-grid table").first.is_visible()


# --- odd plans -----------------------------------------------------------------------------------


def test_names_that_are_markup_are_text(browser, write, plan):
    with opened(browser, write(with_names(plan, MARKUP))) as page:
        assert page.inner_text("h1") == MARKUP
        assert MARKUP in page.inner_text("#rp-legwords")
        page.select_option("#rp-launch", "9")
        assert not page.locator("img, svg[onload]").count()
        open_all(page)
        page.set_viewport_size(PHONE)
        assert sideways(page) == []


def test_legs_without_a_forecast_open_too(browser, write):
    with opened(browser, write(legs_plan("Legs alone"))) as page:
        assert page.inner_text("h1") == "Legs alone"
        assert drawn(page.locator("#rp-mapbox canvas").first)["colours"] > 100
        page.select_option("#rp-leg", "5")
        assert "Leg 6" in page.inner_text("#rp-legwords")
        assert axe_findings(page) == []
        page.set_viewport_size(PHONE)
        assert sideways(page) == []


def test_a_line_over_land_is_marked_on_the_map(browser, write, coast_from_rings):
    island = rectangle(10.0, 0.0, west_m=1_000, south_m=-2_000, east_m=1_000, north_m=4_000)
    plan = plan_trip(Trip(north_route(6_000.0), coast=coast_from_rings(island)))
    with opened(browser, write(plan)) as page:
        key = page.locator("#rp-mapkey").text_content()
        assert "black with white dashes: the line lies on land" in key
        assert 0.02 < drawn(page.locator("#rp-mapbox canvas").first)["inked"] < 0.95
