"""Orders out of the desk: records, tables, all that is held about an owner; and deletion."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import streamlit as st

from photocheck.errors import PhotocheckError
from photocheck.orders.model import Order
from photocheck.orders.store.copies import side_copies
from photocheck.orders.store.privacy import held_zip
from photocheck.server import bench
from photocheck.server.shop import shop_of
from photocheck.shown.outgoing import (
    DELIMITERS,
    file_name,
    json_file,
    record_file,
    record_pdf_file,
    still_there,
    table_file,
    table_workbook,
)
from photocheck.speech import speaking, spoken, tr
from photocheck_app.desk import what_to_cut
from photocheck_app.desk.moves import go, say_on_arrival
from photocheck_app.desk.session import drop_order
from photocheck_app.desk.shop_files import shop_sizes
from photocheck_app.doors.signed_in import while_signed_in
from photocheck_app.shared import as_text, store, usual_paper

TABLE, WORKBOOK, JSON = "table", "workbook", "json"
XLSX_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def export(number: int, keys: Callable[[], Sequence[str]]) -> None:
    """Files of the orders that the list shows, all pages of it.

    Parameters
    ----------
    number : int
        How many they are.
    keys : callable
        Gives their keys once somebody asks for a file.
    """
    with st.popover(tr("Export"), icon=":material/download:", key="desk_export"):
        st.markdown(tr("The orders in the list as it is filtered now: {number}.", number=number))
        titles = {
            TABLE: tr("Table for spreadsheets (CSV): the last check and decision of each"),
            WORKBOOK: tr("The same as a workbook (XLSX)"),
            JSON: tr("Everything, for programs (JSON)"),
        }
        kind = st.radio(
            tr("Kind of file"), titles, format_func=titles.__getitem__, key="desk_export_kind"
        )
        delimiter = ask_delimiter("desk_export_delimiter") if kind == TABLE else ","
        kept = store()

        def table() -> bytes:
            return table_file(still_there(kept, keys()), delimiter=delimiter)

        def everything() -> bytes:
            return json_file(still_there(kept, keys()))

        files = {
            TABLE: (table, "orders.csv", "text/csv"),
            WORKBOOK: (
                lambda: table_workbook(still_there(kept, keys())),
                "orders.xlsx",
                XLSX_TYPE,
            ),
            JSON: (everything, "orders.json", "application/json"),
        }
        download(
            tr("Download"),
            *files[kind],
            key="desk_export_file",
            disabled=not number,
        )


def ask_delimiter(key: str) -> str:
    """What parts the cells of a table."""
    mark: str | None = st.segmented_control(
        tr("Cells are parted by"),
        list(DELIMITERS),
        format_func=lambda mark: tr(DELIMITERS[mark]),
        default=",",
        required=True,
        help=tr("A semicolon where spreadsheets write decimal commas."),
        key=key,
    )
    return mark or ","


def of_order(order: Order, who: str) -> None:
    """What can be taken out of one order, and how to delete it."""
    with st.popover(tr("Record and files"), icon=":material/folder:", key="desk_files"):
        kept, key = store(), order.key
        _record(order, who)
        download(
            tr("This order for programs (JSON)"),
            lambda: json_file([kept.order(key)]),
            file_name(order.name, "order", "json"),
            "application/json",
            key="desk_order_json",
        )
        download(
            tr("Everything held about this owner (zip)"),
            lambda: held_zip(kept, key),
            file_name(order.name, "held", "zip"),
            "application/zip",
            key="desk_held",
        )
        st.html('<hr style="margin: .2rem 0; border: 0; border-top: 1px solid var(--desk-line)">')
        _delete(order)


def _record(order: Order, who: str) -> None:
    kept, key = store(), order.key

    def record() -> bytes:
        with bench.at_work():
            return record_file(kept, key, sizes, wish)

    problem = "" if order.checks else tr("It was not checked yet.")
    try:
        sizes, wish = shop_sizes(), what_to_cut.wish(order, who)
    except PhotocheckError as error:
        problem, sizes, wish = str(error), (), None

    def to_print() -> bytes:
        with bench.at_work():
            return record_pdf_file(kept, key, sizes, wish, shop=shop_of().name, paper=usual_paper())

    download(
        tr("Record of the latest check (PDF, to print and sign)"),
        to_print,
        file_name(order.name, "record", "pdf"),
        "application/pdf",
        key="desk_record_pdf",
        disabled=bool(problem),
    )
    download(
        tr("Record of the latest check (one page, HTML)"),
        record,
        file_name(order.name, "record", "html"),
        "text/html",
        key="desk_record",
        disabled=bool(problem),
    )
    if problem:
        st.caption(as_text(problem))


def download(
    label: str,
    make: Callable[[], bytes],
    name: str,
    mime: str,
    *,
    key: str,
    disabled: bool = False,
) -> None:
    """A button for a file that is made only when it is pressed."""
    said_in = spoken()

    def made() -> bytes:
        # Streamlit calls it on a thread of its own, where nobody has chosen a language.
        with speaking(said_in):
            return make()

    st.download_button(
        label,
        while_signed_in(made),
        file_name=name,
        mime=mime,
        key=key,
        on_click="ignore",
        disabled=disabled,
        icon=":material/download:",
        width="stretch",
    )


def _delete(order: Order) -> None:
    sure = st.checkbox(
        tr("Yes, delete this order with its photos and its history"),
        key=f"desk_sure {order.key}",
    )
    if not st.button(tr("Delete for good"), key="desk_delete", disabled=not sure, width="stretch"):
        return
    kept = store()
    try:
        bench.forget(kept, order.key)
    except PhotocheckError as error:
        st.error(as_text(str(error)))
        return
    drop_order(order.key)
    said = [tr("The order is deleted, with its photos and its history.")]
    said += [
        tr("A copy made earlier may still hold it: {path}", path=path) for path in side_copies(kept)
    ]
    say_on_arrival(" ".join(said))
    go()
    st.rerun()
