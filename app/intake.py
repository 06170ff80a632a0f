"""From files in memory to a case and its loaded photos."""

from __future__ import annotations

import tempfile
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from photocheck.case import Case
from photocheck.casefile import case_from_dict, read_json
from photocheck.checking import validate
from photocheck.errors import CaseError
from photocheck.photo.load import load_photo
from photocheck.photo.photo import Photo

SAMPLES = Path(__file__).resolve().parents[1] / "sample_images_demo"

File = tuple[str, bytes]
"""A name and what is in it."""


@dataclass(frozen=True)
class TakenIn:
    """What `photocheck.check` needs, and what was handed in for nothing.

    Attributes
    ----------
    case : Case
    photos : dict of path to Photo
        One for every path the case names.
    unused : tuple of str
        Names of photos the case does not name.
    """

    case: Case
    photos: dict[str, Photo]
    unused: tuple[str, ...]


def sample_names() -> list[str]:
    """The sample cases at hand; none when their folder is missing."""
    return sorted(path.name for path in SAMPLES.glob("*") if path.is_dir())


def sample_files(name: str) -> tuple[File, list[File]]:
    """A sample's case file and photos, as if they had been uploaded.

    Raises
    ------
    CaseError
        When a file of the sample cannot be read.
    """
    folder = SAMPLES / name
    try:
        case_file = ("case.json", (folder / "case.json").read_bytes())
        return case_file, [(p.name, p.read_bytes()) for p in sorted(folder.glob("*.jpg"))]
    except OSError as error:
        raise CaseError(
            "this sample is not complete", where=name, do="Choose another sample"
        ) from error


def take_in(case_file: File, photos: Sequence[File]) -> TakenIn:
    """A case file and its photos, made ready for `photocheck.check`.

    Photos are told apart by name alone, for a browser does not say in which folder a file
    lay; small and capital letters count as the same.  No photo is written to disk, and no
    photo is read from it, whatever path the case names.

    Raises
    ------
    CaseError
        When the case file cannot be used, or its photos are not all there.
    PhotoError
        When a photo cannot be read.
    """
    where, content = case_file
    case = case_from_dict(_parsed(where, content), where=where, check_files=False)
    # Before the photos: loading them takes long, and a case may name any number.
    validate(case)
    given = _by_name([name for name, _ in photos], "uploaded photos", "here and in the case file")
    named = _by_name({p.path for p in case.photos}, "photos of the case", "and upload it again")
    missing = [path for name, path in named.items() if name not in given]
    if missing:
        raise CaseError(
            f"the photo '{missing[0]}' was not uploaded",
            where=where,
            do="Add it, under the name the case file gives it",
        )
    contents = dict(photos)
    loaded = {
        p.path: load_photo(contents[given[_key(p.path)]], focal_35mm=p.focal_35mm, name=p.path)
        for p in case.photos
    }
    return TakenIn(case, loaded, tuple(name for key, name in given.items() if key not in named))


def _parsed(name: str, content: bytes) -> Any:
    # photocheck reads JSON from a file; going through one keeps its strictness and sentences.
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "case.json"
        path.write_bytes(content)
        try:
            return read_json(path)
        except CaseError as error:
            raise CaseError(error.wrong, where=name, do=error.do) from error


def _by_name(names: Sequence[str] | set[str], what: str, rename: str) -> dict[str, str]:
    found: dict[str, str] = {}
    for name in sorted(names):
        if _key(name) in found:
            raise CaseError(
                f"two {what} share the name '{_base(name)}'", do=f"Rename one of them, {rename}"
            )
        found[_key(name)] = name
    return found


def _base(path: str) -> str:
    # A case file written on another system may part folders with backslashes.
    return path.replace("\\", "/").rpartition("/")[2]


def _key(path: str) -> str:
    # The same letters are stored in different ways on different systems.
    return unicodedata.normalize("NFC", _base(path)).casefold()
