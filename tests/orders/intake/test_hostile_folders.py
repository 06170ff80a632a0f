"""Folders that a stranger has packed: pipes, devices and files without an end among the rest."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from photocheck.errors import CaseError, PhotoError
from photocheck.files import read_at_most, read_inside
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


@pytest.fixture
def deep(tmp_path: Path) -> Iterator[Path]:
    """Folders in one another, more than Python's calls may be, with a photo and a case at the
    bottom; taken apart from above, for `shutil.rmtree` does not bear them either."""
    here = os.open(tmp_path, os.O_RDONLY)
    for _ in range(1200):
        os.mkdir("a", dir_fd=here)
        below = os.open("a", os.O_RDONLY, dir_fd=here)
        os.close(here)
        here = below
    for name, content in (("case.json", json.dumps(sorrel()).encode()), ("side.jpg", b"photo")):
        with os.fdopen(os.open(name, os.O_CREAT | os.O_WRONLY, dir_fd=here), "wb") as file:
            file.write(content)
    os.close(here)
    yield tmp_path
    top = tmp_path / "a"
    while (top / "a").exists():
        (top / "a").rename(tmp_path / "b")
        top.rmdir()
        (tmp_path / "b").rename(top)


def test_folders_that_lie_deep_in_one_another_are_looked_through(deep: Path) -> None:
    (one,), _ = find_cases([deep])
    assert one.file.parent.name == "a"
    (name,) = photo_folder.photo_folder(deep).files
    assert name == "a/" * 1200 + "side.jpg"


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


def names_and_photos(folder: Path) -> dict[str, bytes]:
    found = photo_folder.photo_folder(folder)
    return {name: found.read(name) for name in found.files}


def test_no_link_leads_out_of_the_folder_of_photos(tmp_path: Path) -> None:
    """Whoever may write there could have any photo of the workshop's brought into an order."""
    theirs, ours = tmp_path / "theirs", tmp_path / "ours"
    (theirs / "below").mkdir(parents=True)
    ours.mkdir()
    (ours / "secret.jpg").write_bytes(b"secret")
    (theirs / "plain.jpg").write_bytes(b"plain")
    (theirs / "below" / "deep.jpg").write_bytes(b"deep")
    (theirs / "again.jpg").symlink_to("plain.jpg")
    (theirs / "below" / "up.jpg").symlink_to("../plain.jpg")
    (theirs / "out.jpg").symlink_to(ours / "secret.jpg")
    (theirs / "below" / "out.jpg").symlink_to("../../ours/secret.jpg")
    (theirs / "folder").symlink_to(ours)
    assert names_and_photos(theirs) == {
        **{"plain.jpg": b"plain", "again.jpg": b"plain"},
        **{"below/deep.jpg": b"deep", "below/up.jpg": b"plain"},
    }
    assert photo_folder.photo_folder(theirs).outside == ("below/out.jpg", "out.jpg")
    (tmp_path / "by a link").symlink_to(theirs)  # which the workshop itself has named
    assert names_and_photos(tmp_path / "by a link") == names_and_photos(theirs)


def test_nor_one_that_is_put_there_between_looking_and_reading(tmp_path: Path) -> None:
    theirs = tmp_path / "theirs"
    (theirs / "below").mkdir(parents=True)
    (tmp_path / "secret.jpg").write_bytes(b"secret")
    for name in ("a.jpg", "b.jpg", "below/c.jpg"):
        (theirs / name).write_bytes(b"plain")
    found = photo_folder.photo_folder(theirs)
    (theirs / "a.jpg").unlink()
    (theirs / "a.jpg").symlink_to(tmp_path / "secret.jpg")
    (theirs / "b.jpg").unlink()
    os.mkfifo(theirs / "b.jpg")
    (theirs / "below").rename(tmp_path / "gone")
    (theirs / "below").symlink_to(tmp_path / "gone")
    for name, said in (("a.jpg", "out of"), ("b.jpg", "no file"), ("below/c.jpg", "out of")):
        with pytest.raises(CaseError, match=said):
            found.read(name)


@pytest.mark.parametrize("last", [True, False])
def test_nor_while_it_is_opened(
    tmp_path: Path, last: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A link that comes after all was looked at: `resolve` says what was there before."""
    theirs = tmp_path / "theirs"
    (theirs / "below").mkdir(parents=True)
    (tmp_path / "away").mkdir()
    for folder in (theirs / "below", tmp_path / "away"):
        (folder / "a.jpg").write_bytes(folder.name.encode())
    before = (theirs / "below" / "a.jpg").resolve()
    inside = theirs.resolve()
    if last:
        (theirs / "below" / "a.jpg").unlink()
        (theirs / "below" / "a.jpg").symlink_to(tmp_path / "away" / "a.jpg")
    else:
        (theirs / "below").rename(tmp_path / "gone")
        (theirs / "below").symlink_to(tmp_path / "away")
    resolved = {theirs: inside, inside / "below/a.jpg": before}
    monkeypatch.setattr(Path, "resolve", lambda self: resolved[self])
    with pytest.raises(OSError, match=r"symbolic links|Not a directory"):
        read_inside(theirs, "below/a.jpg", 100)
