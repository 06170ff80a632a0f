"""Runs the fuzzing for as long as asked; the first finding ends it and is shown."""

from __future__ import annotations

import argparse
import faulthandler
import random
import resource
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

from photocheck.errors import PhotocheckError
from tests.support.fuzz.doors import drafts, links, pages, placed, requests
from tests.support.fuzz.incoming import orders, tables
from tests.support.fuzz.pictures import pictures
from tests.support.fuzz.shops import ratios, shelves, templates
from tests.support.fuzz.texts import Job, case_texts, cases, lengths

HANG_S = 60.0
"""An input that takes longer by the clock hangs."""

MEMORY_BYTES = 2_500_000_000
"""Of the whole process: more than an upload may have."""


def fuzz(make: Callable[[random.Random], Job], inputs: int, start: int) -> str:
    """So many inputs, one seed each from `start` on; what became of them, in a line.

    A file's bytes are kept in the scratch folder until they are done with, for those that end
    the process.

    Raises
    ------
    Exception
        Whatever an input brought about that is not photocheck's own error; the input's seed
        is noted on it.
    """
    outcomes: Counter[str] = Counter()
    slowest, began = 0.0, time.perf_counter()
    last = Path(tempfile.gettempdir()) / f"photocheck_fuzz_{make.__name__}_{start}"
    for number in range(start, start + inputs):
        given, job = make(random.Random(number))
        if isinstance(given, bytes):
            last.write_bytes(given)
        faulthandler.dump_traceback_later(HANG_S, exit=True)
        # Processor time: others on a busy machine are not the input's fault.
        job_began = time.process_time()
        outcome = _outcome(job, number)
        slowest = max(slowest, time.process_time() - job_began)
        faulthandler.cancel_dump_traceback_later()
        outcomes[outcome] += 1
    last.unlink(missing_ok=True)
    took = time.perf_counter() - began
    return (
        f"{make.__name__}: {outcomes.total()} inputs in {took:.0f} s, {dict(outcomes)}, slowest "
        f"{1000 * slowest:.0f} ms of processor time"
    )


def _outcome(job: Callable[[], object], number: int) -> str:
    try:
        job()
    except PhotocheckError as error:
        if error.wrong and str(error).isprintable():
            return "refused"
        raise AssertionError(f"seed {number}: {error!r} is no clear sentence") from error
    except Exception as error:
        error.add_note(f"seed {number}")
        raise
    return "taken"


def main() -> None:
    """The command."""
    parser = argparse.ArgumentParser(prog="python -m fuzz", description=__doc__)
    parser.add_argument("--lengths", type=int, default=50_000)
    parser.add_argument("--cases", type=int, default=40_000)
    parser.add_argument("--case-texts", type=int, default=10_000)
    parser.add_argument("--pictures", type=int, default=10_000)
    parser.add_argument("--tables", type=int, default=30_000)
    parser.add_argument("--orders", type=int, default=20_000)
    parser.add_argument("--shelves", type=int, default=30_000)
    parser.add_argument("--ratios", type=int, default=15_000)
    parser.add_argument("--templates", type=int, default=15_000)
    parser.add_argument("--requests", type=int, default=60_000)
    parser.add_argument("--links", type=int, default=40_000)
    parser.add_argument("--pages", type=int, default=4_000)
    parser.add_argument("--drafts", type=int, default=20_000)
    parser.add_argument("--placed", type=int, default=50_000)
    parser.add_argument("--start", type=int, default=0, help="the first input's seed")
    asked = parser.parse_args()
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    shares = (
        (lengths, asked.lengths),
        (cases, asked.cases),
        (case_texts, asked.case_texts),
        (pictures, asked.pictures),
        (tables, asked.tables),
        (orders, asked.orders),
        (shelves, asked.shelves),
        (ratios, asked.ratios),
        (templates, asked.templates),
        (requests, asked.requests),
        (links, asked.links),
        (pages, asked.pages),
        (drafts, asked.drafts),
        (placed, asked.placed),
    )
    for make, inputs in shares:
        if inputs:
            print(fuzz(make, inputs, asked.start), flush=True)


if __name__ == "__main__":
    main()
