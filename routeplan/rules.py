"""What to carry and wear: the user's own rules on the plan's facts, and a group's spares.

    rules = default_rules().merged(read_rules("my_rules.toml"))
    group = read_group("group.toml")
    facts = trip_facts(plan.route, plan.exposures, plan.stages, group, craft.still_water_speed_ms)
    for line in apply_rules(rules, facts, len(group.people)): ...
    choose_spares(group).chosen

A rule in TOML:

    [[rule]]
    name = "flotation worn"
    when = "alone || offshore_m > 1000.0 || water_c < 15.0"   # CEL over the names in FACTS
    wear = ["buoyancy aid"]            # and, or: carry, avoid, do
    quantity = 1                       # for each of
    per = "person"                     # "person" or "group"
    why = "nobody is near enough to help in time"
    source = "common practice, no source"

A rule is asked at the finest level of its facts: once for the trip, for each stage, leg or hour.
Own rules replace those of the default set by name; `off = true` takes one away.
"""

from __future__ import annotations

from routeplan._kit.apply import KitLine, apply_rules, leg_words
from routeplan._kit.expr import Condition, ConditionError, check_condition
from routeplan._kit.factlist import FACTS, LEVELS, Fact
from routeplan._kit.facts import Context, Night, nights_of
from routeplan._kit.facts import contexts as trip_facts
from routeplan._kit.group import Bag, Group, Person, Spare, read_group
from routeplan._kit.rules import Item, Rule, RuleSet, default_rules, read_rules
from routeplan._kit.spares import (
    ChosenSpare,
    SpareChoice,
    balance,
    choose_spares,
    default_spares,
)

__all__ = [
    "FACTS",
    "LEVELS",
    "Bag",
    "ChosenSpare",
    "Condition",
    "ConditionError",
    "Context",
    "Fact",
    "Group",
    "Item",
    "KitLine",
    "Night",
    "Person",
    "Rule",
    "RuleSet",
    "Spare",
    "SpareChoice",
    "apply_rules",
    "balance",
    "check_condition",
    "choose_spares",
    "default_rules",
    "default_spares",
    "leg_words",
    "nights_of",
    "read_group",
    "read_rules",
    "trip_facts",
]
