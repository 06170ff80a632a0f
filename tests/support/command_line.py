"""What the command line says of an order that a store holds."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

from photocheck.orders.model import Store


def by_command_line(store: Store, key: str, folder: Path) -> dict[str, Any]:
    """The JSON that ``photocheck check`` prints of an order's draft, written into a folder."""
    case = store.draft(key).to_dict()
    for photo in case["photos"]:
        (folder / photo["file"]).write_bytes(store.photo(key, photo["file"]))
    (folder / "case.json").write_text(json.dumps(case), encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "photocheck", "check", str(folder / "case.json"), "--json"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode in (0, 10, 11, 12), done.stderr
    return json.loads(done.stdout)
