"""A workbook that is much to read is read by a process of its own, with limits.

What the library makes of 60 MB of XML has no other bound: 170 kB that name one sheet 400,000 times
took it three minutes of a processor, during which the server has less for everybody else.
"""

from __future__ import annotations

import json
import logging
import signal
import subprocess
import tempfile
from typing import IO, Any, Final

from photocheck.errors import CaseError
from photocheck.orders.intake.workbook_read import (
    Sheet,
    broken,
    read_here,
    refuse_hostile,
    too_large,
)
from photocheck.speech import tr
from photocheck.uploads.take import LIMITS, Limits, read_apart

LIGHT: Final = 20_000
"""Signs of XML (`refuse_hostile`) of a workbook that is read at once, for a process takes half a
second to begin: some 300 orders, or 2 s of the worst that was found (judgement)."""

MOST_ANSWERED: Final = 200_000_000
"""Bytes of the table read; of its 50 million letters each may take four."""

_log: Final = logging.getLogger(__name__)

_WORKER: Final = "photocheck.orders.intake.workbook_worker"


def read_sheet(content: bytes, *, where: str, limits: Limits = LIMITS) -> Sheet:
    """Read the first sheet that has headings which are known, else the first with anything.

    Parameters
    ----------
    content : bytes
        Of a file that begins with `photocheck.orders.intake.workbook_read.MAGIC`.
    where : str
        The file's name, for messages.
    limits : Limits
        What reading it may cost.

    Raises
    ------
    CaseError
        When it is no workbook, or larger than the bounds.
    """
    if refuse_hostile(content, where) <= LIGHT:
        return read_here(content, where=where)
    try:
        return _ask(content, where, limits)
    except OSError as error:
        raise _not_just_now(where) from error


def _ask(content: bytes, where: str, limits: Limits) -> Sheet:
    with tempfile.TemporaryFile() as answer:
        try:
            code = read_apart(
                _WORKER,
                content,
                limits,
                where,
                answer=answer,
                answer_bytes=MOST_ANSWERED,
                grumbling=subprocess.DEVNULL,  # what the library says of a file is the file's word
            )
        except subprocess.TimeoutExpired as error:
            raise too_large(where) from error
        # By the limits on its time or on what it answers, or by the system when memory ran out.
        ended = {-getattr(signal, name, 0) for name in ("SIGXCPU", "SIGXFSZ", "SIGKILL")} - {0}
        if code in ended:
            raise too_large(where)
        said = _read(answer)
    if said.get("outcome") == "refused":
        raise CaseError(str(said.get("wrong")), where=where, do=str(said.get("do")))
    try:
        return _sheet(said)
    except (KeyError, TypeError, ValueError) as error:
        _log.warning("reading a workbook ended with %d", code)
        # A signal is what a damaged file does to a reader written in C; all else that is wrong with
        # one is answered, and none of this is its fault.
        raise (broken(where) if code < 0 else _not_just_now(where)) from error


def _not_just_now(where: str) -> CaseError:
    return CaseError(
        tr("workbooks cannot be read here just now"), where=where, do=tr("Try again later")
    )


def _read(answer: IO[bytes]) -> dict[str, Any]:
    answer.seek(0)
    try:
        said = json.loads(answer.read(MOST_ANSWERED))
    except (ValueError, RecursionError):
        return {}
    return said if isinstance(said, dict) else {}


def _sheet(said: dict[str, Any]) -> Sheet:
    rows = tuple((int(line), tuple(map(str, cells))) for line, cells in said["rows"])
    return Sheet(str(said["name"]), tuple(map(str, said["others"])), rows)
