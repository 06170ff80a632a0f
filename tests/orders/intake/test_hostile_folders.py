"""Folders that a stranger has packed: pipes, devices and files without an end among the rest."""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path

import pytest

from photocheck.errors import CaseError, PhotoError
from photocheck.files import read_at_most
from photocheck.orders.intake import case_files, photo_folder
from photocheck.orders.intake.case_files import find_cases
from photocheck.orders.intake.photo_folder import PhotoFolder
from photocheck.orders.intake.table import table_bytes
from photocheck.photo import load
from photocheck.schemas import reading
from tests.support.programs import SORREL, sorrel

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="pipes and devices have names")

ENDLESS = Path("/dev/zero")


def test_no_more_is_read_than_may_be(tmp_path: Path) -> None:
    file = tmp_path / "file"
    file.write_bytes(b"12345")
    assert [read_at_most(file, most) for most in (3, 4, 5, 6)] == [
        *(b"1234", b"12345", b"12345", b"12345")
    ]
    assert read_at_most(ENDLESS, 1000) == bytes(1001)


def test_a_file_without_an_end_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """It says of itself that it has 0 bytes, and was read until no memory was left."""
    monkeypatch.setattr(reading, "MAX_BYTES", 1000)
    with pytest.raises(CaseError, match="too large"):
        reading.read_json(ENDLESS)
    monkeypatch.setattr(load, "MAX_BYTES", 1000)
    with pytest.raises(PhotoError, match="at most"):
        load.load_photo(ENDLESS)
    monkeypatch.setattr("photocheck.orders.intake.table.MAX_BYTES", 1000)
    assert len(table_bytes(ENDLESS)) == 1001  # which no table may have


def test_in_a_folder_nobody_waits_at_a_pipe(tmp_path: Path) -> None:
    """A pipe that nobody writes to kept `photocheck batch` for ever."""
    (tmp_path / "good.json").write_text(json.dumps(sorrel()), encoding="utf-8")
    os.mkfifo(tmp_path / "waits.json")
    (tmp_path / "endless.json").symlink_to(ENDLESS)
    (tmp_path / "folder.json").mkdir()
    (tmp_path / "round").symlink_to(tmp_path)
    found, others = find_cases([tmp_path])
    assert [one.file.name for one in found] == ["good.json"]
    names = ["endless.json", "folder.json", "waits.json"]
    assert [Path(one).name for one in others] == names


def test_of_a_photo_beside_a_case_no_more_is_read_than_one_may_have(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A file of 10 GB, which costs nobody anything to make, was read before it was refused."""
    case = tmp_path / "case.json"
    case.write_text(json.dumps(sorrel("side.jpg")), encoding="utf-8")
    (tmp_path / "side.jpg").write_bytes((SORREL / "side.jpg").read_bytes())
    for module in (case_files, photo_folder):
        monkeypatch.setattr(module, "MAX_BYTES", 100)
    (source,), _ = find_cases([case])
    ((_, content),) = source.photos(sorrel("side.jpg"))
    assert len(content) == 101
    folder = PhotoFolder({"side.jpg": tmp_path / "side.jpg"})
    assert len(folder.read("side.jpg")) == 101
