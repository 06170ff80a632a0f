"""Orders of the store out into a file: a table for spreadsheets, or JSON for programs.

Heavy modules are imported inside the commands, so that ``--help`` answers at once.
"""

from __future__ import annotations

from typing import Final

import click

from photocheck.cli.store_commands import STORE_OPTION
from photocheck.errors import CaseError
from photocheck.orders.model import STATES
from photocheck.speech import tr, tr_n

_MARKS: Final = {",": ",", ";": ";", "tab": "\t", "\t": "\t", "\\t": "\t"}
"""How a delimiter may be written, and what it is."""


def cell_mark(told: str | None) -> str:
    """What parts the cells of a table, by how it was told; a comma where it was not.

    Raises
    ------
    CaseError
    """
    mark = _MARKS.get(told or ",")
    if mark is None:
        raise CaseError(
            tr("'{text}' cannot part cells", text=str(told)[:20]),
            where="--delimiter",
            do=tr('Use ",", ";" or "tab"'),
        )
    return mark


@click.command()
@click.option(
    "-o",
    "--out",
    metavar="FILE",
    required=True,
    help='Where to write it: a workbook where it ends in .xlsx; "-" prints it.',
)
@click.option("--json", "as_json", is_flag=True, help="All of each order with its whole history.")
@click.option(
    "--delimiter",
    metavar="MARK",
    help='What parts the cells of the table: "," (also without this option), ";" or "tab".',
)
@click.option(
    "--state",
    "states",
    multiple=True,
    type=click.Choice([state.replace("_", "-") for state in STATES]),
    help="Only orders in this state; may be given several times.",
)
@STORE_OPTION
def export(
    out: str, as_json: bool, delimiter: str | None, states: tuple[str, ...], address: str | None
) -> None:
    """Write the orders into FILE: a table, or all of them as JSON.

    The table has one line an order, with its last check and decision. FILE is whole or not
    there; an older one of that name is replaced. "photocheck schema orders" prints the format
    of the JSON.
    """
    from photocheck.cli.streams import put_out, tell
    from photocheck.orders.store import open_store
    from photocheck.shown.outgoing import json_file, still_there, table_file, table_workbook

    if as_json and delimiter is not None:
        raise CaseError(
            tr("--delimiter goes with the table, not with --json"),
            where="export",
            do=tr("Leave one of them out"),
        )
    book = out.lower().endswith(".xlsx")
    if book and (as_json or delimiter is not None):
        raise CaseError(
            tr("a workbook is neither JSON nor parted by a sign"),
            where="export",
            do=tr("Leave the option out, or name a file that does not end in .xlsx"),
        )
    mark = cell_mark(delimiter)
    store = open_store(address, new=False)
    wanted = {state.replace("-", "_") for state in states} or set(STATES)
    keys = [line.key for line in store.lines() if line.state in wanted]
    orders = still_there(store, keys)
    if as_json:
        content = json_file(orders)
    elif book:
        content = table_workbook(orders)
    else:
        content = table_file(orders, delimiter=mark)
    put_out(content, out)
    tell(tr_n("{file}: {count} order.", "{file}: {count} orders.", len(orders), file=out), out)
