"""Finished orders as people hand them in, and the whole job of learning from them.

An outcome is a report with what became of the order; the format is published in
``outcome.schema.json``.  Given are one such file, a file with one outcome per line
(``.jsonl``), or a folder of either.
"""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any, Final

from photocheck.body.shape import SHIPPED
from photocheck.case.file import FORMAT as CASE_FORMAT
from photocheck.case.file import case_from_dict, read_case
from photocheck.errors import CaseError, reason_of
from photocheck.judge.evidence import FinishedOrder, order_from_report
from photocheck.judge.learning import Learning, learn
from photocheck.judge.ratios import Ratios, read_ratios, write_ratios
from photocheck.report.file import FORMAT as REPORT_FORMAT
from photocheck.report.file import read_report, report_from_dict
from photocheck.report.model import Report
from photocheck.schemas.complaints import complaint, format_in_words, path_in_words
from photocheck.schemas.reading import read_json
from photocheck.speech import later, tr

FORMAT: Final = "photocheck-outcome/1"
OUTCOMES_FILE: Final = later("outcomes file")
MAX_LINES_BYTES: Final = 200_000_000
"""Largest file of outcomes read: some ten thousand reports."""


def learn_from(
    orders: str | os.PathLike[str], ratios: str | os.PathLike[str], *, write: bool = True
) -> Learning:
    """Learn from an outcomes file or folder and keep the result.

    Parameters
    ----------
    orders : path
    ratios : path
        The shop's ratios file; it need not be there yet, and is rewritten only when
        new ratios are adopted.
    write : bool
        False only looks what would be learnt.

    Raises
    ------
    CaseError
        When a file cannot be used; the message says which and what to do.
    """
    before = read_ratios(ratios) if Path(ratios).exists() else Ratios()
    learnt = learn(read_outcomes(orders, before), before)
    if write and learnt.adopted:
        write_ratios(ratios, learnt.ratios)
    return learnt


def undo(ratios: str | os.PathLike[str]) -> Ratios:
    """Put the parent of the version in use back into use.

    Raises
    ------
    CaseError
        When the file cannot be used or nothing was learnt.
    """
    after = read_ratios(ratios).undone()
    write_ratios(ratios, after)
    return after


def read_outcomes(
    path: str | os.PathLike[str], ratios: Ratios | None = None
) -> list[FinishedOrder]:
    """Read outcomes, checking the cases that have no report yet.

    Parameters
    ----------
    path : path
        A file or a folder; in a folder, ``.json`` and ``.jsonl`` files are read, and
        cases, reports and ratios lying there are passed over.
    ratios : Ratios, optional
        The versions that reports may have been made with.

    Raises
    ------
    CaseError
    """
    source = Path(path)
    known = ratios or Ratios()
    if not source.is_dir():
        return _file(source, known)
    orders: list[FinishedOrder] = []
    for item in sorted(source.iterdir()):
        if item.suffix.lower() in (".json", ".jsonl") and item.is_file():
            orders += _file(item, known, in_folder=True)
    if not orders:
        raise CaseError(
            tr("no outcome lies in this folder"),
            where=str(path),
            do=tr('Put files with "format": "{name}" there', name=FORMAT),
        )
    return orders


def _file(path: Path, ratios: Ratios, *, in_folder: bool = False) -> list[FinishedOrder]:
    if path.suffix.lower() != ".jsonl":
        data = read_json(path, what=OUTCOMES_FILE)
        other = data.get("format") if isinstance(data, dict) else None
        if in_folder and other in (CASE_FORMAT, REPORT_FORMAT, "photocheck-ratios/1"):
            return []
        return [_order(data, path, str(path), path.stem, ratios)]
    orders = []
    for number, line in enumerate(_lines(path), start=1):
        if line.strip():
            where = f"{path}, line {number}"
            try:
                data = json.loads(line)
            except (json.JSONDecodeError, RecursionError) as error:
                raise CaseError(
                    tr("this is not JSON"),
                    where=where,
                    do=tr("Write one whole outcome on each line; names and texts in double quotes"),
                ) from error
            orders.append(_order(data, path, where, f"{path.stem} line {number}", ratios))
    return orders


def _lines(path: Path) -> list[str]:
    try:
        if path.stat().st_size > MAX_LINES_BYTES:
            raise CaseError(
                tr("the outcomes file is too large"),
                where=str(path),
                do=tr("Split it over a folder"),
            )
        return path.read_text(encoding="utf-8-sig").splitlines()
    except FileNotFoundError as error:
        raise CaseError(
            tr("there is no such outcomes file"), where=str(path), do=tr("Check the file name")
        ) from error
    except UnicodeDecodeError as error:
        raise CaseError(
            tr("the outcomes file is not text in UTF-8"),
            where=str(path),
            do=tr("Save it in UTF-8"),
        ) from error
    except OSError as error:
        raise CaseError(
            tr("the outcomes file cannot be opened ({reason})", reason=reason_of(error)),
            where=str(path),
            do=tr("Check that you may read it"),
        ) from error


def _order(data: Any, path: Path, where: str, name: str, ratios: Ratios) -> FinishedOrder:
    found = data.get("format") if isinstance(data, dict) else None
    if found != FORMAT:
        raise CaseError(
            format_in_words(found, given=bool(found)),
            where=where,
            do=tr('Write "format": "{name}", "outcome" and "report" or "case"', name=FORMAT),
        )
    error = complaint(data, "outcome")
    if error is not None:
        place = path_in_words(error.absolute_path)
        raise CaseError(
            tr(
                "this is not as the published outcome schema has it ({reason})",
                reason=error.message[:80],
            ),
            where=f"{where}, {place}" if place else where,
            do=tr(
                'Give "outcome" as fitted, accepted, returned or unknown, and a "report" or '
                'a "case"'
            ),
        )
    report = _report(data, path.parent, where)
    made_with = SHIPPED
    if report.ratios_version != SHIPPED.version:
        version = ratios.find(report.ratios_version)
        if version is None:
            raise CaseError(
                tr(
                    "the report was made with ratios {version}, which are not in the ratios file",
                    version=report.ratios_version,
                ),
                where=where,
                do=tr("Name the ratios file it was made with, or check the case again without"),
            )
        made_with = Ratios(version.version, ratios.versions).for_dog(report.case.dog)
    return order_from_report(
        report,
        data["outcome"],
        made_with,
        name=data.get("name") or report.case.name or name,
        where=where,
    )


def _report(data: dict[str, Any], folder: Path, where: str) -> Report:
    if "report" in data:
        given = data["report"]
        if isinstance(given, str):
            return read_report(folder / given)
        return report_from_dict(given, where=f"{where}, report")
    from photocheck.checking import check

    given = data["case"]
    if isinstance(given, str):
        return check(read_case(folder / given))
    return check(case_from_dict(given, folder, where=f"{where}, case"))
