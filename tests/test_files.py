"""Files appear whole, with the rights that the user's umask leaves; nothing else is disturbed."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from photocheck.errors import PhotocheckError
from photocheck.files import replacing
from tests.support.places import ROOT


def test_the_umask_of_the_process_is_never_touched(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It belongs to all threads: 1 of 120,675 files once came out open to others."""
    monkeypatch.setattr(os, "umask", lambda _: pytest.fail("the umask was set"))
    with replacing(tmp_path / "out.txt") as file:
        file.write(b"whole")
    assert (tmp_path / "out.txt").read_bytes() == b"whole"


@pytest.mark.skipif(os.name != "posix", reason="rights are POSIX's")
@pytest.mark.parametrize("umask", [0o077, 0o022, 0o002, 0o027])
def test_a_file_has_the_rights_that_the_umask_leaves(tmp_path: Path, umask: int) -> None:
    code = (
        "import os, sys\n"
        "from photocheck.files import replacing\n"
        f"os.umask({umask})\n"
        "with replacing(sys.argv[1]) as file:\n"
        "    file.write(b'x')\n"
        "    print(os.fstat(file.fileno()).st_mode & 0o777)\n"
    )
    path = tmp_path / "out.txt"
    done = subprocess.run(
        [sys.executable, "-c", code, str(path)],
        cwd=ROOT, check=True, capture_output=True, text=True,
    )  # fmt: skip
    assert path.stat().st_mode & 0o777 == 0o666 & ~umask
    assert int(done.stdout) == 0o666 & ~umask  # nor was it open to more while it was written


def test_nothing_is_left_of_what_failed(tmp_path: Path) -> None:
    target = tmp_path / "out.txt"
    target.write_bytes(b"old")
    with pytest.raises(ZeroDivisionError), replacing(target) as file:
        file.write(b"new" * (1 // 0))
    assert [path.name for path in tmp_path.iterdir()] == ["out.txt"]
    assert target.read_bytes() == b"old"
    with pytest.raises(PhotocheckError, match="cannot be written"), replacing(tmp_path / "no/x"):
        pass
