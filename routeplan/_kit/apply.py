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
        For each `per`: "person", "group", or a person on a "board", in a "kayak", "canoe".
    where : str
        In words; `legs` are the numbers, empty where it holds for the whole trip.
    spans : tuple of (leg, start, end)
        Hours it holds in, where it does not hold on the whole trip; UTC, joined where one follows
        another.
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
    """Where a rule applies: contexts, and the facts that were unknown in some of them.

    `sure` are the contexts in which nothing was unknown, `total` how many things it makes.
    """

    rule: Rule
    at: tuple[Context, ...]
    sure: tuple[Context, ...]
    unknown: tuple[str, ...]
    failed: bool
    total: int = 0
    doubt: str = ""


def apply_rules(
    rules: RuleSet, contexts: Sequence[Context], people: int, crafts: Sequence[str] = ()
) -> tuple[KitLine, ...]:
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
    crafts : sequence of str
        Type of everybody's craft, "" unknown: whoever may be in a kayak counts for what is "per
        kayak". Without any, everybody counts for each.

    Raises
    ------
    InputError
        The rules take too long; the message names the one that was asked last.
    """
    deadline = time.monotonic() + _SECONDS
    hits = []
    for rule in rules.rules:
        count, doubt = _count(rule.per, people, crafts)
        hit = _ask(rule, contexts, deadline) if count else None
        if hit is not None:
            hits.append(replace(hit, total=rule.total(count), doubt=doubt))
    all_legs = tuple(sorted({leg for c in contexts for leg in c.legs}))
    found: dict[tuple[str, str], list[_Hit]] = {}
    for action in ACTIONS:
        for hit in hits:
            for item in getattr(hit.rule, action):
                found.setdefault((action, item), []).append(hit)
    worn = {item for action, item in found if action == "wear"}
    lines = [
        _line(action, item, many, all_legs, rules)
        for (action, item), many in found.items()
        if not (action == "carry" and item in worn)  # what is worn is not carried twice
    ]
    both = {item for action, item in found if action == "carry"} & worn
    return tuple(_carried(line) if line.item in both else line for line in lines)


_WITHIN_REACH = "within reach on the rest of the trip, or worn all the way"


def _carried(line: KitLine) -> KitLine:
    if line.action != "wear" or line.where == "whole trip":
        return line
    return replace(
        line, notes=(*line.notes, "within reach on the rest of the trip, or worn all the way")
    )


def _count(per: str, people: int, crafts: Sequence[str]) -> tuple[int, str]:
    """How many people a rule is for, and what is not known of them."""
    if per in ("person", "group") or not crafts:
        return people, ""
    unknown = sum(not craft for craft in crafts)
    doubt = f"the craft of {unknown} is of unknown type and may be a {per}" if unknown else ""
    return unknown + sum(craft == per for craft in crafts), doubt


def _ask(rule: Rule, contexts: Sequence[Context], deadline: float) -> _Hit | None:
    program = rule.when.program()
    answers: dict[tuple[Any, ...], bool | None] = {}
    at: list[Context] = []
    sure: list[Context] = []
    unknown: dict[str, None] = {}
    failed = False
    level = rule.level
    for context in contexts:
        if context.level != level:
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
        else:
            sure.append(context)
    return _Hit(rule, tuple(at), tuple(sure), tuple(unknown), failed) if at else None


def _answer(program: Any, rule: Rule, context: Context) -> bool | None:
    """What CEL says; None when it cannot tell."""
    known = {name: context.values[name] for name in rule.when.facts if name in context.values}
    try:
        answer = program.execute(known)
    except Exception:  # the library raises many kinds; all mean that nothing was decided
        return None
    return answer if isinstance(answer, bool) else None


def _line(
    action: str, item: str, hits: list[_Hit], all_legs: tuple[int, ...], rules: RuleSet
) -> KitLine:
    most = max(hits, key=lambda hit: hit.total)
    hits = _telling(hits)
    legs, whole = _legs(hits, all_legs)
    known = rules.item(item)
    lent = action == "carry" and known.distress and not whole
    reasons = _reasons(hits, all_legs, apart=lent)
    if lent:
        whole, reasons = True, (*reasons, "carried all the way")
    return KitLine(
        action=action,
        item=item,
        quantity=most.total if action in ("wear", "carry") else 1,
        each=most.rule.quantity,
        per=most.rule.per,
        where="whole trip" if whole else leg_words(legs),
        legs=() if whole else legs,
        spans=_spans(hits, whole),
        reasons=reasons,
        notes=_notes(hits),
        needs=_once([*(hit.rule.needs for hit in hits), known.needs]),
        sources=_once(hit.rule.source for hit in hits),
        rules=_once(hit.rule.name for hit in hits),
        set=known.set,
    )


def _once(words: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(word for word in words if word))


def _telling(hits: list[_Hit]) -> list[_Hit]:
    """Hits without those that are nowhere sure and only say what others surely say."""
    everywhere = any(c.level == "trip" for hit in hits for c in hit.sure)
    legs = {leg for hit in hits for c in hit.sure if c.level != "hour" for leg in c.legs}

    def is_said(hit: _Hit) -> bool:
        covered = everywhere or all(c.legs and legs.issuperset(c.legs) for c in hit.at)
        return covered and not hit.sure

    return [hit for hit in hits if not is_said(hit)]


def _reasons(hits: list[_Hit], all_legs: tuple[int, ...], *, apart: bool) -> tuple[str, ...]:
    """Reasons, each with its legs where these are not the same for all of them, or if `apart`."""
    by_why: dict[str, list[_Hit]] = {}
    for hit in hits:
        by_why.setdefault(hit.rule.why, []).append(hit)
    where = {why: _legs(many, all_legs) for why, many in by_why.items()}
    apart = apart or len(set(where.values())) > 1
    return tuple(
        f"{why} ({leg_words(legs)})" if apart and not whole else why
        for why, (legs, whole) in where.items()
    )


def _legs(hits: list[_Hit], all_legs: tuple[int, ...]) -> tuple[tuple[int, ...], bool]:
    """Legs on which any of the rules applies, and whether that is the whole trip."""
    legs: set[int] = set()
    for hit in hits:
        if hit.rule.level == "trip":
            return all_legs, True
        legs |= {leg for context in hit.at for leg in context.legs}
    return tuple(sorted(legs)), tuple(sorted(legs)) == all_legs


def _spans(hits: list[_Hit], whole: bool) -> tuple[tuple[int, np.datetime64, np.datetime64], ...]:
    levels = ("hour",) if whole else ("leg", "hour")
    found = {
        (c.legs[0], c.start, c.end)
        for hit in hits
        for c in hit.at
        if c.legs and c.level in levels and not np.isnat(c.start)
    }
    out: list[tuple[int, np.datetime64, np.datetime64]] = []
    for leg, start, end in sorted(found, key=lambda span: span[1:]):
        if out and out[-1][0] == leg and out[-1][2] >= start:
            out[-1] = (leg, out[-1][1], max(out[-1][2], end))
        else:
            out.append((leg, start, end))
    return tuple(out)


def _notes(hits: Sequence[_Hit]) -> tuple[str, ...]:
    notes = [hit.doubt for hit in hits]
    unknown = _once(name for hit in hits for name in hit.unknown)
    if unknown:
        what = ", ".join(f"{name} ({FACTS[name].words})" for name in unknown)
        notes.append(f"taken to hold where unknown: {what}")
    notes += [
        f"rule {hit.rule.name!r} applies because it cannot be worked out"
        for hit in hits
        if hit.failed
    ]
    return _once(notes)


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
