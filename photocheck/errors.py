"""The one kind of error a person is meant to read."""

from __future__ import annotations

import errno


class PhotocheckError(Exception):
    """Something the user can put right.

    Parameters
    ----------
    wrong : str
        What was wrong, as a sentence without its full stop.
    where : str
        The file, field or mark it concerns; may be empty.
    do : str
        What to do about it, as a sentence without its full stop; may be empty.
    """

    def __init__(self, wrong: str, *, where: str = "", do: str = "") -> None:
        self.wrong = printable(wrong)
        self.where = printable(where)
        self.do = printable(do)
        super().__init__(str(self))

    def __str__(self) -> str:
        head = f"{self.where}: {self.wrong}" if self.where else self.wrong
        return f"{head}. {self.do}." if self.do else f"{head}."


def printable(text: str) -> str:
    """A text that quotes what strangers wrote: nothing of it may steer a terminal or fail to be
    encoded.
    """
    return "".join(c if c.isprintable() else " " for c in text)


def reason_of(error: Exception) -> str:
    """Why the system refused, in its own words, to stand in a sentence."""
    return (getattr(error, "strerror", None) or str(error)).lower()


def disk_is_full(error: BaseException) -> bool:
    """Whether that is why the system or the database refused."""
    full = getattr(error, "errno", None) in (errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC))
    # What SQLite says (SQLITE_FULL), and PostgreSQL (53100, disk_full).
    said = str(getattr(error, "orig", error))
    return full or "disk is full" in said or "No space left on device" in said


class CaseError(PhotocheckError):
    """The case file, a flag or a reading cannot be used as it stands."""


class PhotoError(PhotocheckError):
    """The photo cannot be read or is outside the limits."""


class DecodingFailedError(PhotoError):
    """The program failed at a photo, which is not to blame; another photo would not help."""


class ScaleError(PhotocheckError):
    """No usable reference object could be found or fitted in the photo."""
