"""An empty table of orders to fill in and bring in again."""

from __future__ import annotations

from photocheck.orders.intake.headings import TO_FILL_IN, field_title
from photocheck.shown.workbook import workbook
from photocheck.speech import capital_first, tr


def blank_table() -> bytes:
    """A workbook (``.xlsx``) with headings for what an owner tells, in the language spoken now.

    No row of it is filled in: an example would come in as an order.
    """
    # lengths and weight go by the column "unit", and by what stands in their cells
    titles = {field: field_title(field) for field in TO_FILL_IN} | {"age": tr("age (months)")}
    return workbook(tr("Orders"), [capital_first(title) for title in titles.values()], [])
