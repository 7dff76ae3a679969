"""Texts of the form in SI."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from routeplan._page.form import ASHORE_ROWS, LIMIT_ROWS, Settings
from routeplan.errors import InputError
from routeplan.units import parse_quantity

if TYPE_CHECKING:
    from routeplan.limits import Limits
    from routeplan.plan import Ashore
    from routeplan.propulsion import Craft

__all__ = ["ashore_of", "ashore_texts", "craft_of", "limits_of", "quantity"]

_TIMES = ("call_in", "alarm")


def quantity(label: str, text: str, kind: str) -> float:
    """A quantity in SI.

    Raises
    ------
    InputError
        Naming the field, what is wrong and what is allowed.
    """
    try:
        return parse_quantity(text, kind)
    except InputError as error:
        msg = f"{label}: {error}"
        raise InputError(msg, value=text) from None


def limits_of(settings: Settings) -> Limits:
    """The limits that the form says.

    Raises
    ------
    InputError
        If one cannot be read or is out of range.
    """
    from routeplan.limits import LIMIT_FIELDS, Limits

    assert settings.limits is not None
    fields: dict[str, Any] = {}
    for row in LIMIT_ROWS:
        text = settings.limits[row.name]
        fields[LIMIT_FIELDS[row.name]] = quantity(row.label, text, row.kind) if text else None
    return Limits(**fields, explicit=settings.explicit)


def craft_of(settings: Settings) -> Craft:
    """The craft that the form says, at the speed that it says."""
    from routeplan.propulsion import craft

    if not settings.speed:
        return craft(settings.craft)
    speed = quantity("Speed in still water", settings.speed, "speed")
    return craft(settings.craft, still_water_speed_ms=speed)


def ashore_of(settings: Settings, read: Ashore | None) -> Ashore | None:
    """Who is told ashore: what a file says, with what the form says put over it.

    Raises
    ------
    InputError
        Naming the field, what is wrong and what is allowed.
    """
    from routeplan._plan.ashoretable import Ashore, ashore_from

    if settings.ashore is None or dict(settings.ashore) == ashore_texts(read):
        return read
    table = {name: text for name, text in settings.ashore.items() if text}
    said = ashore_from(table, Path("the form"), "")
    changed = {name: getattr(said, name) for name, _ in ASHORE_ROWS if name not in _TIMES}
    times = {f"{name}_s": getattr(said, f"{name}_s") for name in _TIMES}
    return replace(read or Ashore(), **changed, **times)


def ashore_texts(read: Ashore | None) -> dict[str, str]:
    """The same as texts for the form."""
    from routeplan._plan.ashoretable import Ashore

    shown = read or Ashore()
    return {
        name: f"{getattr(shown, f'{name}_s') / 60.0:g} min"
        if name in _TIMES
        else getattr(shown, name)
        for name, _ in ASHORE_ROWS
    }
