"""What of a plan goes to the page and to files: all of it rendered elsewhere, here put together."""

from __future__ import annotations

import functools
import io
import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from routeplan._page.outputs import OUTPUTS
from routeplan._show.wording import Clock, plain
from routeplan.errors import InputError
from routeplan.limits import Verdict

if TYPE_CHECKING:
    import numpy as np

    from routeplan.plan import Plan, StagePlan

__all__ = ["deliver", "render", "windows_words", "write_answer"]


def write_answer(plan: Plan, job: dict[str, Any], folder: Path) -> dict[str, Any]:
    """Write what is shown first into a new directory; say what the controls need to know."""
    folder.mkdir(mode=0o700)
    deliver(plan, job, folder / job["name"])
    (folder / "launches.json").write_text(json.dumps(_launches(plan)), "utf-8", errors="replace")
    return {
        "title": plain(plan.trip.title or plan.route.name or "Route", 200),
        "forecast": plan.coverage is not None,
    }


def deliver(plan: Plan, job: dict[str, Any], path: Path) -> int:
    """Write the file that a job names and say how many bytes it has."""
    content = render(plan, job)
    part = path.with_name(f"{path.name}.part")
    part.write_bytes(content)
    part.replace(path)  # whoever looks for it finds it whole or not at all
    return len(content)


def render(plan: Plan, job: dict[str, Any]) -> bytes:
    """Make the file that a job names: the page, its parts, or one of `OUTPUTS`.

    In the page stand the marks of the job that the server replaces: `slot` by the controls,
    `nonce` by a new word for each answer.
    """
    from routeplan.report import report_html, report_parts

    if job["name"] == "page.html":
        page = report_html(plan, controls=job["slot"], assets="/static/", nonce=job["nonce"])
        return page.encode(errors="replace")
    if job["name"] == "parts.json":
        parts = report_parts(plan)
        return json.dumps({"fragments": parts.fragments, "data": parts.data}).encode()
    return _MAKERS[job["name"]](plan)


def windows_words(zone: str, stages: Sequence[StagePlan]) -> str:
    """The windows in a line, to be told while the rest is worked out and the report drawn."""
    from routeplan._show.answers import chosen_window, window_launches

    clock, told = Clock(zone), []
    for stage in stages:
        window = chosen_window(stage)
        if window is not None:
            day = clock.short_day(window.first_launch)
            told.append(f"{stage.stage.number}: {day} {window_launches(window, clock)}")
        elif stage.scan is not None:
            told.append(f"{stage.stage.number}: none")
    return f"Launch, by stage: {'; '.join(told)}" if told else "writing it down"


@functools.lru_cache(4_096)
def _moment(clock: Clock, when: np.datetime64) -> str:
    """The same launches are told after each change."""
    return clock.moment(when)


def _launches(plan: Plan) -> list[dict[str, Any]]:
    """For each stage the launches that were tried, for a list to pick from."""
    clock = Clock(plan.zone)
    return [_stage_launches(stage, plan, clock) for stage in plan.stages if stage.scan is not None]


def _stage_launches(stage: StagePlan, plan: Plan, clock: Clock) -> dict[str, Any]:
    scan, number = stage.scan, stage.stage.number
    assert scan is not None
    proposed = None if stage.best is None else clock.moment(scan.launch[stage.best])
    return {
        "stage": number,
        "words": plain(f"{stage.stage.start.name} to {stage.stage.end.name}", 120),
        "proposed": proposed,
        "picked": number in plan.trip.picked,
        "chosen": None if stage.best is None else _utc(scan.launch[stage.best]),
        "launches": [
            [_utc(when), _moment(clock, when), Verdict(int(verdict)).word]
            for when, verdict in zip(scan.launch, scan.verdict, strict=True)
        ],
    }


def _utc(when: Any) -> str:
    return f"{when.astype('datetime64[s]')}Z"


def _report(plan: Plan) -> bytes:
    from routeplan.report import report_html

    return report_html(plan).encode(errors="replace")


def _words(plan: Plan) -> str:
    from rich.console import Console

    from routeplan.report import render_legs, render_plan

    target = io.StringIO()
    console = Console(file=target, width=100, markup=False, highlight=False, emoji=False)
    (render_legs if plan.coverage is None else render_plan)(plan, console)
    return target.getvalue()


def _document(plan: Plan) -> bytes:
    from routeplan.report import document_text, legs_document, plan_document

    make = legs_document if plan.coverage is None else plan_document
    return document_text(make(plan)).encode(errors="replace")


def _map(plan: Plan) -> bytes:
    from routeplan.charts import map_figure, png_bytes

    return png_bytes(map_figure(plan))


def _sheet(name: str) -> Callable[[Plan], bytes]:
    """Something of the sheet, which its own module makes."""

    def make(plan: Plan) -> bytes:
        from routeplan import sheet

        if plan.sheet is None:
            msg = "a sheet needs a plan with a forecast"
            raise InputError(msg)
        made = getattr(sheet, name)(plan)
        return made if isinstance(made, bytes) else str(made).encode(errors="replace")

    return make


def _gpx(plan: Plan) -> bytes:
    from routeplan.gis import plan_gpx

    return plan_gpx(plan)


def _layers(plan: Plan) -> bytes:
    from routeplan._gis.files import gis_bytes

    return gis_bytes(plan, Path("plan.gpkg"))


_MAKERS: Mapping[str, Callable[[Plan], bytes]] = {
    "report.html": _report,
    "sheet.pdf": _sheet("sheet_pdf"),
    "card.pdf": _sheet("card_pdf"),
    "sheet.txt": _sheet("sheet_text"),
    "route.gpx": _gpx,
    "plan.gpkg": _layers,
    "plan.txt": lambda plan: _words(plan).encode(errors="replace"),
    "plan.json": _document,
    "map.png": _map,
}
assert set(_MAKERS) == set(OUTPUTS)
