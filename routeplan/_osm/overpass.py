"""Coast and water areas of a box from a server that speaks the Overpass protocol.

One request in Overpass QL, answered in JSON: all nodes, ways and relations of the objects that
were asked for. A server that runs out of time or memory answers with status 200, a part of the
data and a `remark` (github.com/drolbr/Overpass-API/issues/94, accessed 2026-11-25): such an
answer is refused, like one that cannot be read to its end.
"""

from __future__ import annotations

import datetime
import hashlib
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from routeplan._download.checks import one_line
from routeplan._download.fetcher import Fetcher, Progress
from routeplan._osm.water import WaterArea
from routeplan._shore.coastbox import Box

__all__ = ["MAX_BYTES", "OsmAnswer", "fetch_answer", "polite_fetcher", "query", "read_answer"]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

MAX_BYTES = 192 * 1024 * 1024
"""The largest answer that is taken [bytes]; about 2 million nodes."""

# The server's own usual limits, said out loud (wiki.openstreetmap.org/wiki/Overpass_API,
# accessed 2026-11-25): 180 s and 512 MiB.
_TIMEOUT_S = 180
_MAXSIZE_BYTES = 512 * 1024 * 1024
_WATER = (
    ("natural", "water"),
    ("waterway", "riverbank"),  # the older way to draw a wide river
    ("waterway", "dock"),
    ("landuse", "reservoir"),
)
_MAX_NODES = 3_000_000
_MAX_WAY_NODES = 50_000  # the database allows 2000 in new ways
_MAX_MEMBERS = 100_000
_BAD_REMARK = ("error", "timed out", "memory")


@dataclass(frozen=True, slots=True, eq=False)
class OsmAnswer:
    """What the server had, unrolled to the box.

    coast : ways (k, 2), land on the left [degrees]; water : areas; date : of the data, ISO 8601
    with Z, "" where the server does not say; notes : what was dropped or split.
    """

    coast: list[FloatArray]
    water: list[WaterArea]
    date: str
    notes: list[str]


def query(box: Box) -> str:
    """Overpass QL for the coast and the water areas that meet a box."""
    asked = []
    for west, south, east, north in box.parts:
        frame = f"({south:.8f},{west:.8f},{north:.8f},{east:.8f})"
        asked.append(f'way["natural"="coastline"]{frame};')
        for key, value in _WATER:
            asked.append(f'way["{key}"="{value}"]{frame};')
            asked.append(f'relation["type"="multipolygon"]["{key}"="{value}"]{frame};')
    head = f"[out:json][timeout:{_TIMEOUT_S}][maxsize:{_MAXSIZE_BYTES}];"
    return f"{head}({''.join(asked)});out body;>;out skel qt;"


def polite_fetcher(*, offline: bool = False) -> Fetcher:
    """Return a fetcher for a shared server: one request at a time, long waits between attempts."""
    return Fetcher(
        offline=offline,
        max_parallel=1,
        pause_s=5.0,
        retries=4,
        backoff_s=10.0,
        timeout_s=(15.0, _TIMEOUT_S + 30.0),
        deadline_s=1800.0,
        max_bytes=MAX_BYTES,
    )


def fetch_answer(
    box: Box,
    *,
    server: str,
    fetcher: Fetcher,
    max_age_s: float,
    progress: Progress | None = None,
) -> OsmAnswer:
    """Ask a server, or the cache, for the coast of a box.

    Raises
    ------
    DownloadError
        If no whole and sound answer comes.
    """
    text = query(box)
    found: dict[str, OsmAnswer] = {}

    def check(path: Path) -> str:
        try:
            found["answer"] = read_answer(path.read_bytes(), box)
        except ValueError as fault:
            return str(fault)
        return ""

    key = hashlib.sha256(f"{server}\n{text}".encode()).hexdigest()[:32]
    fetcher.get(
        server,
        name=f"overpass/{key}.json",
        data={"data": text},
        max_age_s=max_age_s,
        max_bytes=MAX_BYTES,
        check=check,
        progress=progress,
    )
    return found["answer"]


def read_answer(raw: bytes, box: Box) -> OsmAnswer:
    """Read an answer in JSON.

    Raises
    ------
    ValueError
        With what is wrong in one line.
    """
    document = _document(raw)
    remark = document.get("remark", "")
    if remark and any(word in str(remark).lower() for word in _BAD_REMARK):
        msg = f"the server gave up and sent a part only ({one_line(str(remark), 120)})"
        raise ValueError(msg)
    elements = document.get("elements")
    if not isinstance(elements, list):
        msg = "not an answer of the Overpass protocol: it has no list of elements"
        raise ValueError(msg)
    nodes = _nodes([e for e in elements if isinstance(e, tuple)], box)
    ways = _ways([e for e in elements if _is(e, "way")])
    relations = [e for e in elements if _is(e, "relation")]
    notes = [f"remark of the server: {one_line(str(remark), 120)}"] if remark else []
    pieces, missing = _way_pieces(ways, nodes)
    if missing:
        notes.append(f"ways that name nodes which are not there, split at them: {missing}")
    coast = [
        piece
        for number, (tags, _) in ways.items()
        if tags.get("natural") == "coastline"
        for piece in pieces[number]
    ]
    water = _relation_areas(relations, pieces)
    water += _way_areas(ways, pieces, _outlines(relations), notes)
    return OsmAnswer(coast, water, _date(document), notes)


def _document(raw: bytes) -> dict[str, Any]:
    try:
        document = json.loads(raw, object_hook=_compact, parse_constant=_no_number)
    except (ValueError, RecursionError) as fault:
        words = one_line(str(fault), 80)
        start = one_line(raw[:60].decode("utf-8", "replace"))
        msg = f"not readable as JSON ({words}; it begins {start!r})"
        raise ValueError(msg) from fault
    if not isinstance(document, dict):
        msg = "not an answer of the Overpass protocol: not an object"
        raise ValueError(msg)
    return document


def _compact(entry: dict[str, Any]) -> Any:
    """Keep of a node its number and position: an answer may hold a million of them."""
    if entry.get("type") == "node" and "lat" in entry:
        return entry.get("id"), entry.get("lon"), entry["lat"]
    return entry


def _no_number(text: str) -> float:
    msg = f"{text} is not a number"
    raise ValueError(msg)


def _is(element: Any, kind: str) -> bool:
    return isinstance(element, dict) and element.get("type") == kind


@dataclass(frozen=True, slots=True, eq=False)
class _Nodes:
    """Numbers, sorted, and positions (n, 2)."""

    number: IntArray
    lonlat: FloatArray


def _nodes(found: list[tuple[Any, Any, Any]], box: Box) -> _Nodes:
    if len(found) > _MAX_NODES:
        msg = f"{len(found)} nodes; at most {_MAX_NODES} are taken. Take a smaller box"
        raise ValueError(msg)
    for number, lon, lat in found:
        if not (_is_id(number) and _is_degrees(lon, 180.0) and _is_degrees(lat, 90.0)):
            msg = (
                f"node {one_line(str(number), 20)}: position {one_line(str(lon), 20)}, "
                f"{one_line(str(lat), 20)}; within -180..180 and -90..90 is allowed"
            )
            raise ValueError(msg)
    number = np.array([node[0] for node in found], np.int64)
    lonlat = np.array([node[1:] for node in found], float).reshape(-1, 2)
    order = np.argsort(number, kind="stable")
    number, lonlat = number[order], lonlat[order]
    again = np.flatnonzero(number[1:] == number[:-1])
    if (lonlat[again] != lonlat[again + 1]).any():
        msg = "a node is there twice, in different places"
        raise ValueError(msg)
    return _Nodes(number, np.column_stack([box.unrolled(lonlat[:, 0]), lonlat[:, 1]]))


def _is_id(value: Any) -> bool:
    return type(value) is int and 0 < value < 1 << 63


def _is_degrees(value: Any, limit: float) -> bool:
    return type(value) in (int, float) and -limit <= value <= limit


def _ways(found: list[dict[str, Any]]) -> dict[int, tuple[dict[str, str], list[int]]]:
    """Tags and nodes by number; a way that comes twice, once without tags, keeps them."""
    ways: dict[int, tuple[dict[str, str], list[int]]] = {}
    for way in found:
        number: Any = way.get("id")
        nodes: Any = way.get("nodes", [])
        good = _is_id(number) and isinstance(nodes, list) and all(map(_is_id, nodes))
        if not good or len(nodes) > _MAX_WAY_NODES:
            msg = (
                f"way {one_line(str(number), 20)}: its nodes must be at most {_MAX_WAY_NODES} "
                "numbers"
            )
            raise ValueError(msg)
        before = ways.get(number, ({}, nodes))
        if before[1] != nodes:
            msg = f"way {number} is there twice, with different nodes"
            raise ValueError(msg)
        ways[number] = ({**before[0], **_tags(way)}, nodes)
    return ways


def _tags(element: dict[str, Any]) -> dict[str, str]:
    tags = element.get("tags")
    if not isinstance(tags, dict):
        return {}
    return {key: value for key, value in tags.items() if isinstance(value, str)}


def _way_pieces(
    ways: dict[int, tuple[dict[str, str], list[int]]], nodes: _Nodes
) -> tuple[dict[int, list[FloatArray]], int]:
    """Points of each way, in several pieces where nodes are missing; how many ways that is."""
    counts = [len(refs) for _, refs in ways.values()]
    refs = np.array([ref for _, way in ways.values() for ref in way], np.int64)
    place = np.searchsorted(nodes.number, refs)
    there = np.zeros(len(refs), bool)
    inside = place < len(nodes.number)
    there[inside] = nodes.number[place[inside]] == refs[inside]
    pieces: dict[int, list[FloatArray]] = {}
    missing = first = 0
    for number, count in zip(ways, counts, strict=True):
        here = slice(first, first + count)
        first += count
        if there[here].all():
            runs = [place[here]]
        else:
            missing += 1
            gaps = np.flatnonzero(~there[here])
            runs = [run[there[here][run]] for run in np.split(np.arange(count), gaps)]
            runs = [place[here][run] for run in runs]
        pieces[number] = [nodes.lonlat[run] for run in runs if len(run) > 1]
    return pieces, missing


def _is_water(tags: dict[str, str]) -> bool:
    hidden = tags.get("covered") == "yes" or tags.get("location") == "underground"
    return not hidden and any(tags.get(key) == value for key, value in _WATER)


def _member_ways(relation: dict[str, Any]) -> list[tuple[int, str]]:
    """Number and role of the ways of a relation."""
    members = relation.get("members", [])
    if not isinstance(members, list) or len(members) > _MAX_MEMBERS:
        number = one_line(str(relation.get("id")), 20)
        msg = f"relation {number}: its members must be a list of at most {_MAX_MEMBERS}"
        raise ValueError(msg)
    return [
        (member["ref"], str(member.get("role", "")))
        for member in members
        if _is(member, "way") and _is_id(member.get("ref"))
    ]


def _outlines(relations: list[dict[str, Any]]) -> set[int]:
    """Ways that are the outline of a relation; tags on them repeat the relation's."""
    return {
        way
        for relation in relations
        if _is_water(_tags(relation))
        for way, role in _member_ways(relation)
        if role != "inner"
    }


def _relation_areas(
    relations: list[dict[str, Any]], pieces: dict[int, list[FloatArray]]
) -> list[WaterArea]:
    areas = []
    for relation in relations:
        tags = _tags(relation)
        if not _is_water(tags):
            continue
        numbers = dict.fromkeys(way for way, _ in _member_ways(relation))
        ways = tuple(piece for number in numbers for piece in pieces.get(number, ()))
        if ways:
            areas.append(WaterArea(_named("relation", relation.get("id"), tags), ways))
    return areas


def _way_areas(
    ways: dict[int, tuple[dict[str, str], list[int]]],
    pieces: dict[int, list[FloatArray]],
    outlines: set[int],
    notes: list[str],
) -> list[WaterArea]:
    areas = []
    lines = 0
    for number, (tags, nodes) in ways.items():
        if not _is_water(tags) or number in outlines or not pieces[number]:
            continue
        if nodes[0] == nodes[-1]:
            areas.append(WaterArea(_named("way", number, tags), tuple(pieces[number])))
        else:
            lines += 1
    if lines:
        notes.append(f"ways tagged as water that are no areas, left out: {lines}")
    return areas


def _named(kind: str, number: Any, tags: dict[str, str]) -> str:
    name = one_line(tags.get("name", ""), 40)
    return f"water area {name + ' ' if name else ''}({kind} {one_line(str(number), 20)})"


def _date(document: dict[str, Any]) -> str:
    head = document.get("osm3s")
    text = head.get("timestamp_osm_base") if isinstance(head, dict) else None
    if not isinstance(text, str):
        return ""
    try:
        when = datetime.datetime.fromisoformat(text)
    except ValueError:
        return ""
    if when.tzinfo is None:
        return ""
    return when.astimezone(datetime.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
