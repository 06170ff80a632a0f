"""The process that reads one stranger's workbook and then ends.

As its arguments: a `photocheck.uploads.worker.Decoding` in JSON, and what to call the file; on
standard input: the file.  On standard output: one JSON object.
"""

from __future__ import annotations

import json
import os
import sys
from dataclasses import asdict
from typing import Any

from photocheck.errors import CaseError
from photocheck.orders.intake.workbook_read import read_here
from photocheck.speech import speaking
from photocheck.uploads.worker import Decoding, confine


def main() -> None:
    """Do the one task."""
    # A library that prints must not write into the answer.
    answer = os.fdopen(os.dup(1), "w", encoding="utf-8", errors="replace")
    os.dup2(2, 1)
    task: Decoding = json.loads(sys.argv[1])
    confine(task)
    with answer:
        json.dump(_done(task["language"], sys.argv[2]), answer, ensure_ascii=False)


def _done(language: str, where: str) -> dict[str, Any]:
    with speaking(language):
        try:
            return {"outcome": "read", **asdict(read_here(sys.stdin.buffer.read(), where=where))}
        except CaseError as error:
            return {"outcome": "refused", "wrong": error.wrong, "do": error.do}


if __name__ == "__main__":
    main()
