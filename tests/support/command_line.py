"""What the command line says of an order that a store holds."""

from __future__ import annotations

import io
import json
import subprocess
import sys
from contextlib import redirect_stdout
from pathlib import Path
from typing import Any

from photocheck.cli.main import run
from photocheck.orders.model import Store
from photocheck.words import EXIT_CODES

CHECKED = tuple(code for word, code in EXIT_CODES.items() if word != "bad_input")
"""What a check that could be made returns."""


def line_of(process: subprocess.Popen[str]) -> str:
    """The next line that a command prints."""
    assert process.stdout is not None
    return process.stdout.readline()


def written(store: Store, key: str, folder: Path) -> Path:
    """An order's draft and photos, written into a folder."""
    case = store.draft(key).to_dict()
    for photo in case["photos"]:
        (folder / photo["file"]).write_bytes(store.photo(key, photo["file"]))
    file = folder / "case.json"
    file.write_text(json.dumps(case), encoding="utf-8")
    return file


def by_command(store: Store, key: str, folder: Path) -> dict[str, Any]:
    """`by_command_line` with the command run in this process, which has imported everything."""
    said = io.StringIO()
    with redirect_stdout(said):
        code = run(["check", str(written(store, key, folder)), "--json"])
    assert code in CHECKED, said.getvalue()
    told: dict[str, Any] = json.loads(said.getvalue())
    return told


def by_command_line(store: Store, key: str, folder: Path) -> dict[str, Any]:
    """The JSON that ``photocheck check`` prints of an order's draft, written into a folder."""
    file = written(store, key, folder)
    done = subprocess.run(
        [sys.executable, "-m", "photocheck", "check", str(file), "--json"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode in CHECKED, done.stderr
    told: dict[str, Any] = json.loads(done.stdout)
    return told
