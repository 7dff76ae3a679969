"""Fields of several files, or of several pieces of one, put together."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from routeplan._forecast.fields import Field, Meta
from routeplan.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["choose", "merge_fields", "merge_meta"]


def merge_fields(fields: list[Field]) -> list[Field]:
    """Join fields of one quantity on one grid along time and members.

    Raises
    ------
    InputError
        When an hour of a member is given twice.
    """
    groups: list[list[Field]] = []
    for item in fields:
        for group in groups:
            if _joins(group[0], item):
                group.append(item)
                break
        else:
            groups.append([item])
    joined = [group[0] if len(group) == 1 else _join(group) for group in groups]
    # A single member is no ensemble.
    return [
        replace(item, number=None) if item.number is not None and item.number.size == 1 else item
        for item in joined
    ]


def choose(fields: list[Field], meta: Meta) -> dict[str, Field]:
    """Of several fields of one quantity the surest, and of equals the one with most hours."""
    best: dict[str, Field] = {}
    for item in fields:
        have = best.get(item.name)
        if have is None:
            best[item.name] = item
            continue
        better = (item.rank, -item.time.size) < (have.rank, -have.time.size)
        first, second = (item, have) if better else (have, item)
        best[item.name] = first
        if first.file != second.file:
            meta.notes.append(
                f"{item.name}: taken from {Path(first.file).name} ({first.label}), "
                f"not from {Path(second.file).name} ({second.label})"
            )
    return best


def merge_meta(parts: list[Meta]) -> Meta:
    """Put together what the files say about themselves; the oldest run counts for the age."""
    runs = sorted({part.reference_time for part in parts if part.reference_time})
    whole = Meta(
        source=_joined([part.source for part in parts]),
        title=_joined([part.title for part in parts]),
        reference_time=runs[0] if runs else "",
        attribution=_joined([part.attribution for part in parts]),
        licence=_joined([part.licence for part in parts]),
        invented=any(part.invented for part in parts),
        notes=[note for part in parts for note in part.notes],
    )
    if len(runs) > 1:
        whole.notes.append(f"runs from {runs[0]} to {runs[-1]}: the age is that of the oldest")
    return whole


def _joined(texts: list[str]) -> str:
    return "; ".join(dict.fromkeys(text for text in texts if text))


def _joins(first: Field, second: Field) -> bool:
    same = (first.name, first.rank, first.units) == (second.name, second.rank, second.units)
    return same and first.label == second.label and first.grid.same(second.grid)


def _join(group: list[Field]) -> Field:
    times = np.unique(np.concatenate([item.time for item in group]))
    numbers = np.unique(np.concatenate([_numbers(item) for item in group]))
    shape = (times.size, numbers.size)
    owner = np.full(shape, -1)
    values = group[0].data is not None
    data = np.full((*shape, *group[0].grid.shape), np.nan) if values else None
    since = times.copy()
    known = all(item.since is not None for item in group)
    for index, item in enumerate(group):
        rows, columns = np.searchsorted(times, item.time), np.searchsorted(numbers, _numbers(item))
        at = np.ix_(rows, columns)
        if (owner[at] >= 0).any():
            raise _twice(item, group, owner[at], item.time)
        owner[at] = index
        if data is not None and item.data is not None:
            data[at] = item.data
        if item.since is not None:
            since[rows] = item.since
    return replace(
        group[0],
        time=times,
        number=numbers,
        data=data,
        since=since if known else None,
        file=_joined([item.file for item in group]),
    )


def _numbers(item: Field) -> NDArray[np.int64]:
    return np.array([-1], dtype=np.int64) if item.number is None else item.number


def _twice(
    item: Field, group: list[Field], owner: NDArray[np.int64], time: NDArray[np.datetime64]
) -> InputError:
    row, column = (int(i[0]) for i in np.nonzero(owner >= 0))
    other = group[int(owner[row, column])].file
    when = np.datetime_as_string(time[row], unit="m")
    msg = (
        f"{item.file}: {item.label} for {when}Z is in {other} too; "
        f"allowed is each hour once, from one model run"
    )
    return InputError(msg, path=item.file, field=item.label)
