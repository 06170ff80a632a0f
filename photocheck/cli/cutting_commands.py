"""The cutting list, on the command line.

Heavy modules are imported inside the commands, so that ``--help`` answers at once.
"""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import click

from photocheck.cli.export_commands import cell_mark
from photocheck.cli.store_commands import STORE_OPTION
from photocheck.cli.streams import STREAM, put_out, tell
from photocheck.errors import CaseError
from photocheck.server.shop import NAME_VARIABLE, SHELF_VARIABLE
from photocheck.speech import tr, tr_n

if TYPE_CHECKING:
    from collections.abc import Sequence

    from photocheck.shown.cutting_list import CutRow


@click.command("cutting-list")
@click.option(
    "-o",
    "--out",
    metavar="FILE",
    required=True,
    help='Where to write it: .xlsx, .pdf to print, or a table as CSV; "-" for the terminal.',
)
@click.option("--since", metavar="DAY", help="Accepted on this day or later, as 2026-03-29.")
@click.option("--until", metavar="DAY", help="Accepted on this day or earlier.")
@click.option("--not-cut", is_flag=True, help="Only what is not marked as cut.")
@click.option("--delimiter", metavar="MARK", help='Of the table: "," (also without), ";" or "tab".')
@click.option(
    "--shelf",
    metavar="FILE",
    envvar=SHELF_VARIABLE,
    help="The shop's sizes; see the command shelf.",
)
@click.option("--name", "shop", metavar="TEXT", default="", envvar=NAME_VARIABLE, hidden=True)
@STORE_OPTION
def cutting_list(
    out: str,
    since: str | None,
    until: str | None,
    not_cut: bool,
    delimiter: str | None,
    shelf: str | None,
    shop: str,
    address: str | None,
) -> None:
    """Write what is to be cut: the accepted orders, the one accepted first first.

    The lengths are those of the command fit; an order for which none can be given says why.
    Days are those of UTC. At the desk orders are marked as cut.
    """
    from photocheck.fit.shelf import read_shelf
    from photocheck.orders.store import open_store
    from photocheck.shown.cutting_list import chosen_cuts, cut_rows_of

    ending = out.rpartition(".")[2].lower() if out != STREAM else "csv"
    mark = cell_mark(delimiter)
    if delimiter is not None and ending in ("xlsx", "pdf"):
        raise CaseError(
            tr("--delimiter goes with the table"), where="--delimiter", do=tr("Leave it out")
        )
    first, last = _day(since, "--since"), _day(until, "--until")
    sizes = read_shelf(shelf) if shelf else ()
    store = open_store(address, new=False)
    rows = chosen_cuts(
        cut_rows_of(store.accepted(), sizes), since=first, until=last, not_cut=not_cut
    )
    put_out(_content(rows, ending, mark, shop), out)
    tell(tr_n("{file}: {count} order.", "{file}: {count} orders.", len(rows), file=out), out)


def _content(rows: Sequence[CutRow], ending: str, delimiter: str, shop: str) -> bytes:
    from photocheck.shown.cutting_files import cutting_csv, cutting_pdf, cutting_workbook

    if ending == "xlsx":
        return cutting_workbook(rows)
    if ending == "pdf":
        return cutting_pdf(rows, shop=shop)
    return cutting_csv(rows, delimiter=delimiter).encode("utf-8-sig")


def _day(text: str | None, where: str) -> date | None:
    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise CaseError(
            tr("'{text}' is no day", text=text[:40]),
            where=where,
            do=tr("Write it as 2026-03-29"),
        ) from error
