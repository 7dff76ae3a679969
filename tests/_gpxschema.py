"""The GPX 1.1 schema, built from the facts of the published standard.

Element order, types and ranges are those of https://www.topografix.com/GPX/1/1/gpx.xsd (as read
2026-11-25); the tables and the words are this project's. `?` marks what may be left out, `*` what
may be there any number of times.
"""

import functools

import xmlschema

_POINT = (
    "ele decimal?", "time dateTime?", "magvar degrees?", "geoidheight decimal?", "name string?",
    "cmt string?", "desc string?", "src string?", "link link*", "sym string?", "type string?",
    "fix fix?", "sat nonNegativeInteger?", "hdop decimal?", "vdop decimal?", "pdop decimal?",
    "ageofdgpsdata decimal?", "dgpsid station?", "extensions extensions?",
)  # fmt: skip
_LINE = (
    "name string?", "cmt string?", "desc string?", "src string?", "link link*",
    "number nonNegativeInteger?", "type string?", "extensions extensions?",
)  # fmt: skip

_SEQUENCES = {
    "gpx": (
        "metadata metadata?", "wpt point*", "rte route*", "trk track*", "extensions extensions?",
    ),
    "metadata": (
        "name string?", "desc string?", "author person?", "copyright copyright?", "link link*",
        "time dateTime?", "keywords string?", "bounds bounds?", "extensions extensions?",
    ),
    "point": _POINT,
    "route": (*_LINE, "rtept point*"),
    "track": (*_LINE, "trkseg segment*"),
    "segment": ("trkpt point*", "extensions extensions?"),
    "person": ("name string?", "email email?", "link link?"),
    "copyright": ("year gYear?", "license anyURI?"),
    "link": ("text string?", "type string?"),
    "email": (),
    "bounds": (),
}  # fmt: skip
_ATTRIBUTES = {
    "gpx": ("version string", "creator string"),
    "point": ("lat latitude", "lon longitude"),
    "copyright": ("author string",),
    "link": ("href anyURI",),
    "email": ("id string", "domain string"),
    "bounds": ("minlat latitude", "minlon longitude", "maxlat latitude", "maxlon longitude"),
}
_RANGES = {
    "latitude": ("decimal", 'minInclusive value="-90"', 'maxInclusive value="90"'),
    "longitude": ("decimal", 'minInclusive value="-180"', 'maxExclusive value="180"'),
    "degrees": ("decimal", 'minInclusive value="0"', 'maxExclusive value="360"'),
    "station": ("integer", 'minInclusive value="0"', 'maxInclusive value="1023"'),
    "fix": ("string", *(f'enumeration value="{v}"' for v in ("none", "2d", "3d", "dgps", "pps"))),
}
_COUNTS = {"?": 'minOccurs="0"', "*": 'minOccurs="0" maxOccurs="unbounded"'}


def _type(name):
    own = {*_SEQUENCES, *_RANGES, "extensions"}
    return f"{name}Type" if name in own else f"xsd:{name}"


def _element(row):
    name, kind = row.split()
    return f'<xsd:element name="{name}" type="{_type(kind[:-1])}" {_COUNTS[kind[-1]]}/>'


def _attribute(row):
    name, kind = row.split()
    fixed = ' fixed="1.1"' if name == "version" else ""
    return f'<xsd:attribute name="{name}" type="{_type(kind)}" use="required"{fixed}/>'


def schema_text():
    """The schema as XML."""
    parts = [
        '<xsd:schema xmlns:xsd="http://www.w3.org/2001/XMLSchema" '
        'xmlns="http://www.topografix.com/GPX/1/1" elementFormDefault="qualified" '
        'targetNamespace="http://www.topografix.com/GPX/1/1">',
        '<xsd:element name="gpx" type="gpxType"/>',
        '<xsd:complexType name="extensionsType"><xsd:sequence><xsd:any namespace="##other" '
        'processContents="lax" minOccurs="0" maxOccurs="unbounded"/></xsd:sequence>'
        "</xsd:complexType>",
    ]
    for name, rows in _SEQUENCES.items():
        inner = "".join(map(_element, rows))
        attributes = "".join(map(_attribute, _ATTRIBUTES.get(name, ())))
        parts.append(
            f'<xsd:complexType name="{name}Type"><xsd:sequence>{inner}</xsd:sequence>'
            f"{attributes}</xsd:complexType>"
        )
    for name, (base, *facets) in _RANGES.items():
        inner = "".join(f"<xsd:{facet}/>" for facet in facets)
        parts.append(
            f'<xsd:simpleType name="{name}Type"><xsd:restriction base="xsd:{base}">{inner}'
            "</xsd:restriction></xsd:simpleType>"
        )
    return "".join([*parts, "</xsd:schema>"])


@functools.cache
def _schema():
    return xmlschema.XMLSchema(schema_text())


def schema_errors(content):
    """What the schema says against a file's bytes."""
    return [str(error.reason) for error in _schema().iter_errors(content.decode("utf-8"))]
