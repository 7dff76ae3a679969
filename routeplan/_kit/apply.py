"""Rules asked at every place and hour of a plan, and the answers joined into one list."""

from __future__ import annotations

import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from routeplan._kit.factlist import FACTS
from routeplan._kit.facts import Context
from routeplan._kit.rules import ACTIONS, Rule, RuleSet
from routeplan.errors import InputError

__all__ = ["KitLine", "apply_rules", "leg_words"]

_SECONDS = 20.0  # a set of rules that takes longer is stopped


@dataclass(frozen=True, slots=True)
class KitLine:
    """One thing to wear, carry, avoid or do.

    Attributes
    ----------
    action : str
        "wear", "carry", "avoid" or "do".
    item : str
        Name of the thing, or the sentence.
    quantity : int
        For the whole group.
    each : int
        For each `per`, "person" or "group".
    where : str
        In words; `legs` are the numbers, empty where it holds for the whole trip.
    spans : tuple of (leg, start, end)
        Hours it holds in, for rules on hours; UTC, joined where one follows another.
    reasons, notes, needs, sources : tuple of str
        Why; which facts were unknown; training and licences; who says so.
    rules : tuple of str
        Names of the rules.
    set : str
        "paddling" or "dry" for clothing.
    """

    action: str
    item: str
    quantity: int
    each: int
    per: str
    where: str
    legs: tuple[int, ...]
    spans: tuple[tuple[int, np.datetime64, np.datetime64], ...]
    reasons: tuple[str, ...]
    notes: tuple[str, ...]
    needs: tuple[str, ...]
    sources: tuple[str, ...]
    rules: tuple[str, ...]
    set: str = ""


@dataclass(frozen=True, slots=True)
class _Hit:
    """Where a rule applies: contexts, and the facts that were unknown in some of them."""

    rule: Rule
    at: tuple[Context, ...]
    unknown: tuple[str, ...]
    failed: bool


def apply_rules(rules: RuleSet, contexts: Sequence[Context], people: int) -> tuple[KitLine, ...]:
    """Ask every rule at every context of its level and join what they say.

    A rule whose condition cannot be decided because a fact is unknown applies, with a note, unless
    it leaves that to another rule (`unknown = "skip"`). CEL
    decides `a && b` when either is false and `a || b` when either is true, whatever the other.

    Parameters
    ----------
    rules : RuleSet
    contexts : sequence of Context
        From `routeplan.rules.trip_facts`.
    people : int
        How many things "per person" makes.

    Raises
    ------
    InputError
        The rules take too long; the message names the one that was asked last.
    """
    deadline = time.monotonic() + _SECONDS
    hits = [hit for rule in rules.rules if (hit := _ask(rule, contexts, deadline)) is not None]
    all_legs = tuple(sorted({leg for c in contexts for leg in c.legs}))
    found: dict[tuple[str, str], list[_Hit]] = {}
    for action in ACTIONS:
        for hit in hits:
            for item in getattr(hit.rule, action):
                found.setdefault((action, item), []).append(hit)
    worn = {item for action, item in found if action == "wear"}
    lines = [
        _line(action, item, many, people, all_legs, rules)
        for (action, item), many in found.items()
        if not (action == "carry" and item in worn)  # what is worn is not carried twice
    ]
    both = {item for action, item in found if action == "carry"} & worn
    return tuple(_carried(line) if line.item in both else line for line in lines)


def _carried(line: KitLine) -> KitLine:
    if line.action != "wear" or line.where == "whole trip":
        return line
    return replace(line, notes=(*line.notes, "at hand on the rest of the trip"))


def _ask(rule: Rule, contexts: Sequence[Context], deadline: float) -> _Hit | None:
    program = rule.when.program()
    answers: dict[tuple[Any, ...], bool | None] = {}
    at: list[Context] = []
    unknown: dict[str, None] = {}
    failed = False
    for context in contexts:
        if context.level != rule.level:
            continue
        if time.monotonic() > deadline:
            msg = f"{rule.where}: rule {rule.name!r}: the rules take more than {_SECONDS:g} s"
            raise InputError(msg, field=rule.name)
        key = tuple(context.values.get(name) for name in rule.when.facts)
        if key not in answers:
            answers[key] = _answer(program, rule, context)
        answer = answers[key]
        if answer is False:
            continue
        missing = [name for name in rule.when.facts if name not in context.values]
        if answer is None and missing and rule.unknown == "skip":
            continue
        at.append(context)
        if answer is None:
            unknown.update(dict.fromkeys(missing))
            failed = failed or not missing
    return _Hit(rule, tuple(at), tuple(unknown), failed) if at else None


def _answer(program: Any, rule: Rule, context: Context) -> bool | None:
    """What CEL says; None when it cannot tell."""
    known = {name: context.values[name] for name in rule.when.facts if name in context.values}
    try:
        answer = program.execute(known)
    except Exception:  # the library raises many kinds; all mean that nothing was decided
        return None
    return answer if isinstance(answer, bool) else None


def _line(
    action: str,
    item: str,
    hits: list[_Hit],
    people: int,
    all_legs: tuple[int, ...],
    rules: RuleSet,
) -> KitLine:
    most = max((hit.rule for hit in hits), key=lambda rule: rule.total(people))
    legs, whole = _legs(hits, all_legs)
    known = rules.item(item)
    reasons = _once(hit.rule.why for hit in hits)
    if action == "carry" and known.distress and not whole:
        whole, reasons = True, (*reasons, f"asked for by {leg_words(legs)}, carried all the way")
    return KitLine(
        action=action,
        item=item,
        quantity=most.total(people) if action in ("wear", "carry") else 1,
        each=most.quantity,
        per=most.per,
        where="whole trip" if whole else leg_words(legs),
        legs=() if whole else legs,
        spans=_spans(hits),
        reasons=reasons,
        notes=_once(note for hit in hits for note in _notes(hit)),
        needs=_once([*(hit.rule.needs for hit in hits), known.needs]),
        sources=_once(hit.rule.source for hit in hits),
        rules=_once(hit.rule.name for hit in hits),
        set=known.set,
    )


def _once(words: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(word for word in words if word))


def _legs(hits: list[_Hit], all_legs: tuple[int, ...]) -> tuple[tuple[int, ...], bool]:
    """Legs on which any of the rules applies, and whether that is the whole trip."""
    legs: set[int] = set()
    for hit in hits:
        if hit.rule.level == "trip":
            return all_legs, True
        legs |= {leg for context in hit.at for leg in context.legs}
    return tuple(sorted(legs)), tuple(sorted(legs)) == all_legs


def _spans(hits: list[_Hit]) -> tuple[tuple[int, np.datetime64, np.datetime64], ...]:
    found = {
        (c.legs[0], c.start, c.end)
        for hit in hits
        for c in hit.at
        if c.legs and c.level == "hour" and not np.isnat(c.start)
    }
    out: list[tuple[int, np.datetime64, np.datetime64]] = []
    for leg, start, end in sorted(found, key=lambda span: span[1:]):
        if out and out[-1][0] == leg and out[-1][2] >= start:
            out[-1] = (leg, out[-1][1], max(out[-1][2], end))
        else:
            out.append((leg, start, end))
    return tuple(out)


def _notes(hit: _Hit) -> list[str]:
    notes = []
    if hit.unknown:
        what = ", ".join(f"{name} ({FACTS[name].words})" for name in hit.unknown)
        notes.append(f"rule {hit.rule.name!r} applies because it is unknown: {what}")
    if hit.failed:
        notes.append(f"rule {hit.rule.name!r} applies because it cannot be worked out")
    return notes


def leg_words(legs: Sequence[int]) -> str:
    """Numbers of legs in words: "leg 2", "legs 3 to 5 and 8"."""
    runs: list[list[int]] = []
    for leg in sorted(set(legs)):
        if runs and leg == runs[-1][-1] + 1:
            runs[-1].append(leg)
        else:
            runs.append([leg])
    words = []
    for run in runs:
        if len(run) > 2:
            words.append(f"{run[0]} to {run[-1]}")
        else:
            words += [str(leg) for leg in run]
    joined = " and ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else words[0]
    return f"leg{'s' if len(set(legs)) > 1 else ''} {joined}"
