"""The sheet for the contact ashore and the card for the deck, as text, PDF and document.

Text is taken out of the PDF again by another library (pypdf).
"""

import functools
import io
import itertools
import re
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
from planmaker import demo_plan
from pypdf import PdfReader

from routeplan._kit.group import Group, Person
from routeplan._plan.ashore import Ashore, sheet_of
from routeplan._sheet.setting import MISSING, without_missing
from routeplan.errors import InputError
from routeplan.limits import Verdict
from routeplan.plan import StagePlan
from routeplan.sheet import card_pdf, sheet_document, sheet_pdf, sheet_text

A4_MM, A5_MM = (210.0, 297.0), (148.0, 210.0)
INVENTED = "INVENTED DATA: not for use on the water"
HOSTILE = (
    '#read("/etc/passwd")',
    "*bold* _it_ $x^2$ `raw`",
    '"quotes" \\ back <b>&amp;</b> ]#[',
    "#eval(sys.inputs.data)",
    "// no comment /* */ @label <tag>",
)
UNSEEN = "abc\u202edef\u2066 \x00\x07\x1b[31mctl\u200b"
FULL = Ashore(
    contact="Karin Lind",
    contact_phone="+46 70 174 06 05",  # of the range that Sweden keeps for fiction
    emergency_phone="00 000",
    people=("Åsa Berg", "Bo"),
    phones={"Bo": "+46 70 174 06 11"},
    colours={"Bo": "touring board, orange"},
    medical={"Bo": "asthma, inhaler"},
    call_sign="SC 1234",
    mmsi="265000000",
    beacon="on Bo",
    vehicle="white van",
    vehicle_at="car park",
    note="tents: green",
)


@functools.cache
def full():
    """The plan with everything given, shared: nothing may change it."""
    return planned(FULL)


@functools.cache
def full_pdf(build):
    return build(full())


def planned(ashore=None, *, weather=True, **trip):
    """The demo's plan for another table of the user's, with or without its weather."""
    plan = demo_plan()
    changed = replace(plan.trip, ashore=ashore, **trip)
    stages = plan.stages if weather else tuple(StagePlan(s.stage) for s in plan.stages)
    sheet = sheet_of(changed, stages, plan.exposures, coast=plan.coast)
    return replace(plan, trip=changed, stages=stages, sheet=sheet)


def named(*names):
    """The same with people and places called by these names in turn."""
    plan = planned(Ashore(people=names, contact=names[0], note=names[-1], vehicle=names[0]))
    turn = itertools.cycle(names)

    def called(point):
        return replace(point, name=next(turn))

    stages = tuple(
        replace(
            stage,
            start=called(stage.start),
            end=called(stage.end),
            legs=tuple(
                replace(
                    leg,
                    start=called(leg.start),
                    end=called(leg.end),
                    landing=called(leg.landing),
                )
                for leg in stage.legs
            ),
        )
        for stage in plan.sheet.stages
    )
    return replace(plan, sheet=replace(plan.sheet, stages=stages))


def read(pdf):
    return PdfReader(io.BytesIO(pdf))


def words_of(pdf):
    """All text, white space as single blanks, without the breaks put into long words."""
    text = " ".join(page.extract_text() for page in read(pdf).pages)
    return " ".join(text.replace("\u200b", "").split())


def squeezed(text):
    """Without white space: where a page breaks a line does not matter."""
    return re.sub(r"\s", "", text.replace("\u200b", ""))


def size_mm(page):
    return (float(page.mediabox.width) / 72 * 25.4, float(page.mediabox.height) / 72 * 25.4)


def test_the_sheet_is_one_page_of_a4():
    pages = read(full_pdf(sheet_pdf)).pages
    assert len(pages) == 1
    assert size_mm(pages[0]) == pytest.approx(A4_MM, abs=0.1)


def test_the_upper_part_says_what_to_do_when_and_whom_to_call():
    """In the upper 36 %: the steps, the number, and the alarm of every stage."""
    plan = full()
    (page,) = read(full_pdf(sheet_pdf)).pages
    high = float(page.mediabox.height) * (1 - 0.36)
    seen = []
    page.extract_text(
        visitor_text=lambda text, cm, _tm, _font, _size: (
            seen.append(text) if text.strip() and cm[5] > high else None
        )
    )
    top = squeezed("".join(seen))
    wanted = ("At ALARM call", "00 000", "Still nothing at ALARM?", "CALL BY", "Karin Lind")
    for words in (*wanted, "+46 70 174 06 05", INVENTED):
        assert squeezed(words) in top
    for stage in sheet_document(plan)["stages"]:
        assert stage["alarm"][11:16] + "Z" in top


def test_local_time_and_utc_stand_side_by_side():
    """The demo lies in central European summer time, two hours ahead of UTC (common knowledge)."""
    plan = full()
    text, page = sheet_text(plan), squeezed(words_of(full_pdf(sheet_pdf)))
    assert "Europe/Stockholm (CEST, UTC+02:00)" in text
    for stage in sheet_document(plan)["stages"]:
        utc = stage["alarm"][11:16]
        local = f"{(int(utc[:2]) + 2) % 24:02d}{utc[2:]}"
        assert f"ALARM  {local} ({utc}Z)" in text
        assert f"{local}{utc}Z" in page


@pytest.mark.parametrize("shown", [sheet_text, lambda _: words_of(full_pdf(sheet_pdf))])
def test_all_that_is_given_is_shown(shown):
    got = squeezed(shown(full()))
    given = (
        "Karin Lind", "+46 70 174 06 05", "00 000", "Åsa Berg", "Bo", "+46 70 174 06 11",
        "touring board, orange", "asthma, inhaler", "SC 1234", "265000000", "on Bo", "white van",
        "car park", "tents: green", "58° 39.497′ N 011° 16.113′ E", "Camp 1 (night)", INVENTED,
        "local emergency service / coast guard", "2 people",
    )  # fmt: skip
    for words in given:
        assert squeezed(words) in got


def test_what_is_not_given_is_a_line_to_write_on():
    text = sheet_text(planned())
    assert re.search(r"AT ALARM CALL: local emergency service / coast guard: _{24}", text)
    assert re.search(r"Contact ashore: _{24}, _{24}", text)
    assert "write it in before they leave" in text
    page = words_of(sheet_pdf(planned()))
    assert "Number: write it in before they leave." in page
    assert "112" not in page.replace("58° ", "").split("People")[0]  # no number is guessed


def test_without_a_launch_the_times_are_lines_to_write_on():
    plan = planned(FULL, weather=False)
    text = sheet_text(plan)
    assert text.count("no launch proposed: write the times in") == 3
    assert text.count("ALARM  ________") == 3
    assert not re.search(r"\b\d\d:\d\d\b", text.split("ROUTE:")[0].replace("UTC+02:00", ""))
    pdf = sheet_pdf(plan)
    assert len(read(pdf).pages) == 1
    assert words_of(pdf).count("no launch proposed: write the times in") == 3
    card = words_of(card_pdf(plan))
    assert card.count("NOT PLANNED: no launch is proposed; write the times in") == 3
    for stage in sheet_document(plan)["stages"]:
        assert stage["alarm"] is None
        assert stage["call_in"] is None
        assert stage["verdict"] == "unknown"


@pytest.mark.parametrize(
    ("verdict", "binding", "words"),
    [
        (Verdict.BEYOND, "gust", "BEYOND: gusts"),
        (Verdict.UNKNOWN, "current", "UNKNOWN: current"),
        (Verdict.CLOSE, "headwind", "CLOSE: headwind"),
    ],
)
def test_a_verdict_that_is_not_within_is_said(verdict, binding, words):
    plan = full()
    first = replace(plan.sheet.stages[0], verdict=verdict, binding=binding, picked=True)
    plan = replace(plan, sheet=replace(plan.sheet, stages=(first, *plan.sheet.stages[1:])))
    assert f"{words}; launch picked by the group" in sheet_text(plan)
    assert f"{words} (launch picked by the group)" in words_of(card_pdf(plan))
    if verdict is not Verdict.CLOSE:
        assert words in words_of(sheet_pdf(plan))


def test_markup_in_names_is_text():
    plan = named(*HOSTILE)
    card = card_pdf(plan)
    assert len(read(card).pages) == 3
    for got in map(squeezed, (words_of(sheet_pdf(plan)), words_of(card), sheet_text(plan))):
        assert "root:" not in got
        for name in HOSTILE:
            assert squeezed(name) in got


def test_control_and_direction_characters_are_gone():
    plan = named(UNSEEN)
    for text in (sheet_text(plan), words_of(sheet_pdf(plan)), words_of(card_pdf(plan))):
        assert "abcdef" in text
        assert not set(text) & {"\u202e", "\u2066", "\x00", "\x07", "\x1b"}


def test_names_in_scripts_of_our_font_are_set():
    names = ("Мария Иванова", "Ελένη", "Łukasz Żółć", "Þórður", "Հայկ", "ქეთი")
    got = words_of(sheet_pdf(named(*names)))
    for name in names:
        assert squeezed(name) in squeezed(got)
    assert "[U+" not in got


def test_arabic_is_set_joined_and_found_again():
    got = words_of(sheet_pdf(named("محمد الأحمد")))
    assert "محمد" in got
    assert "[U+" not in got


def test_letters_without_a_font_are_written_as_codes_and_said():
    """A private plane that no font of a machine covers stands for a script without a font."""
    lost = set()
    assert without_missing("张伟 (Wei)", lost, have=frozenset()) == "[U+5F20 U+4F1F] (Wei)"
    assert lost == {"张", "伟"}
    assert without_missing("张伟", set(), have=frozenset(map(ord, "张伟"))) == "张伟"
    assert without_missing("Åsa – Bo", set(), have=frozenset()) == "Åsa – Bo"
    many = without_missing("山" * 9, set(), have=frozenset())
    assert many == f"[{' '.join(['U+5C71'] * 6)} and 3 more]"


def test_a_name_that_no_font_has_does_not_vanish():
    name = "\U00012000\U00012001 Ur"  # cuneiform; no font of this package has it
    lost = set()
    shown = without_missing(name, lost)
    plan = named(name)
    for pdf in (sheet_pdf(plan), card_pdf(plan)):
        got = words_of(pdf)
        assert squeezed(shown) in squeezed(got)
        assert (squeezed(MISSING) in squeezed(got)) == bool(lost)
    assert name in sheet_text(plan)


def test_twelve_people_stay_on_one_page():
    names = tuple(f"Person Number{i} Longersurname" for i in range(12))
    ashore = Ashore(
        people=names,
        phones={n: f"+46 70 174 06 {i + 5:02d}" for i, n in enumerate(names)},
        colours=dict.fromkeys(names, "touring board, yellow deck"),
    )
    pdf = sheet_pdf(planned(ashore))
    assert len(read(pdf).pages) == 1
    got = squeezed(words_of(pdf))
    for name in names:
        assert squeezed(name) in got
    assert squeezed("12 people") in got
    assert "page1of" not in got


def test_what_does_not_fit_goes_to_a_second_page_that_says_so():
    names = tuple(f"Person Number{i} {'von und zu Hohenlohe ' * 4}" for i in range(12))
    ashore = Ashore(
        people=tuple(" ".join(n.split()) for n in names),
        colours={" ".join(n.split()): "board with a very long description " * 5 for n in names},
    )
    pages = [page.extract_text() for page in read(sheet_pdf(planned(ashore))).pages]
    assert len(pages) >= 2
    for i, text in enumerate(pages, 1):
        assert f"page{i}of{len(pages)}" in squeezed(text)
        assert squeezed("INVENTED DATA") in squeezed(text)
    whole = squeezed(" ".join(pages))
    for i in range(12):
        assert f"PersonNumber{i}vonundzu" in whole
    assert squeezed("End landing") in whole


def test_a_long_word_does_not_run_off_the_page():
    plan = planned(Ashore(note="x" * 200, people=("y" * 150,)))
    got = squeezed(words_of(sheet_pdf(plan)))
    assert "x" * 200 in got
    assert "y" * 150 in got


def test_the_group_of_the_trip_is_named():
    group = Group(people=(Person("Cleo"), Person("Dara")))
    got = words_of(sheet_pdf(planned(group=group)))
    assert "Cleo" in got
    assert "Dara" in got
    assert "2 people" in got


def test_the_card_has_a_page_a_stage_of_a5():
    plan = full()
    pages = read(full_pdf(card_pdf)).pages
    assert len(pages) == 3
    for page, stage, document in zip(
        pages, plan.sheet.stages, sheet_document(plan)["stages"], strict=True
    ):
        assert size_mm(page) == pytest.approx(A5_MM, abs=0.1)
        text = squeezed(page.extract_text())
        assert squeezed(f"{stage.start.name} – {stage.end.name}") in text
        assert squeezed("INVENTED DATA") in text
        assert "00000" in text
        for leg in stage.legs:
            assert f"{round(leg.course_deg) % 360:03d}°{leg.length_m / 1000:.1f}km" in text
        for leg in document["legs"]:
            assert squeezed(leg["end"]["name"]) in text
            assert squeezed(leg["landing"]["name"]) in text
            if leg["go_on_until"]:
                utc = leg["go_on_until"][11:16]
                assert f"{(int(utc[:2]) + 2) % 24:02d}{utc[2:]}" in text


def test_the_card_says_which_leg_lies_on_land():
    plan = full()
    stage = plan.sheet.stages[0]
    dry = replace(stage.legs[0], land_m=1234.0)
    stages = (replace(stage, legs=(dry, *stage.legs[1:])), *plan.sheet.stages[1:])
    pages = read(card_pdf(replace(plan, sheet=replace(plan.sheet, stages=stages)))).pages
    assert squeezed("Inner sound · 1.2 km ON LAND") in squeezed(pages[0].extract_text())
    assert "ONLAND" not in squeezed(pages[1].extract_text())
    assert "ONLAND" not in squeezed(read(full_pdf(card_pdf)).pages[0].extract_text())


def test_a_stage_of_many_legs_runs_on_and_keeps_its_map():
    plan = full()
    stage = plan.sheet.stages[1]
    many = replace(stage, legs=stage.legs * 5)
    long = replace(plan, sheet=replace(plan.sheet, stages=(many,)))
    pages = [page.extract_text() for page in read(card_pdf(long)).pages]
    assert len(pages) >= 3
    assert squeezed(f"page 1 of {len(pages)}") in squeezed(pages[0])
    assert "2km" in squeezed(pages[-1])  # the scale of the map


def test_text_keeps_to_its_width():
    lines = sheet_text(full()).splitlines()
    assert max(map(len, lines)) <= 78
    assert lines[0] == f"** {INVENTED} **"


def test_a_plan_that_is_not_invented_does_not_say_so():
    plan = replace(full(), invented=False)
    assert "INVENTED" not in sheet_text(plan)
    assert "INVENTED" not in words_of(sheet_pdf(plan))
    assert "INVENTED" not in words_of(card_pdf(plan))


def test_an_alarm_on_the_next_day_names_the_day():
    """The demo's first stage is ashore on Monday 13 July; 14 h and more later it is Tuesday."""
    plan = planned(Ashore(alarm_s=14 * 3600.0))
    alarm = np.datetime64(sheet_document(plan)["stages"][0]["alarm"][:-1])
    local = str(alarm + np.timedelta64(2, "h"))
    assert local.startswith("2026-07-14")
    words = f"{local[11:16]} Tue 14 Jul"
    assert f"ALARM  {words} (" in sheet_text(plan)
    assert squeezed(words) in squeezed(words_of(sheet_pdf(plan)))
    assert squeezed(words) in squeezed(words_of(card_pdf(plan)))


def test_warnings_come_first():
    plan = replace(full(), warnings=("The forecast is 30 h old.",))
    words = "WARNING: The forecast is 30 h old."
    assert sheet_text(plan).index(words) < sheet_text(plan).index("AT ALARM")
    assert words in words_of(sheet_pdf(plan))
    assert words_of(card_pdf(plan)).count(words) == 3


def test_the_document_is_plain_and_agrees_with_the_plan():
    plan = full()
    document = sheet_document(plan)
    assert document["emergency_phone"] == "00 000"
    assert document["emergency_service"] is None
    assert document["people"][1] == {
        "name": "Bo", "colours": "touring board, orange", "phone": "+46 70 174 06 11",
        "medical": "asthma, inhaler",
    }  # fmt: skip
    assert document["alarm"] == document["stages"][-1]["alarm"]
    for stage, source in zip(document["stages"], plan.stages, strict=True):
        assert np.datetime64(stage["launch"][:-1]) == source.day.launch
        assert [leg["leg"] for leg in stage["legs"]] == [leg.number for leg in source.stage.legs]


def test_a_plan_without_a_sheet_has_none():
    plan = replace(demo_plan(), sheet=None)
    assert sheet_document(plan) is None
    for build in (sheet_text, sheet_pdf, card_pdf):
        with pytest.raises(InputError, match="this plan has no trip sheet"):
            build(plan)


def test_the_same_plan_gives_the_same_bytes():
    plan = full()
    assert sheet_pdf(plan) == full_pdf(sheet_pdf)
    assert card_pdf(plan) == full_pdf(card_pdf)


def test_importing_the_module_loads_nothing_heavy():
    code = (
        "import sys, routeplan.sheet; "
        "print([m for m in ('typst', 'matplotlib', 'xarray', 'fontTools') if m in sys.modules])"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"


def test_a_route_without_end_is_cut_and_says_so():
    plan = full()
    first = plan.sheet.stages[0]
    stages = (replace(first, legs=first.legs * 130),)
    sheet = read(sheet_pdf(replace(plan, sheet=replace(plan.sheet, stages=stages))))
    last = squeezed(" ".join(page.extract_text() for page in sheet.pages[-2:]))
    assert squeezed("21 more places: see route.gpx") in last  # 520 legs and the start, less 500
    assert squeezed(f"page {len(sheet.pages)} of {len(sheet.pages)}") in last
    card = read(card_pdf(replace(plan, sheet=replace(plan.sheet, stages=stages))))
    words = squeezed(" ".join(page.extract_text() for page in card.pages))
    assert squeezed("480 more legs: see the sheet") in words


def test_stages_without_end_are_counted_on_the_card():
    plan = full()
    first = plan.sheet.stages[0]
    stages = (replace(first, legs=first.legs[:1]),) * 32
    card = read(card_pdf(replace(plan, sheet=replace(plan.sheet, stages=stages))))
    assert len(card.pages) in (30, 31)
    assert squeezed("2 more stages are not on this card") in squeezed(card.pages[-1].extract_text())
