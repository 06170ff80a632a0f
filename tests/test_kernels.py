"""The same answer on every kernel of the linear algebra beneath, and with any number of threads."""

from __future__ import annotations

import json
import math
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from functools import cache
from typing import Any

import pytest

from tests.support.places import SAMPLES

pytestmark = pytest.mark.slow

KERNELS = ("Prescott", "Sandybridge", "Haswell", "Zen", "SkylakeX")
"""Of OpenBLAS, as OPENBLAS_CORETYPE takes them (OpenBLAS, README, "Setting the target
architecture"); of one that this processor lacks some builds take another, and some end at its first
instruction."""

_SOLVES = "import numpy as np; a = np.eye(64) + np.ones((64, 64)); np.linalg.svd(a @ a)"

CLOSE = 1e-5
"""What `photocheck.server.run.recompute` promises of figures: relative, and absolute near 0."""


@cache
def kernels_here() -> tuple[str, ...]:
    """Those with which NumPy alone works on this machine."""

    def works(kernel: str) -> bool:
        environment = {**os.environ, "OPENBLAS_CORETYPE": kernel}
        command = [sys.executable, "-c", _SOLVES]
        code = subprocess.run(command, env=environment, check=False).returncode
        assert code in (0, -signal.SIGILL), kernel
        return code == 0

    return tuple(kernel for kernel in KERNELS if works(kernel))


def answer(sample: str, kernel: str, threads: int) -> Any:
    told = {"OPENBLAS_CORETYPE": kernel, "OPENBLAS_NUM_THREADS": str(threads)}
    command = [sys.executable, "-m", "photocheck", "check", str(SAMPLES / sample / "case.json")]
    done = subprocess.run(
        [*command, "--json"],
        env={**os.environ, **told},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.stdout, done.stderr
    return json.loads(done.stdout)


def apart(one: Any, other: Any, at: str = "") -> Iterator[str]:
    """Where two answers differ by more than is promised: words not at all."""
    if isinstance(one, dict) and isinstance(other, dict):
        if one.keys() != other.keys():
            yield at
        for name in one.keys() & other.keys():
            yield from apart(one[name], other[name], f"{at}/{name}")
    elif isinstance(one, list) and isinstance(other, list):
        if len(one) != len(other):
            yield at
        for number, pair in enumerate(zip(one, other, strict=False)):
            yield from apart(*pair, f"{at}/{number}")
    elif isinstance(one, float) and isinstance(other, float):
        if not math.isclose(one, other, rel_tol=CLOSE, abs_tol=CLOSE):
            yield f"{at}: {one} {other}"
    elif one != other:
        yield f"{at}: {one!r} {other!r}"


@pytest.mark.parametrize("sample", ["flint", "sorrel"])
def test_every_kernel_and_any_number_of_threads_gives_the_same_answer(
    sample: str, thorough: bool
) -> None:
    oldest, *others = kernels_here()
    assert len(others) >= 2, "too few to compare"
    first = answer(sample, oldest, 1)
    for kernel in others:
        for threads in (1, 2, 4) if thorough else (2,):
            found = list(apart(first, answer(sample, kernel, threads)))
            assert found == [], (kernel, threads)
