"""Servers that speak as the grib filter and as ECMWF's open data do, with invented weather.

The fields are made with ecCodes: `value` gives each as a plain function of place, time and member,
so that what comes out of a download can be compared with it.
"""

import functools
import json
import re
import threading

import eccodes
import numpy as np
from _servers import Resource

# name: (discipline, category, number, type of surface, its value)
CODES = {
    "UGRD": (0, 2, 2, 103, 10),
    "VGRD": (0, 2, 3, 103, 10),
    "GUST": (0, 2, 22, 1, None),
    "TMP": (0, 0, 0, 103, 2),
    "TMP surface": (0, 0, 0, 1, None),
    "VIS": (0, 19, 0, 1, None),
    "CAPE": (0, 7, 6, 1, None),
    "PRATE": (0, 1, 7, 1, None),
    "HTSGW": (10, 0, 3, 1, None),
    "PERPW": (10, 0, 11, 1, None),
    "DIRPW": (10, 0, 10, 1, None),
    "10u": (0, 2, 2, 103, 10),
    "10v": (0, 2, 3, 103, 10),
    "10fg": (0, 2, 22, 103, 10),
    "10fg3": (0, 2, 22, 103, 10),
    "2t": (0, 0, 0, 103, 2),
    "msl": (0, 3, 0, 101, None),
    "swh": (10, 0, 3, 101, None),
    "mwp": (10, 0, 15, 101, None),
    "mwd": (10, 0, 14, 101, None),
    "pp1d": (10, 0, 34, 101, None),
}
OVER_AN_INTERVAL = {"10fg", "10fg3"}


# middle value and swing, in the units of the code
WEATHER = {
    "TMP": (283.0, 6.0),
    "TMP surface": (285.0, 6.0),
    "2t": (284.0, 6.0),
    "VIS": (20_000.0, 4_000.0),
    "CAPE": (200.0, 90.0),
    "PRATE": (2e-4, 1e-4),
    "msl": (101_300.0, 900.0),
    "DIRPW": (200.0, 60.0),
    "mwd": (190.0, 60.0),
}


def value(name, lon, lat, step, member):
    """Return the invented field: different for each name, smooth, and known."""
    seed = list(CODES).index(name.removesuffix("3"))
    middle, swing = WEATHER.get(name, (9.0 + 0.1 * seed, 4.0))
    wave = np.sin(np.radians(lon) * 3 + seed) * np.cos(np.radians(lat) * 2 - seed)
    return middle + swing * (0.8 * wave + 0.001 * step + 0.002 * (member or 0))


@functools.cache
def _blank(name, with_member, interval, west, south, east, north, spacing):
    """Return a field of zeros that only lacks its time, its member and its values."""
    handle = eccodes.codes_grib_new_from_samples("regular_ll_sfc_grib2")
    discipline, category, number, surface, height = CODES[name]
    template = {(False, False): 0, (True, False): 1, (False, True): 8, (True, True): 11}
    keys = {
        "centre": "kwbc" if name.isupper() else "ecmf",
        "discipline": discipline,
        "productDefinitionTemplateNumber": template[with_member, interval],
        "parameterCategory": category,
        "parameterNumber": number,
        "typeOfFirstFixedSurface": surface,
        "Ni": round((east - west) / spacing) + 1,
        "Nj": round((north - south) / spacing) + 1,
        "latitudeOfFirstGridPointInDegrees": float(north),
        "latitudeOfLastGridPointInDegrees": float(south),
        "longitudeOfFirstGridPointInDegrees": float(west % 360),
        "longitudeOfLastGridPointInDegrees": float(east % 360),
        "iDirectionIncrementInDegrees": spacing,
        "jDirectionIncrementInDegrees": spacing,
        "bitsPerValue": 16,
    }
    if height is not None:
        keys |= {"scaleFactorOfFirstFixedSurface": 0, "scaledValueOfFirstFixedSurface": height}
    if interval:
        keys |= {"typeOfStatisticalProcessing": 2, "stepType": "max"}
    for key, content in keys.items():
        eccodes.codes_set(handle, key, content)
    return handle


_ONE_AT_A_TIME = threading.Lock()  # ecCodes need not be built for threads


def message(*what):
    """Return one GRIB2 field as bytes; for its arguments see `_message`."""
    with _ONE_AT_A_TIME:
        return _message(*what)


@functools.cache
def _message(name, run, step, member, west, south, east, north, spacing):
    """Return one GRIB2 field; `run` is YYYYMMDDHH, latitude runs north to south."""
    interval = name in OVER_AN_INTERVAL and step > 0
    handle = eccodes.codes_clone(
        _blank(name, member is not None, interval, west, south, east, north, spacing)
    )
    eccodes.codes_set(handle, "dataDate", int(run[:8]))
    eccodes.codes_set(handle, "dataTime", int(run[8:]) * 100)
    if member is not None:
        eccodes.codes_set(handle, "perturbationNumber", member)
    eccodes.codes_set(handle, "stepRange", f"{max(0, step - 3)}-{step}" if interval else f"{step}")
    across = round((east - west) / spacing) + 1
    down = round((north - south) / spacing) + 1
    lon, lat = west + np.arange(across) * spacing, north - np.arange(down) * spacing
    values = value(name, *np.meshgrid(lon, lat), step, member).ravel().astype(float)
    eccodes.codes_set_values(handle, values)
    content = eccodes.codes_get_message(handle)
    eccodes.codes_release(handle)
    return content


def decoded(path):
    """Yield (code, run, step, member, lon, lat, values) of each field, by ecCodes."""
    with path.open("rb") as handle:
        while (field := eccodes.codes_grib_new_from_file(handle)) is not None:
            keys = ("discipline", "parameterCategory", "parameterNumber")
            code = tuple(eccodes.codes_get(field, key) for key in keys)
            surface = eccodes.codes_get(field, "typeOfFirstFixedSurface", int)
            run = f"{eccodes.codes_get(field, 'dataDate')}"
            run += f"{eccodes.codes_get(field, 'dataTime') // 100:02d}"
            member = None
            if eccodes.codes_is_defined(field, "perturbationNumber"):
                member = eccodes.codes_get(field, "perturbationNumber")
            yield (
                (*code, surface),
                run,
                eccodes.codes_get(field, "endStep"),
                member,
                eccodes.codes_get_array(field, "longitudes"),
                eccodes.codes_get_array(field, "latitudes"),
                eccodes.codes_get_values(field),
            )
            eccodes.codes_release(field)


LEVELS = {"10_m_above_ground": (103, 10), "2_m_above_ground": (103, 2), "surface": (1, None)}


SCRIPTS = {
    "/cgi-bin/filter_gfs_0p25_1hr.pl": (
        r"/gfs\.(\d{8})/(\d\d)/atmos",
        r"gfs\.t(?P<hour>\d\d)z\.pgrb2\.0p25\.f(?P<step>\d{3})",
    ),
    "/cgi-bin/filter_gfswave.pl": (
        r"/gfs\.(\d{8})/(\d\d)/wave/gridded",
        r"gfswave\.t(?P<hour>\d\d)z\.global\.0p25\.f(?P<step>\d{3})\.grib2",
    ),
    "/cgi-bin/filter_gefs_atmos_0p25s.pl": (
        r"/gefs\.(\d{8})/(\d\d)/atmos/pgrb2sp25",
        r"ge(?P<m>c00|p\d\d)\.t(?P<hour>\d\d)z\.pgrb2s\.0p25\.f(?P<step>\d{3})",
    ),
    "/cgi-bin/filter_gefs_wave_0p25.pl": (
        r"/gefs\.(\d{8})/(\d\d)/wave/gridded",
        r"gefs\.wave\.t(?P<hour>\d\d)z\.(?P<m>c00|p\d\d)\.global\.0p25\.f(?P<step>\d{3})\.grib2",
    ),
}


class GribFilter:
    """The grib filter: `latest` is the newest run (YYYYMMDDHH), `until_h` what of it is out.

    `spacing` is that of the invented model. `hide` holds names that the model does not have, and
    `sea` says whether there are waves at all.
    """

    def __init__(self, latest, until_h=384, *, spacing=0.25, hide=(), sea=True):
        self.latest, self.until_h, self.spacing = latest, until_h, spacing
        self.hide, self.sea = set(hide), sea

    def __call__(self, request):
        script = SCRIPTS.get(request.path)
        if script is None:
            return None
        directory = re.fullmatch(script[0], request.query["dir"])
        file = re.fullmatch(script[1], request.query["file"])
        if not directory or not file or directory[2] != file["hour"]:
            return None
        run, step = directory[1] + directory[2], int(file["step"])
        wave = "wave" in request.path
        if run > self.latest or (run == self.latest and step > self.until_h):
            return None
        if wave and not self.sea:
            return None
        mark = file.groupdict().get("m")
        member = None if mark is None else 0 if mark == "c00" else int(mark[1:])
        return Resource(self._subset(request.query, run, step, member, wave))

    def _subset(self, query, run, step, member, wave):
        assert "subregion" in query
        edges = [float(query[k]) for k in ("leftlon", "bottomlat", "rightlon", "toplat")]
        variables = {k[4:] for k, v in query.items() if k.startswith("var_") and v == "on"}
        levels = {LEVELS[k[4:]] for k, v in query.items() if k.startswith("lev_") and v == "on"}
        return b"".join(
            message(name, run, step, member, *edges, self.spacing)
            for name, (discipline, _, _, surface, height) in CODES.items()
            if name.isupper() or name == "TMP surface"
            if name.split()[0] in variables and (surface, height) in levels
            if (discipline == 10) == wave and name not in self.hide
        )


STREAMS = {
    "oper": ("msl", "10u", "10v", "2t", "10fg"),
    "enfo": ("msl", "10u", "10v", "2t", "10fg"),
    "wave": ("swh", "mwp", "mwd", "pp1d"),
    "waef": ("swh", "mwp", "mwd", "pp1d"),
}


class OpenData:
    """ECMWF open data: whole files and their indices, fields of the whole globe.

    `gap` bytes of another field stand between those that are wanted.
    """

    PATH = re.compile(
        r"/(?P<date>\d{8})/(?P<hour>\d\d)z/ifs/0p25/(?P<stream>oper|wave|enfo|waef)/"
        r"(?P=date)(?P=hour)0000-(?P<step>\d+)h-(?P=stream)-(?P<type>fc|ef)\.(?P<end>index|grib2)"
    )

    def __init__(self, latest, until_h=360, *, spacing=5.0, members=(), hide=(), change=None):
        self.latest, self.until_h, self.spacing = latest, until_h, spacing
        self.members, self.hide, self.change = members, set(hide), change

    def __call__(self, request):
        found = self.PATH.fullmatch(request.path)
        if not found:
            return None
        run, step = found["date"] + found["hour"], int(found["step"])
        if run > self.latest or (run == self.latest and step > self.until_h):
            return None
        if found["stream"] in self.hide:
            return None
        lines, content = self.file(run, step, found["stream"])
        if found["end"] == "index":
            text = "".join(json.dumps(line) + "\n" for line in lines)
            content = text.encode() if self.change is None else self.change(text.encode())
        return Resource(content, etag=f'"{hash(content) & 0xFFFFFFFF:x}"')

    def file(self, run, step, stream):
        members = self.members if stream in ("enfo", "waef") else (None,)
        lines, content = [], []
        offset = 0
        for name in STREAMS[stream]:
            if name in self.hide or (name == "10fg" and step == 0):
                continue
            shown = "10fg3" if name == "10fg" and step % 6 else name
            for member in members:
                grid = (-180.0, -90.0, 180.0 - self.spacing, 90.0)
                piece = message(shown, run, step, member, *grid, self.spacing)
                line = {
                    "domain": "g",
                    "date": run[:8],
                    "time": f"{run[8:]}00",
                    "expver": "0001",
                    "class": "od",
                    "type": "fc" if member is None else "pf",
                    "stream": stream,
                    "step": str(step),
                    "levtype": "sfc",
                    "param": shown,
                    "_offset": offset,
                    "_length": len(piece),
                }
                if member is not None:
                    line["number"] = str(member)
                lines.append(line)
                content.append(piece)
                offset += len(piece)
        return lines, b"".join(content)
