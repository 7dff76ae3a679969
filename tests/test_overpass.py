"""Answers of the Overpass protocol, good and bad, and what is asked."""

import json

import numpy as np
import pytest

from routeplan._osm.overpass import query, read_answer
from routeplan._shore.coastbox import Box

BOX = Box(10.0, 58.0, 11.0, 59.0)


def answer(*elements, **more):
    head = {"version": 0.6, "osm3s": {"timestamp_osm_base": "2026-11-20T06:00:00Z"}}
    return json.dumps({**head, **more, "elements": list(elements)}).encode()


def node(number, lon=10.5, lat=58.5):
    return {"type": "node", "id": number, "lat": lat, "lon": lon}


def way(number, nodes, **tags):
    return {"type": "way", "id": number, "nodes": nodes, "tags": tags}


def relation(number, members, **tags):
    found = [{"type": "way", "ref": ref, "role": role} for ref, role in members]
    tags = {"type": "multipolygon", "natural": "water", **tags}
    return {"type": "relation", "id": number, "members": found, "tags": tags}


LINE = [node(1, 10.1, 58.1), node(2, 10.2, 58.1), node(3, 10.2, 58.2), node(4, 10.1, 58.2)]
RING = [1, 2, 3, 4, 1]


def read(*elements, **more):
    return read_answer(answer(*elements, **more), BOX)


def test_query_names_the_box_south_first():
    text = query(BOX)
    assert text.startswith("[out:json][timeout:180][maxsize:")
    frame = "(58.00000000,10.00000000,59.00000000,11.00000000);"
    assert f'way["natural"="coastline"]{frame}' in text
    assert f'relation["type"="multipolygon"]["natural"="water"]{frame}' in text
    assert f'way["waterway"="riverbank"]{frame}' in text
    assert text.endswith(";);out body;>;out skel qt;")
    assert "bay" not in text


def test_query_across_the_antimeridian_asks_for_two_boxes():
    text = query(Box(179.0, -17.0, 181.5, -16.0))
    assert (
        'way["natural"="coastline"](-17.00000000,179.00000000,-16.00000000,180.00000000);' in text
    )
    assert (
        'way["natural"="coastline"](-17.00000000,-180.00000000,-16.00000000,-178.50000000);' in text
    )


def test_coast_and_lakes_come_out():
    got = read(
        *LINE,
        way(10, [1, 2, 3], natural="coastline"),
        way(11, RING, natural="water", name="Tarn"),
        way(12, [1, 2], highway="path"),
    )
    assert [piece.tolist() for piece in got.coast] == [[[10.1, 58.1], [10.2, 58.1], [10.2, 58.2]]]
    assert [area.name for area in got.water] == ["water area Tarn (way 11)"]
    assert got.date == "2026-11-20T06:00:00Z"
    assert got.notes == []


def test_way_that_comes_again_without_tags_keeps_them():
    again = {"type": "way", "id": 10, "nodes": [1, 2, 3]}
    got = read(*LINE, way(10, [1, 2, 3], natural="coastline"), again)
    assert len(got.coast) == 1


def test_longitudes_are_unrolled_to_the_box():
    box = Box(179.0, 58.0, 181.0, 59.0)
    raw = answer(
        node(1, 179.9), node(2, -180.0), node(3, -179.9), way(9, [1, 2, 3], natural="coastline")
    )
    (piece,) = read_answer(raw, box).coast
    assert piece[:, 0].tolist() == pytest.approx([179.9, 180.0, 180.1])


def test_way_with_missing_nodes_is_split_there():
    got = read(*LINE, way(10, [1, 2, 99, 98, 3, 4, 97], natural="coastline"))
    assert [len(piece) for piece in got.coast] == [2, 2]
    assert got.notes == ["ways that name nodes which are not there, split at them: 1"]


def test_outline_of_a_relation_is_not_an_area_of_its_own():
    inner = [node(5, 10.12, 58.12), node(6, 10.14, 58.12), node(7, 10.14, 58.14)]
    got = read(
        *LINE,
        *inner,
        way(11, RING, natural="water"),
        way(12, [5, 6, 7, 5], natural="water"),
        relation(20, [(11, "outer"), (12, "inner")], name="Mere"),
    )
    assert [area.name for area in got.water] == [
        "water area Mere (relation 20)",
        "water area (way 12)",
    ]
    assert len(got.water[0].ways) == 2


def test_hidden_water_and_lines_tagged_as_water_are_left_out():
    got = read(
        *LINE,
        way(11, RING, natural="water", covered="yes"),
        way(12, [1, 2, 3], natural="water"),
        way(13, RING, landuse="reservoir", location="underground"),
    )
    assert got.water == []
    assert got.notes == ["ways tagged as water that are no areas, left out: 1"]


def test_empty_answer_is_an_answer():
    got = read()
    assert (got.coast, got.water, got.notes) == ([], [], [])


@pytest.mark.parametrize(
    "remark",
    [
        'runtime error: Query timed out in "query" at line 2 after 181 seconds.',
        'runtime error: Query run out of memory in "recurse" at line 1 using about 512 MB of RAM.',
    ],
)
def test_part_of_an_answer_is_refused(remark):
    with pytest.raises(ValueError, match="gave up and sent a part only"):
        read(*LINE, way(10, [1, 2, 3], natural="coastline"), remark=remark)


def test_other_remarks_are_passed_on():
    assert read(remark="data may be a day old").notes == [
        "remark of the server: data may be a day old"
    ]


def test_cut_answer_is_refused_wherever_it_is_cut():
    raw = answer(*LINE, way(10, [1, 2, 3], natural="coastline"))
    for length in range(0, len(raw) - 1, 7):
        with pytest.raises(ValueError, match="not readable as JSON"):
            read_answer(raw[:length], BOX)


@pytest.mark.parametrize(
    ("raw", "words"),
    [
        (b'<?xml version="1.0"?><osm><remark>busy</remark></osm>', "not readable as JSON.*xml"),
        (b"[" * 200_000, "not readable as JSON"),
        (b"[1, 2]", "not an object"),
        (b'{"elements": {}}', "no list of elements"),
        (b"\xff\xfe\x00", "not readable as JSON"),
        (b'{"elements": [{"type": "node", "id": 1, "lat": NaN, "lon": 1}]}', "NaN is not a number"),
        (b'{"elements": [{"type": "node", "id": 1, "lat": 1e999, "lon": 1}]}', "node 1: position"),
        (b'{"elements": [{"type": "node", "id": 1, "lat": ' + b"9" * 5000 + b"}]}", "JSON"),
    ],
)
def test_what_is_no_answer_is_refused_in_one_line(raw, words):
    with pytest.raises(ValueError, match=words) as caught:
        read_answer(raw, BOX)
    assert len(str(caught.value)) < 300
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    "bad",
    [
        node(1, 181.0, 0.0),
        node(1, 0.0, -90.5),
        node(1, "10", 58.0),
        node(1, True, 58.0),
        node(1, None, 58.0),
        node(-1),
        node(2**63),
        node("1"),
    ],
)
def test_hostile_positions_are_refused(bad):
    with pytest.raises(ValueError, match=r"within -180\.\.180 and -90\.\.90 is allowed"):
        read(bad)


def test_hostile_ways_and_relations_are_refused():
    for nodes in ([1, "2"], [1, 2.0], "12", [1, True], list(range(1, 60_000))):
        with pytest.raises(ValueError, match="way 10: its nodes must be"):
            read(*LINE, way(10, nodes, natural="coastline"))
    with pytest.raises(ValueError, match="way 10 is there twice"):
        read(*LINE, way(10, [1, 2]), way(10, [1, 3]))
    with pytest.raises(ValueError, match="twice, in different places"):
        read(node(1, 10.0), node(1, 10.1))
    bad = {**relation(20, []), "members": "all"}
    with pytest.raises(ValueError, match="relation 20: its members"):
        read(bad)


def test_members_that_are_not_there_leave_the_outline_open():
    got = read(*LINE, way(11, [1, 2, 3]), relation(20, [(11, "outer"), (404, "outer")]))
    assert [len(area.ways) for area in got.water] == [1]
    assert read(relation(20, [(404, "outer")])).water == []


@pytest.mark.parametrize("date", [None, 7, "yesterday", "2026-11-20T06:00:00"])
def test_date_that_cannot_be_read_is_unknown(date):
    assert read(osm3s={"timestamp_osm_base": date}).date == ""


def test_same_place_of_a_repeated_node_is_harmless():
    got = read(*LINE, *LINE, way(10, [1, 2, 3], natural="coastline"))
    assert np.shape(got.coast[0]) == (3, 2)
