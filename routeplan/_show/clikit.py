"""Options for the kit of a trip, and how their files are read."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from routeplan.errors import InputError

__all__ = ["GroupFile", "RulesFile", "kit_settings"]

GroupFile = Annotated[
    Path | None,
    typer.Option("--group", metavar="FILE", help="People, craft, bags, contact ashore, TOML."),
]
RulesFile = Annotated[
    Path | None,
    typer.Option("--rules", metavar="FILE", help="Your own kit rules, put over the default."),
]


def kit_settings(group: Path | None, rules: Path | None) -> dict[str, Any]:
    """What a trip is told of its kit: nothing without a group."""
    if group is None:
        if rules is not None:
            msg = "--rules: needs --group FILE; rules are asked for a group"
            raise InputError(msg, field="--rules", path=rules)
        return {}
    from routeplan._plan.ashoretable import read_ashore
    from routeplan.rules import read_group, read_rules

    own = None if rules is None else read_rules(rules)
    return {"group": read_group(group), "kit_rules": own, "ashore": read_ashore(group)}
