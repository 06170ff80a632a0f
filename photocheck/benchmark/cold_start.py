"""How long a cold check takes: whole processes, over bare imports of what no check is without."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import numpy as np

from photocheck.case.samples import samples_folder
from photocheck.words import EXIT_CODES

_BARE = "import numpy, cv2, PIL.Image"
SAMPLE = "sorrel"
"""A sample with one photo, a hand-marked sheet and all four readings."""


def report(runs: int) -> str:
    """Time both in turn and lay the ratio out as Markdown."""
    case = samples_folder() / SAMPLE / "case.json"
    check = [sys.executable, "-m", "photocheck", "check", str(case)]
    bare = [sys.executable, "-c", _BARE]
    # modules must be compiled and files in memory before anything is timed
    for command in (check, bare):
        _seconds(command)
    checks, imports = [], []
    for _ in range(runs):
        imports.append(_seconds(bare))
        checks.append(_seconds(check))
    ratio = np.median(checks) / np.median(imports)
    return (
        f"`photocheck check` of the sample {SAMPLE} in a process of its own takes {ratio:.2f} "
        f"times a process that only says `{_BARE}` (medians {1000 * np.median(checks):.0f} ms and "
        f"{1000 * np.median(imports):.0f} ms of {runs} runs each, alternating; fastest "
        f"{1000 * min(checks):.0f} ms and {1000 * min(imports):.0f} ms)."
    )


def _seconds(command: list[str]) -> float:
    """How long the whole process takes, s; fails when it fails."""
    quiet = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    # this photocheck, wherever the process starts
    quiet["PYTHONPATH"] = os.pathsep.join([str(_PLACE), os.environ.get("PYTHONPATH", "")])
    start = time.perf_counter()
    done = subprocess.run(command, env=quiet, capture_output=True, check=False)
    seconds = time.perf_counter() - start
    if done.returncode in (1, EXIT_CODES["bad_input"]):
        raise RuntimeError(done.stderr.decode(errors="replace"))
    return seconds


_PLACE = Path(__file__).resolve().parents[2]
