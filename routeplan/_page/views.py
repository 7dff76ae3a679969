"""HTML of the page, from templates that escape all text."""

from __future__ import annotations

import json
import os
import stat
from functools import cache
from pathlib import Path
from typing import Any

import jinja2

from routeplan._page.config import FILES, PageConfig
from routeplan._page.form import (
    ASHORE_ROWS,
    CRAFT_NAMES,
    LIMIT_ROWS,
    UNIT_CHOICES,
    Settings,
    split_quantity,
)
from routeplan._page.outputs import OUTPUTS
from routeplan._page.store import Room, is_plain_file
from routeplan._show.wording import duration, plain
from routeplan.errors import InputError

__all__ = ["message_page", "read_text", "room_page", "start_page", "state_of"]

_LARGEST_ANSWER = 64_000_000
_LARGEST_LIST = 4_000_000
_OF_STAGE = {"stage", "words", "proposed", "picked", "chosen", "launches"}
_PROVIDERS = {
    "gfs": "GFS (NOAA), one forecast, 25 km",
    "gefs": "GEFS (NOAA), with members",
    "ecmwf": "ECMWF open data, with members if wanted",
}


@cache
def _templates() -> jinja2.Environment:
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(Path(__file__).parent / "templates"),
        autoescape=True,
        auto_reload=False,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["plain"] = plain
    return environment


def _render(template: str, **values: Any) -> str:
    return _templates().get_template(template).render(**values)


def start_page(config: PageConfig, token: str, nonce: str, error: str = "") -> str:
    """The first page: three ways to start."""
    return _render(
        "start.html",
        token=token,
        nonce=nonce,
        error=error,
        keep=duration(config.keep_s),
        sizes={kind: f"{config.most_bytes(kind) / 1e6:g} MB" for kind in FILES},
        most={kind: config.most_bytes(kind) for kind in FILES},
        providers=_PROVIDERS,
    )


def message_page(title: str, words: str, nonce: str) -> str:
    """A page that says one thing."""
    return _render("message.html", title=title, words=words, nonce=nonce)


def room_page(room: Room, page: str, config: PageConfig, token: str, nonce: str) -> str:
    """The page of a trip as it stands; `page` is the report as a worker wrote it, if any."""
    values = {"room": room, "token": token, "nonce": nonce, "keep": duration(config.keep_s)}
    if room.answer == 0:
        return _render({"choose": "choose.html", "failed": "failed.html"}.get(
            room.state, "working.html"), **values)  # fmt: skip
    controls = _render("controls.html", **values, **_controls(room))
    return page.replace(room.slot, controls).replace(room.nonce, nonce)


def state_of(room: Room, token: str) -> dict[str, Any]:
    """What a page that is open asks again and again."""
    state: dict[str, Any] = {
        "state": room.state,
        "version": room.version,
        "answer": room.answer,
        "words": room.words,
        "share": room.share,
        "error": room.error,
    }
    if room.answer and not room.busy:
        state["took_s"] = round(room.took_s, 2)
        state["launches"] = _render("launches.html", **_controls(room))
        state["token"] = token
    return state


def read_text(path: Path) -> str:
    """A text that a worker wrote; it is no more trusted than what it worked on.

    Raises
    ------
    InputError
        If it is none: opening a pipe, say, would halt the server.
    """
    try:
        if not is_plain_file(path):
            raise FileNotFoundError
        opened = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK)
        with os.fdopen(opened, "rb") as file:
            if stat.S_ISREG(os.fstat(opened).st_mode):
                return file.read(_LARGEST_ANSWER).decode("utf-8", "replace")
    except OSError:
        pass  # it is not there, or not what it was a moment ago
    msg = f"{path.name} is not there or cannot be read: plan again"
    raise InputError(msg)


def _launches(room: Room) -> list[dict[str, Any]]:
    """For each stage the launches to pick from; none where the worker wrote something else."""
    try:
        text = read_text(room.directory(room.answer) / "launches.json")
        stages = json.loads(text) if len(text) <= _LARGEST_LIST else []
        good = all(
            one.keys() >= _OF_STAGE and all(len(launch) == 3 for launch in one["launches"])
            for one in stages
        )
    except (InputError, AttributeError, RecursionError, TypeError, ValueError):
        return []
    return stages if good else []


def _controls(room: Room) -> dict[str, Any]:
    return {
        "rows": [_row(row, room.settings) for row in LIMIT_ROWS],
        "ashore": ASHORE_ROWS,
        "crafts": CRAFT_NAMES,
        "speed": _field(room.settings.speed, "speed", "kn"),
        "step": _field(room.settings.step, "time", "min"),
        "stages": _launches(room),
        "outputs": OUTPUTS,
        "settings": room.settings,
    }


def _row(row: Any, settings: Settings) -> dict[str, Any]:
    limits = settings.limits or {}
    text = limits.get(row.name, row.default)
    unit = split_quantity(row.default)[1] or UNIT_CHOICES[row.kind][0]
    return {
        "name": f"limit_{row.name}",
        "label": row.label,
        "common": row.common,
        "default": row.default,
        "own": row.name in settings.explicit,
        **_field(text, row.kind, unit),
    }


def _field(text: str, kind: str, usual: str) -> dict[str, Any]:
    """A quantity as two fields: a number, and a choice of units with that of the text in it."""
    number, unit = split_quantity(text)
    units = UNIT_CHOICES[kind]
    if number and unit not in units:
        units = (unit, *units)
    return {"number": number, "unit": unit if number else usual, "units": units}
