"""A folder of photos, and which of them belong to which order."""

from __future__ import annotations

import os
import re
import unicodedata
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from photocheck.errors import CaseError, reason_of
from photocheck.files import all_below, read_at_most, read_inside
from photocheck.photo.kind import MAX_BYTES, SUFFIXES
from photocheck.speech import listed, tr

_OF_CAMERAS: Final = re.compile(
    r"(?:(?:^|(?<=/))(?:img|dsc[nf]?|pxl|mvimg|_mg|imag|photo|foto|p)[ _-]?\d{4,})"
    r"|(?:19|20)\d\d[-_.]?[01]\d[-_.]?[0-3]\d",
    re.IGNORECASE,
)
"""What cameras call their files by themselves, and dates (common practice, no source): these
numbers are nobody's order."""

_SHORT: Final = 100
"""A smaller number counts only where the name begins with it: "luna-1.jpg" is Luna's first
photo, not order 1's."""

_MOST_WORDS: Final = 12


@dataclass(frozen=True)
class Matches:
    """Which photos belong to whom.

    Attributes
    ----------
    photos : mapping of line to list of str
        Names in the folder.
    problems : mapping of line to str
        Sentences.
    """

    photos: Mapping[int, list[str]]
    problems: Mapping[int, str]


Source = Path | Callable[[], bytes]
"""Where a photo's bytes come from: a file, or whatever gives them when it is asked."""


@dataclass(frozen=True)
class PhotoFolder:
    """The photos in a folder and the folders below it, or those that were handed in together.

    Attributes
    ----------
    files : mapping of name to Source
        By the path from the folder, with slashes.
    folder : Path or None
        Out of which nothing is read, whatever links are put into it.
    outside : tuple of str
        Names of what leads out of it, and was passed over.
    """

    files: Mapping[str, Source]
    folder: Path | None = None
    outside: tuple[str, ...] = ()

    def read(self, name: str) -> bytes:
        """A photo's bytes.

        Raises
        ------
        CaseError
            When its file cannot be read.
        PhotocheckError
            Whatever its source says.
        """
        source = self.files[name]
        if not isinstance(source, Path):
            return source()
        try:
            if self.folder is not None:
                return read_inside(self.folder, name, MAX_BYTES)
            return read_at_most(source, MAX_BYTES)
        except OSError as error:
            raise CaseError(
                tr("the photo cannot be opened ({reason})", reason=reason_of(error)),
                where=name,
                do=tr("Check that you may read it"),
            ) from error

    def named(self, text: str) -> list[str]:
        """The photos that a cell names: one, or several with commas or semicolons between.

        Raises
        ------
        CaseError
            When one is not there, or more than one has the name.
        """
        names = [name.strip() for name in re.split(r"[;,|\n]", text) if name.strip()]
        if len(names) < 2 or any(_plain(file) == _plain(text) for file in self.files):
            names = [text]
        return list(dict.fromkeys(self.one(name) for name in names))

    def one(self, name: str) -> str:
        """The photo of this name, with or without folders; capitals do not matter.

        Raises
        ------
        CaseError
        """
        wanted = _plain(name).strip("/")
        exact = [file for file in self.files if _plain(file) == wanted]
        last = wanted.rpartition("/")[2]
        found = exact or [f for f in self.files if _plain(f).rpartition("/")[2] == last]
        if len(found) == 1:
            return found[0]
        if found:
            raise CaseError(
                tr("the photo '{name}' may be {files}", name=name[:80], files=listed(found)),
                do=tr("Name it with its folder"),
            )
        raise CaseError(
            tr("there is no photo '{name}' in the folder", name=name[:80]),
            do=tr("Put it there or correct the name, and import again"),
        )

    def matched(self, wanted: Mapping[int, Sequence[str]], taken: set[str]) -> Matches:
        """The photos whose name holds an order's.

        What comes first in an order's names is tried first: a photo with its number beats one
        with its dog's name.  Of two names, one of which holds the other, the longer wins.

        Parameters
        ----------
        wanted : mapping of line to sequence of str
            What an order is called, its surest name first.
        taken : set of str
            Photos that belong to somebody already.
        """
        photos: dict[int, list[str]] = {}
        problems: dict[int, str] = {}
        free = {file: _words(file) for file in self.files if file not in taken}
        for level in range(max(map(len, wanted.values()), default=0)):
            lines: dict[tuple[str, ...], list[int]] = defaultdict(list)
            for line, names in wanted.items():
                if words := _words(names[level]) if level < len(names) else ():
                    lines[words].append(line)
            hits: dict[int, list[str]] = defaultdict(list)
            for file, words in free.items():
                claims = lines.get(_longest(words, lines), [])
                # Those whose photos are known have a say too: it may be one more of theirs.
                waiting = [n for n in claims if n not in photos and n not in problems]
                if len(claims) > 1:
                    for line in waiting:
                        problems[line] = tr(
                            "The photo '{file}' may belong to lines {lines}. Name it in a column "
                            "'photo'.",
                            file=file,
                            lines=listed([str(other) for other in claims]),
                        )
                elif waiting:
                    hits[waiting[0]].append(file)
            photos |= {n: sorted(files) for n, files in hits.items() if n not in problems}
            used = {file for files in hits.values() for file in files}
            free = {file: words for file, words in free.items() if file not in used}
        return Matches(photos, problems)


def photo_folder(path: str | os.PathLike[str]) -> PhotoFolder:
    """Look through a folder, and those below it.

    Who may put a link there could have any photo of whoever looks brought into an order: what
    leads out of the folder is no photo of it.

    Raises
    ------
    CaseError
        When there is no such folder.
    """
    folder = Path(path)
    if not folder.is_dir():
        raise CaseError(
            tr("there is no such folder of photos"), where=str(path), do=tr("Check its name")
        )
    found = (
        file
        for file in all_below(folder)
        if file.suffix.lower() in SUFFIXES and not file.name.startswith(".") and file.is_file()
    )
    inside = folder.resolve()
    files, outside = {}, []
    for file in found:
        name = file.relative_to(folder).as_posix()
        if file.resolve().is_relative_to(inside):
            files[name] = file
        else:
            outside.append(name)
    return PhotoFolder(files, folder, tuple(outside))


def _plain(name: str) -> str:
    return unicodedata.normalize("NFC", name.replace("\\", "/")).casefold()


def _words(name: str) -> tuple[str, ...]:
    """The words and numbers of a name, without its suffix and what a camera calls it."""
    suffix = Path(name).suffix
    stem = name.removesuffix(suffix) if suffix.lower() in SUFFIXES else name
    plain = unicodedata.normalize("NFKC", _OF_CAMERAS.sub(" ", stem)).casefold()
    for umlaut, letters in (("ä", "ae"), ("ö", "oe"), ("ü", "ue")):
        plain = plain.replace(umlaut, letters)
    found = re.findall(r"[^\W\d_]+|\d+", plain)[:_MOST_WORDS]
    return tuple(word.lstrip("0") or "0" if word.isdecimal() else word for word in found)


def _longest(words: tuple[str, ...], lines: Mapping[tuple[str, ...], list[int]]) -> tuple[str, ...]:
    """The longest run of words that is somebody's name; empty when none is."""
    for length in range(len(words), 0, -1):
        for start in range(len(words) - length + 1):
            run = words[start : start + length]
            short = length == 1 and run[0].isdecimal() and int(run[0]) < _SHORT
            if run in lines and not (short and start):
                return run
    return ()
