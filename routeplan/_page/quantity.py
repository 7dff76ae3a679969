"""Texts of the form in SI."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from routeplan._page.form import LIMIT_ROWS, Settings
from routeplan.errors import InputError
from routeplan.units import parse_quantity

if TYPE_CHECKING:
    from routeplan.limits import Limits
    from routeplan.propulsion import Craft

__all__ = ["craft_of", "limits_of", "quantity"]


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
