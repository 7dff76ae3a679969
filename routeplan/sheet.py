"""What is left with the contact ashore, and the card for the deck. Nothing is computed here.

sheet_text(plan)        # the sheet as text
sheet_pdf(plan)         # the same on one page of A4
card_pdf(plan)          # for the deck: A5, a page a stage
sheet_document(plan)    # for programs: the key `sheet` of docs/json.md
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from routeplan._sheet.document import sheet_document as _document
from routeplan._sheet.text import text_of
from routeplan._sheet.words import sheet_words
from routeplan.errors import InputError

if TYPE_CHECKING:
    from routeplan._plan.ashore import TripSheet
    from routeplan.plan import Plan

__all__ = ["card_pdf", "sheet_document", "sheet_pdf", "sheet_text"]


def sheet_text(plan: Plan) -> str:
    """The sheet for the contact ashore as text, lines of at most 78 characters.

    Raises
    ------
    InputError
        For a plan without a sheet.
    """
    return text_of(sheet_words(plan, _sheet(plan)))


def sheet_pdf(plan: Plan) -> bytes:
    """The sheet for the contact ashore as PDF: one page of A4, more for very long routes.

    Raises
    ------
    InputError
        For a plan without a sheet.
    """
    from routeplan._sheet.setting import pdf_of

    return pdf_of("sheet.typ", sheet_words(plan, _sheet(plan)))


def card_pdf(plan: Plan) -> bytes:
    """The card for the deck as PDF: A5, each stage on a page of its own.

    Raises
    ------
    InputError
        For a plan without a sheet.
    """
    from routeplan._sheet.card import card_words
    from routeplan._sheet.chart import stage_maps
    from routeplan._sheet.setting import pdf_of

    sheet = _sheet(plan)
    return pdf_of("card.typ", card_words(plan, sheet), stage_maps(plan, sheet))


def sheet_document(plan: Plan) -> dict[str, Any] | None:
    """The sheet for programs, times in UTC; None for a plan without one."""
    return None if plan.sheet is None else _document(plan.sheet)


def _sheet(plan: Plan) -> TripSheet:
    if plan.sheet is None:
        msg = "this plan has no trip sheet: plan the trip with plan_trip"
        raise InputError(msg, field="sheet")
    return plan.sheet
