"""Commands on the store of orders: copies and the way back, deletion, what is held.

Heavy modules are imported inside the commands, so that ``--help`` answers at once.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from photocheck.cli.say import say, sure
from photocheck.cli.streams import STREAM, source, target, tell
from photocheck.cli.which_order import key_of
from photocheck.errors import CaseError
from photocheck.orders.model import STORE_VARIABLE
from photocheck.speech import tr, tr_n

if TYPE_CHECKING:
    from photocheck.orders.store.copies import Held

STORE_OPTION = click.option(
    "--store",
    "address",
    metavar="ADDRESS",
    envvar=STORE_VARIABLE,
    help="Where the orders are: a file, or postgresql+psycopg://user@host/database. "
    f"Also from {STORE_VARIABLE}; else a file in your own data folder.",
)
_yes = click.option("--yes", is_flag=True, help="Do not ask.")


@click.command()
@click.argument("file")
@STORE_OPTION
def backup(file: str, address: str | None) -> None:
    """Copy all orders with their photos into FILE, also while the desk is at work.

    FILE is whole or not there: it is read through before it takes its name. An older copy
    of that name is replaced. Keep it where only you can read it.
    """
    from photocheck.orders.store import open_store
    from photocheck.orders.store.copies import back_up

    with target(file) as path:
        copied = back_up(open_store(address, new=False), path)
    said = tr("{file}: {held}, read through and found whole.", file=file, held=_counted(copied))
    tell(said, file)


@click.command()
@click.argument("file")
@STORE_OPTION
@_yes
def restore(file: str, address: str | None, yes: bool) -> None:
    """Put the orders of FILE, which "photocheck backup" wrote, in the place of today's.

    Today's are kept in a copy beside them. Orders that were forgotten since do not come back.
    """
    from photocheck.orders.store.copies import check_copy
    from photocheck.orders.store.copies import restore as put_back

    if file == STREAM and not yes:
        raise CaseError(
            tr("who sends the copy by standard input cannot be asked"),
            where="restore",
            do=tr("Add --yes, or name a file"),
        )
    with source(file) as path:
        found = check_copy(path)
        _sure(yes, tr("Put {held} in the place of today's?", held=_counted(found)))
        found, kept = put_back(address, path)
    say(tr("Back from {file}: {held}.", file=file, held=_counted(found)))
    if kept is not None:
        say(tr("What was there before is in {file}.", file=kept))


@click.command()
@click.argument("key", required=False)
@click.option("--over-time", is_flag=True, help="All orders that were kept long enough.")
@click.option("--drafts-days", type=click.FloatRange(0), help="Days for an order never sent; 30.")
@click.option("--decided-days", type=click.FloatRange(0), help="Days for a decided order; 730.")
@click.option("--copies-days", type=click.FloatRange(0), help="Days for copies kept beside; 30.")
@click.option(
    "--however-many",
    is_flag=True,
    help="With --yes: also when more than a fifth of all orders goes, or the clock has jumped.",
)
@STORE_OPTION
@_yes
def forget(
    key: str | None,
    over_time: bool,
    however_many: bool,
    address: str | None,
    yes: bool,
    **days: float | None,
) -> None:
    """Delete the order KEY with its photos and history, for good.

    With --over-time instead of KEY, delete orders never sent and orders decided long ago,
    and old copies beside the store. An order that waits for a decision always stays. Unasked,
    by --yes, nothing goes where only a wrong clock may have made so many orders old.
    """
    from photocheck.orders.store import open_store, privacy
    from photocheck.orders.store.copies import side_copies

    if over_time == (key is not None):
        raise CaseError(
            tr("give one of KEY and --over-time"), where="forget", do=tr("Name the order, or none")
        )
    set_days = {name: value for name, value in days.items() if value is not None}
    if set_days and not over_time:
        raise CaseError(tr("days go with --over-time"), where="forget", do=tr("Leave them out"))
    store = open_store(address, new=False)
    if key is None:
        retention = privacy.Retention(**set_days)
        count = len(privacy.over_time(store, retention))
        question = tr_n(
            "Delete {count} order and old copies for good?",
            "Delete {count} orders and old copies for good?",
            count,
        )
        _sure(yes, question)
        orders, copies = privacy.tidy(store, retention, unasked=yes and not however_many)
        say(
            tr(
                "{orders} and {copies} are deleted.",
                orders=_orders(orders),
                copies=tr_n("{count} copy", "{count} copies", copies),
            )
        )
    else:
        # Unasked, only by the key itself: two orders may be called alike.
        key = key_of(store, key, named=not yes)
        name = store.order(key).name
        question = tr('Delete the order "{name}" for good?', name=name)
        _sure(yes, question if name else tr("Delete it for good?"))
        store.forget(key)
        say(tr("The order, its photos and its history are deleted."))
    for path in side_copies(store):
        say(tr("A copy made earlier may still hold what was deleted: {file}", file=path))


@click.command()
@click.argument("key")
@click.option("-o", "--out", metavar="FILE", default="held.zip", show_default=True)
@STORE_OPTION
def held(key: str, out: str, address: str | None) -> None:
    """Write everything held about the owner of the order KEY into a zip file."""
    from photocheck.orders.store import open_store
    from photocheck.orders.store.privacy import write_held

    store = open_store(address, new=False)
    with target(out) as path:
        write_held(store, key_of(store, key), path)
    tell(tr("{file}: the order with its photos, checks and decisions.", file=out), out)


def _sure(yes: bool, question: str) -> None:
    if not yes:
        sure(question)


def _counted(copied: Held) -> str:
    photos = tr_n("{count} photo", "{count} photos", copied.photos)
    return tr("{orders} with {photos}", orders=_orders(copied.orders), photos=photos)


def _orders(count: int) -> str:
    return tr_n("{count} order", "{count} orders", count)
