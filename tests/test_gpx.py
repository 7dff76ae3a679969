"""GPX in and out: what is read, what is refused and in which words."""

import os
import re
import stat
import time
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

import routeplan._line.gpxparse
import routeplan.gpx
from routeplan._line.gpxparse import clean_text
from routeplan.errors import GPXError, InputError
from routeplan.geodesy import direct, inverse
from routeplan.gpx import list_routes, read_gpx, write_gpx
from routeplan.route import Waypoint, is_camp, route_from_points, route_from_track

GPX11 = "http://www.topografix.com/GPX/1/1"
GPX10 = "http://www.topografix.com/GPX/1/0"
POINTS = (
    '<rtept lat="58" lon="11"><name>Quay</name></rtept>\n'
    '<rtept lat="58.05" lon="11.1"><name>Beach</name></rtept>\n'
)


def gpx(body, version="1.1", namespace=GPX11, encoding="UTF-8"):
    xmlns = f' xmlns="{namespace}"' if namespace else ""
    return (
        f'<?xml version="1.0" encoding="{encoding}"?>\n'
        f'<gpx version="{version}" creator="test"{xmlns}>\n{body}</gpx>\n'
    )


def rte(points=POINTS, name="Out"):
    return f"<rte><name>{name}</name>\n{points}</rte>\n"


def trk(*segments, name="Log"):
    parts = "".join(
        "<trkseg>" + "".join(f'<trkpt lat="{lat}" lon="{lon}"/>\n' for lon, lat in rows)
        + "</trkseg>\n"
        for rows in segments
    )  # fmt: skip
    return f"<trk><name>{name}</name>{parts}</trk>\n"


@pytest.fixture
def write(tmp_path):
    def writer(content, name="trip.gpx"):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    return writer


def refusal(path, **options):
    """The one line with which a file is refused; it names the file."""
    with pytest.raises(GPXError, match=r".") as caught:
        read_gpx(path, **options)
    message = str(caught.value)
    assert "\n" not in message
    assert path.name in message
    assert caught.value.path == path
    return message


def names(route):
    return [point.name for point in route.points]


# --- what is read ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("version", "namespace"), [("1.1", GPX11), ("1.0", GPX10), ("1.1", ""), ("1.1", GPX11 + "/")]
)
def test_both_versions_are_read_and_a_missing_namespace_is_tolerated(write, version, namespace):
    route = read_gpx(write(gpx(rte(), version, namespace)))
    assert names(route) == ["Quay", "Beach"]
    assert route.name == "Out"
    assert route.origin == "route"
    assert route.source.endswith("trip.gpx")


def test_prefixed_elements_are_read(write):
    text = (
        f'<g:gpx version="1.1" creator="t" xmlns:g="{GPX11}"><g:rte><g:name>Out</g:name>'
        '<g:rtept lat="58" lon="11"/><g:rtept lat="58.1" lon="11"/></g:rte></g:gpx>'
    )
    assert read_gpx(write(text)).name == "Out"


def test_waypoints_keep_words_and_elevation(write):
    wpt = (
        '<wpt lat="58.02" lon="11.04"><ele>3.5</ele><time>2026-06-01T10:00:00Z</time>'
        "<name>Otter</name><cmt>sandy</cmt><desc>Lee of the knob</desc><sym>Campground</sym>"
        "<type>camp</type></wpt>"
        '<wpt lat="58.3" lon="11.3"><ele>high</ele></wpt>'
    )
    route = read_gpx(write(gpx(wpt + rte())))
    assert route.waypoints == (
        Waypoint(58.02, 11.04, "Otter", "camp", "Campground", 3.5, "Lee of the knob; sandy"),
        Waypoint(58.3, 11.3),
    )


def test_times_extensions_and_foreign_elements_are_tolerated(write):
    points = (
        '<rtept lat="58" lon="11"><ele>0</ele><time>not a time</time><name>Quay</name>'
        '<extensions><x:depth xmlns:x="urn:x">4</x:depth><name>Wrong</name></extensions></rtept>'
        '<x:rtept xmlns:x="urn:x" lat="99" lon="999"/>'
        '<rtept lat="58.05" lon="11.1" hint="a"><name>Beach</name></rtept>'
        '<extensions><rtept lat="99" lon="999"/></extensions>'
    )
    body = "<metadata><name>All</name><extensions/></metadata>" + rte(points) + "<unknown/>"
    assert names(read_gpx(write(gpx(body)))) == ["Quay", "Beach"]


def test_times_in_a_line_are_told_once_to_be_of_no_use(write):
    stamp = "<ele>2</ele><time>2026-06-01T10:00:00Z</time>"
    points = "".join(f'<trkpt lat="58" lon="{11 + i / 1000}">{stamp}</trkpt>' for i in range(50))
    track = f"<trk><name>Log</name><trkseg>{points}</trkseg></trk>"
    notes = [n for n in read_gpx(write(gpx(track))).notes if "times" in n]
    assert notes == [
        "The times in the track are not used: launches and speed come from this plan, not from "
        "the file."
    ]
    # Those of waypoints, of the file and of other lines say nothing about this one.
    wpt = '<wpt lat="58" lon="11"><time>2026-06-01T10:00:00Z</time></wpt>'
    meta = "<metadata><time>2026-06-01T10:00:00Z</time></metadata>"
    body = meta + wpt + rte() + track
    assert not any("times" in n for n in read_gpx(write(gpx(body)), select="Out").notes)
    timed = read_gpx(write(gpx(rte(POINTS.replace("<name>Quay", "<time>10:00</time><name>Quay")))))
    assert any(note.startswith("The times in the route are not used") for note in timed.notes)


def test_a_track_of_several_segments_is_cut_into_legs(write):
    first = [(11 + i / 1000, 58) for i in range(50)]
    second = [(11.06, 58 + i / 1000) for i in range(50)]
    wpt = '<wpt lat="58.02" lon="11.061"><name>Knob</name></wpt>'
    route = read_gpx(write(gpx(wpt + trk(first, [], second))))
    assert route.origin == "track"
    assert route.name == "Log"
    assert "Knob" in names(route)
    assert len(route.legs) >= 3
    assert any(note.startswith("a gap of ") for note in route.notes)


def test_a_camp_waypoint_beside_the_route_ends_a_stage(write):
    wpt = '<wpt lat="58.025" lon="11.051"><name>Camp Otter</name></wpt>'
    route = read_gpx(write(gpx(wpt + rte())))
    assert names(route) == ["Quay", "Camp Otter", "Beach"]
    assert len(route.stages) == 2


def test_the_file_gives_its_name_to_the_only_line(write):
    body = POINTS.join(["<rte>", "</rte>"])
    assert read_gpx(write(gpx(body), "inner sound.gpx")).name == "inner sound"
    assert read_gpx(write(gpx("<metadata><name>Ours</name></metadata>" + body))).name == "Ours"
    assert read_gpx(write(gpx("<name>Old</name>" + body, "1.0", GPX10))).name == "Old"


# --- encodings -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("declared", "codec"),
    [
        ("UTF-8", "utf-8"),
        ("UTF-8", "utf-8-sig"),
        ("UTF-16", "utf-16"),
        ("UTF-16LE", "utf-16-le"),
        ("ISO-8859-1", "iso-8859-1"),
        ("windows-1252", "windows-1252"),
        ("iso-8859-15", "iso-8859-15"),
        ("ibm850", "cp850"),
    ],
)
def test_declared_encodings_are_read(write, declared, codec):
    text = gpx(rte(name="Väderöarna"), encoding=declared)
    assert read_gpx(write(text.encode(codec))).name == "Väderöarna"


def test_without_a_declaration_the_text_is_utf8(write):
    text = gpx(rte(name="Väderöarna")).split("\n", 1)[1]
    assert read_gpx(write(text)).name == "Väderöarna"
    assert read_gpx(write(b"\xef\xbb\xbf" + text.encode())).name == "Väderöarna"


def test_bytes_that_are_not_utf8_are_named_with_their_line(write):
    text = gpx(rte(name="Väderöarna")).encode("iso-8859-1")
    assert refusal(write(text)).endswith(
        "trip.gpx, line 3: text is not UTF-8 and no other encoding is declared; declare it in "
        "the first line, or save the file as UTF-8"
    )


@pytest.mark.parametrize("declared", ["shift_jis", "klingon", "rot13", "utf-7", "idna", "gb18030"])
def test_encodings_that_are_not_allowed_are_named(write, declared):
    message = refusal(write(gpx(rte(), encoding=declared)))
    assert re.search(r"line 1: .*encoding.*", message)


# --- choosing --------------------------------------------------------------------------------


@pytest.fixture
def several(write):
    row = [(11, 58), (11.1, 58)]
    body = (
        trk(row, name="Log")
        + rte(name="Inner")
        + "<rte><name>empty</name></rte>"
        + rte(name="inner")
        + f"<rte>{POINTS}</rte>"
        + rte(name="Twice")
        + rte(name="Twice")
        + trk(row, name="2")
    )
    return write(gpx(body))


def test_routes_come_before_tracks_and_all_have_names(several):
    assert list_routes(several) == (
        "Inner", "inner", "route 3", "Twice", "Twice", "Log", "2",
    )  # fmt: skip


def test_several_lines_are_listed_in_one_line(several):
    assert refusal(several).endswith(
        "trip.gpx holds 7 routes and tracks; choose one by number or name: "
        '1 "Inner" (route, 2 points), 2 "inner" (route, 2 points), 3 "route 3" (route, 2 points), '
        '4 "Twice" (route, 2 points), 5 "Twice" (route, 2 points), 6 "Log" (track, 2 points), '
        '7 "2" (track, 2 points)'
    )


@pytest.mark.parametrize(
    ("select", "name", "origin"),
    [
        (1, "Inner", "route"),
        ("1", "Inner", "route"),
        ("Inner", "Inner", "route"),
        ("inner", "inner", "route"),
        ("LOG", "Log", "track"),
        (" log ", "Log", "track"),
        ("route 3", "route 3", "route"),
        (4, "Twice", "route"),
        (2, "inner", "route"),
        ("2", "2", "track"),  # a name goes before a number
        (7, "2", "track"),
    ],
)
def test_a_line_is_chosen_by_number_or_name(several, select, name, origin):
    route = read_gpx(several, select=select)
    assert (route.name, route.origin) == (name, origin)


@pytest.mark.parametrize("select", [0, 8, -1, "8", "Outer", "", "²", True, "1" * 5000])
def test_a_choice_that_is_not_there_is_refused_with_the_list(several, select):
    message = refusal(several, select=select)
    assert "holds no route or track " in message
    assert 'choose one by number or name: 1 "Inner"' in message


@pytest.mark.parametrize("select", ["Twice", "INNER"])
def test_a_name_that_fits_two_lines_is_refused(several, select):
    assert f"holds 2 routes or tracks called {select!r}" in refusal(several, select=select)


def test_a_wrong_choice_is_refused_even_with_one_line(write):
    assert "holds no route or track 'Log'" in refusal(write(gpx(rte())), select="Log")


def test_a_long_list_is_cut(write):
    message = refusal(write(gpx("".join(rte(name=f"R{i}") for i in range(60)))))
    assert message.endswith('20 "R19" (route, 2 points), and 40 more')


# --- bad input -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", r"trip\.gpx is empty; a GPX file is needed"),
        (b" \n\t\n", r"trip\.gpx is empty"),
        (b"\xef\xbb\xbf", r"trip\.gpx is empty"),
        (b"latitude,longitude\n58,11\n", r"is not XML \(line 1: syntax error\)"),
        (b"\x89PNG\r\n\x1a\n\x00\x00", r"is not XML \(line 1: "),
        (b"PK\x03\x04" + bytes(40), r"is not XML \(line 1: "),
        (b"\x00" * 100, r"is not XML \(line 1: "),
        (b'{"type": "FeatureCollection"}', r"is not XML"),
    ],
)
def test_what_is_no_xml_is_refused(write, content, words):
    assert re.search(words, refusal(write(content)))


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ('<kml xmlns="http://www.opengis.net/kml/2.2"/>', r"line 1: .* begins with <kml>"),
        ("<html><body>Not found</body></html>", r"begins with <html>, so it is not GPX"),
        ('<gpx xmlns="urn:other"/>', r"line 1: namespace urn:other is not that of GPX 1\.0"),
    ],
)
def test_other_xml_is_refused(write, content, words):
    assert re.search(words, refusal(write(content)))


def test_an_entity_bomb_is_refused_before_it_goes_off(write):
    entities = '<!ENTITY a "aaaaaaaaaa">' + "".join(
        f'<!ENTITY {chr(98 + i)} "{("&" + chr(97 + i) + ";") * 10}">' for i in range(20)
    )
    body = f'<!DOCTYPE gpx [{entities}]><gpx xmlns="{GPX11}"><rte><name>&u;</name></rte></gpx>'
    begun = time.perf_counter()
    message = refusal(write('<?xml version="1.0"?>\n' + body))
    assert time.perf_counter() - begun < 1
    assert message.endswith(
        "line 2: document type declarations and entities are not allowed in a GPX file"
    )


@pytest.mark.parametrize(
    "declaration",
    [
        '<!DOCTYPE gpx [<!ENTITY file SYSTEM "file:///etc/hostname">]>',
        '<!DOCTYPE gpx SYSTEM "http://localhost/gpx.dtd">',
        "<!DOCTYPE gpx>",
    ],
)
def test_outside_references_are_refused(write, declaration):
    text = f'{declaration}<gpx xmlns="{GPX11}"><rte><name>&file;</name></rte></gpx>'
    assert "declarations and entities are not allowed" in refusal(write(text))


def test_a_truncated_file_is_refused_wherever_it_ends(write):
    whole = gpx("<rte><desc><![CDATA[all]]></desc></rte>" + rte(name="Öut"))
    data = whole.encode()
    assert read_gpx(write(data)).name == "Öut"
    for end in range(45, len(data) - len("</gpx>\n") + 5):
        message = refusal(write(data[:end]))
        assert "the file ends too early; it is not complete" in message or (
            "is not XML" in message and end < data.index(b"<rte>")
        ), (end, message)


def test_two_routes_pasted_together_are_refused(write):
    assert "line 8: not well-formed XML" in refusal(write(gpx(rte()) + "<gpx></gpx>"))


def test_tags_that_do_not_match_are_refused_with_the_line(write):
    text = gpx(rte()).replace("</rte>", "</trk>")
    assert "line 6: not well-formed XML (mismatched tag)" in refusal(write(text))


@pytest.mark.parametrize(
    ("attributes", "words"),
    [
        ('lat="91.2" lon="11"', r"latitude 91\.2 of a route point is outside -90\.\.90"),
        ('lat="-90.0001" lon="11"', r"latitude -90\.0001 of a route point is outside"),
        ('lat="58" lon="180.5"', r"longitude 180\.5 of a route point is outside -180\.\.180"),
        ('lat="58" lon="349"', r"longitude 349 of a route point is outside -180\.\.180"),
        ('lat="58" lon="1e300"', r"longitude 1e300 of a route point is outside"),
        ('lat="nan" lon="11"', r"latitude 'nan' of a route point is not a number; decimal deg"),
        ('lat="58" lon="inf"', r"longitude 'inf' of a route point is not a number"),
        ('lat="58" lon="-Infinity"', r"longitude '-Infinity' of a route point is not a number"),
        ('lat="58,5" lon="11"', r"latitude '58,5' of a route point is not a number"),
        ('lat="" lon="11"', r"latitude '' of a route point is not a number"),
        ('lat="5_8" lon="11"', r"latitude '5_8' of a route point is not a number"),
        ('lat="٥٨" lon="11"', r"latitude '٥٨' of a route point is not a number"),
        ('lat="58&#176;" lon="11"', r"latitude '58°' of a route point is not a number"),
        ('lat="58&#155;31m" lon="11"', r"latitude '5831m' of a route point is not a number"),
        (f'lat="{"5" * 5000}" lon="11"', r"latitude '5{39}…' of a route point is not a number"),
        ('lat="58"', r"a route point has no lon attribute; a longitude is needed"),
        ('lon="11"', r"a route point has no lat attribute; a latitude is needed"),
        ('LAT="58" LON="11"', r"a route point has no lat attribute"),
    ],
)
def test_positions_that_cannot_be_used_are_named_with_their_line(write, attributes, words):
    path = write(gpx(rte(POINTS + f"<rtept {attributes}/>\n")))
    assert re.search(r"trip\.gpx, line 6: " + words, refusal(path))


@pytest.mark.parametrize(
    ("body", "words"),
    [
        ('<wpt lat="95" lon="0"/>' + rte(), r"line 3: latitude 95 of a waypoint is outside"),
        (trk([(11, 58), (11, "nan")]), r"line 4: latitude 'nan' of a track point is not a"),
    ],
)
def test_waypoints_and_track_points_are_checked_too(write, body, words):
    assert re.search(words, refusal(write(gpx(body))))


def test_error_carries_line_and_field_for_programs(write):
    path = write(gpx(rte(POINTS + '<rtept lat="91.2" lon="11"/>')))
    with pytest.raises(GPXError, match=r"91\.2") as caught:
        read_gpx(path)
    assert caught.value.line == 6
    assert caught.value.field == "latitude"
    assert isinstance(caught.value, InputError)


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (rte('<rtept lat="58" lon="11"/>'), r"line 3: the route has only one point; at least two"),
        (trk([(11, 58)]), r"line 3: the track has only one point; at least two different"),
        (rte('<rtept lat="58" lon="11"/>' * 3), r"line 3: the route has no length, all its 3"),
        (trk([(11, 58)] * 4), r"line 3: the track has no length, all its 4 points are the same"),
        ("", r"holds no route or track with points, no points at all; one is needed"),
        ("<rte></rte><trk><trkseg/></trk>", r"holds no route or track with points"),
        ('<wpt lat="58" lon="11"/>', r"holds no route or track with points, only 1 waypoint;"),
        ('<wpt lat="58" lon="11"/>' * 3, r"no route or track with points, only 3 waypoints; one"),
    ],
)
def test_files_without_a_line_of_some_length_are_refused(write, body, words):
    assert re.search(words, refusal(write(gpx(body))))


def test_duplicate_points_are_tolerated_with_a_note(write):
    route = read_gpx(write(gpx(rte(POINTS.replace("\n", "\n" + '<rtept lat="58" lon="11"/>', 1)))))
    assert route.notes == ("1 duplicate point dropped",)
    assert names(route) == ["Quay", "Beach"]


def test_a_missing_file_is_refused(tmp_path):
    assert refusal(tmp_path / "none.gpx").endswith("none.gpx does not exist; a GPX file is needed")


def test_a_directory_is_refused(tmp_path):
    assert refusal(tmp_path).endswith("is a directory; a GPX file is needed")


def test_a_pipe_is_refused_instead_of_waiting_for_ever(tmp_path):
    os.mkfifo(tmp_path / "pipe.gpx")
    assert "is not a regular file" in refusal(tmp_path / "pipe.gpx")


def test_names_that_no_file_can_have_are_refused(tmp_path):
    with pytest.raises(GPXError, match=r"cannot be read: .*null|does not exist"):
        read_gpx("a\0b.gpx")
    with pytest.raises(GPXError, match=r"cannot be read: File name too long"):
        read_gpx(tmp_path / ("a" * 5000))


def test_the_name_of_a_file_cannot_send_codes_to_the_terminal(write):
    with pytest.raises(GPXError, match=r"a\[31m b\.gpx is empty") as caught:
        read_gpx(write("", "a\x1b[31m\nb.gpx"))
    assert "\x1b" not in str(caught.value)


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
def test_a_file_without_permission_is_refused(write):
    path = write(gpx(rte()))
    path.chmod(0)
    assert "cannot be read: Permission denied" in refusal(path)


# --- limits ----------------------------------------------------------------------------------


def test_a_file_too_large_is_refused(write, monkeypatch):
    monkeypatch.setattr(routeplan.gpx, "_MAX_BYTES", 2_000_000)
    path = write(gpx(rte()) + " " * 2_000_000)
    assert refusal(path).endswith("trip.gpx is larger than 2 MB, which is not allowed")


def test_the_limit_of_size_is_50_megabytes():
    assert routeplan.gpx._MAX_BYTES == 50_000_000


@pytest.mark.parametrize(
    ("limit", "body", "words"),
    [
        ("MAX_POINTS", trk([(11, 58)] * 12), r"line \d+: more than 9 points are not allowed"),
        ("MAX_LINES", "<rte/>" * 12, r"holds no route"),
        ("MAX_LINES", rte() * 12, r"more than 9 routes and tracks are not allowed"),
        ("MAX_WAYPOINTS", '<wpt lat="1" lon="1"/>' * 12, r"more than 9 waypoints are not allow"),
    ],
)
def test_counts_are_limited(write, monkeypatch, limit, body, words):
    monkeypatch.setattr(routeplan._line.gpxparse, limit, 9)
    assert re.search(words, refusal(write(gpx(body))))


def test_depth_is_limited(write):
    deep = "<extensions>" + "<a>" * 200 + "</a>" * 200 + "</extensions>"
    assert "nested deeper than 100" in refusal(write(gpx(deep + rte())))
    fair = "<extensions>" + "<a>" * 50 + "</a>" * 50 + "</extensions>"
    assert names(read_gpx(write(gpx(fair + rte())))) == ["Quay", "Beach"]


def test_a_name_of_megabytes_is_cut(write):
    route = read_gpx(write(gpx(rte(name="ab" * 1_000_000))))
    assert len(route.name) == 120
    assert route.name.endswith("ba…")


# --- text from strangers ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("written", "read"),
    [
        ("  two\n\t words ", "two words"),
        ("red &#155;31m", "red 31m"),  # C1 control sequence introducer
        ("a&#127;b", "ab"),
        ("a\u202eb\u2066c", "abc"),  # turned direction of writing
        ("a\u2028b", "a b"),
        ("a\ufeffb", "ab"),
        ("\u0646\u0645\u06cc\u200c\u062f\u0627", "\u0646\u0645\u06cc\u200c\u062f\u0627"),
        ("Väder &amp; &lt;vind&gt;", "Väder & <vind>"),
        ("<![CDATA[<b>bold</b>]]>", "<b>bold</b>"),
        ("one<!-- hidden --> name", "one name"),
    ],
)  # fmt: skip
def test_names_are_made_safe_to_show(write, written, read):
    assert read_gpx(write(gpx(rte(name=written)))).name == read


def test_text_inside_a_name_does_not_leak_into_it(write):
    assert read_gpx(write(gpx(rte(name="in<b>n</b>er")))).name == "iner"


# --- writing ---------------------------------------------------------------------------------


def same(one, other):
    """Whether two routes have the same legs, to the last bit, and the same places."""
    assert other.name == one.name
    assert other.waypoints == one.waypoints
    assert [(point.name, is_camp(point)) for point in other.points] == [
        (point.name, is_camp(point)) for point in one.points
    ]
    for leg, again in zip(one.legs, other.legs, strict=True):
        assert again.longitude.tolist() == leg.longitude.tolist()
        assert again.latitude.tolist() == leg.latitude.tolist()
        assert (again.stage, again.length_m) == (leg.stage, leg.length_m)
    return True


def demo_route():
    return route_from_points(
        [
            Waypoint(58, 11, "Quay & <pier>", note="north end"),
            Waypoint(58.01, 11.02),
            Waypoint(58.0123456789012, 11.03, "Öresten", "camp", "Campground", 2.5),
            Waypoint(58.05, -0.00001, "Beach"),
        ],
        name="Out",
        waypoints=[
            Waypoint(58.025, 11.9, "Otter", kind="camp", elevation_m=1e-7),
            Waypoint(-33, 151),
        ],
    )


def test_what_is_written_reads_back_the_same(tmp_path):
    write_gpx(demo_route(), tmp_path / "out.gpx")
    assert same(demo_route(), read_gpx(tmp_path / "out.gpx"))


def test_a_track_with_camps_is_written_as_a_route_that_reads_back_the_same(tmp_path):
    row = [(11 + i / 500, 58 + 0.01 * (i % 20 > 10)) for i in range(100)]
    camp = Waypoint(58.001, 11.05, "Otter", kind="camp")
    route = route_from_track([row], [camp], name="Log")
    assert len(route.stages) == 2
    write_gpx(route, tmp_path / "out.gpx")
    assert same(route, read_gpx(tmp_path / "out.gpx"))


def test_one_leg_with_shape_reads_back_as_one_leg(tmp_path):
    route = route_from_track([[(11, 58), (11.01, 58.003), (11.02, 58)]], min_leg_m=5_000.0)
    assert (len(route.legs), len(route.longitude)) == (1, 3)
    write_gpx(route, tmp_path / "out.gpx")
    again = read_gpx(tmp_path / "out.gpx")
    assert (len(again.legs), len(again.longitude)) == (1, 3)


any_name = st.text(max_size=20).map(clean_text)


@st.composite
def lines_with_places(draw):
    """Points of a route anywhere on Earth, and places up to 300 m beside its pieces."""
    middle = draw(st.floats(-180, 180)), draw(st.floats(-80, 80))
    kinds = st.sampled_from(["", "", "camp", "harbour"])
    spread = st.tuples(st.floats(-0.1, 0.1), st.floats(-0.1, 0.1))
    line = [
        Waypoint(middle[1] + up, (middle[0] + along + 180) % 360 - 180, draw(any_name), draw(kinds))
        for along, up in draw(st.lists(spread, min_size=2, max_size=7))
    ]
    beside = []
    for _ in range(draw(st.integers(0, 3))):
        piece = draw(st.integers(0, len(line) - 2))
        ends = [(point.longitude, point.latitude) for point in line[piece : piece + 2]]
        course, length = inverse(*ends[0], *ends[1])
        foot = direct(*ends[0], course, length * draw(st.floats(0, 1)))
        lon, lat = direct(*foot, course + 90, draw(st.floats(-300, 300)))
        beside.append(Waypoint(float(lat), float(lon), draw(any_name), draw(kinds)))
    return line, beside


@settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(lines_with_places(), any_name.filter(bool))
def test_any_route_reads_back_the_same(tmp_path, places, name):
    try:
        route = route_from_points(places[0], name=name, waypoints=places[1])
    except InputError:
        assume(False)  # no length
    path = tmp_path / "any.gpx"
    write_gpx(route, path, overwrite=True)
    assert same(route, read_gpx(path))


@st.composite
def tracks_with_places(draw):
    """A track of straight parts anywhere on Earth, and places up to 300 m beside it."""
    row = [(draw(st.floats(-180, 180)), draw(st.floats(-80, 80)))]
    parts = st.tuples(st.floats(0, 360), st.floats(200, 9_000))
    for course, length in draw(st.lists(parts, min_size=1, max_size=6)):
        lon, lat = direct(*row[-1], course, np.arange(100, length, 100))
        row += zip(lon.tolist(), lat.tolist(), strict=True)
    beside = []
    for _ in range(draw(st.integers(0, 4))):
        lon, lat = direct(
            *draw(st.sampled_from(row)), *draw(st.tuples(st.floats(0, 360), st.floats(0, 300)))
        )
        kind = draw(st.sampled_from(["camp", "camp", "harbour"]))
        beside.append(Waypoint(float(lat), float(lon), draw(any_name), kind))
    return row, beside


@settings(
    max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(tracks_with_places())
def test_any_track_reads_back_as_the_same_route(tmp_path, places):
    row, beside = places
    assume(len(row) > 1)
    route = route_from_track([row], beside, name="Log")
    assert max(leg.length_m for leg in route.legs) <= 5_000 + 1e-6
    path = tmp_path / "any.gpx"
    write_gpx(route, path, overwrite=True)
    assert same(route, read_gpx(path))


def test_elements_follow_the_order_of_the_schema(tmp_path):
    # GPX 1.1 schema, wptType and gpxType: sequences, so their order is fixed
    # (https://www.topografix.com/GPX/1/1/gpx.xsd).
    order = ["ele", "name", "desc", "sym", "type"]
    write_gpx(demo_route(), tmp_path / "out.gpx")
    text = (tmp_path / "out.gpx").read_text(encoding="utf-8")
    assert text.startswith("<?xml version='1.0' encoding='UTF-8'?>\n<gpx version=\"1.1\"")
    assert text.index("<wpt") < text.index("<rte>") < text.index("<rtept")
    assert text.rindex("</wpt>") < text.index("<rte>")
    for part in re.findall(r"<(?:wpt|rtept) [^>]*[^/]>(.*?)</(?:wpt|rtept)>", text, re.DOTALL):
        found = re.findall(r"<(\w+)>", part)
        assert found == sorted(found, key=order.index)
    # xsd:decimal has no exponent.
    assert re.findall(r'(?:lat|lon)="([^"]*)"', text)
    assert all(
        re.fullmatch(r"-?\d+(\.\d+)?", number)
        for number in re.findall(r'(?:lat|lon)="([^"]*)"|<ele>(.*?)<', text)
        for number in number
        if number
    )


def test_control_codes_in_names_do_not_spoil_the_file(tmp_path):
    route = route_from_points(
        [Waypoint(58, 11, "a\x00\x1b[31mb\ud800"), Waypoint(58, 12, "\ufffe\uffff")], name="x\x07y"
    )
    write_gpx(route, tmp_path / "out.gpx")
    again = read_gpx(tmp_path / "out.gpx")
    assert names(again) == ["a[31mb", "point 2"]
    assert again.name == "xy"


def test_a_file_that_is_there_is_not_overwritten_unasked(tmp_path):
    path = tmp_path / "out.gpx"
    path.write_text("mine")
    with pytest.raises(GPXError, match=r"out\.gpx is there already and was not overwritten"):
        write_gpx(demo_route(), path)
    assert path.read_text() == "mine"
    write_gpx(demo_route(), path, overwrite=True)
    assert read_gpx(path).name == "Out"
    assert [entry.name for entry in tmp_path.iterdir()] == ["out.gpx"]


def test_a_broken_link_is_not_overwritten_unasked(tmp_path):
    (tmp_path / "out.gpx").symlink_to(tmp_path / "nowhere")
    with pytest.raises(GPXError, match="is there already"):
        write_gpx(demo_route(), tmp_path / "out.gpx")


def test_nothing_is_left_when_writing_fails(tmp_path, monkeypatch):
    def fail(_):
        raise OSError(28, "No space left on device")

    path = tmp_path / "out.gpx"
    path.write_text("mine")
    monkeypatch.setattr(os, "fsync", fail)
    with pytest.raises(GPXError, match=r"out\.gpx cannot be written: No space left on device"):
        write_gpx(demo_route(), path, overwrite=True)
    assert path.read_text() == "mine"
    assert [entry.name for entry in tmp_path.iterdir()] == ["out.gpx"]


def test_the_old_file_stays_until_the_new_one_is_whole(tmp_path, monkeypatch):
    path = tmp_path / "out.gpx"
    path.write_text("mine")
    seen = []

    def fail(self, target):
        seen.append((path.read_text(), self.read_bytes()[-7:], target))
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(Path, "replace", fail)
    with pytest.raises(GPXError, match=r"out\.gpx cannot be written: Input/output error"):
        write_gpx(demo_route(), path, overwrite=True)
    assert seen == [("mine", b"</gpx>\n", path)]
    assert path.read_text() == "mine"
    assert [entry.name for entry in tmp_path.iterdir()] == ["out.gpx"]


def test_places_that_cannot_be_written_are_refused(tmp_path):
    with pytest.raises(GPXError, match=r"is a directory; a file name is needed"):
        write_gpx(demo_route(), tmp_path)
    with pytest.raises(GPXError, match=r"cannot be written: No such file or directory"):
        write_gpx(demo_route(), tmp_path / "none" / "out.gpx")


def test_a_written_file_has_the_usual_permissions(tmp_path):
    (tmp_path / "plain").write_text("")
    write_gpx(demo_route(), tmp_path / "out.gpx")
    modes = [stat.S_IMODE((tmp_path / name).stat().st_mode) for name in ("plain", "out.gpx")]
    assert modes[0] == modes[1]
