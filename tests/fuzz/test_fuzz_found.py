"""What the fuzzing found once, kept from coming back."""

from __future__ import annotations

import copy
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from photocheck.errors import CaseError
from photocheck.judge.ratios import ratios_from_dict
from tests.support.fuzz.shops import LEARNT, renamed


def changed(**what: Any) -> dict[str, Any]:
    data = copy.deepcopy(LEARNT)
    data["versions"][0].update(what)
    renamed(data)
    return data


def test_ratios_that_no_number_can_hold_are_refused_in_a_sentence() -> None:
    check = {**LEARNT["versions"][0]["check"], "gain": 10**400}
    with pytest.raises(CaseError, match="far too large"):
        ratios_from_dict(changed(check=check))


def test_ratios_that_could_not_be_written_again_are_refused() -> None:
    with pytest.raises(CaseError, match="cannot be written down"):
        ratios_from_dict(changed(learnt_from=["order \ud800"]))


@pytest.mark.slow
def test_a_cell_of_a_table_cannot_steer_the_terminal(tmp_path: Path) -> None:
    table = tmp_path / "orders.csv"
    table.write_text("order,dog,half neck,photo\n\x1b[2J1,\x1b]0;x\x07Juno,42 cm,\x1b[31mx.jpg\n")
    command = [
        sys.executable,
        "-m",
        "photocheck",
        "desk",
        "import",
        str(table),
        "--dry-run",
    ]
    done = subprocess.run(
        [*command, "--store", str(tmp_path / "orders.sqlite3")],
        capture_output=True,
        text=True,
        check=False,
    )
    assert "x.jpg" in done.stderr
    assert not any(sign in done.stdout + done.stderr for sign in "\x1b\x07")
