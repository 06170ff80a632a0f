"""The checks of CI see every file: what is planted in it is found."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.support.places import ROOT

pytestmark = pytest.mark.slow


@pytest.fixture
def checkout(tmp_path: Path) -> Path:
    """The code of this checkout, to be spoilt."""
    for folder in ("photocheck", "app"):
        left_out = shutil.ignore_patterns("__pycache__", "*.jpg")
        shutil.copytree(ROOT / folder, tmp_path / folder, ignore=left_out)
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    return tmp_path


def sources(checkout: Path) -> list[Path]:
    return [path for folder in ("photocheck", "app") for path in (checkout / folder).rglob("*.py")]


def ran(checkout: Path, *command: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-P", *command],
        cwd=checkout,
        env={"PYTHONPATH": f"{checkout}:{checkout / 'app'}", "PATH": ""},
        capture_output=True,
        text=True,
        check=False,
    )


def test_the_type_check_sees_every_file(checkout: Path) -> None:
    for path in sources(checkout):
        path.write_text(path.read_text(encoding="utf-8") + '\nplanted: int = "text"\n', "utf-8")
    # What they import besides is not read: it takes five times as long, and plants nothing.
    done = ran(checkout, "-m", "mypy", "--no-incremental", "--follow-imports=skip")
    seen = set(
        re.findall(r"^(\S+\.py):\d+: error: Incompatible types in assignment", done.stdout, re.M)
    )
    assert done.returncode == 1
    assert seen == {str(path.relative_to(checkout)) for path in sources(checkout)}


LINT = "from importlinter.cli import lint_imports_command as run; run(['--no-cache', '--no-logo'])"


def test_this_checkout_keeps_its_contracts(checkout: Path) -> None:
    done = ran(checkout, "-c", LINT)
    assert done.returncode == 0, done.stdout[-2000:]


@pytest.mark.parametrize(
    ("place", "planted"),
    [
        ("photocheck/photo/load.py", "import photocheck.scale.find"),
        ("photocheck/case/model.py", "import photocheck.report.model"),
        ("photocheck/errors.py", "import photocheck.words"),
        ("photocheck/judge/joint.py", "import streamlit"),
        ("photocheck/orders/model.py", "import photocheck.server.bench"),
        ("photocheck/server/bench.py", "import photocheck_app"),
        ("photocheck/shown/plain.py", "import photocheck.phantom.solid"),
        ("photocheck/phantom/solid.py", "import photocheck.judge.joint"),
        ("app/photocheck_app/shared.py", "import photocheck.benchmark"),
        ("app/photocheck_app/doors/__init__.py", "import photocheck_app.main"),
    ],
)
def test_a_forbidden_import_is_seen(checkout: Path, place: str, planted: str) -> None:
    path = checkout / place
    path.write_text(path.read_text(encoding="utf-8") + f"\n{planted}\n", encoding="utf-8")
    done = ran(checkout, "-c", LINT)
    assert done.returncode == 1
    assert "BROKEN" in done.stdout


def test_a_room_without_a_place_is_seen(checkout: Path) -> None:
    (checkout / "photocheck" / "attic").mkdir()
    (checkout / "photocheck" / "attic" / "__init__.py").write_text('"""Odds and ends."""\n')
    assert ran(checkout, "-c", LINT).returncode == 1


WEB = ("streamlit", "pandas", "starlette", "uvicorn", "photocheck_app")
MORE = (
    *("sqlalchemy", "alembic", "argon2", "reportlab", "limits", "itsdangerous", "zxcvbn"),
    *("jinja2", "pyvista", "trimesh", "photocheck.phantom", "photocheck.benchmark"),
)


@pytest.mark.parametrize(
    ("command", "barred"),
    [
        (("check", "sample_images_demo/sorrel/case.json"), (*WEB, *MORE)),
        (("locate", "sample_images_demo/bramble/side.jpg"), (*WEB, *MORE)),
        (("fit", "sample_images_demo/sorrel/case.json"), WEB),
        (("batch", "sample_images_demo/sorrel/case.json", "-o", "results.jsonl"), WEB),
    ],
)
def test_what_nobody_asked_for_is_not_loaded(
    tmp_path: Path, command: tuple[str, ...], barred: tuple[str, ...]
) -> None:
    """The commands that compute need no web app, not even installed."""
    told = [str(ROOT / each) if each.startswith("sample") else each for each in command]
    code = (
        "import sys\n"
        f"sys.modules.update(dict.fromkeys({barred!r}))\n"
        "from photocheck.cli.main import run\n"
        f"sys.exit(run({told!r}))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
