"""Orders brought in: a table with its photos, looked at first; or one case file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from html import escape
from typing import Final

import streamlit as st
from streamlit.typing import UploadedFile

from photocheck.errors import PhotocheckError
from photocheck.orders.intake.bring import Result, counted
from photocheck.orders.intake.columns import columns_as, recall, remember, told_by_choice
from photocheck.orders.intake.headings import HEADINGS, field_title, is_known
from photocheck.orders.intake.look_ahead import Preview, held_against, samples, understood
from photocheck.orders.intake.look_ahead import handed_in as photos_of
from photocheck.orders.intake.photo_folder import PhotoFolder
from photocheck.orders.intake.table import Table, table_of
from photocheck.server.bench import at_work
from photocheck.shown.blank_table import blank_table
from photocheck.speech import LANGUAGES, spoken, tr
from photocheck.words import UNITS
from photocheck_app.desk import downloads, import_case, import_done, set_aside
from photocheck_app.desk.set_aside import Aside, Handed
from photocheck_app.desk.shop_files import tell_problems
from photocheck_app.framework import Container
from photocheck_app.held_uploads import had_room, let_go
from photocheck_app.shared import as_text, language, store

ROWS_SHOWN: Final = 200
"""Rows of the table that are listed one by one; of more the rest is counted (judgement)."""
COLUMNS_SHOWN: Final = 60
_ACROSS: Final = 5

_TIMES: Final = "import times"
"""How many tables this visitor has put away: each has uploaders of its own."""
_READ: Final = "import read"
"""The last table that was read, with the file it was read from."""
_LOOKED: Final = "import looked at"
"""What the last look at a table gave, with all that it was of."""
_WHAT: Final = "table"
"""What is set aside here."""
_WHOLE: Final = ("import_unit", "import_language", "import_update")
"""Keys of what is told for the whole table."""


@dataclass(frozen=True)
class _Looked:
    """What a table was understood as, and what would become of it.

    Attributes
    ----------
    of : tuple
        All that decides how it is understood.
    stamp : tuple
        All that decides what becomes of it.
    preview : Preview
    """

    of: tuple[object, ...]
    stamp: tuple[object, ...]
    preview: Preview


def show(who: str) -> None:
    """The way in for tables, and that for case files."""
    tell_problems()
    st.html(f"<h1>{escape(tr('Bring orders in'))}</h1>")
    by_table, by_case = st.tabs([tr("A table with photos"), tr("A case file (JSON)")])
    with by_table:
        _table_way(who)
    with by_case:
        import_case.show(who)


def _table_way(who: str) -> None:
    times = st.session_state.get(_TIMES, 0)
    left, right = st.columns(2)
    # Any kind of file may be chosen: what cannot be read is answered in photocheck's words.
    file = left.file_uploader(
        tr("Table: CSV or .xlsx, headings first"), key=f"import_table_{times}"
    )
    given = right.file_uploader(
        tr("Photos, named after order number, owner or dog, or as in a column “photo”"),
        accept_multiple_files=True,
        key=f"import_photos_{times}",
    )
    try:
        handed = set_aside.handed_in(_WHAT, who, file, given)
    except PhotocheckError as error:
        # What was uploaded stays in its uploader.
        st.error(as_text(str(error)))
        return
    set_aside.say(_WHAT, who, handed)
    if handed.first is None:
        how = tr(
            "Nothing comes in before you have seen what each column was taken for and what "
            "becomes of each row. An order whose photo is still missing comes in and waits for "
            "it; the same table again, with the photo, completes it and doubles nothing."
        )
        st.html(f'<div class="quiet">{escape(how)}</div>')
        with st.container(width="content"):
            downloads.download(
                tr("An empty table to fill in (.xlsx)"),
                blank_table,
                "orders-to-bring-in.xlsx",
                downloads.XLSX_TYPE,
                key="import_blank",
            )
        import_done.given_up()
        import_done.show()
        return
    try:
        table = _read(handed.first)
        _tell_no_room(given)
        photos = photos_of([(one.name, partial(_content, one)) for one in handed.photos])
        preview, told = _looked_at(table, photos, handed, who)
    except PhotocheckError as error:
        # What was handed in stays here.
        st.error(as_text(str(error)))
        _put_away(who, times, (file, *given))
        import_done.show()
        return
    _tell_counts(preview)
    with st.container(horizontal=True, vertical_alignment="center"):
        pressed = st.button(
            tr("Bring in, and check what is whole"),
            type="primary",
            key="import_go",
            disabled=not preview.anything,
        )
        _put_away(who, times, (file, *given))
    if pressed:
        _remember(preview, told)
        import_done.bring_in(preview, _language(), who, update=_update())
    import_done.go_on()
    if import_done.all_in():
        set_aside.came_in(_WHAT, who)
    import_done.show()
    _tell_rows(preview)


def _put_away(who: str, times: int, files: Sequence[UploadedFile | None]) -> None:
    if st.button(tr("Put this table away"), key="import_clear"):
        import_done.given_up()
        set_aside.put_away(_WHAT, who)
        let_go(file for file in files if file is not None)
        st.session_state[_TIMES] = times + 1
        st.session_state.pop(_READ, None)
        st.session_state.pop(_LOOKED, None)
        st.rerun()


def _read(file: Handed) -> Table:
    held = st.session_state.get(_READ)
    if held is None or held[0] != file.known:
        with at_work():
            held = (file.known, table_of(file.content, is_known, name=file.name))
        st.session_state[_READ] = held
    table: Table = held[1]
    return table


def _content(file: Handed) -> bytes:
    return file.content


def _tell_no_room(given: Sequence[UploadedFile]) -> None:
    """What to do about photos for which there was no room."""
    without = [file.name for file in given if not had_room(file)]
    if without:
        st.warning(
            as_text(
                tr(
                    "There was no room for {count} of the photos ({names}). Bring in with the "
                    "others, then put this table away and choose it again with these.",
                    count=len(without),
                    names=", ".join(without[:5]),
                )
            )
        )


def _looked_at(
    table: Table, photos: PhotoFolder, handed: Aside, who: str
) -> tuple[Preview, dict[str, str]]:
    """The table as it would come in, and what was chosen otherwise than proposed."""
    remembered = recall()
    with st.expander(_title_of(table), expanded=True):
        chosen = _choices(table, remembered, who)
        unit = _whole_table(who)
    set_aside.keep_chosen(_WHAT, who, (*map(_column_key, chosen), *_WHOLE))
    # In which order files were handed in decides what two of one name are called.
    files = tuple((one.known, one.name) for one in handed.files)
    preview = _preview(table, photos, files, chosen, remembered, unit)
    proposed = columns_as(table.head, {}, remembered)
    return preview, told_by_choice(preview.columns, proposed)


def _preview(
    table: Table,
    photos: PhotoFolder,
    files: Sequence[tuple[str, str]],
    chosen: Mapping[int, str],
    remembered: Mapping[str, str],
    unit: str,
) -> Preview:
    """As it would come in, which takes seconds to say of thousands of rows.

    A page is run at every press, so the rows are understood anew only where they could be
    understood otherwise, and held against the orders only where those have changed.
    """
    of = (files, dict(chosen), dict(remembered), unit, spoken())
    # Asked before the look: what changes meanwhile is seen in the next run.
    stamp = (store().stamp(), _update())
    held: _Looked | None = st.session_state.get(_LOOKED)
    if held is not None and (held.of, held.stamp) == (of, stamp):
        return held.preview
    if held is not None and held.of == of:
        found = held.preview.entries
    else:
        found = understood(table, photos, chosen=chosen, remembered=remembered, unit=unit)
    preview = held_against(store(), found, update=_update())
    st.session_state[_LOOKED] = _Looked(of, stamp, preview)
    return preview


def _title_of(table: Table) -> str:
    said = tr("What each column was taken for: {name}", name=table.name)
    return as_text(said)


def _column_key(number: int) -> str:
    return f"import_column_{st.session_state[_READ][0]}_{number}"


def _held(who: str, key: str, among: Sequence[str], otherwise: str) -> int:
    """Which of them a field begins with: the one it held before the page was loaded."""
    before = set_aside.chosen_before(_WHAT, who, key)
    return among.index(before if isinstance(before, str) and before in among else otherwise)


def _choices(table: Table, remembered: dict[str, str], who: str) -> dict[int, str]:
    """What each column is chosen to hold, by its number."""
    proposed = columns_as(table.head, {}, remembered)
    fields = ["", *HEADINGS]

    def title(field: str) -> str:
        return field_title(field) if field else tr("not read")

    chosen: dict[int, str] = {}
    places: Sequence[Container] = ()
    for number, column in enumerate(proposed[:COLUMNS_SHOWN]):
        if number % _ACROSS == 0:  # row by row, so that a narrow screen has the table's order
            places = st.columns(_ACROSS)
        stands = " · ".join(text[:24] for text in samples(table, number))
        with places[number % _ACROSS]:
            picked = st.selectbox(
                as_text(column.heading)
                or tr("column {number}, without heading", number=number + 1),
                fields,
                index=_held(who, _column_key(number), fields, column.field),
                format_func=title,
                key=_column_key(number),
            )
            likely = (
                tr("perhaps: {field}", field=field_title(column.like))
                if column.like and not picked
                else ""
            )
            said = " — ".join(part for part in (stands, likely) if part)
            st.html(f'<div class="quiet">{escape(said) or "&nbsp;"}</div>')
        chosen[number] = picked or ""
    if len(proposed) > COLUMNS_SHOWN:
        st.caption(tr("and {number} more", number=len(proposed) - COLUMNS_SHOWN))
    return chosen


def _whole_table(who: str) -> str:
    """What is told for the whole table; gives the unit."""
    one, two, three = st.columns([1, 1, 2], vertical_alignment="bottom")
    units = ["", *UNITS]
    unit = one.selectbox(
        tr("Unit, where the table tells none"),
        units,
        index=_held(who, "import_unit", units, ""),
        format_func=lambda unit: unit or tr("not told"),
        key="import_unit",
    )
    names = list(LANGUAGES)
    two.selectbox(
        tr("Owners' language, where it tells none"),
        names,
        index=_held(who, "import_language", names, language()),
        format_func=LANGUAGES.__getitem__,
        key="import_language",
    )
    three.checkbox(
        tr("Rows that changed since replace orders that were not checked yet"),
        value=set_aside.chosen_before(_WHAT, who, "import_update") is True,
        key="import_update",
    )
    return unit or ""


def _language() -> str:
    return str(st.session_state.get("import_language") or language())


def _update() -> bool:
    return bool(st.session_state.get("import_update", False))


def _remember(preview: Preview, told: dict[str, str]) -> None:
    """As the command does; where that fails the orders come in all the same."""
    try:
        remember(preview.columns, told)
    except PhotocheckError as error:
        st.warning(as_text(str(error)))


def _tell_counts(preview: Preview) -> None:
    count = counted(preview.results)
    waits = sum(r.waits for r in preview.results if r.outcome in ("new", "completed"))
    said = tr(
        "{new} orders come in, {waits} of them to wait for a photo; {completed} are completed, "
        "{there} are there already, {held_back} are held back.",
        waits=waits,
        **{name: count[name] for name in ("new", "completed", "there", "held_back")},
    )
    st.html(f'<div class="answer" role="status">{escape(said)}</div>')
    for note in preview.entries.notes:
        st.caption(as_text(note))


def _tell_rows(preview: Preview) -> None:
    # What needs a look first; the line tells where it stands in the table.
    worth = {"held_back": 0}
    both = zip(preview.results, preview.entries.entries, strict=True)
    ordered = sorted(both, key=lambda b: worth.get(b[0].outcome, 1 if b[0].remarks else 2))
    rows = [_row(result, entry.draft.photos) for result, entry in ordered[:ROWS_SHOWN]]
    if not rows:
        return
    heads = (tr("line"), tr("order"), tr("what becomes of it"), tr("photos"), tr("to know"))
    head = "".join(f"<th>{escape(text)}</th>" for text in heads)
    st.html(
        f'<table class="figures long"><thead><tr>{head}</tr></thead>'
        f"<tbody>{''.join(rows)}</tbody></table>"
    )
    if len(ordered) > ROWS_SHOWN:
        st.caption(tr("and {number} more", number=len(ordered) - ROWS_SHOWN))


def _row(result: Result, photos: Sequence[object]) -> str:
    held = result.outcome == "held_back"
    names = "" if held else ", ".join(str(getattr(photo, "file", "")) for photo in photos)
    to_know = " ".join((*result.problems, *result.remarks))
    mark = ' class="held"' if held else ""
    cells = (result.title, becomes(result), names, to_know)
    return (
        f"<tr{mark}><th>{escape(result.where)}</th>"
        + "".join(f"<td>{escape(cell)}</td>" for cell in cells)
        + "</tr>"
    )


def becomes(result: Result) -> str:
    """What becomes of a row, in a few words."""
    if result.outcome == "held_back":
        return tr("held back")
    if result.outcome == "there":
        return tr("there already, waits for a photo") if result.waits else tr("there already")
    if result.outcome == "completed":
        return tr("completed")
    if result.waits:
        return tr("comes in, waits for a photo")
    return tr("comes in, is checked") if result.ready else tr("comes in")
