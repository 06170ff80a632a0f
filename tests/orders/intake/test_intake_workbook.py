"""Workbooks as people save them, and as strangers make them to do harm."""

from __future__ import annotations

import io
import random
import re
import struct
import subprocess
import sys
import zipfile
from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime
from typing import Any

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from photocheck.errors import CaseError
from photocheck.orders.intake import workbook_apart, workbook_read
from photocheck.orders.intake.columns import columns_of
from photocheck.orders.intake.entries import entries_of
from photocheck.orders.intake.headings import is_known
from photocheck.orders.intake.table import Table, table_of
from photocheck.speech import speaking
from photocheck.uploads.take import LIMITS


def saved(book: openpyxl.Workbook) -> bytes:
    held = io.BytesIO()
    book.save(held)
    return held.getvalue()


def made(*rows: list[Any], form: dict[str, str] | None = None) -> bytes:
    """A workbook of one sheet; `form` gives cells their number format."""
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    for place, written in (form or {}).items():
        book.active[place].number_format = written
    return saved(book)


def read(content: bytes) -> Table:
    return table_of(content, is_known, name="orders.xlsx")


HEAD = ["Nr", "Hund", "Halber Hals (cm)", "Länge vorne"]


def test_a_workbook_is_read_as_the_same_table_in_csv() -> None:
    table = read(made(HEAD, [2041, "Flöckchen", 42.5, "46,5 cm"], [], ["2042", "Bo", 36.8, None]))
    assert table.head == tuple(HEAD)
    assert [(row.line, row.cells) for row in table.rows] == [
        (2, ("2041", "Flöckchen", "42.5", "46,5 cm")),
        (4, ("2042", "Bo", "36.8", "")),
    ]
    text = "Nr;Hund;Halber Hals (cm);Länge vorne\n2041;Flöckchen;42.5;46,5 cm\n\n2042;Bo;36.8;\n"
    columns = columns_of(table.head, {}, {}, where="t")
    both = [
        entries_of(one, None, columns=columns, unit="", no_folder="").entries
        for one in (table, table_of(text.encode(), is_known, name="orders.csv"))
    ]
    assert both[0] == both[1]


# number formats: ISO/IEC 29500-1, 18.8.31; 15 digits are what spreadsheets show (common practice,
# no source)
@pytest.mark.parametrize(
    ("value", "form", "seen"),
    [
        (36.8, "General", "36.8"),
        (0.1 + 0.2, "General", "0.3"),
        (42.0, "General", "42"),
        (491755501234, "General", "491755501234"),
        (417, "00000", "00417"),
        (41.5, '0.0" cm"', "41.5 cm"),
        (41.5, r"0.0\ \c\m", "41.5 cm"),
        (24, '#,##0" kg";[Red]-#,##0" kg"', "24 kg"),
        (14.5, "# ?/?", "14.5"),
        (datetime(2026, 11, 25), "dd/mm/yyyy", "2026-11-25"),
        (date(2026, 11, 25), "dd.mm.yy", "2026-11-25"),
        (datetime(2026, 11, 25, 9, 30), "dd/mm/yyyy hh:mm", "2026-11-25 09:30"),
        (True, "General", "TRUE"),
        ("  text ", "General", "text"),
        ("=1+1", "General", ""),  # never worked out by a spreadsheet: nobody has seen a value
    ],
)
def test_what_a_person_sees_in_a_cell_is_read(value: object, form: str, seen: str) -> None:
    table = read(made(["order", "dog"], ["1", value], ["2", "end"], form={"B2": form}))
    assert [row.cells[1] for row in table.rows] == [seen, "end"]


def test_of_several_sheets_the_first_with_known_headings_is_read_and_said() -> None:
    book = openpyxl.Workbook()
    book.active.title = "Deckblatt"
    book.active.append(["Bestellungen im November"])
    book.create_sheet("versteckt").append(HEAD)
    book["versteckt"].sheet_state = "hidden"
    orders = book.create_sheet("Bestellungen")
    orders.append(["Stand 29. November"])
    orders.append([])
    orders.append(HEAD)
    orders.append([7, "Bo", 41.5, "46 cm", "", "am Rand notiert"])
    book.create_sheet("Mehr").append(HEAD)
    table = read(saved(book))
    assert (table.sheet, table.others) == ("Bestellungen", ("Deckblatt", "Mehr"))
    assert table.head[:4] == tuple(HEAD)
    assert [(row.line, row.problem) for row in table.rows] == [(4, "")]
    found = entries_of(
        table, None, columns=columns_of(table.head, {}, {}, where="t"), unit="cm", no_folder=""
    )
    assert "'Bestellungen'; not read: Deckblatt, Mehr" in found.notes[0]


def test_a_size_that_the_file_states_wrongly_hides_no_row() -> None:
    content = changed(
        made(["order", "dog"], ["1", "Bo"], ["2", "Pip"]),
        "xl/worksheets/sheet1.xml",
        lambda xml: xml.replace(b'<dimension ref="A1:B3"', b'<dimension ref="A1:A1"'),
    )
    assert len(read(content).rows) == 2


def changed(content: bytes, name: str, how: Callable[[bytes], bytes]) -> bytes:
    """A workbook with one of its parts changed."""
    held = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(held, "w", 8) as new:
        for part in old.infolist():
            data = old.read(part)
            after = how(data) if part.filename == name else data
            if part.filename == name:
                assert after != data
            new.writestr(part.filename, after)
    return held.getvalue()


SMALL = made(["order", "dog"], ["1", "Bo"])
SHEET = "xl/worksheets/sheet1.xml"
EMPTY_ROWS = b"<row/>" * 9_000_000 + b"</sheetData>"
INLINE = b't="inlineStr"><is><t>Bo</t></is>'
SHARED = b't="s"><v>99999</v>'  # a text that the workbook does not have


def test_a_zip_bomb_is_refused_before_it_is_unpacked(monkeypatch: pytest.MonkeyPatch) -> None:
    huge = changed(SMALL, SHEET, lambda xml: xml + b" " * (workbook_read.MOST_UNPACKED + 1))
    assert len(huge) < 1_000_000
    unpacked: list[int] = []
    real = zipfile.ZipExtFile.read

    def counting(file: zipfile.ZipExtFile, n: int = -1) -> bytes:
        data = real(file, n)
        unpacked.append(len(data))
        return data

    monkeypatch.setattr(zipfile.ZipExtFile, "read", counting)
    with pytest.raises(CaseError, match="too large"):
        read(huge)
    assert sum(unpacked) == 0
    # one that lies about its size is unpacked to that size and no further
    lying = bytearray(huge)
    at = lying.index(b"PK\x01\x02")
    while lying[at + 46 : at + 46 + len(SHEET)] != SHEET.encode():
        at = lying.index(b"PK\x01\x02", at + 4)
    lying[at + 24 : at + 28] = struct.pack("<I", 100)
    with pytest.raises(CaseError, match="cannot be read"):
        read(bytes(lying))
    assert sum(unpacked) < 1_000_000


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16-le"])
def test_a_workbook_that_declares_entities_is_refused(encoding: str) -> None:
    # "billion laughs"; ISO/IEC 29500-2 forbids DTD declarations in a package's parts
    bomb = '<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "ha"><!ENTITY b "&a;&a;">]><x>&b;</x>'
    content = changed(SMALL, "xl/workbook.xml", lambda _: bomb.encode(encoding))
    with pytest.raises(CaseError, match="cannot be read"):
        read(content)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"PK\x03\x04", "cannot be read"),
        (SMALL[:-40], "cannot be read"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600), "older kind of workbook"),
        (saved(openpyxl.Workbook()), "empty"),
        (changed(SMALL, "xl/workbook.xml", lambda _: b"<a/>"), "empty"),
        (changed(SMALL, SHEET, lambda xml: xml.replace(INLINE, SHARED)), "cannot be read"),
    ],
)
def test_what_is_no_workbook_is_refused_in_words(content: bytes, said: str) -> None:
    with pytest.raises(CaseError, match=said):
        read(content)


def test_another_zip_file_is_no_workbook() -> None:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w") as file:
        file.writestr("side.jpg", b"photo")
    with pytest.raises(CaseError, match=r"Save it as \.xlsx"):
        read(held.getvalue())


def test_more_rows_than_any_shop_has_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(workbook_read, "MOST_ROWS", 3)
    assert len(read(made(["order"], ["1"], ["2"])).rows) == 2
    with pytest.raises(CaseError, match="too large"):
        read(made(["order"], ["1"], ["2"], ["3"]))


@pytest.mark.slow
@settings(max_examples=150, deadline=None)
@given(st.integers(0, 2**32), st.integers(1, 12))
def test_damaged_workbooks_end_in_rows_or_a_refusal(seed: int, strokes: int) -> None:
    """Bytes of the file, or of a part before it is packed, are changed at random."""
    rng = random.Random(seed)
    content = made(HEAD, [2041, "Bo", 42.5, "46 cm"], [date(2026, 1, 2), None, True, "=A1"])

    def damaged(data: bytes) -> bytes:
        held = bytearray(data)
        for _ in range(strokes):
            at = rng.randrange(len(held))
            piece = rng.choice([b"", b"\0", b"<", b'"', b"9" * 30, b"&x;", rng.randbytes(3)])
            held[at : at + rng.randrange(4)] = piece
        return bytes(held)

    if rng.random() < 0.7:
        with zipfile.ZipFile(io.BytesIO(content)) as parts:
            name = rng.choice(parts.namelist())
        content = changed(content, name, lambda data: damaged(data) + b" ")
    else:
        content = b"PK\x03\x04" + damaged(content[4:])
    try:
        table = read(content)
    except CaseError:
        return
    for row in table.rows:
        assert row.problem or len(row.cells) == len(table.head)


def test_rows_that_lie_between_are_looked_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """One row at the very bottom, 5 kB: each of 256 cells of a million rows was looked at."""
    seen: list[str] = []
    true = workbook_read._seen

    def looking(cell: Any, where: str) -> str:
        seen.append(where)
        return true(cell, where)

    monkeypatch.setattr(workbook_read, "_seen", looking)
    book = openpyxl.Workbook()
    book.active.append(["order", "dog"])
    book.active.cell(400, 2, "Bo")
    assert [row.line for row in read(saved(book)).rows] == [400]
    assert len(seen) == 3 * workbook_read.MOST_COLUMNS
    monkeypatch.setattr(workbook_read, "MOST_ROWS", 7)
    with pytest.raises(CaseError, match="too large"):
        read(saved(book))


def test_of_a_format_as_much_is_looked_at_as_one_can_type() -> None:
    for more, seen in ((200, "41.5 cm"), (300, "41.5")):
        assert workbook_read._number(41.5, f'{"#" * more}0.0" cm"') == seen
    assert workbook_read.LONGEST_FORMAT == 255


def test_a_text_that_stands_in_every_cell_counts_in_each(monkeypatch: pytest.MonkeyPatch) -> None:
    """A workbook holds it once (ISO/IEC 29500-1, 18.4, shared strings)."""
    monkeypatch.setattr(workbook_read, "MOST_LETTERS_TOGETHER", 1000)
    assert len(read(made(["order", "dog"], *[["x" * 90, "x"]] * 10)).rows) == 10
    with pytest.raises(CaseError, match="too large"):
        read(made(["order", "dog"], *[["x" * 90, "x" * 90]] * 10))


def many_rows(count: int) -> bytes:
    return made(HEAD, *[[n, f"B\u00f6 {n}", 36.8, "41,5 cm"] for n in range(count)])


@pytest.mark.slow
def test_what_is_much_to_read_is_read_apart_and_comes_back_the_same() -> None:
    content = many_rows(workbook_apart.LIGHT // 20)
    assert workbook_read.refuse_hostile(content, "") > workbook_apart.LIGHT
    sheet = workbook_apart.read_sheet(content, where="orders.xlsx")
    assert sheet == workbook_read.read_here(content, where="orders.xlsx")
    empty = changed(content, SHEET, lambda xml: re.sub(rb"<c .*?</c>", b"<c/><c/>", xml))
    with speaking("de"), pytest.raises(CaseError, match="Tabelle ist leer"):
        read(empty)


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="no limit on processor time there")
@pytest.mark.parametrize(
    "hostile",
    [
        # 170 kB that took three minutes of a processor
        lambda: changed(
            SMALL,
            "xl/workbook.xml",
            lambda xml: xml.replace(
                b"</sheets>",
                b'<sheet name="a" sheetId="1" r:id="rId1" xmlns:r="http://schemas.openxmlformats'
                b'.org/officeDocument/2006/relationships"/>' * 400_000 + b"</sheets>",
            ),
        ),
        # 80 kB, 53 s
        lambda: changed(SMALL, SHEET, lambda xml: xml.replace(b"</sheetData>", EMPTY_ROWS)),
    ],
)
def test_what_takes_too_long_to_read_is_ended(hostile: Callable[[], bytes]) -> None:
    limits = replace(LIMITS, cpu_s=1)
    with pytest.raises(CaseError, match="too large"):
        workbook_apart.read_sheet(hostile(), where="orders.xlsx", limits=limits)


@pytest.mark.parametrize(
    ("ends", "said"),
    [
        ("raise SystemExit(1)", "cannot be read here just now"),
        ("import os, signal; os.kill(os.getpid(), signal.SIGSEGV)", "the workbook cannot be read"),
    ],
)
def test_a_reader_that_dies_by_itself_is_no_fault_of_the_workbooks(
    ends: str, said: str, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """As by a library that is missing; by a signal it is, as where it is read in C."""
    monkeypatch.setattr(workbook_apart, "LIGHT", 0)
    begin = subprocess.Popen
    monkeypatch.setattr(
        workbook_apart.subprocess,
        "Popen",
        lambda command, **told: begin([command[0], "-c", ends], **told),
    )
    with pytest.raises(CaseError, match=said):
        read(SMALL)
    assert ["reading a workbook ended" in line for line in caplog.messages] == [True]


def test_where_no_process_can_be_begun_it_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuses(*_: object, **__: object) -> None:
        raise OSError("no more processes")

    monkeypatch.setattr(workbook_apart, "LIGHT", 0)
    monkeypatch.setattr(workbook_apart.subprocess, "Popen", refuses)
    with pytest.raises(CaseError, match="just now"):
        read(SMALL)
