"""The empty table to fill in: every heading that photocheck shows is one that it understands."""

from __future__ import annotations

import io

import pytest
from openpyxl import load_workbook

from photocheck.orders.intake.bring import bring
from photocheck.orders.intake.columns import columns_as
from photocheck.orders.intake.entries import entries_of
from photocheck.orders.intake.headings import HEADINGS, TO_FILL_IN, by_itself, field_title, is_known
from photocheck.orders.intake.table import table_of
from photocheck.orders.store import DatabaseStore
from photocheck.shown.blank_table import blank_table
from photocheck.speech import LANGUAGES, speaking
from photocheck.words import READINGS

TOLD = {
    "order": "1042",
    "name": "A. Example",
    "dog": "Juno",
    "unit": "cm",
    "language": "de",
    "half_neck": "36",
    "front_length": "48.5",
    "rear_length": "27",
    "full_length": "75",
    "neck_ring": "72",
    "weight": "24",
    "neck_width": "17",
    "height": "58",
    "age": "40",
    "notes": "pulls on snow",
}


@pytest.mark.parametrize("language", LANGUAGES)
def test_what_a_column_is_called_is_understood_as_its_heading(language: str) -> None:
    with speaking(language):
        taken = {field: by_itself(field_title(field)) for field in HEADINGS}
    assert taken == {field: field for field in HEADINGS}


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_table_that_was_filled_in_comes_in_whole(language: str, store: DatabaseStore) -> None:
    with speaking(language):
        book = load_workbook(io.BytesIO(blank_table()))
    sheet = book.active
    heads = [cell.value for cell in sheet[1]]
    assert sheet.max_row == 1
    assert len(heads) == len(TO_FILL_IN)
    for column, field in enumerate(TO_FILL_IN, start=1):
        sheet.cell(2, column).value = TOLD.get(field)
    filled = io.BytesIO()
    book.save(filled)
    table = table_of(filled.getvalue(), is_known, name="orders.xlsx")
    columns = columns_as(table.head, {}, {})
    entries = entries_of(table, None, columns=columns, unit="", no_folder="").entries
    (result,) = bring(store, entries, language="en")
    order = store.order(result.key)
    told = order.draft
    assert (told.owner.number, told.owner.name, told.dog.name) == ("1042", "A. Example", "Juno")
    assert told.readings == {name: TOLD[name] for name in READINGS}
    assert (told.unit, told.dog.neck_width, told.dog.height) == ("cm", "17", "58")
    assert (told.dog.weight, told.dog.age_months) == ("24", 40)
    assert order.language == "de"
    assert told.owner.notes == "pulls on snow"
