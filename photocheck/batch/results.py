"""Results of a batch: a file that only grows, one line of JSON for each order."""

from __future__ import annotations

import csv
import io
import json
import os
import stat
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, BinaryIO, Final

from photocheck.errors import PhotocheckError, reason_of
from photocheck.files import read_at_most, replacing, sync_folder
from photocheck.orders.export import guarded
from photocheck.speech import tr
from photocheck.words import SPANS

FORMAT: Final = "photocheck-result/1"

_NEW: Final = os.O_CREAT | os.O_APPEND | os.O_RDWR | getattr(os, "O_BINARY", 0)
"""A new one is for whoever makes it alone, for it holds owners' readings; the rights of an older
one are its owner's to choose."""

_BEGINS: Final = f'{{"format": "{FORMAT}"'.encode()

LONGEST_LINE: Final = 20_000_000
"""Bytes; a report in all languages has some 100,000 (judgement)."""

OUTCOMES: Final = ("checked", "refused", "crashed")
"""Has a report; cannot be used as it is; its process died or failed, which may pass."""

COLUMNS: Final = (
    *("order", "name", "outcome", "verdict", "headline", "next_step", "problem"),
    *(f"{span}_{what}" for span in SPANS for what in ("tape_mm", "photo_mm", "verdict")),
)
"""The columns of the summary."""

_SUMMARY_BEGINS: Final = b'\xef\xbb\xbf"order","name",'
"""As `write_summary` writes it, also by earlier versions."""


@dataclass
class Results:
    """The results file while a batch adds to it; nobody else may at the same time.

    Attributes
    ----------
    path : Path
    last : dict of order to dict
        The last line of each order, without its report but for what the summary shows.
    """

    path: Path
    last: dict[str, dict[str, Any]] = field(default_factory=dict)
    _file: BinaryIO | None = None
    _lock: Any = None

    def __enter__(self) -> Results:
        """Open the file, make it when it is not there, and read what is done.

        A last line that a kill or a power cut tore is taken off; it was never told of.

        Raises
        ------
        PhotocheckError
            When it cannot be written, holds something else, or another batch has it open.
        """
        from filelock import FileLock, Timeout

        self._lock = FileLock(self.path.parent / f".{self.path.name}.lock")
        try:
            self._lock.acquire(timeout=0)
            self._file = os.fdopen(os.open(self.path, _NEW, 0o600), "a+b")
            sync_folder(self.path.parent)
            if not stat.S_ISREG(os.fstat(self._file.fileno()).st_mode):
                raise self._foreign()  # a device has no end
            self._read(self._file)
        except Timeout as error:
            raise PhotocheckError(
                tr("another batch writes this file just now"),
                where=str(self.path),
                do=tr("Wait for it, or name another file with -o"),
            ) from error
        except OSError as error:
            self.__exit__()
            raise _unwritable(self.path, error) from error
        except BaseException:
            self.__exit__()
            raise
        return self

    def __exit__(self, *_: object) -> None:
        """Close the file."""
        if self._file is not None:
            self._file.close()
        self._lock.release()

    def add(self, line: Mapping[str, Any]) -> None:
        """Append a line; it is on the disk when this returns.

        Raises
        ------
        PhotocheckError
            When the disk is full, say.
        """
        assert self._file is not None
        text = json.dumps({"format": FORMAT, **line}, ensure_ascii=False, allow_nan=False)
        try:
            self._file.write(text.encode("utf-8", "backslashreplace") + b"\n")
            self._file.flush()
            os.fsync(self._file.fileno())
        except OSError as error:
            raise _unwritable(self.path, error) from error
        self.last[str(line["order"])] = _brief(line)

    def _read(self, file: BinaryIO) -> None:
        file.seek(0)
        whole = 0
        while line := file.readline(LONGEST_LINE + 1):
            if len(line) > LONGEST_LINE:
                raise self._foreign()
            if not line.endswith(b"\n"):
                break
            found = _read_line(line)
            if found is not None:
                self.last[found["order"]] = found
            elif whole == 0:
                raise self._foreign()
            whole += len(line)
        file.seek(0)
        if whole == 0 and not _BEGINS.startswith(file.read(len(_BEGINS))):
            raise self._foreign()  # not even the torn first line of ours
        file.truncate(whole)

    def _foreign(self) -> PhotocheckError:
        return PhotocheckError(
            tr("this file holds something other than results"),
            where=str(self.path),
            do=tr("Name another file with -o"),
        )


def summary_beside(results: Path) -> Path:
    """Where the summary goes; what stands there already is an older one.

    Raises
    ------
    PhotocheckError
        When it is something else: the results themselves, or a table of somebody's own.
    """
    path = results.parent / f"{results.stem}.csv"
    try:
        # on some disks "X.CSV" is "x.csv"
        if path.name.casefold() == results.name.casefold() or (
            path.is_file()
            and read_at_most(path, len(_SUMMARY_BEGINS))[: len(_SUMMARY_BEGINS)]
            not in (_SUMMARY_BEGINS, b"")
        ):
            raise PhotocheckError(
                tr("the summary would be written over this file"),
                where=str(path),
                do=tr("Name another file with -o"),
            )
    except OSError as error:
        raise _unwritable(path, error) from error
    return path


def write_summary(path: Path, lines: Iterable[Mapping[str, Any]]) -> None:
    """Write a table of results for spreadsheets, whole or not at all.

    Parameters
    ----------
    path : Path
    lines : iterable of mapping
        As `Results.last` has them.

    Raises
    ------
    PhotocheckError
        When it cannot be written.
    """
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, COLUMNS, restval="", quoting=csv.QUOTE_ALL, lineterminator="\r\n")
    writer.writeheader()
    for line in lines:
        writer.writerow({k: guarded(str(line[k])) for k in COLUMNS if k in line})
    with replacing(path, private=True) as file:
        # Spreadsheets take a table without the mark for Windows-1252.
        file.write(text.getvalue().encode("utf-8-sig", "backslashreplace"))


def _read_line(line: bytes) -> dict[str, Any] | None:
    """`_brief` of a line, or None for one that we never wrote."""
    try:
        data = json.loads(line)
        if data["format"] == FORMAT and data["outcome"] in OUTCOMES:
            return _brief(data)
    except (KeyError, TypeError, ValueError, RecursionError):
        pass
    return None


def _brief(line: Mapping[str, Any]) -> dict[str, Any]:
    brief = {k: str(line.get(k, "")) for k in ("order", "name", "inputs", "outcome", "problem")}
    report = line.get("report")
    if isinstance(report, Mapping):
        brief |= {k: str(report[k]) for k in ("verdict", "headline", "next_step")}
        for span in report["spans"]:
            name = span["span"]
            if span["reading_mm"] is not None:
                brief[f"{name}_tape_mm"] = f"{span['reading_mm']:.1f}"
            brief[f"{name}_photo_mm"] = f"{span['photo_mm']:.1f}"
            brief[f"{name}_verdict"] = str(span["verdict"])
    return brief


def _unwritable(path: Path, error: OSError) -> PhotocheckError:
    return PhotocheckError(
        tr(
            "the results cannot be written ({reason})",
            reason=reason_of(error),
        ),
        where=str(path),
        do=tr("Check the folder, its rights and the space on the disk; what was told is kept"),
    )
