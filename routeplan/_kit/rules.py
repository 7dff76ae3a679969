"""Kit rules and items as values, read from TOML and merged."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from importlib.resources import files
from pathlib import Path

from routeplan._kit.expr import Condition, ConditionError, check_condition
from routeplan._kit.factlist import finest_level
from routeplan._kit.file import Entry, KitFile, read_kit_file

__all__ = ["ACTIONS", "REACHES", "Item", "Rule", "RuleSet", "default_rules", "read_rules"]

ACTIONS = ("wear", "carry", "avoid", "do")
REACHES = ("worn", "quick", "day", "main", "deck")
NO_SOURCE = "common practice, no source"
_RULE_KEYS = ("name", "when", *ACTIONS, "quantity", "per", "shared_by", "why", "source",
              "needs", "off", "unknown")  # fmt: skip
_ITEM_KEYS = ("name", "mass", "volume", "reach", "set", "source", "needs",
              "distress")  # fmt: skip
_OFF = Condition("false", ())


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule.

    `wear`, `carry` name items, `avoid`, `do` are sentences; `quantity` items for each `per`
    ("person", "group"), where `shared_by` people share one. `why` is the reason, `source` who
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
        """How many things that makes for so many people."""
        return self.quantity * (-(-people // self.shared_by) if self.per == "person" else 1)


@dataclass(frozen=True, slots=True)
class Item:
    """A thing of the kit: mass [kg] and volume [m³] of one, nan unknown.

    `reach` says where it has to be: worn, in a quick-access, day or main bag, or on deck; `set`
    is "paddling" or "dry" for clothing; `distress` things are carried the whole trip if at all.
    """

    name: str
    mass_kg: float = math.nan
    volume_m3: float = math.nan
    reach: str = "main"
    set: str = ""
    source: str = ""
    needs: str = ""
    distress: bool = False


@dataclass(frozen=True, slots=True)
class RuleSet:
    """Rules in order and what is known of items by name."""

    rules: tuple[Rule, ...]
    items: Mapping[str, Item]

    def merged(self, own: RuleSet) -> RuleSet:
        """The set with another's rules and items put over it by name; `off` rules go."""
        by_name = {rule.name: rule for rule in self.rules}
        by_name.update({rule.name: rule for rule in own.rules})
        kept = tuple(rule for rule in by_name.values() if not rule.off)
        # One's own mass of a thing that helps in distress does not make it less so.
        items = {
            name: replace(item, distress=item.distress or self.item(name).distress)
            for name, item in own.items.items()
        }
        return RuleSet(kept, {**self.items, **items})

    def item(self, name: str) -> Item:
        """What is known of an item; an unknown one has neither mass nor volume."""
        return self.items.get(name, Item(name))


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
    _once(file, "rule", (rule.name for rule in rules))
    _once(file, "item", (item.name for item in items))
    return RuleSet(tuple(rules), {item.name: item for item in items})


def _once(file: KitFile, kind: str, names: Iterable[str]) -> None:
    seen: set[str] = set()
    for entry, name in zip(file.entries(kind), names, strict=True):
        if name in seen:
            entry.fail("name", "is there twice in this file; a name is allowed once")
        seen.add(name)


def _rule(file: KitFile, entry: Entry) -> Rule:
    entry.check_keys(_RULE_KEYS)
    name = entry.text("name")
    where = f"{file.path.name}:{entry.line}"
    if entry.flag("off"):
        return Rule(name, _OFF, off=True, where=where)
    rule = Rule(
        name=name,
        when=_condition(entry),
        quantity=_whole(entry, "quantity"),
        per=entry.choice("per", ("person", "group"), "person"),
        shared_by=_whole(entry, "shared_by"),
        why=entry.text("why"),
        source=entry.text("source", "the user's own"),
        needs=entry.text("needs", ""),
        where=where,
        unknown=entry.choice("unknown", ("apply", "skip"), "apply"),
    )
    done = {action: entry.texts(action) for action in ACTIONS}
    if not any(done.values()):
        entry.fail("name", f"does nothing; give one or more of {', '.join(ACTIONS)}")
    return replace(rule, **done)  # type: ignore[arg-type]


def _whole(entry: Entry, key: str) -> int:
    value = entry.number(key, 1, 100, 1.0)
    if value != int(value):
        entry.fail(key, f"is {value:g}; allowed is a whole number from 1 to 100")
    return int(value)


def _condition(entry: Entry) -> Condition:
    try:
        return check_condition(entry.table.get("when"))
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
    )
