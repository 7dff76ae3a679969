"""What of a plan goes to the page and to files: all of it rendered elsewhere, here put together."""

from __future__ import annotations

import html
import io
import json
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from routeplan._page.outputs import OUTPUTS
from routeplan._show.wording import Clock, plain
from routeplan.limits import Verdict

if TYPE_CHECKING:
    from routeplan.plan import Plan, StagePlan

__all__ = ["deliver", "write_answer"]


def write_answer(plan: Plan, folder: Path | None, slot: str, nonce: str) -> dict[str, Any]:
    """Write the page and its parts into a new directory; say what the controls need to know.

    `slot` and `nonce` are marks that the server replaces: by the controls, and by a new word
    for each answer. Without a directory all is made and thrown away, to warm up.
    """
    contents = {
        "page.html": _page(plan, slot, nonce),
        "parts.json": _parts(plan),
        "launches.json": json.dumps(_launches(plan)),
    }
    if folder is not None:
        folder.mkdir(mode=0o700)
        for name, text in contents.items():
            (folder / name).write_text(text, "utf-8", errors="replace")
    return {
        "title": plain(plan.trip.title or plan.route.name or "Route", 200),
        "forecast": plan.coverage is not None,
    }


def deliver(plan: Plan, name: str, path: Path) -> int:
    """Write one of `OUTPUTS` and say how many bytes it has."""
    content = _MAKERS[name](plan)
    path.write_bytes(content)
    return len(content)


def _page(plan: Plan, slot: str, nonce: str) -> str:  # noqa: ARG001
    words = html.escape(_words(plan))
    return (
        '<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>Plan</title></head>'
        f'<body><main id="report"><pre id="words">{words}</pre>{slot}</main></body></html>'
    )


def _parts(plan: Plan) -> str:
    return json.dumps({"fragments": {"words": html.escape(_words(plan))}, "data": {}})


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
            [_utc(when), clock.moment(when), Verdict(int(verdict)).word]
            for when, verdict in zip(scan.launch, scan.verdict, strict=True)
        ],
    }


def _utc(when: Any) -> str:
    return f"{when.astype('datetime64[s]')}Z"


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


_MAKERS: Mapping[str, Callable[[Plan], bytes]] = {
    "plan.txt": lambda plan: _words(plan).encode(errors="replace"),
    "plan.json": _document,
    "map.png": _map,
}
assert set(_MAKERS) == set(OUTPUTS)
