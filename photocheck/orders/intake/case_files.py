"""Case files: one, a list of cases in one file, or a folder of them."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from photocheck.case.file import FORMAT
from photocheck.errors import CaseError, reason_of
from photocheck.files import all_below, read_inside
from photocheck.orders.intake.photo_folder import PhotoFolder
from photocheck.photo.kind import MAX_BYTES
from photocheck.schemas.reading import read_json
from photocheck.speech import tr

_SHOWN: Final = 5


@dataclass(frozen=True)
class CaseSource:
    """Where a case stands.

    Attributes
    ----------
    file : Path
    number : int
        In a file that holds a list, from 1; 0 in a file that holds one case.
    """

    file: Path
    number: int = 0

    @property
    def title(self) -> str:
        """What to call it."""
        return f"{self.file}#{self.number}" if self.number else str(self.file)

    def read(self) -> Any:
        """The case as parsed JSON, not held against any schema yet.

        Raises
        ------
        CaseError
            When the file cannot be read or has changed since.
        """
        data = read_json(self.file)
        if self.number == 0:
            return data
        if isinstance(data, list) and self.number <= len(data):
            return data[self.number - 1]
        raise CaseError(
            tr("the file no longer holds this case"), where=self.title, do=tr("Begin again")
        )

    def photos(
        self, data: Any, more: PhotoFolder | None = None, *, only: str = ""
    ) -> list[tuple[str, bytes]]:
        """The photos a case names, read but not decoded; those that are missing are left out.

        All of them, or `only` one.

        They are looked for beside the case file and in the folders below it, then in `more`;
        nowhere else, whatever path the case names.

        Raises
        ------
        CaseError
            When one cannot be read.
        """
        folder = self.file.parent.resolve()
        found = {}
        for name in (only,) if only else photo_names(data):
            try:
                path = (folder / name).resolve()
                if path.is_relative_to(folder) and path.is_file():
                    found[name] = read_inside(folder, name, MAX_BYTES)
                elif more is not None:
                    found[name] = more.read(more.one(name))
            except CaseError:
                continue
            except (OSError, ValueError) as error:
                raise CaseError(
                    tr("the photo cannot be opened ({reason})", reason=reason_of(error)),
                    where=f"{self.title}, {name}",
                    do=tr("Check that you may read it"),
                ) from error
        return list(found.items())


def photo_names(data: Any) -> list[str]:
    """The photos that anything claiming to be a case names."""
    photos = data.get("photos") if isinstance(data, Mapping) else None
    if not isinstance(photos, Sequence):
        return []
    names = [photo.get("file") for photo in photos if isinstance(photo, Mapping)]
    return [name for name in names if isinstance(name, str) and name]


def find_cases(
    paths: Sequence[str | os.PathLike[str]],
) -> tuple[tuple[CaseSource, ...], tuple[str, ...]]:
    """All cases in files and folders.

    Parameters
    ----------
    paths : sequence of path
        Case files; files with a list of cases; folders, looked through with all below them.

    Returns
    -------
    (tuple of CaseSource, tuple of str)
        The cases, each once; files in the folders that hold something else.

    Raises
    ------
    CaseError
        When a path is not there, or not a single case is found.
    """
    found: dict[CaseSource, None] = {}
    others: list[str] = []
    for given in map(Path, paths):
        if not given.exists():
            raise CaseError(
                tr("there is no such file or folder"),
                where=str(given),
                do=tr("Check its name"),
            )
        if not given.is_dir():
            found |= dict.fromkeys(_in_file(given))
            continue
        for file in all_below(given):
            if file.suffix != ".json":
                continue
            if not file.is_file():
                # a folder; or a pipe, at which one would wait for ever
                others.append(str(file))
                continue
            sources = _in_file(file, in_folder=True)
            found |= dict.fromkeys(sources)
            if not sources:
                others.append(str(file))
    if not found:
        raise CaseError(
            tr("no case file is there"),
            where=", ".join(map(str, paths))[:200],
            do=tr('Give files with "format": "{format}", or folders of them', format=FORMAT),
        )
    return tuple(found), tuple(others)


def _in_file(file: Path, *, in_folder: bool = False) -> list[CaseSource]:
    """The cases of a file; a broken one counts, to be complained of when its turn comes."""
    try:
        data = read_json(file)
    except CaseError:
        return [CaseSource(file)]
    if isinstance(data, list):
        return [CaseSource(file, n) for n, item in enumerate(data, 1) if _is_case(item)]
    return [CaseSource(file)] if _is_case(data) or not in_folder else []


def _is_case(data: Any) -> bool:
    return isinstance(data, Mapping) and data.get("format") == FORMAT


def passed_over(others: Sequence[str]) -> tuple[str, ...]:
    """A sentence about files that hold no case, if there are any."""
    if not others:
        return ()
    return (tr("Passed over, for they hold no case: {files}.", files=some(others)),)


def some(names: Sequence[str]) -> str:
    """The first few names, and how many more there are."""
    shown = ", ".join(names[:_SHOWN])
    more = len(names) - _SHOWN
    return tr("{names} and {more} more", names=shown, more=more) if more > 0 else shown
