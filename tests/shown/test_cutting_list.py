"""The cutting list says what `fit` says, to the last digit, wherever it goes."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pypdfium2
import pytest
from openpyxl import load_workbook

from photocheck.case.lengths import format_length
from photocheck.cli.main import run
from photocheck.fit.answer import Wish, fit
from photocheck.fit.cut_lengths import MEASURES
from photocheck.fit.shelf import demo_table, read_shelf
from photocheck.orders.model import CutNote
from photocheck.orders.store import DatabaseStore
from photocheck.shown.cutting_files import cutting_csv, cutting_pdf, cutting_workbook
from photocheck.shown.cutting_list import chosen_cuts, cut_row, cut_rows_of
from photocheck.shown.plain_fit import cut_rows
from photocheck.speech import speaking
from photocheck.words import EXIT_CODES
from tests.support.cut_orders import DAY, accepted, carried
from tests.support.spreadsheet import SEMICOLON, read_by_office
from tests.support.store_orders import JPEG, case_of

NASTY = '=HYPERLINK("http://x.example","ok")'


def mm_columns(heads: list[str]) -> list[int]:
    return [k for k, head in enumerate(heads) if head.endswith(", mm")]


@pytest.mark.parametrize("unit", ["cm", "in"])
def test_every_length_is_fits_to_the_last_digit(unit: str, tmp_path: Path) -> None:
    shelf = tmp_path / "sizes.csv"
    shelf.write_text(demo_table(), encoding="utf-8")
    report = carried(unit=unit)
    for sizes in ((), read_shelf(shelf)):
        answer = fit(report, sizes)
        row = cut_row(accepted(17, report=report), sizes)
        assert row.lengths == {one.name: one.mm for one in answer.measures}
        assert [row.length(name) for name in MEASURES] == [r[1] for r in cut_rows(answer)[1:]]
        assert row.size == (answer.sizes[0].name if answer.outcome == "size" else "")
        assert row.made
        assert (row.number, row.dog, row.owner, row.coat) == (
            "2026-17",
            "Juno",
            "Ada Invented",
            "medium",
        )


def test_what_was_wished_for_counts() -> None:
    report = carried()
    noted = CutNote(DAY, "Bo", "wished", 17, {"weight_later_kg": 30.0})
    row = cut_row(accepted(17, report=report, cuts=(noted,)))
    wished = fit(report, (), Wish(30.0))
    assert row.lengths == {one.name: one.mm for one in wished.measures}
    assert row.lengths != {one.name: one.mm for one in fit(report).measures}


def test_what_was_cut_stays_as_it_was_cut() -> None:
    lengths = {name: 100.0 + k for k, name in enumerate(MEASURES)}
    noted = CutNote(DAY, "Bo", "cut", 17, {**lengths, "size": "small"})
    row = cut_row(accepted(17, cuts=(noted,)))
    assert (row.lengths, row.size, row.cut) == (lengths, "small", noted)
    undone = CutNote(DAY, "Bo", "not_cut", 17)
    row = cut_row(accepted(17, cuts=(noted, undone)))
    assert row.cut is None
    assert row.lengths != lengths


def test_an_order_accepted_without_agreement_says_why_nothing_is_cut() -> None:
    row = cut_row(accepted(17, report=replace(carried(), verdict="could_hide")))
    assert row.lengths == {}
    assert row.made == ""
    assert "does not confirm" in row.problem
    with speaking("de"):
        german = cut_row(accepted(17, report=replace(carried(), verdict="could_hide")))
    assert german.problem != row.problem


def test_days_are_the_visitors_and_counted_in() -> None:
    late = datetime(2026, 3, 29, 23, 30, tzinfo=UTC)  # 30 March in Berlin
    orders = [accepted(k, at=late + timedelta(days=k)) for k in range(3)]
    cut = CutNote(DAY, "Bo", "cut", 1)
    orders[1] = replace(orders[1], cuts=(cut,))
    rows = cut_rows_of(reversed(orders))
    assert [row.check for row in rows] == [0, 1, 2]
    day = date(2026, 3, 30)
    assert [r.check for r in chosen_cuts(rows, since=day)] == [1, 2]
    berlin = ZoneInfo("Europe/Berlin")
    assert [r.check for r in chosen_cuts(rows, since=day, until=day, zone=berlin)] == [0]
    assert [r.check for r in chosen_cuts(rows, not_cut=True)] == [0, 2]
    waiting = replace(orders[0], decisions=())
    assert cut_rows_of([waiting]) == []


def test_the_files_hold_the_same_lengths() -> None:
    rows = [cut_row(accepted(17)), cut_row(accepted(18, name="Réka", report=carried("Réka")))]
    table = list(csv.reader(io.StringIO(cutting_csv(rows), newline="")))
    where = mm_columns(table[0])
    for line, row in zip(table[1:], rows, strict=True):
        assert [float(line[k]) for k in where] == [row.lengths[name] for name in MEASURES]
        assert line[4:8] == [row.length(name) for name in MEASURES]
    sheet = load_workbook(io.BytesIO(cutting_workbook(rows))).active
    assert sheet.freeze_panes == "A2"
    for number, row in enumerate(rows, start=2):
        cells = [sheet.cell(number, k + 1) for k in where]
        assert [cell.value for cell in cells] == [row.lengths[name] for name in MEASURES]
        assert {cell.data_type for cell in cells} == {"n"}
        assert sheet.cell(number, 12).value == datetime(2026, 3, 29)
    with speaking("de"):
        assert '"Halsweite, mm"' in cutting_csv(rows)


@pytest.mark.slow
def test_office_reads_the_same_lengths(tmp_path: Path) -> None:
    rows = [
        cut_row(accepted(17)),
        cut_row(accepted(18, name=NASTY, report=carried(NASTY))),
        cut_row(accepted(19, report=replace(carried(), verdict="could_hide"))),
    ]
    comma, semicolon = tmp_path / "comma.csv", tmp_path / "semicolon.csv"
    comma.write_bytes(cutting_csv(rows).encode("utf-8-sig"))
    semicolon.write_bytes(cutting_csv(rows, delimiter=";").encode("utf-8-sig"))
    book = tmp_path / "book.xlsx"
    book.write_bytes(cutting_workbook(rows))
    found = [
        read_by_office(comma),
        read_by_office(semicolon, separator=SEMICOLON),
        read_by_office(book),
    ]
    for table in found:
        where = mm_columns(table[0])
        assert len(where) == 4
        for line, row in zip(table[1:], rows, strict=True):
            lengths = [row.lengths.get(name) for name in MEASURES]
            # LibreOffice writes 15 digits
            read = [float(line[k]) if line[k] else None for k in where]
            assert read == pytest.approx(lengths, rel=1e-14) if row.lengths else read == lengths
            assert line[4:8] == [row.length(name) for name in MEASURES]
        assert table[2][2] == f"'{NASTY}"  # a text, and no link
        assert "does not confirm" in table[3][-2]


@pytest.mark.parametrize("language", ["en", "de"])
@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_printed_list(language: str, paper: str) -> None:
    rows = [cut_row(accepted(k, name=f"Dog {k}", report=carried(f"Dog {k}"))) for k in range(60)]
    rows[3] = cut_row(accepted(3, report=replace(carried(), verdict="could_hide")))
    with speaking(language):
        file = cutting_pdf(rows, shop="Erfundene Geschirre", paper=paper)
        said = [rows[7].length(name) for name in MEASURES]
    document = pypdfium2.PdfDocument(file)
    # ISO 216 and ANSI/ASME Y14.1, across; 72 points an inch
    width = {"a4": 297 / 25.4 * 72, "letter": 11 * 72}[paper]
    assert document[0].get_size()[0] == pytest.approx(width, abs=0.5)
    pages = [page.get_textpage().get_text_bounded() for page in document]
    assert len(pages) > 1
    whole = "\n".join(pages)
    assert all(f"Dog {k}" in whole for k in range(60) if k != 3)
    assert all(length in pages[0] for length in said)
    assert pages[0].splitlines()[0].startswith("Erfundene Geschirre")
    head = {"en": "neck opening", "de": "Halsweite"}[language]
    assert all(head in page for page in pages)  # on each page again
    assert b"/FontFile2" in file
    assert b"Helvetica" not in file


def test_the_command_writes_what_is_asked_for(
    store: DatabaseStore, tmp_path: Path, capfdbinary: pytest.CaptureFixture[bytes]
) -> None:
    url = store.engine.url
    address = str(url.database) if store.in_a_file else url.render_as_string(hide_password=False)
    key = store.open()
    file = store.keep_photo(key, JPEG)
    check = store.record_check(key, case_of(file), carried(), by="owner")
    store.decide(key, "accepted", by="Ann", reason="")
    asked = ["desk", "cutting-list", "--store", address]
    assert run([*asked, "-o", "-"]) == 0
    out = capfdbinary.readouterr().out
    table = list(csv.reader(io.StringIO(out.decode("utf-8-sig"), newline="")))
    length = format_length(fit(carried()).measures[0].mm, "cm")
    assert table[1][4] == length
    assert not (tmp_path / "-").exists()
    for ending, start in (("xlsx", b"PK"), ("pdf", b"%PDF"), ("csv", b"\xef\xbb\xbf")):
        goal = tmp_path / f"list.{ending}"
        assert run([*asked, "-o", str(goal)]) == 0
        assert goal.read_bytes().startswith(start)
        assert goal.stat().st_mode & 0o777 == 0o600
    store.note_cut(key, "cut", by="Ann", check=check.number)
    capfdbinary.readouterr()
    assert run([*asked, "-o", "-", "--not-cut"]) == 0
    assert len(capfdbinary.readouterr().out.decode().splitlines()) == 1
    assert run([*asked, "-o", "-", "--since", "2100-01-01", "--until", "2100-01-02"]) == 0
    assert len(capfdbinary.readouterr().out.decode().splitlines()) == 1
    for wrong in (
        ["--since", "yesterday"],
        ["--delimiter", "x"],
        ["--shelf", str(tmp_path / "none")],
    ):
        assert run([*asked, "-o", "-", *wrong]) == EXIT_CODES["bad_input"]
        said = capfdbinary.readouterr()
        assert said.out == b""
        assert b"Traceback" not in said.err
    assert run([*asked, "-o", "x.xlsx", "--delimiter", ";"]) == EXIT_CODES["bad_input"]
