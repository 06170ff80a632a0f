"""The cutting list: what was accepted, in lengths to cut, and what of it is cut."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, tzinfo
from functools import partial
from html import escape
from typing import Final
from zoneinfo import ZoneInfo

import streamlit as st

from photocheck.errors import PhotocheckError
from photocheck.fit.cut_lengths import MEASURES
from photocheck.server.shop import shop_of
from photocheck.shown.cutting_files import PAPERS, cutting_csv, cutting_pdf, cutting_workbook
from photocheck.shown.cutting_list import (
    COAT_TITLES,
    TITLES,
    CutRow,
    chosen_cuts,
    cut_rows_of,
    day_of,
)
from photocheck.speech import tr, tr_n
from photocheck_app.desk.downloads import XLSX_TYPE, ask_delimiter, download
from photocheck_app.desk.moves import go, say_on_arrival
from photocheck_app.desk.shop_files import shop_sizes, tell_problems
from photocheck_app.shared import as_text, store

ROWS: Final = 25
"""Orders shown at once; the files have all."""

WIDTHS: Final = (2.4, 1.1, 1.1, 1.1, 1.1, 1.4, 2.2, 1.1, 1.7)


def show(who: str) -> None:
    """The list with its filters, its files and its marks."""
    tell_problems()
    try:
        rows = cut_rows_of(store().accepted(), shop_sizes())
    except PhotocheckError as error:
        st.error(as_text(str(error)))
        return
    heading = tr("Cutting list")
    st.html(f"<h1>{escape(heading)}</h1>")
    zone = _zone()
    found = _filtered(rows, zone)
    with st.container(horizontal=True, vertical_alignment="bottom"):
        _files(found, zone)
        _mark_all(found, who)
    if not rows:
        st.info(tr("Nothing to cut yet: orders appear here as soon as they are accepted."))
        return
    if not found:
        st.info(tr("No accepted order fits. Take away a day, or show also what is cut."))
        return
    _table(found, who, zone)


def _zone() -> tzinfo:
    try:
        return ZoneInfo(st.context.timezone or "UTC")
    except (KeyError, ValueError):
        return UTC


def _filtered(rows: Sequence[CutRow], zone: tzinfo) -> list[CutRow]:
    left, middle, right = st.columns([1.4, 1.4, 5], vertical_alignment="bottom")
    since = left.date_input(
        tr("Accepted from"), None, key="cutting_since", format="YYYY-MM-DD", persist_state="session"
    )
    until = middle.date_input(
        tr("up to"), None, key="cutting_until", format="YYYY-MM-DD", persist_state="session"
    )
    not_cut = right.toggle(
        tr("Only what is not cut yet"), True, key="cutting_not_cut", persist_state="session"
    )
    return chosen_cuts(rows, since=since, until=until, not_cut=not_cut, zone=zone)


def _files(found: Sequence[CutRow], zone: tzinfo) -> None:
    """All that the list shows, on all of its pages."""
    shop = shop_of().name
    with st.popover(tr("Print"), icon=":material/print:", key="cutting_print"):
        for paper, title in PAPERS.items():
            download(
                tr("{paper}, across (PDF)", paper=tr(title)),
                partial(cutting_pdf, found, shop=shop, paper=paper, zone=zone),
                f"cutting-list-{paper}.pdf",
                "application/pdf",
                key=f"cutting_pdf_{paper}",
                disabled=not found,
            )
    with st.popover(tr("Download"), icon=":material/download:", key="cutting_download"):
        download(
            tr("Workbook for spreadsheets (XLSX)"),
            lambda: cutting_workbook(found, zone=zone),
            "cutting-list.xlsx",
            XLSX_TYPE,
            key="cutting_xlsx",
            disabled=not found,
        )
        delimiter = ask_delimiter("cutting_delimiter")
        download(
            tr("Table for spreadsheets (CSV)"),
            lambda: cutting_csv(found, delimiter=delimiter, zone=zone).encode("utf-8-sig"),
            "cutting-list.csv",
            "text/csv",
            key="cutting_csv",
            disabled=not found,
        )


def _mark_all(found: Sequence[CutRow], who: str) -> None:
    left = [row for row in found if row.cut is None and row.lengths]
    said = tr_n("Mark {count} order as cut", "Mark all {count} orders as cut", len(left))
    if st.button(said, key="cutting_all", disabled=not left, icon=":material/content_cut:"):
        _note(left, "cut", who)


def _note(rows: Sequence[CutRow], what: str, who: str) -> None:
    """Note it of every order for which that can be done, and say what came of it."""
    done, kept = 0, store()
    problems = []
    for row in rows:
        content = row.content if what == "cut" else None
        try:
            done += kept.note_cut(row.key, what, by=who, check=row.check, content=content)
        except PhotocheckError as error:
            problems.append(f"{row.number or row.name or row.dog}: {error}")
    said = (
        tr_n("{count} order marked as cut.", "{count} orders marked as cut.", done)
        if what == "cut"
        else tr_n("{count} order is to be cut again.", "{count} orders are to be cut again.", done)
    )
    say_on_arrival(" ".join((said, *problems)))
    st.rerun()


def _table(found: Sequence[CutRow], who: str, zone: tzinfo) -> None:
    pages = [found[k : k + ROWS] for k in range(0, len(found), ROWS)]
    number = 1
    if len(pages) > 1:
        number = st.number_input(
            tr("Page, of {pages}", pages=len(pages)), 1, len(pages), key="cutting_page", width=160
        )
    with st.container(key="cutting_list"):
        heads = (
            tr("order"),
            *(tr(TITLES[name]) for name in MEASURES),
            tr("size"),
            tr("coat, notes"),
            tr("accepted on"),
            tr("cut"),
        )
        with st.container(key="cutting_heads"):
            for column, head in zip(st.columns(WIDTHS), heads, strict=True):
                column.html(f'<span class="quiet">{escape(head)}</span>')
        for row in pages[min(number, len(pages)) - 1]:
            _row(row, who, zone)


def _row(row: CutRow, who: str, zone: tzinfo) -> None:
    cells = st.columns(WIDTHS, vertical_alignment="center")
    cells[0].button(
        as_text(" · ".join(dict.fromkeys(filter(None, (row.number, row.dog or row.name)))))
        or tr("order without a name"),
        key=f"cutting_open_{row.key}",
        type="tertiary",
        on_click=go,
        kwargs={"case": row.key},
        help=as_text(" · ".join(filter(None, (row.name, row.owner)))) or None,
    )
    if row.problem:
        none = tr("no length can be given")
        cells[1].html(f'<span class="unseen">{escape(none)}</span>-')
        cells[6].html(escape(row.problem))
    else:
        for cell, measure in zip(cells[1:5], MEASURES, strict=True):
            named = f'<span class="named">{escape(tr(TITLES[measure]))}</span>'
            cell.html(f'{named}<b class="whole">{escape(row.length(measure))}</b>')
        cells[5].html(escape(row.made))
        coat = tr(COAT_TITLES[row.coat]) if row.coat else ""
        cells[6].html(escape(" · ".join(filter(None, (coat, row.notes)))) or "&nbsp;")
    days = [str(day_of(row.decided, zone))]
    if row.cut:
        days.append(tr("cut {day}", day=day_of(row.cut.at, zone)))
    said = "<br>".join(map(escape, days))
    cells[7].html(f'<span class="quiet">{said}</span>')
    with cells[8]:
        _mark(row, who, zone)


def _mark(row: CutRow, who: str, zone: tzinfo) -> None:
    if row.cut is None:
        if st.button(tr("Cut"), key=f"cutting_mark_{row.key}", disabled=not row.lengths):
            _note([row], "cut", who)
        return
    told = tr("Cut on {day} by {name}.", day=day_of(row.cut.at, zone), name=as_text(row.cut.by))
    if st.button(
        tr("Not cut after all"), key=f"cutting_undo_{row.key}", help=told, type="tertiary"
    ):
        _note([row], "not_cut", who)
