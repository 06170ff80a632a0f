"""What computed an answer is known from the answer, also when nobody thought of a new version."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

import photocheck
from photocheck.orders.intake.bring_in import bring_in
from photocheck.orders.store import open_store
from photocheck.server.run import run_check
from photocheck.version import COMPUTES, fingerprint_of, program
from tests.support.places import ROOT, SAMPLES

PACKAGE = Path(photocheck.__file__).parent


@pytest.fixture
def copied(tmp_path: Path) -> Path:
    """The package's own files, to be changed."""
    target = tmp_path / "changed" / "photocheck"
    shutil.copytree(PACKAGE, target, ignore=shutil.ignore_patterns("__pycache__", "photos"))
    return target


def test_a_copy_has_the_same_fingerprint(copied: Path) -> None:
    assert fingerprint_of(copied) == fingerprint_of(PACKAGE)
    assert re.fullmatch(rf"{re.escape(photocheck.__version__)}\+[0-9a-f]{{12}}", program())


@pytest.mark.parametrize("name", COMPUTES)
def test_every_part_that_computes_counts(copied: Path, name: str) -> None:
    place = copied / name
    source = place if place.is_file() else sorted(place.glob("*.py"))[-1]
    source.write_bytes(source.read_bytes() + b"\n# another way to compute\n")
    assert fingerprint_of(copied) != fingerprint_of(PACKAGE)


def test_a_new_module_counts_and_the_commands_and_line_ends_do_not(copied: Path) -> None:
    for path in copied.rglob("*.py"):
        path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    (copied / "cli" / "main.py").write_text("")
    assert fingerprint_of(copied) == fingerprint_of(PACKAGE)
    (copied / "judge" / "new.py").write_text("")
    assert fingerprint_of(copied) != fingerprint_of(PACKAGE)


def test_a_fingerprint_of_nothing_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        fingerprint_of(tmp_path)


@pytest.mark.slow
def test_every_room_that_an_answer_passes_counts() -> None:
    """Whatever `check` loads of photocheck computes the answer, but for a few named modules."""
    code = (
        "import sys, photocheck\n"
        f"photocheck.check(photocheck.read_case({str(SAMPLES / 'sorrel/case.json')!r}))\n"
        "print(*(m.__file__ for n, m in sys.modules.items() if n.startswith('photocheck')))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT
    )
    loaded = {Path(each).relative_to(PACKAGE).parts[0] for each in done.stdout.split()}
    says = {"__init__.py", "errors.py", "files.py", "speech.py", "version.py", "report", "schemas"}
    says |= {"scipy_parts.py"}
    assert loaded - says <= set(COMPUTES), "these decide an answer too"
    assert set(COMPUTES) - {"locating.py"} <= loaded, "these decide no answer"


@pytest.mark.slow
def test_waiting_orders_are_checked_anew_when_a_constant_moved(
    copied: Path, tmp_path: Path
) -> None:
    address = str(tmp_path / "orders.sqlite3")
    with closing(open_store(address)) as store:
        folder = SAMPLES / "sorrel"
        case = ("sorrel", (folder / "case.json").read_bytes())
        photos = [("side.jpg", (folder / "side.jpg").read_bytes())]
        key = bring_in(store, case, photos, language="en").key
        before = run_check(store, key, by="owner")
    assert before.program == program()

    def batch(package: Path, name: str) -> dict[str, object]:
        out = tmp_path / name
        subprocess.run(
            [
                *(sys.executable, "-P", "-m", "photocheck", "batch", "--waiting"),
                *("--store", address, "-o", str(out)),
            ],
            env={**os.environ, "PYTHONPATH": str(package.parent)},
            cwd=tmp_path,
            check=True,
            capture_output=True,
        )
        told: dict[str, object] = json.loads(out.read_text().splitlines()[-1])
        return told

    shape = copied / "body" / "shape.py"
    text = shape.read_text(encoding="utf-8")
    moved = re.sub(r"(FRONT_SURPLUS: Final = Ratio\(\s*)1\.09,", r"\g<1>1.199,", text)
    assert moved != text  # a tenth longer
    shape.write_text(moved, encoding="utf-8")
    assert batch(PACKAGE, "same.jsonl")["report"] == batch(PACKAGE, "again.jsonl")["report"]
    with closing(open_store(address)) as store:
        assert len(store.order(key).checks) == 1
    batch(copied, "moved.jsonl")
    with closing(open_store(address)) as store:
        old, new = store.order(key).checks
    assert new.program == f"{photocheck.__version__}+{fingerprint_of(copied)[:12]}"
    assert new.report.spans[1].photo_mm > 1.05 * old.report.spans[1].photo_mm
    assert new.report.case == old.report.case
