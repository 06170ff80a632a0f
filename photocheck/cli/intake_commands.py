"""Orders in, on the command line.

Heavy modules are imported inside the commands, so that ``--help`` answers at once.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Final

import click

from photocheck.cli.batch_commands import (
    EXITS,
    JOBS_OPTION,
    executor_of,
    tell_lines,
    work,
)
from photocheck.cli.case_options import json_option
from photocheck.cli.cutting_commands import cutting_list
from photocheck.cli.exits import PARTLY
from photocheck.cli.progress import progress
from photocheck.cli.say import say, say_json
from photocheck.cli.store_commands import STORE_OPTION
from photocheck.errors import CaseError, printable
from photocheck.photo.kind import reads_heic
from photocheck.speech import LANGUAGES, tr
from photocheck.words import UNITS

if TYPE_CHECKING:
    from photocheck.batch.many import Line
    from photocheck.orders.intake.bring import Result
    from photocheck.orders.intake.columns import Column


@click.group()
def desk() -> None:
    """The workshop's orders."""


desk.add_command(cutting_list)


@desk.command("figures")
@click.option(
    "--unit", type=click.Choice(UNITS), default=UNITS[0], show_default=True, help="Of lengths."
)
@STORE_OPTION
@json_option
def own_figures_of_shop(unit: str, address: str | None, as_json: bool) -> None:
    """Tell how well the workshop checks, from its own orders.

    Slips caught and false alarms, what stayed undecided and why, photos, reply times, how
    harnesses fitted, and how exact tapes and marks are (ISO 5725-2). JSON has lengths in mm.
    """
    import json
    from dataclasses import asdict

    from photocheck.orders.own_figures import own_figures
    from photocheck.orders.store import open_store
    from photocheck.shown.own_figures_told import plain_own_figures

    store = open_store(address, new=False)
    found = own_figures(store.whole())
    if as_json:
        say_json(json.dumps(asdict(found), ensure_ascii=False, indent=2))
    else:
        say(plain_own_figures(found, unit))


@desk.command(
    "import",
    epilog=EXITS.format(
        done="in the store, with or without their photo and what could not be read"
    ),
)
@click.argument("given", nargs=-1, required=True, metavar="FILE...")
@click.option("--photos", metavar="FOLDER", help="Where the photos are, with all folders below.")
@click.option(
    "--column",
    "told",
    multiple=True,
    metavar="FIELD=HEADING",
    help="What a column of a table holds; repeat. FIELD= alone: no column holds it. Remembered.",
)
@click.option("--unit", type=click.Choice(UNITS), help="Of numbers for which nothing tells it.")
@click.option(
    "--language",
    type=click.Choice(list(LANGUAGES)),
    default="en",
    show_default=True,
    help="The owners', where the table tells none.",
)
@click.option("--dry-run", is_flag=True, help="Show what would come in; bring nothing in.")
@click.option("--update", is_flag=True, help="Rows that changed replace orders not checked yet.")
@click.option(
    "--heic/--no-heic",
    default=reads_heic,
    help="Take HEIC photos too, as iPhones write them; where they can be read, yes.",
)
@click.option("--no-check", is_flag=True, help="Do not check the orders that lack nothing.")
@JOBS_OPTION
@STORE_OPTION
@click.pass_context
def import_orders(
    context: click.Context,
    /,
    given: tuple[str, ...],
    photos: str | None,
    told: tuple[str, ...],
    unit: str | None,
    language: str,
    dry_run: bool,
    update: bool,
    heic: bool,
    no_check: bool,
    jobs: int | None,
    address: str | None,
) -> None:
    """Bring orders in from a table or from case files.

    FILE is one table (.xlsx, or CSV as spreadsheets save it; headings first), or case files,
    files with a list of cases, or folders of them; - for a table on standard input. Photos
    belong to the order that names them in its column "photo", or whose number or name stands
    in their file name. Orders with marks, or with tags on the dog that were found, are
    checked; the others wait as being filled in.

    An order comes in once: known by its number in a table with such a column, by the name
    of a case, else by all it says. One whose photo is still to come comes in without it, and
    importing the same table again, with the photo there, completes it. A cell that cannot be
    read is told with its line and column and goes to the order's notes. Held back is only a
    row that is no order: nothing says whose it is, or not one of its readings can be read.
    """
    from dataclasses import replace

    from photocheck.orders.intake.bring import bring
    from photocheck.orders.intake.columns import recall, remember
    from photocheck.orders.intake.entries import entries_of_table
    from photocheck.orders.intake.entries_of_cases import entries_of_cases
    from photocheck.orders.intake.photo_folder import photo_folder
    from photocheck.orders.store import open_store
    from photocheck.orders.store.engines import url_of
    from photocheck.orders.worn_tags import tags_found
    from photocheck.photo.load import load_photo
    from photocheck.uploads import LIMITS

    folder = photo_folder(photos) if photos else None
    columns = _columns(told)
    if _is_table(given):
        standing_in = given[0] == "-"
        found = entries_of_table(
            tr("standard input") if standing_in else given[0],
            folder,
            told=columns,
            remembered=recall(),
            unit=unit or "",
            content=_standard_input() if standing_in else None,
        )
        say(_mapping(found.columns))
    else:
        if columns or unit:
            raise CaseError(
                tr("--column and --unit are for tables"), where="import", do=tr("Leave them out")
            )
        found = entries_of_cases(given, folder)
    if not dry_run and columns and (file := remember(found.columns, columns)):
        say(tr("The columns are remembered in {file}.", file=file))
    store = (
        None if dry_run and _is_new(str(url_of(address).database), address) else open_store(address)
    )
    results: list[Result] = []
    try:
        with progress(len(found.entries), tr("order")) as done:

            def told_of(result: Result) -> None:
                results.append(result)
                done()

            bring(
                store,
                found.entries,
                language=language,
                try_only=dry_run,
                update=update,
                limits=replace(LIMITS, heic=heic),
                find_tags=lambda content, view: tags_found(load_photo(content), view),
                on_result=told_of,
            )
    finally:
        # Also where the disk is full in the middle: what came in until then is in for good.
        _tell_results(results, found.notes, dry_run=dry_run)
    held = any(result.outcome == "held_back" for result in results)
    ready = [result for result in results if result.ready and result.key]
    if ready and not no_check:
        held |= not _check_imported(ready, address, jobs)
    context.exit(PARTLY if held else 0)


def _standard_input() -> bytes:
    import sys

    from photocheck.orders.intake.table import MAX_BYTES

    return sys.stdin.buffer.read(MAX_BYTES + 1)


def _is_new(file: str, address: str | None) -> bool:
    from pathlib import Path

    return "://" not in (address or "") and not Path(file).exists()


def _is_table(given: Sequence[str]) -> bool:
    """A table, by its name: anything that is neither JSON nor a folder."""
    from pathlib import Path

    tables = [
        name
        for name in given
        if name == "-" or (Path(name).suffix.lower() != ".json" and not Path(name).is_dir())
    ]
    if not tables:
        return False
    if len(given) > 1:
        raise CaseError(
            tr("a table goes alone"), where=tables[0], do=tr("Import one after the other")
        )
    return True


def _columns(told: Iterable[str]) -> dict[str, str]:
    columns = {}
    for text in told:
        field, sign, heading = text.partition("=")
        if not sign:
            raise CaseError(
                tr("'{text}' is not FIELD=HEADING", text=text[:60]),
                where="--column",
                do=tr("Write half_neck=HEADING, for example"),
            )
        columns[field.strip()] = heading.strip()
    return columns


def _mapping(columns: Sequence[Column]) -> str:
    from photocheck.shown.plain import table

    rows = []
    for column in columns:
        if column.field:
            holds = column.field
            if column.unit:
                holds = tr("{field} in {unit}", field=column.field, unit=column.unit)
            rows.append((column.heading, holds))
        elif column.like:
            said = tr(
                'not read; if it is meant: --column "{field}={heading}"',
                field=column.like,
                heading=column.heading,
            )
            rows.append((column.heading, said))
        else:
            rows.append((column.heading, tr("not read")))
    return tr("Columns") + "\n" + "\n".join(f"  {line}" for line in table(rows).splitlines())


def _tell_results(results: Sequence[Result], notes: Sequence[str], *, dry_run: bool) -> None:
    from photocheck.orders.intake.bring import counted

    for result in results:
        for problem in (*result.problems, *result.remarks):
            say(f"{_called(result)}: {problem}", err=True)
    for note in notes:
        say(printable(note), err=True)
    count = counted(results)
    came = [result for result in results if result.outcome in ("new", "completed")]
    filling = sum(not result.ready and not result.waits for result in came)
    waiting = sum(result.waits for result in results if result.outcome != "held_back")
    said = (
        tr(
            "{new} new, {completed} completed, {there} there already, {held_back} held back. "
            "Nothing was brought in: this was a try.",
            **{name: count[name] for name in _COUNTED},
        )
        if dry_run
        else tr(
            "{new} new, {completed} completed, {there} there already, {held_back} held back.",
            **{name: count[name] for name in _COUNTED},
        )
    )
    say(said)
    if waiting:
        say(tr("Waiting for a photo: {n}.", n=waiting))
    if filling:
        say(tr("Being filled in, for marks or something else is missing: {n}.", n=filling))


_COUNTED: Final = ("new", "completed", "there", "held_back")


def _called(result: Result) -> str:
    return printable(f"{result.where} ({result.title})" if result.title else result.where)


def _check_imported(ready: Sequence[Result], address: str | None, jobs: int | None) -> bool:
    """Check what lacks nothing; whether all could be."""
    from photocheck.batch.many import Task

    titles = {result.key: _called(result) for result in ready}
    tasks = [Task(store=address, key=key, by="import") for key in titles]
    lines: list[Line] = []
    with executor_of(None, jobs, len(tasks)) as (executor, at_once):
        work(tasks, executor, at_once, lines.append)
    return tell_lines(lines, titles)
