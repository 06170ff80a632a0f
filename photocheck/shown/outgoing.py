"""What leaves the desk as a file: its name and its bytes."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Sequence
from typing import Final

from photocheck.fit.answer import Wish, fit
from photocheck.fit.shelf import Size
from photocheck.orders.export import COLUMNS, NUMBERS, orders_csv, orders_json, row_of
from photocheck.orders.model import Order, OrderError, Store
from photocheck.shown.record import order_record
from photocheck.shown.record_pdf import order_record_pdf
from photocheck.shown.workbook import Cell, NumberCell, workbook
from photocheck.speech import later, tr

DELIMITERS: Final = {",": later("comma"), ";": later("semicolon"), "\t": later("tab")}
"""What may part the cells of a table, and what it is called."""

LONGEST_NAME: Final = 40


def record_file(
    store: Store, key: str, sizes: Sequence[Size] = (), wish: Wish | None = None
) -> bytes:
    """The record of an order's latest check, with what to cut, as an HTML file.

    Parameters
    ----------
    sizes : sequence of Size
        The shop's shelf.
    wish : Wish, optional
        What the harness is to fit besides the dog of today.

    Raises
    ------
    OrderError
        When the order is not there or was not checked yet.
    PhotoError
        When a photo cannot be read.
    CaseError
        When the wish cannot be meant.
    """
    order = store.order(key)
    answer = fit(order.checks[-1].told, sizes, wish) if order.checks else None
    return order_record(order, lambda name: store.photo(key, name), fit=answer).encode()


def record_pdf_file(
    store: Store,
    key: str,
    sizes: Sequence[Size] = (),
    wish: Wish | None = None,
    *,
    shop: str = "",
    paper: str = "a4",
) -> bytes:
    """The same record as a PDF to print and sign.

    Parameters
    ----------
    sizes, wish
        As `record_file` takes them.
    shop : str
        What the workshop calls itself; may be empty.
    paper : str
        "a4" or "letter".

    Raises
    ------
    OrderError, PhotoError, CaseError
        As `record_file` does.
    """
    order = store.order(key)
    answer = fit(order.checks[-1].told, sizes, wish) if order.checks else None
    return order_record_pdf(
        order, lambda name: store.photo(key, name), fit=answer, shop=shop, paper=paper
    )


def table_file(orders: Iterable[Order], *, delimiter: str = ",") -> bytes:
    """Orders as a table, one a line.

    It begins with U+FEFF, without which some spreadsheets take UTF-8 for the letters of their
    own system.
    """
    return orders_csv(orders, delimiter=delimiter).encode("utf-8-sig")


def table_workbook(orders: Iterable[Order]) -> bytes:
    """The same table as a workbook (``.xlsx``): numbers as numbers."""
    rows = [[_cell(name, text) for name, text in row_of(order).items()] for order in orders]
    return workbook(tr("Orders"), list(COLUMNS), rows)


def _cell(column: str, text: str) -> Cell:
    if column not in NUMBERS or not text:
        return text
    return NumberCell(float(text), "0.0" if column.endswith("_mm") else "0")


def json_file(orders: Iterable[Order]) -> bytes:
    """Orders with their whole history, for programs."""
    return f"{orders_json(orders)}\n".encode()


def still_there(store: Store, keys: Iterable[str]) -> list[Order]:
    """The orders of these keys, without those that were deleted meanwhile."""
    found = []
    for key in keys:
        try:
            found.append(store.order(key))
        except OrderError:
            continue
    return found


def file_name(name: str, kind: str, ending: str) -> str:
    """A name that every system takes, such as ``record-juno.html``.

    Parameters
    ----------
    name : str
        What the order is called; letters that are not Latin are left out.
    kind, ending : str
    """
    plain = unicodedata.normalize("NFKD", name.casefold()).encode("ascii", "ignore").decode()
    words = "".join(c if c.isalnum() else " " for c in plain).split()
    said = "-".join(words)[:LONGEST_NAME].strip("-")
    return f"{kind}-{said}.{ending}" if said else f"{kind}.{ending}"
