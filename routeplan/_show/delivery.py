"""The files of a plan: which there are, looked at before the work, written whole after it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Annotated

import typer

from routeplan._show.console import emit_document, emit_text
from routeplan._show.outputs import check_outputs, write_outputs
from routeplan._show.sidebyside import side_by_side
from routeplan._show.wording import fit, plain
from routeplan.errors import InputError

if TYPE_CHECKING:
    from rich.console import Console

    from routeplan.plan import Plan

__all__ = ["GisFile", "Targets", "check_targets", "deliver", "write_legs"]

GisFile = Annotated[
    Path | None,
    typer.Option("--gis", metavar="FILE", help="Layers for a GIS, .gpkg or .geojson."),
]

_DOCUMENT = "plan.json"
_LONG = ("launches.png", "map.png", "report.html", "card.pdf", "sheet.pdf")


@dataclass(frozen=True, slots=True)
class Targets:
    """Where files go: those of a directory, and one of layers; None for neither."""

    directory: Path | None = None
    gis: Path | None = None
    overwrite: bool = False

    @property
    def paths(self) -> tuple[Path, ...]:
        """Every file, in the order in which they are told."""
        names = () if self.directory is None else _FILES
        own = [self.directory / name for name in names] if self.directory is not None else []
        return (*own, *([] if self.gis is None else [self.gis]))

    @property
    def document(self) -> Path | None:
        """The document, which lists all files and is written when they are made."""
        return None if self.directory is None else self.directory / _DOCUMENT


def check_targets(directory: Path | None, gis: Path | None, overwrite: bool) -> Targets:
    """Refuse what cannot or must not be written, before any work is done.

    Raises
    ------
    InputError
    """
    targets = Targets(directory, gis, overwrite)
    if gis is not None:
        from routeplan._gis.names import check_gis  # no more than the name is looked at

        check_gis(gis)
        own = Targets(directory).paths
        if gis.absolute().resolve() in [path.absolute().resolve() for path in own]:
            msg = f"{plain(gis)}: is one of the files of --out; choose another name for --gis"
            raise InputError(msg, field="--gis", path=gis)
    check_outputs(targets.paths, overwrite=overwrite, directory=directory)
    return targets


def deliver(plan: Plan, targets: Targets, *, json: bool) -> None:
    """Write the files, if any, and then say the answer."""
    from routeplan.report import document_text, plan_document, render_plan

    paths, last = targets.paths, targets.document
    longest_first = sorted((p for p in paths if p != last), key=_order)
    document, made = side_by_side(
        [partial(_content, plan, path, targets) for path in longest_first],
        lambda: plan_document(plan, paths) if paths or json else {},
    )
    if paths:
        content = dict(zip(longest_first, made, strict=True))
        if last is not None:
            content[last] = document_text(document).encode(errors="replace")
        write_outputs(content, overwrite=targets.overwrite, directory=targets.directory)
    if json:
        emit_document(document)
        return

    def show(console: Console) -> None:
        render_plan(plan, console, paths)
        for path in paths:
            console.print(f"wrote {fit(plain(path), console.encoding)}")

    emit_text(show)


def _order(path: Path) -> int:
    """What takes long comes first, so that two processes end together."""
    return _LONG.index(path.name) if path.name in _LONG else len(_LONG)


def _content(plan: Plan, path: Path, targets: Targets) -> bytes:
    if path == targets.gis:
        from routeplan._gis.files import gis_bytes

        return gis_bytes(plan, path)
    return _FILES[path.name](plan)


def write_legs(
    plan: Plan, map_file: Path | None, gis: Path | None, *, overwrite: bool
) -> tuple[Path, ...]:
    """Write the map and the layers of a plan of legs, and give what was written."""
    content: dict[Path, bytes] = {}
    if map_file is not None:
        content[map_file] = _map(plan)
    if gis is not None:
        content[gis] = _content(plan, gis, Targets(gis=gis))
    if content:
        write_outputs(content, overwrite=overwrite)
    return tuple(content)


# Each loads what it needs when it is asked for: none of it is light.


def _map(plan: Plan) -> bytes:
    from routeplan.charts import map_figure, png_bytes

    return png_bytes(map_figure(plan))


def _launches(plan: Plan) -> bytes:
    from routeplan.charts import launches_figure, png_bytes

    return png_bytes(launches_figure(plan))


def _report(plan: Plan) -> bytes:
    from routeplan.report import report_html

    return report_html(plan).encode(errors="replace")


def _sheet(plan: Plan) -> bytes:
    from routeplan.sheet import sheet_pdf

    return sheet_pdf(plan)


def _sheet_text(plan: Plan) -> bytes:
    from routeplan.sheet import sheet_text

    return sheet_text(plan).encode(errors="replace")


def _card(plan: Plan) -> bytes:
    from routeplan.sheet import card_pdf

    return card_pdf(plan)


def _route(plan: Plan) -> bytes:
    from routeplan.gis import plan_gpx

    return plan_gpx(plan)


def _none(_: Plan) -> bytes:
    """The document is written last, when all else is known to be."""
    return b""


_FILES: Mapping[str, Callable[[Plan], bytes]] = MappingProxyType(
    {
        "map.png": _map,
        "launches.png": _launches,
        _DOCUMENT: _none,
        "report.html": _report,
        "sheet.pdf": _sheet,
        "sheet.txt": _sheet_text,
        "card.pdf": _card,
        "route.gpx": _route,
    }
)
