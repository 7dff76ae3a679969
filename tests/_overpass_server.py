"""A small database of nodes, ways and relations that answers Overpass QL as far as it is used.

Understood is one union of `way[...]...(box);` and `relation[...]...(box);`, then `out body;`,
`>;` and `out skel qt;` in that order, in JSON. Boxes are south, west, north, east.
"""

import itertools
import json
import re
import urllib.parse
from dataclasses import dataclass, field

from _servers import Resource

_SHAPE = re.compile(r"\[out:json\]\[timeout:\d+\]\[maxsize:\d+\];\((.*)\);out body;>;out skel qt;")
_PART = re.compile(r"(way|relation)((?:\[[^\]]*\])+)\(([^)]*)\);")
_TAG = re.compile(r'\["([^"]+)"="([^"]+)"\]')


@dataclass
class OsmDatabase:
    nodes: dict = field(default_factory=dict)  # number: (lon, lat)
    ways: dict = field(default_factory=dict)  # number: (nodes, tags)
    relations: dict = field(default_factory=dict)  # number: (members, tags)
    date: str = "2026-11-20T06:00:00Z"
    absent: set = field(default_factory=set)  # nodes that ways name and the answer lacks
    asked: list = field(default_factory=list)
    _by_place: dict = field(default_factory=dict)

    def node(self, lon, lat):
        place = (round(lon, 7), round(lat, 7))
        if place not in self._by_place:
            number = len(self.nodes) + 1
            self.nodes[number] = place
            self._by_place[place] = number
        return self._by_place[place]

    def way(self, points, **tags):
        number = 1000 + len(self.ways)
        self.ways[number] = ([self.node(*p) for p in points], tags)
        return number

    def coast(self, points):
        return self.way(points, natural="coastline")

    def lake(self, outer, inner=(), **tags):
        number = 5000 + len(self.relations)
        members = [(w, "outer") for w in outer] + [(w, "inner") for w in inner]
        tags = {"type": "multipolygon", "natural": "water", **tags}
        self.relations[number] = (members, tags)
        return number

    def find(self, request):
        """Answer a request of `FaultyServer`; None where the query is not understood."""
        text = dict(urllib.parse.parse_qsl(request.body.decode()))["data"]
        self.asked.append(text)
        whole = _SHAPE.fullmatch(text)
        if whole is None or _PART.sub("", whole[1]):
            return None
        return Resource(json.dumps(self.answer(_PART.findall(whole[1]))).encode())

    def answer(self, parts):
        ways, relations = set(), set()
        for kind, filters, frame in parts:
            wanted = _TAG.findall(filters)
            box = [float(side) for side in frame.split(",")]
            if kind == "way":
                ways |= {n for n, (_, t) in self.ways.items() if self._fits(t, wanted, n, box)}
            else:
                relations |= {
                    number
                    for number, (members, tags) in self.relations.items()
                    if all(tags.get(k) == v for k, v in wanted)
                    and any(self._meets(way, box) for way, _ in members)
                }
        below = {way for number in relations for way, _ in self.relations[number][0]}
        nodes = {node for way in ways | below for node in self.ways[way][0]} - self.absent
        return {
            "version": 0.6,
            "osm3s": {"timestamp_osm_base": self.date, "copyright": "test"},
            "elements": [
                *(self._way(n, tags=True) for n in sorted(ways)),
                *(self._relation(n) for n in sorted(relations)),
                *(
                    {"type": "node", "id": n, "lat": self.nodes[n][1], "lon": self.nodes[n][0]}
                    for n in sorted(nodes)
                ),
                *(self._way(n, tags=False) for n in sorted(below)),
            ],
        }

    def _fits(self, tags, wanted, number, box):
        return all(tags.get(k) == v for k, v in wanted) and self._meets(number, box)

    def _meets(self, number, box):
        """Whether some edge's own box meets the box, which is enough here."""
        south, west, north, east = box
        points = [self.nodes[n] for n in self.ways[number][0]]
        return any(
            min(a[0], b[0]) <= east
            and max(a[0], b[0]) >= west
            and min(a[1], b[1]) <= north
            and max(a[1], b[1]) >= south
            for a, b in itertools.pairwise(points)
        )

    def _way(self, number, *, tags):
        nodes, words = self.ways[number]
        entry = {"type": "way", "id": number, "nodes": nodes}
        return {**entry, "tags": words} if tags else entry

    def _relation(self, number):
        members, tags = self.relations[number]
        return {
            "type": "relation",
            "id": number,
            "members": [{"type": "way", "ref": w, "role": r} for w, r in members],
            "tags": tags,
        }
