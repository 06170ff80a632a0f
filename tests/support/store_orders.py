"""Orders for the tests of the store."""

from __future__ import annotations

from dataclasses import replace

from photocheck.orders.draft import Draft
from photocheck.orders.model import Check, Store
from photocheck.report.model import Report
from tests.support.made_report import made_report

JPEG = b"\xff\xd8\xff\xe0"


def case_of(*files: str, name: str = "Juno") -> Draft:
    return Draft.from_dict({"name": name, "photos": [{"file": file} for file in files]})


def report_of(verdict: str = "measure_again", worst: float | None = None) -> Report:
    report = made_report(verdict=verdict)
    if worst is None:
        return report
    spans = tuple(replace(span, score=worst / (n + 1)) for n, span in enumerate(report.spans))
    return replace(report, spans=spans)


def checked(store: Store, *, name: str = "Juno", worst: float | None = None) -> tuple[str, Check]:
    """An order that was filled in, photographed and checked."""
    key = store.open()
    file = store.keep_photo(key, JPEG + name.encode())
    case = case_of(file, name=name)
    store.save_draft(key, case)
    return key, store.record_check(key, case, report_of(worst=worst), by="owner")
