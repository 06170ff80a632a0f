"""Many orders checked, on all cores or on other machines; one that cannot be stops no other."""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Iterable, Mapping
from concurrent.futures import FIRST_COMPLETED, Executor, Future, wait
from dataclasses import dataclass, replace
from functools import cache
from hashlib import sha256
from typing import TYPE_CHECKING, Any, Final

from photocheck.case.file import case_from_dict
from photocheck.errors import DecodingFailedError, PhotocheckError
from photocheck.judge.ratios import Ratios, ratios_to_dict
from photocheck.judge.tolerances import AS_SHIPPED, FALSE_ALARMS, Tolerances
from photocheck.orders.gaps import gaps
from photocheck.orders.intake.bring_in import photos_of_case
from photocheck.orders.intake.case_files import CaseSource
from photocheck.orders.model import CHOICES, Order, Store
from photocheck.orders.worn_tags import FoundTags, tags_found, told_by_tags
from photocheck.report.file import report_to_dict
from photocheck.speech import speaking, tr
from photocheck.version import program

if TYPE_CHECKING:
    from photocheck.orders.draft import Draft, DraftPhoto
    from photocheck.orders.store import DatabaseStore
    from photocheck.report.model import Report

Line = dict[str, Any]
"""What `photocheck.batch.results.Results` keeps of an order, or with "outcome" as one of
`PASSED_OVER` what it does not."""

PASSED_OVER: Final = ("same", "left", "unmarked")
"""Done before with the same inputs; decided on meanwhile; never sent, and neither somebody nor tags
on the dog have marked all."""


@dataclass(frozen=True)
class Task:
    """One order to check, in a form that goes to another process.

    Attributes
    ----------
    source : CaseSource or None
        Its case file; None for an order of a store.
    store, key : str or None, str
        The store's address and the order's key.
    language : str
        Of the report's sentences; for an order of a store only when it has none.
    ratios : Ratios or None
        What the shop has learnt.
    tolerated : Tolerances
        What the shop lets pass.
    by : str
        Who checks, for the store.
    known : str
        SHA-256 of the inputs it was checked with before; empty when it was not.
    """

    source: CaseSource | None = None
    store: str | None = None
    key: str = ""
    language: str = "en"
    ratios: Ratios | None = None
    tolerated: Tolerances = AS_SHIPPED
    by: str = "batch"
    known: str = ""

    @property
    def order(self) -> str:
        """What the results call it."""
        return self.source.title if self.source else self.key


def run(
    tasks: Iterable[Task],
    executor: Executor,
    *,
    at_once: int,
    on_line: Callable[[Line], None],
) -> None:
    """Work on all tasks.

    Parameters
    ----------
    tasks : iterable of Task
        Taken as they are needed.
    executor : Executor
        `photocheck.batch.lanes.Lanes`, or a Dask client's (``Client.get_executor()``).
    at_once : int
        The most that are handed to it and not done; as many results may wait to be kept, which
        bounds the memory.
    on_line : callable
        Called with each result as it comes.
    """
    left = iter(tasks)
    under_way: dict[Future[Line], Task] = {}

    def hand_out() -> None:
        while len(under_way) < at_once and (task := next(left, None)) is not None:
            under_way[executor.submit(work, task)] = task

    hand_out()
    while under_way:
        done, _ = wait(under_way, return_when=FIRST_COMPLETED)
        finished = [(future, under_way.pop(future)) for future in done]
        hand_out()  # before results are written, lest a core waits for the disk
        for future, task in finished:
            on_line(_line(future, task))


def _line(future: Future[Line], task: Task) -> Line:
    try:
        return future.result()
    except Exception as error:  # whatever a worker on another machine may raise
        said = tr(
            "The process that checked it ended ({error}). Run the batch again; if it ends again, "
            "look at the photo.",
            error=type(error).__name__,
        )
        return {
            "order": task.order,
            "name": "",
            "inputs": "",
            "outcome": "crashed",
            "problem": said,
        }


def work(task: Task) -> Line:
    """Check one order; every failure becomes a line."""
    start = time.perf_counter()
    line: Line = {"order": task.order, "name": "", "inputs": ""}
    with speaking(task.language):
        try:
            job = _job_of_file(task, task.source) if task.source else _job_of_store(task)
            line |= {"name": job.name, "inputs": job.inputs}
            if job.over:
                line["outcome"] = job.over
            elif job.inputs == task.known:
                line["outcome"] = "same"
            else:
                line |= {"report": report_to_dict(job.report()), "outcome": "checked"}
        except DecodingFailedError as error:
            line |= {"outcome": "crashed", "problem": str(error)}
        except PhotocheckError as error:
            line |= {"outcome": "refused", "problem": str(error)}
        except Exception as error:  # what failed for one order stops no other, and is told
            said = tr(
                "This should not have happened ({kind}: {said}). Please report it.",
                kind=type(error).__name__,
                said=" ".join(str(error).split())[:200],
            )
            line |= {"outcome": "crashed", "problem": said}
    return {**line, "seconds": round(time.perf_counter() - start, 3)}


def tasks_of_cases(
    sources: Iterable[CaseSource], done: Mapping[str, Mapping[str, Any]], like: Task
) -> list[Task]:
    """A task for each case.

    Parameters
    ----------
    sources : iterable of CaseSource
    done : mapping of order to its last line
        Of `photocheck.batch.results.Results`.
    like : Task
        What all tasks share.
    """
    return [
        replace(like, source=source, known=_known(done.get(source.title))) for source in sources
    ]


def tasks_of_store(
    store: Store, done: Mapping[str, Mapping[str, Any]], like: Task, *, drafts: bool
) -> list[Task]:
    """A task for each order that waits for a decision.

    Parameters
    ----------
    store : Store
        The one at `like.store`.
    done, like
        As for `tasks_of_cases`.
    drafts : bool
        Also those never sent that lack nothing, or only marks: tags on the dog may place these.
    """
    states = ("waiting", "being_filled_in") if drafts else ("waiting",)
    keys = [line.key for line in store.lines() if line.state in states]
    return [
        replace(like, key=key, known=_known(done.get(key)))
        for key in keys
        if not drafts or _is_whole(store.order(key))
    ]


def _is_whole(order: Order) -> bool:
    """Whether it lacks nothing but marks."""
    return bool(order.checks) or all(gap.step == "marks" for gap in gaps(order.draft))


def _known(last: Mapping[str, Any] | None) -> str:
    # What crashed is tried again: it may have been another program that took the memory.
    return str(last["inputs"]) if last and last["outcome"] != "crashed" else ""


@dataclass(frozen=True)
class _Job:
    """What a task comes to: the hash of all that goes into the check, and the check; or why it is
    passed over."""

    name: str
    inputs: str
    report: Callable[[], Report]
    over: str = ""


def _job_of_file(task: Task, source: CaseSource) -> _Job:
    data = source.read()
    photos = source.photos(data)

    def report() -> Report:
        from photocheck.checking import check
        from photocheck.photo.load import load_photo

        used, _ = photos_of_case(data, photos, where=source.title)
        case = case_from_dict(data, source.file.parent, where=source.title, check_files=False)
        loaded = {
            entry.path: load_photo(used[told["file"]], focal_35mm=entry.focal_35mm, name=entry.path)
            for told, entry in zip(data["photos"], case.photos, strict=True)
        }
        return check(case, photos=loaded, ratios=task.ratios, tolerated=task.tolerated)

    digests = {name: sha256(content).hexdigest() for name, content in photos}
    name = data.get("name", "") if isinstance(data, dict) else ""
    return _Job(str(name)[:200], _inputs(data, digests, task, task.language), report)


def _job_of_store(task: Task) -> _Job:
    from photocheck.server.run import run_check

    store = _store(task.store)
    order = store.order(task.key)
    last = order.checks[-1] if order.checks else None
    # Staff may have corrected the marks since the owner's draft.
    case, over = order.told, "left" if order.state in CHOICES else ""
    if not (over or order.checks) and gaps(case):
        case = _with_tags(store, task.key, case)
        over = "unmarked" if gaps(case) else ""
    language = last.language if last else order.language
    ratios = task.ratios.current if task.ratios and task.ratios.in_use else ""

    def report() -> Report:
        if last and (last.program, last.ratios, last.report.tolerances) == (
            program(),
            ratios,
            task.tolerated.all(),
        ):
            return last.report
        with speaking(language):
            return run_check(
                store,
                task.key,
                by=task.by,
                draft=case,
                ratios=task.ratios,
                tolerated=task.tolerated,
            ).report

    digests = {photo.name: photo.sha256 for photo in store.photos(task.key)}
    inputs = _inputs(case.to_dict(), digests, task, language)
    return _Job(order.name, inputs, report, over)


def _with_tags(store: Store, key: str, draft: Draft) -> Draft:
    """The draft as tags on the dog mark it where nobody has."""
    from photocheck.server.bench import decoded

    def found(photo: DraftPhoto) -> FoundTags:
        opened = decoded(store.photo(key, photo.file), name=photo.file)
        return tags_found(opened, photo.view or "side")

    return told_by_tags(draft, found)


def _inputs(case: Any, photos: Mapping[str, str], task: Task, language: str) -> str:
    ratios = None if task.ratios is None else ratios_to_dict(task.ratios)
    told = [program(), ratios, FALSE_ALARMS, task.tolerated.all(), language, case, photos]
    return sha256(json.dumps(told, ensure_ascii=True, sort_keys=True).encode()).hexdigest()


@cache
def _store(address: str | None) -> DatabaseStore:
    """Once for each process."""
    from photocheck.orders.store import open_store

    return open_store(address, new=False)
