"""Orders in, and many checked at once, on the command line.

Heavy modules are imported inside the commands, so that ``--help`` answers at once.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Final

import click

from photocheck.cli.store_commands import STORE_OPTION
from photocheck.errors import CaseError, printable
from photocheck.speech import LANGUAGES, tr
from photocheck.words import UNITS

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from photocheck.batch.many import Line, Task
    from photocheck.orders.intake.bring import Result
    from photocheck.orders.intake.headings import Column

PARTLY: Final = 13
"""Exit code when some orders could not be taken in or checked, and the rest was."""

_EXITS: Final = (
    f"Exit codes: 0 all orders are {{done}}; {PARTLY} some are not, and are listed; 2 nothing "
    "could be done; 130 interrupted: the same command goes on where it ended."
)

_jobs = click.option(
    "--jobs", type=click.IntRange(1, 256), help="Processes; as many as there are cores."
)


def add_to(commands: click.Group) -> None:
    """Add what is here to the command line."""
    commands.add_command(desk)
    commands.add_command(batch)


@click.group()
def desk() -> None:
    """The workshop's orders."""


@desk.command("import", epilog=_EXITS.format(done="in the store"))
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
@click.option("--heic", is_flag=True, help="Take HEIC photos too, as phones write them.")
@click.option("--no-check", is_flag=True, help="Do not check the orders that lack nothing.")
@_jobs
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

    FILE is one table (CSV as spreadsheets save it, first line the headings), or case files,
    files with a list of cases, or folders of them. Photos belong to the order that names
    them in its column "photo", or whose number or name stands in their file name. Orders
    with marks are checked; the others wait as being filled in.

    An order comes in once: known by its number in a table with such a column, by the name
    of a case, else by all it says. A row with a mistake is told with its line; the rest
    comes in, and once the row is corrected, importing the same table again adds it alone.
    """
    from dataclasses import replace

    from photocheck.orders.intake.bring import bring
    from photocheck.orders.intake.entries import entries_of_cases, entries_of_table
    from photocheck.orders.intake.headings import recall, remember
    from photocheck.orders.intake.photo_folder import photo_folder
    from photocheck.orders.store import open_store
    from photocheck.orders.store.engines import url_of
    from photocheck.orders.uploads import LIMITS

    folder = photo_folder(photos) if photos else None
    columns = _columns(told)
    if _is_table(given):
        found = entries_of_table(
            given[0], folder, told=columns, remembered=recall(), unit=unit or ""
        )
        click.echo(_mapping(found.columns))
    else:
        if columns or unit:
            raise CaseError(
                tr("--column and --unit are for tables"), where="import", do=tr("Leave them out")
            )
        found = entries_of_cases(given, folder)
    if not dry_run and columns and (file := remember(found.columns, columns)):
        click.echo(tr("The columns are remembered in {file}.", file=file))
    store = (
        None if dry_run and _is_new(str(url_of(address).database), address) else open_store(address)
    )
    with _bar(len(found.entries), "order") as bar:
        results = bring(
            store,
            found.entries,
            language=language,
            try_only=dry_run,
            update=update,
            limits=replace(LIMITS, heic=heic),
            on_result=lambda _: bar.update(),
        )
    _tell_results(results, found.notes, dry_run=dry_run)
    held = any(result.outcome == "held_back" for result in results)
    ready = [result for result in results if result.ready and result.key]
    if ready and not no_check:
        held |= not _check_imported(ready, address, jobs)
    context.exit(PARTLY if held else 0)


def _is_new(file: str, address: str | None) -> bool:
    from pathlib import Path

    return "://" not in (address or "") and not Path(file).exists()


def _is_table(given: Sequence[str]) -> bool:
    """A table, by its name: anything that is neither JSON nor a folder."""
    from pathlib import Path

    tables = [
        name for name in given if Path(name).suffix.lower() != ".json" and not Path(name).is_dir()
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
        for problem in result.problems:
            click.echo(f"{_called(result)}: {problem}", err=True)
    for note in notes:
        click.echo(printable(note), err=True)
    count = counted(results)
    waiting = sum(not r.ready for r in results if r.outcome in ("new", "completed"))
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
    click.echo(said)
    if waiting:
        click.echo(tr("Being filled in, for marks or something else is missing: {n}.", n=waiting))


_COUNTED: Final = ("new", "completed", "there", "held_back")


def _called(result: Result) -> str:
    return printable(f"{result.where} ({result.title})" if result.title else result.where)


def _check_imported(ready: Sequence[Result], address: str | None, jobs: int | None) -> bool:
    """Check what lacks nothing; whether all could be."""
    from photocheck.batch.many import Task

    titles = {result.key: _called(result) for result in ready}
    tasks = [Task(store=address, key=key, by="import") for key in titles]
    lines: list[Line] = []
    with _executor(None, jobs, len(tasks)) as (executor, at_once):
        _work(tasks, executor, at_once, lines.append)
    return _tell_lines(lines, titles)


@click.command(epilog=_EXITS.format(done="checked, whatever the verdict"))
@click.argument("given", nargs=-1, metavar="[CASES]...")
@click.option(
    "-o",
    "--out",
    metavar="FILE",
    default="batch.jsonl",
    show_default=True,
    help="Results, one line of JSON for each order; the summary goes beside it, .csv.",
)
@click.option("--waiting", is_flag=True, help="Check the orders of the store that wait.")
@click.option("--drafts", is_flag=True, help="With --waiting: those never sent that lack nothing.")
@click.option("--ratios", metavar="FILE", help="Check with what the shop has learnt.")
@click.option("--language", type=click.Choice(list(LANGUAGES)), default="en", show_default=True)
@click.option("--by", default="batch", show_default=True, help="Who checks, for the store.")
@_jobs
@click.option("--dask", metavar="ADDRESS", help="Work on a Dask cluster, tcp://host:8786.")
@STORE_OPTION
@click.pass_context
def batch(
    context: click.Context,
    /,
    given: tuple[str, ...],
    out: str,
    waiting: bool,
    drafts: bool,
    ratios: str | None,
    language: str,
    by: str,
    jobs: int | None,
    dask: str | None,
    address: str | None,
) -> None:
    """Check many orders on all cores.

    CASES are case files, files with a list of cases, or folders of them, looked through with
    all below. Or the waiting orders of the store: each is checked again when photocheck or
    the shop's ratios have changed since, and the check is added to its history.

    A result is on the disk before it is told. After an interruption the same command goes
    on; what was done with the same case, photos, ratios and version is not done again. An
    order that cannot be checked is listed and stops no other.
    """
    from pathlib import Path

    from photocheck.batch.many import PASSED_OVER, Task, tasks_of_cases, tasks_of_store
    from photocheck.batch.results import Results, write_summary
    from photocheck.judge.ratios import read_ratios
    from photocheck.orders.intake.case_files import find_cases, passed_over
    from photocheck.orders.store import open_store

    if waiting == bool(given) or (drafts and not waiting):
        raise CaseError(
            tr("give either CASES or --waiting"),
            where="batch",
            do=tr("Name case files or folders, or check the waiting orders of the store"),
        )
    learnt = None if ratios is None else read_ratios(ratios)
    like = Task(store=address, language=language, ratios=learnt, by=by)
    # Before the results file is made: a mistyped name leaves nothing behind.
    sources, others = find_cases(given) if given else ((), ())
    store = open_store(address, new=False) if waiting else None
    with Results(Path(out)) as results:
        if store is None:
            tasks = tasks_of_cases(sources, results.last, like)
        else:
            tasks = tasks_of_store(store, results.last, like, drafts=drafts)
            store.close()
        passed: Counter[str] = Counter()
        left: set[str] = set()

        def keep(line: Line) -> None:
            if line["outcome"] in PASSED_OVER:
                passed[line["outcome"]] += 1
                left.update({line["order"]} if line["outcome"] == "left" else ())
            else:
                results.add(line)

        with _executor(dask, jobs, len(tasks)) as (executor, at_once):
            _work(tasks, executor, at_once, keep)
        orders = [task.order for task in tasks if task.order not in left]
        lines = [results.last[order] for order in orders]
    summary = Path(out).with_suffix(".csv")
    write_summary(summary, lines)
    for note in passed_over(others):
        click.echo(note, err=True)
    whole = _tell_lines(lines, {})
    if passed["same"]:
        click.echo(tr("Done before and unchanged: {count}.", count=passed["same"]))
    if passed["left"]:
        click.echo(tr("Decided on meanwhile: {count}.", count=passed["left"]))
    click.echo(tr("Results: {results}; summary: {summary}.", results=out, summary=summary))
    context.exit(0 if whole else PARTLY)


@contextmanager
def _executor(dask: str | None, jobs: int | None, tasks: int) -> Iterator[tuple[Executor, int]]:
    """What works, and how many tasks it is given at a time."""
    if dask is not None:
        with _dask_client(dask) as client, client.get_executor() as executor:
            yield executor, 2 * max(1, sum(client.nthreads().values()))
        return
    import os

    from photocheck.batch.lanes import Lanes, one_thread_each

    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    count = max(1, min(jobs or cores or 1, tasks))
    with one_thread_each(), Lanes(count) as executor:
        yield executor, count


@contextmanager
def _dask_client(address: str) -> Iterator[Any]:
    try:
        from distributed import Client
    except ImportError as error:
        raise CaseError(
            tr("Dask is not installed"),
            where="--dask",
            do=tr("Install it with: pip install 'photocheck[dask]'"),
        ) from error
    try:
        client = Client(address, timeout=10)  # type: ignore[no-untyped-call]
    except (OSError, ValueError) as error:
        raise CaseError(
            tr("the Dask cluster does not answer"),
            where=address,
            do=tr("Check its address, tcp://host:8786 for example, and that it runs"),
        ) from error
    with client:
        yield client


def _work(tasks: Sequence[Task], executor: Executor, at_once: int, on_line: Any) -> None:
    from photocheck.batch.many import run

    with _bar(len(tasks), "order") as bar:

        def told(line: Line) -> None:
            on_line(line)
            bar.update()

        run(tasks, executor, at_once=at_once, on_line=told)


def _bar(total: int, unit: str) -> Any:
    from tqdm import tqdm

    return tqdm(
        total=total,
        unit=unit,
        delay=1.0,
        leave=False,
        file=sys.stderr,
        disable=not sys.stderr.isatty(),
    )


def _tell_lines(lines: Iterable[Mapping[str, Any]], titles: Mapping[str, str]) -> bool:
    """Count the verdicts and list what could not be checked; whether all could."""
    from photocheck.words import VERDICT_TITLES, VERDICTS

    verdicts: Counter[str] = Counter()
    failed = 0
    for line in lines:
        verdict = line.get("verdict") or line.get("report", {}).get("verdict")
        if line["outcome"] == "checked":
            verdicts[verdict] += 1
        elif line["outcome"] in ("refused", "crashed"):
            failed += 1
            click.echo(_complaint(line, titles), err=True)
    said = ", ".join(
        f"{tr(VERDICT_TITLES[word])} {verdicts[word]}" for word in VERDICTS if verdicts[word]
    )
    click.echo(
        tr("Checked: {count} ({verdicts}).", count=verdicts.total(), verdicts=said)
        if verdicts
        else tr("Checked: none.")
    )
    if failed:
        click.echo(tr("Could not be checked: {count}.", count=failed))
    return failed == 0


def _complaint(line: Mapping[str, Any], titles: Mapping[str, str]) -> str:
    from pathlib import Path

    order, problem = str(line["order"]), str(line["problem"])
    near = Path(order).parent
    if problem.startswith(order) or (near.name and problem.startswith(str(near))):
        return problem  # it says where
    return f"{titles.get(order, order)}: {problem}"
