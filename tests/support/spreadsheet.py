"""LibreOffice, for what it makes of our files; in CI its absence is a failure."""

from __future__ import annotations

import csv
import os
import shutil
import subprocess
from pathlib import Path

import pytest

COMMA, SEMICOLON, TAB = 44, 59, 9
UTF8 = 76


def office() -> str:
    """Where LibreOffice is; without it the test is skipped, and fails in CI."""
    where = shutil.which("soffice")
    if where is None:
        said = "LibreOffice is not installed: apt-get install libreoffice-calc-nogui"
        if os.environ.get("CI"):
            pytest.fail(said)
        pytest.skip(said)
    return where


def read_by_office(file: Path, *, separator: int = COMMA) -> list[list[str]]:
    """A table as LibreOffice reads it: each cell's value, numbers in full.

    Parameters
    ----------
    file : Path
        CSV in UTF-8, or XLSX.
    separator : int
        What parts the cells of a CSV file, as its code.
    """
    where, goal = office(), file.parent / f"{file.name}.read"
    goal.mkdir()
    # The tokens of the CSV filter are in LibreOffice's help, "Filter Options for CSV Import and
    # Export": separator, quotes, letters, first line, columns, language, quote all, detect
    # numbers, as shown, formulas; here the values and never what is shown.
    options = [f"--infilter=CSV:{separator},34,{UTF8},1,,1033,false,true"]
    command = [
        where,
        f"-env:UserInstallation={(file.parent / 'office').as_uri()}",
        "--headless",
        *(options if file.suffix == ".csv" else []),
        "--convert-to",
        f"csv:Text - txt - csv (StarCalc):44,34,{UTF8},1,,1033,false,true,false,true",
        "--outdir",
        str(goal),
        str(file),
    ]
    done = subprocess.run(command, capture_output=True, text=True, timeout=180, check=False)
    made = list(goal.glob("*.csv"))
    assert len(made) == 1, done.stdout + done.stderr
    with made[0].open(encoding="utf-8-sig", newline="") as text:
        return list(csv.reader(text))
