"""What is held still: reports of `cases`, and orders that each version of the store kept.

``python -m tests.golden.held`` writes the reports anew, after a change that was meant to move
them; the closing note of that change says which, and why.
"""

from __future__ import annotations

import json
import math
import shutil
import tempfile
from contextlib import closing
from dataclasses import asdict, replace
from functools import cache
from pathlib import Path
from typing import Any

from photocheck.case.file import case_from_dict
from photocheck.case.model import Case
from photocheck.checking import check
from photocheck.judge.ratios import read_ratios
from photocheck.orders.export import orders_csv, orders_json
from photocheck.orders.store import DatabaseStore, open_store
from photocheck.report.file import report_to_dict
from photocheck.report.model import Report
from photocheck.shown.plain import plain_report
from photocheck.speech import speaking
from tests.golden import cases, steps, steps_learnt, steps_parts, steps_refused, steps_told
from tests.support.checked_samples import checked

FOLDER = Path(__file__).parent
REPORTS = FOLDER / "reports"
ON_THE_WAY = FOLDER / "steps"
STORES = FOLDER / "stores"

STORE_VERSIONS = ("0001", "0002", "0003", "0004", "0005", "0006", "0007", "0008", "0009")
"""Each store was written by the photocheck that first had this version of the tables."""

STEPS = {
    **steps.STEPS,
    **steps_told.STEPS,
    **steps_parts.STEPS,
    **steps_learnt.STEPS,
    **steps_refused.STEPS,
}
"""Every step that is held, by name."""

MOVE_WITH_OPENCV = (
    *("cards", "discs", "outlined", "sheets", "silhouettes", "weighed", "places_found"),
    *("rounds_found", "tags_searched", "tag_places", "tag_prints", "previews", "detectors"),
    "outline_parts",
    "small_outline",
    "outlines_fitted",
)
"""Steps whose every candidate hangs on how OpenCV fills areas and follows edges."""

MOVE_WITH_PROCESSOR = ("cards", "outline_shapes", "silhouettes", "weighed")
"""Steps in which a last digit, which kernels of the linear algebra beneath round otherwise, decides
which points count, and so moves a figure by 3e-4 and more.  No held report moves by it."""

SAME_MACHINE = 1e-9
"""Relative, where the same libraries take the same ways through the same processor."""
OTHER_MACHINE = 1e-5
"""Relative, elsewhere: other kernels add in another order."""


def case_of(name: str) -> Case:
    """A held case, its photos named by where they lie."""
    samples = cases.samples()
    sample, told = (name, samples[name]) if name in samples else cases.odd_cases()[name]
    return case_from_dict(told, cases.SAMPLES / sample, where=name)


def names() -> list[str]:
    """Every held case and language, ``"flint-de"``."""
    every = [*cases.samples(), *cases.odd_cases()]
    return [f"{name}-en" for name in every] + [f"{n}-{c}" for n, c in cases.LANGUAGES.items()]


def answer(case: str) -> dict[str, Any]:
    """The report of a held case as its JSON, and as plain text; without what a version changes."""
    name, _, language = case.rpartition("-")
    ratios = read_ratios(FOLDER / "ratios.json") if name == "learnt_ratios" else None
    with speaking(language):
        as_shipped = language == "en" and name in cases.samples()
        report = _as_in_samples(
            checked(name) if as_shipped else check(case_of(name), ratios=ratios)
        )
        told = report_to_dict(report)
        plain = plain_report(report)
    del told["version"]
    # that these sentences are those of a check in that language is held by tests/report
    del told["language"], told["in_other_languages"]
    text = json.dumps({"report": told, "plain": plain}, ensure_ascii=False)
    held: dict[str, Any] = json.loads(text)
    return held


def _as_in_samples(report: Report) -> Report:
    """Photos named from the samples' folder on: where the checkout lies breaks no line."""

    def within(path: str) -> str:
        return Path(path).relative_to(cases.SAMPLES).as_posix()

    entries = tuple(replace(entry, path=within(entry.path)) for entry in report.case.photos)
    photos = tuple(replace(photo, path=within(photo.path)) for photo in report.photos)
    outliers = tuple(text.replace(f"{cases.SAMPLES}/", "") for text in report.outliers)
    return replace(
        report, photos=photos, case=replace(report.case, photos=entries), outliers=outliers
    )


@cache
def kernel() -> dict[str, str]:
    """What decides the last digits: libraries, and which of their ways this processor takes."""
    import cv2
    import numpy
    import PIL
    import scipy.linalg  # loads its own OpenBLAS, which is then listed below
    import skimage
    from threadpoolctl import threadpool_info

    libraries = {
        module.__name__: str(module.__version__) for module in (cv2, numpy, PIL, scipy, skimage)
    }
    found = threadpool_info()
    blas = {str(each.get("architecture", "")) for each in found}
    # scipy and OpenCV bring others, which older processors know by other names
    numpys = {str(each.get("architecture", "")) for each in found if "numpy" in each["filepath"]}
    return {
        **libraries,
        "blas": " ".join(sorted(blas)),
        "numpy's blas": " ".join(sorted(numpys)),
        "cv2 uses": cv2.getCPUFeaturesLine(),
    }


def opened(version: str, folder: Path) -> DatabaseStore:
    """A copy of a held store, opened and so upgraded."""
    copy = folder / "orders.sqlite3"
    shutil.copyfile(STORES / f"{version}.sqlite3", copy)
    return open_store(str(copy))


def orders(version: str, folder: Path) -> dict[str, Any]:
    """Every order of a held store: as JSON and as a table, its line on the desk, its photos."""
    with closing(opened(version, folder)) as store:
        lines = store.lines()
        whole = [store.order(line.key) for line in lines]
        told = {
            "json": json.loads(orders_json(whole)),
            "table": orders_csv(whole).splitlines(),
            "lines": [asdict(line) for line in lines],
            "keys": [order.key for order in whole],
            "photos": [
                [store.photo(order.key, photo["file"]).decode("latin-1")
                 for photo in order.draft.to_dict()["photos"]]
                for order in whole
            ],
        }  # fmt: skip
    plain: dict[str, Any] = json.loads(json.dumps(told, default=str))
    for changing in ("written", "program"):  # when, and by which version, the export was made
        del plain["json"][changing]
    return plain


def differences(
    found: Any, held: Any, *, relative: float = SAME_MACHINE, path: str = ""
) -> list[str]:
    """Where two answers differ; numbers may by `relative`, texts by nothing.

    >>> differences({"a": [1.0, "x"]}, {"a": [1.0, "y"]})
    ["/a/1: 'x', held 'y'"]
    """
    if isinstance(found, dict) and isinstance(held, dict):
        keys = [f"{path}/{key}: only one has it" for key in sorted(found.keys() ^ held.keys())]
        both = (key for key in found if key in held)
        return keys + [
            line
            for key in both
            for line in differences(found[key], held[key], relative=relative, path=f"{path}/{key}")
        ]
    if isinstance(found, list) and isinstance(held, list) and len(found) == len(held):
        return [
            line
            for i, (one, other) in enumerate(zip(found, held, strict=True))
            for line in differences(one, other, relative=relative, path=f"{path}/{i}")
        ]
    numbers = all(
        isinstance(value, (int, float)) and not isinstance(value, bool) for value in (found, held)
    )
    if numbers and math.isclose(found, held, rel_tol=relative, abs_tol=relative * 1e-3):
        return []
    return [] if found == held else [f"{path}: {found!r}, held {held!r}"]


def write() -> None:
    """Hold what is answered now."""
    REPORTS.mkdir(exist_ok=True)
    for name in names():
        text = json.dumps(answer(name), ensure_ascii=False, indent=1)
        (REPORTS / f"{name}.json").write_text(text + "\n", encoding="utf-8")
    ON_THE_WAY.mkdir(exist_ok=True)
    for name, step in STEPS.items():
        lines = (
            f"{json.dumps(key)}: {json.dumps(value, ensure_ascii=False)}"
            for key, value in steps.plain(step()).items()
        )
        text = "{\n" + ",\n".join(lines) + "\n}\n"
        (ON_THE_WAY / f"{name}.json").write_text(text, encoding="utf-8")
    for version in STORE_VERSIONS:
        with tempfile.TemporaryDirectory() as folder:
            text = json.dumps(orders(version, Path(folder)), ensure_ascii=False, indent=1)
        (STORES / f"{version}.json").write_text(text + "\n", encoding="utf-8")
    (FOLDER / "kernel.json").write_text(json.dumps(kernel(), indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    write()
