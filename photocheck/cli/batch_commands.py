"""Many orders checked at once, on the command line.

Heavy modules are imported inside the commands, so that ``--help`` answers at once.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Final

import click

from photocheck.cli.case_options import TOLERANCES_HELP
from photocheck.cli.exits import PARTLY
from photocheck.cli.progress import progress
from photocheck.cli.say import say
from photocheck.cli.store_commands import STORE_OPTION
from photocheck.cli.streams import STREAM
from photocheck.errors import CaseError
from photocheck.server.shop import RATIOS_VARIABLE, TOLERANCES_VARIABLE
from photocheck.speech import LANGUAGES, tr

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from photocheck.batch.many import Line, Task
    from photocheck.judge.ratios import Ratios
    from photocheck.orders.store import DatabaseStore

EXITS: Final = (
    f"Exit codes: 0 all orders are {{done}}; {PARTLY} some are not, and are listed; 2 nothing "
    "could be done; 130 interrupted: the same command goes on where it ended."
)
"""What is said of them below a command's help, where ``{done}`` is what it does."""

JOBS_OPTION = click.option(
    "--jobs", type=click.IntRange(1, 256), help="Processes; as many as there are cores."
)


@click.command(epilog=EXITS.format(done="checked, whatever the verdict"))
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
@click.option(
    "--drafts",
    is_flag=True,
    help="With --waiting: also those never sent, marked or with tags.",
)
@click.option(
    "--ratios",
    metavar="FILE",
    envvar=RATIOS_VARIABLE,
    help="Check with what the shop has learnt; as serve does where the environment says it.",
)
@click.option(
    "--tolerances",
    metavar="LIST",
    default="",
    envvar=TOLERANCES_VARIABLE,
    help=TOLERANCES_HELP,
)
@click.option("--language", type=click.Choice(list(LANGUAGES)), default="en", show_default=True)
@click.option("--by", default="batch", show_default=True, help="Who checks, for the store.")
@JOBS_OPTION
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
    tolerances: str,
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
    from photocheck.batch.results import Results, summary_beside, write_summary
    from photocheck.judge.ratios import read_ratios
    from photocheck.judge.tolerances import read_tolerances
    from photocheck.orders.intake.case_files import find_cases, passed_over
    from photocheck.orders.store import open_store

    if waiting == bool(given) or (drafts and not waiting):
        raise CaseError(
            tr("give either CASES or --waiting"),
            where="batch",
            do=tr("Name case files or folders, or check the waiting orders of the store"),
        )
    if STREAM in given:
        raise CaseError(
            tr("a batch is of files and folders, which it can come back to"),
            where=STREAM,
            do=tr("Name them; one case by standard input: photocheck check -"),
        )
    learnt = None if not ratios else read_ratios(ratios)
    tolerated = read_tolerances(tolerances, where="--tolerances")
    like = Task(store=address, language=language, ratios=learnt, tolerated=tolerated, by=by)
    # Before the results file is made: a mistyped name leaves nothing behind.
    sources, others = find_cases(given) if given else ((), ())
    store = open_store(address, new=False) if waiting else None
    summary = summary_beside(Path(out))
    with Results(Path(out)) as results:
        if store is None:
            tasks = tasks_of_cases(sources, results.last, like)
        else:
            _tell_other_ratios(store, learnt)
            tasks = tasks_of_store(store, results.last, like, drafts=drafts)
            store.close()
        passed: Counter[str] = Counter()
        left: set[str] = set()

        def keep(line: Line) -> None:
            if line["outcome"] in PASSED_OVER:
                passed[line["outcome"]] += 1
                left.update({line["order"]} if line["outcome"] != "same" else ())
            else:
                results.add(line)

        with executor_of(dask, jobs, len(tasks)) as (executor, at_once):
            work(tasks, executor, at_once, keep)
        orders = [task.order for task in tasks if task.order not in left]
        lines = [results.last[order] for order in orders]
    write_summary(summary, lines)
    for note in passed_over(others):
        say(note, err=True)
    whole = tell_lines(lines, {})
    if passed["same"]:
        say(tr("Done before and unchanged: {count}.", count=passed["same"]))
    if passed["left"]:
        say(tr("Decided on meanwhile: {count}.", count=passed["left"]))
    if passed["unmarked"]:
        said = tr(
            "Never sent, and the photo neither marked nor with the tags for it: {count}.",
            count=passed["unmarked"],
        )
        say(said)
    say(tr("Results: {results}; summary: {summary}.", results=out, summary=summary))
    context.exit(0 if whole else PARTLY)


def _tell_other_ratios(store: DatabaseStore, learnt: Ratios | None) -> None:
    """Say so where the desk has checked with other ratios than are used now."""
    from photocheck.orders.store.numbers import last_ratios

    theirs = last_ratios(store)
    ours = learnt.current if learnt and learnt.in_use else ""
    if theirs is not None and theirs != ours:
        shipped = tr("those shipped")
        said = tr(
            "The last check in the store used the ratios {theirs}, and these checks use {ours}: "
            "give the desk's own file with --ratios, or in {variable}.",
            theirs=theirs or shipped,
            ours=ours or shipped,
            variable=RATIOS_VARIABLE,
        )
        say(said, err=True)


@contextmanager
def executor_of(dask: str | None, jobs: int | None, tasks: int) -> Iterator[tuple[Executor, int]]:
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


def work(tasks: Sequence[Task], executor: Executor, at_once: int, on_line: Any) -> None:
    """Check what the tasks say, and show how far it is."""
    from photocheck.batch.many import run

    with progress(len(tasks), tr("order")) as done:

        def told(line: Line) -> None:
            on_line(line)
            done()

        run(tasks, executor, at_once=at_once, on_line=told)


def tell_lines(lines: Iterable[Mapping[str, Any]], titles: Mapping[str, str]) -> bool:
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
            say(_complaint(line, titles), err=True)
    said = ", ".join(
        f"{tr(VERDICT_TITLES[word])} {verdicts[word]}" for word in VERDICTS if verdicts[word]
    )
    say(
        tr("Checked: {count} ({verdicts}).", count=verdicts.total(), verdicts=said)
        if verdicts
        else tr("Checked: none.")
    )
    if failed:
        say(tr("Could not be checked: {count}.", count=failed))
    return failed == 0


def _complaint(line: Mapping[str, Any], titles: Mapping[str, str]) -> str:
    from pathlib import Path

    order, problem = str(line["order"]), str(line["problem"])
    near = Path(order).parent
    if problem.startswith(order) or (near.name and problem.startswith(str(near))):
        return problem  # it says where
    return f"{titles.get(order, order)}: {problem}"
