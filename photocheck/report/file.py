"""Reports as JSON, exactly: what is written reads back as an equal `Report`.

The format is published in ``report.schema.json``.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from functools import cache
from math import isfinite
from typing import TYPE_CHECKING, Any, Final

from photocheck.errors import CaseError
from photocheck.report.model import Report
from photocheck.schemas.complaints import complaint, format_in_words, path_in_words
from photocheck.schemas.reading import read_json
from photocheck.speech import later, tr

if TYPE_CHECKING:
    from cattrs import Converter

FORMAT: Final = "photocheck-report/1"
REPORT_FILE: Final = later("report file")


@cache
def _converter() -> Converter:
    from cattrs import Converter

    converter = Converter(forbid_extra_keys=True)
    # JSON has no infinity; float("inf") reads the text back by itself.
    converter.register_unstructure_hook(float, lambda x: float(x) if isfinite(x) else str(float(x)))
    converter.register_unstructure_hook(int, int)
    converter.register_unstructure_hook(bool, bool)  # or it would be written as a number
    return converter


def report_to_dict(report: Report) -> dict[str, Any]:
    """A report as plain dicts, lists, texts and numbers, ready for `json.dumps`.

    Infinite numbers and NaN become the texts ``"inf"``, ``"-inf"``, ``"nan"``.
    """
    return {"format": FORMAT, **_listed(_converter().unstructure(report, Report))}


def report_from_dict(data: Mapping[str, Any], *, where: str = "report") -> Report:
    """The `Report` that `report_to_dict` wrote.

    Raises
    ------
    CaseError
        When it is not such a report.
    """
    found = data.get("format") if isinstance(data, Mapping) else None
    if found != FORMAT:
        raise CaseError(
            format_in_words(found, given=bool(found)),
            where=where,
            do=tr('Give a report with "format": "{name}"', name=FORMAT),
        )
    data = _completed(data)
    error = complaint(data, "report")
    if error is not None:
        place = path_in_words(error.absolute_path)
        raise CaseError(
            tr("this is not as the published report schema has it"),
            where=f"{where}, {place}" if place else where,
            do=tr("Give the report as photocheck wrote it"),
        ) from error
    return report_as_written(data)


def _completed(data: Mapping[str, Any]) -> Mapping[str, Any]:
    """A report of an earlier version with what has been added since, as it is where not told.

    What is no report at all stays as it is, for the schema to complain of.
    """
    from cattrs import BaseValidationError

    try:
        whole = report_to_dict(report_as_written(data))
    except BaseValidationError:
        return data
    return dict(_filled(data, whole))


def _filled(told: Any, whole: Any) -> Any:
    if isinstance(told, dict) and isinstance(whole, dict):
        both = {name: _filled(value, whole.get(name)) for name, value in told.items()}
        return both | {name: value for name, value in whole.items() if name not in told}
    if isinstance(told, list) and isinstance(whole, list) and len(told) == len(whole):
        return [_filled(*pair) for pair in zip(told, whole, strict=True)]
    return told


def report_as_written(data: Mapping[str, Any]) -> Report:
    """The `Report` of what is known to come from `report_to_dict`: no schema is held against it.

    Some forty times as fast as `report_from_dict`.
    """
    body = {key: value for key, value in data.items() if key != "format"}
    return _converter().structure(body, Report)


def read_report(path: str | os.PathLike[str]) -> Report:
    """Read a report file.

    Raises
    ------
    CaseError
    """
    return report_from_dict(read_json(path, what=REPORT_FILE), where=str(path))


def report_text(report: Report) -> str:
    """A report as JSON text."""
    return json.dumps(report_to_dict(report), ensure_ascii=False, indent=2, allow_nan=False)


def _listed(value: Any) -> Any:
    """Tuples as lists, so that the dict equals its own trip through JSON."""
    if isinstance(value, dict):
        return {key: _listed(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_listed(item) for item in value]
    return value
