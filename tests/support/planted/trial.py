"""One fault tried: which tests notice, in a copy that is nobody's work.

Tests run in the order in which they tell most for their time: quick ones that reach the line, then
the room's others and whatever else runs anything of the module, then those that hold shipped
figures and whole reports as they are, then the room's slow ones.  What a test says counts only
where it passes with nothing but a remark added to the same file; a run without an end counts only
where it has one then.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Final

from coverage import CoverageData

from tests.support.planted.faults import Fault
from tests.support.planted.reached import SECONDS_FILE

HOLDS: Final = re.compile(r"tests/golden/|tests/\S*_hold\.py")
"""Tests that compare with what was written down of the program itself."""
MOST_S: Final = 60.0
"""Of tests that reach a line; the room's other quick ones follow anyway."""
LEAST_S = 60.0
SLOW_S: Final = 1500.0
REMARK: Final = b"# nothing\n"


def mirror(place: str) -> str:
    """The folder of tests of a room, or of the room that a module lies in."""
    return "tests/" + Path(place).parts[1]


@dataclass
class Copy:
    """A clone of a commit, and which of its quick tests reach which line of its rooms.

    `kept` is where that is kept, outside of any checkout, without its suffix.
    """

    folder: Path
    kept: Path
    rooms: Sequence[str]
    _good: dict[tuple[str, ...], bool] = field(default_factory=dict)

    def collect(self) -> None:
        """Runs the quick tests under coverage, once for a commit and its rooms."""
        if self.kept.with_suffix(".json").exists():
            return
        own = dict.fromkeys(mirror(room) for room in self.rooms)
        beside = sorted(
            str(f.relative_to(self.folder)) for f in self.folder.glob("tests/test_*.py")
        )
        files = ",".join(
            f"*/{room}" if room.endswith(".py") else f"*/{room}/*" for room in self.rooms
        )
        under = ["-m", "coverage", "run", f"--data-file={self.kept}", f"--include={files}"]
        told = {SECONDS_FILE: str(self.kept.with_suffix(".json"))}
        self._pytest([*own, *beside, "tests/golden"], 3600.0, under, told)

    @cached_property
    def _seconds(self) -> dict[str, float]:
        told: dict[str, float] = json.loads(self.kept.with_suffix(".json").read_text("utf-8"))
        return told

    @cached_property
    def _reached(self) -> CoverageData:
        data = CoverageData(str(self.kept))
        data.read()
        return data

    def _by_line(self, fault: Fault) -> dict[int, list[str]]:
        path = next((f for f in self._reached.measured_files() if f.endswith("/" + fault.file)), "")
        return self._reached.contexts_by_lineno(path) if path else {}

    def reaching(self, fault: Fault) -> list[str]:
        """Tests that pass as it is and reach the fault's lines, the room's own first."""
        by_line = self._by_line(fault)
        lines = range(fault.line, fault.last_line + 1)
        names = {name for line in lines for name in by_line.get(line, ()) if name in self._seconds}
        away = mirror(fault.file) + "/"
        spent, few = 0.0, []
        for name in sorted(names, key=lambda n: (not n.startswith(away), self._seconds[n], n)):
            spent += self._seconds[name]
            if spent < MOST_S and not HOLDS.match(name):
                few.append(name)
        return few

    def stages(
        self, fault: Fault, *, quick: bool, slow: bool
    ) -> Iterator[tuple[str, list[str], float]]:
        """Kind of test, what to give to pytest, and the seconds it may take."""
        room = mirror(fault.file)
        few = self.reaching(fault)
        run = {name for names in self._by_line(fault).values() for name in names}
        may = [n for n in self._seconds if n in run or n.startswith(room + "/") or "_hold.py" in n]
        rest = [name for name in may if not HOLDS.match(name) and name not in set(few)]
        held = [name for name in may if HOLDS.match(name)]
        for kind, names in (("quick", few), ("quick", rest), ("held", held)):
            if quick and names:
                yield kind, names, LEAST_S + 5.0 * sum(self._seconds[name] for name in names)
        if slow:
            yield "slow", ["-m", "slow", room], SLOW_S

    def noticed(self, fault: Fault, *, quick: bool, slow: bool) -> tuple[str, str]:
        """The kind of test that noticed it and its name; two empty texts where none did."""
        file = self.folder / fault.file
        as_it_is = file.read_bytes()
        for kind, names, most_s in self.stages(fault, quick=quick, slow=slow):
            try:
                self._write(file, fault.planted(as_it_is))
                by = self._pytest(names, most_s)
                self._write(file, as_it_is + REMARK)
                again = [by] if "::" in by or by.endswith(".py") else names
                if by and self._good_with_a_remark(["-m", "slow or not slow", *again], most_s):
                    return kind, by
            finally:
                self._write(file, as_it_is)
        return "", ""

    def _good_with_a_remark(self, names: list[str], most_s: float) -> bool:
        key = tuple(names)
        if key not in self._good:
            self._good[key] = not self._pytest(names, most_s)
        return self._good[key]

    def _write(self, file: Path, content: bytes) -> None:
        """What was compiled of it goes: it is told from another only by its second and its size."""
        for compiled in file.parent.glob(f"__pycache__/{file.stem}.*"):
            compiled.unlink()
        file.write_bytes(content)

    def _pytest(
        self,
        names: Sequence[str],
        most_s: float,
        under: Sequence[str] = (),
        told: dict[str, str] | None = None,
    ) -> str:
        """The first test that fails, "no end" or "no answer" instead of one, or nothing."""
        shutil.rmtree(self.folder / ".hypothesis", ignore_errors=True)  # examples of other faults
        listed = self.folder.with_name("names.txt")
        listed.write_text("\n".join(names), encoding="utf-8")
        plugin = "tests.support.planted.reached" if under else "no:cacheprovider"
        how = [*under, "-m", "pytest", "--tb=no", "-rfE", "-p", plugin, f"@{listed}"]
        environment = {
            **os.environ,
            "PYTHONPATH": os.pathsep.join([str(self.folder), str(self.folder / "app")]),
            "PYTHONDONTWRITEBYTECODE": "" if under else "1",
            "OMP_NUM_THREADS": "1",
            **(told or {}),
        }
        run = subprocess.Popen(
            [sys.executable, *how, *([] if under else ["-x"])],
            cwd=self.folder,
            env=environment,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            start_new_session=True,
        )
        try:
            said, _ = run.communicate(timeout=most_s)
        except subprocess.TimeoutExpired:
            return "no end"
        finally:
            if run.poll() is None:
                os.killpg(run.pid, signal.SIGKILL)
                run.communicate()
        failed = re.search(r"^(?:FAILED|ERROR) (\S+\.py(?:::.*?)?)(?: - .*)?$", said, re.M)
        if failed:
            return failed[1]
        return "" if run.returncode in (0, 5) else "no answer"
