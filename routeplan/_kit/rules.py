"""Kit rules and items as values, read from TOML and merged."""

from __future__ import annotations

import functools
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from difflib import get_close_matches
from importlib.resources import files
from pathlib import Path

from routeplan._kit.expr import Condition, ConditionError, check_condition
from routeplan._kit.factlist import finest_level
from routeplan._kit.file import Entry, KitFile, read_kit_file
from routeplan._kit.group import CRAFT_TYPES
from routeplan.errors import InputError

__all__ = ["ACTIONS", "PER", "REACHES", "Item", "Rule", "RuleSet", "default_rules", "read_rules"]

ACTIONS = ("wear", "carry", "avoid", "do")
PER = ("person", "group", *CRAFT_TYPES)
REACHES = ("worn", "quick", "day", "main", "deck")
NO_SOURCE = "common practice, no source"
_RULE_KEYS = ("name", "when", *ACTIONS, "quantity", "per", "shared_by", "why", "source",
              "needs", "off", "unknown")  # fmt: skip
_ITEM_KEYS = ("name", "mass", "volume", "reach", "set", "source", "needs", "distress", "holds",
              "apart")  # fmt: skip
_WAYS = 8  # conditions of one rule, each with its reason
_OFF = Condition("false", ())


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule, or one of the conditions of a rule that has several, each with its own reason.

    `wear`, `carry` name items, `avoid`, `do` are sentences; `quantity` items for each `per`
    of `PER`: a person, the group, or a person on a board, in a kayak or
    canoe; `shared_by` people share one. `why` is the reason, `source` who
    says so, `needs` the training or licence that goes with it. `where` is file and line.
    `unknown` is "apply", or "skip" where another rule stands in while a fact is unknown.
    """

    name: str
    when: Condition
    wear: tuple[str, ...] = ()
    carry: tuple[str, ...] = ()
    avoid: tuple[str, ...] = ()
    do: tuple[str, ...] = ()
    quantity: int = 1
    per: str = "person"
    shared_by: int = 1
    why: str = ""
    source: str = ""
    needs: str = ""
    where: str = ""
    off: bool = False
    unknown: str = "apply"

    @property
    def level(self) -> str:
        """Level at which the rule is asked: that of its finest fact."""
        return finest_level(self.when.facts)

    def total(self, people: int) -> int:
        """How many things that makes for so many people that it is for."""
        return self.quantity * (1 if self.per == "group" else -(-people // self.shared_by))


@dataclass(frozen=True, slots=True)
class Item:
    """A thing of the kit: mass [kg] and volume [m³] of one, nan unknown.

    `reach` says where it has to be: worn, in a quick-access, day or main bag, or on deck; `set`
    is "paddling" or "dry" for clothing; `distress` things are carried the whole trip if at all;
    `holds_l` of drinking water [L]. Shared things of one `apart` go to different people.
    """

    name: str
    mass_kg: float = math.nan
    volume_m3: float = math.nan
    reach: str = "main"
    set: str = ""
    source: str = ""
    needs: str = ""
    distress: bool = False
    holds_l: float = 0.0
    apart: str = ""


@dataclass(frozen=True, slots=True)
class RuleSet:
    """Rules in order and what is known of items by name.

    A rule with several conditions is there once for each, under one name.
    """

    rules: tuple[Rule, ...]
    items: Mapping[str, Item]

    def merged(self, own: RuleSet) -> RuleSet:
        """The set with another's rules and items put over it by name; `off` rules go.

        Raises
        ------
        InputError
            A rule is to go that is not there.
        """
        by_name = _by_name(self.rules)
        for rule in own.rules:
            if rule.off and rule.name not in by_name:
                near = get_close_matches(rule.name, by_name, 3) or list(by_name)
                what = f"there is none of this name to take away; allowed are {', '.join(near)}"
                msg = f"{rule.where}: rule {rule.name!r}: {what}"
                raise InputError(msg, field="name")
        by_name.update(_by_name(own.rules))
        kept = tuple(rule for ways in by_name.values() for rule in ways if not rule.off)
        # One's own mass of a thing does not make it help less in distress, or go together.
        items = {
            name: replace(
                item,
                distress=item.distress or self.item(name).distress,
                apart=item.apart or self.item(name).apart,
            )
            for name, item in own.items.items()
        }
        return RuleSet(kept, {**self.items, **items})

    def item(self, name: str) -> Item:
        """What is known of an item; an unknown one has neither mass nor volume."""
        return self.items.get(name, Item(name))


def _by_name(rules: Iterable[Rule]) -> dict[str, list[Rule]]:
    out: dict[str, list[Rule]] = {}
    for rule in rules:
        out.setdefault(rule.name, []).append(rule)
    return out


@functools.cache
def default_rules() -> RuleSet:
    """The rules that come with the package: common practice where no source is named."""
    folder = files("routeplan").joinpath("data", "kit")
    found = [read_rules(Path(str(folder.joinpath(name)))) for name in ("rules.toml", "items.toml")]
    return found[0].merged(found[1])


def read_rules(path: str | Path) -> RuleSet:
    """Read rules (`[[rule]]`) and items (`[[item]]`) of a TOML file.

    Raises
    ------
    InputError
        In one line: file, line, what is wrong, what is allowed.
    """
    file = read_kit_file(path, ("rule", "item"))
    rules = [_rule(file, entry) for entry in file.entries("rule")]
    items = [_item(entry) for entry in file.entries("item")]
    _once(file, "rule", (ways[0].name for ways in rules))
    _once(file, "item", (item.name for item in items))
    every = tuple(rule for ways in rules for rule in ways)
    return RuleSet(every, {item.name: item for item in items})


def _once(file: KitFile, kind: str, names: Iterable[str]) -> None:
    seen: set[str] = set()
    for entry, name in zip(file.entries(kind), names, strict=True):
        if name in seen:
            entry.fail("name", "is there twice in this file; a name is allowed once")
        seen.add(name)


def _rule(file: KitFile, entry: Entry) -> tuple[Rule, ...]:
    """The rule, once for each of its conditions."""
    entry.check_keys(_RULE_KEYS)
    name = entry.text("name")
    where = f"{file.path.name}:{entry.line}"
    if entry.flag("off"):
        return (Rule(name, _OFF, off=True, where=where),)
    ways = _ways(entry)
    rule = Rule(
        name=name,
        when=ways[0][0],
        quantity=_whole(entry, "quantity"),
        per=entry.choice("per", PER, "person"),
        shared_by=_whole(entry, "shared_by"),
        source=entry.text("source", "the user's own"),
        needs=entry.text("needs", ""),
        where=where,
        unknown=entry.choice("unknown", ("apply", "skip"), "apply"),
    )
    done = {action: entry.texts(action) for action in ACTIONS}
    if not any(done.values()):
        entry.fail(
            "name", f"is of a rule that does nothing; give one or more of {', '.join(ACTIONS)}"
        )
    return tuple(
        replace(rule, when=when, why=why, **done)  # type: ignore[arg-type]
        for when, why in ways
    )


def _whole(entry: Entry, key: str) -> int:
    value = entry.number(key, 1, 100, 1.0)
    if value != int(value):
        entry.fail(key, f"is {value:g}; allowed is a whole number from 1 to 100")
    return int(value)


def _ways(entry: Entry) -> list[tuple[Condition, str]]:
    """Conditions with their reasons: one of each, or lists of the same length."""
    when = entry.table.get("when")
    if not isinstance(when, list):
        return [(_condition(entry, when), entry.text("why"))]
    why = entry.texts("why")
    if not 1 <= len(when) <= _WAYS or len(why) != len(when):
        entry.fail(
            "when",
            f"has {len(when)} conditions for {len(why)} reasons; allowed are 1 to {_WAYS}, each "
            "with its own in why",
        )
    return [(_condition(entry, text), reason) for text, reason in zip(when, why, strict=True)]


def _condition(entry: Entry, text: object) -> Condition:
    try:
        return check_condition(text)
    except ConditionError as error:
        wrong = entry.error("when", str(error))
    raise wrong


def _item(entry: Entry) -> Item:
    entry.check_keys(_ITEM_KEYS)
    return Item(
        name=entry.text("name"),
        mass_kg=entry.quantity("mass", "mass", 0.0, 100.0),
        volume_m3=entry.quantity("volume", "volume", 0.0, 1.0),
        reach=entry.choice("reach", REACHES, "main"),
        set=entry.choice("set", ("", "paddling", "dry"), ""),
        source=entry.text("source", "the user's own"),
        needs=entry.text("needs", ""),
        distress=bool(entry.flag("distress")),
        holds_l=entry.quantity("holds", "volume", 0.0, 0.03, 0.0) * 1e3,
        apart=entry.text("apart", ""),
    )
