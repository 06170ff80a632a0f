"""Which photocheck this is: its version, and a fingerprint of all that computes an answer."""

from __future__ import annotations

import hashlib
from functools import cache
from pathlib import Path
from typing import Final

__version__: Final = "0.2.0"
"""Semantic versioning (https://semver.org): what changed is told in DEVELOPERS.md, "Changes"."""

COMPUTES: Final = (
    *("photo", "scale", "body", "judge", "case"),
    *("checking.py", "looking.py", "reporting.py"),
    *("least_squares.py", "numerics.py", "special.py", "words.py"),
)
"""Rooms and modules whose code and constants decide what a check answers."""

_PACKAGE: Final = Path(__file__).parent


@cache
def program() -> str:
    """This version and what computes it: ``"0.2.0+4d21c07b9a3e"``.

    Behind the plus is the start of a SHA-256 over the source of `COMPUTES`, so that a changed
    constant is told from the one before it though nobody thought of a new version.  Versions of
    libraries are no part of it.  The form is that of a local version (PEP 440).

    >>> program().startswith(f"{__version__}+")
    True
    """
    return f"{__version__}+{fingerprint_of(_PACKAGE)[:12]}"


def fingerprint_of(package: Path) -> str:
    """SHA-256, as hexadecimal digits, over the sources in a folder that decide an answer.

    Parameters
    ----------
    package : Path
        A folder that holds what `COMPUTES` names.

    Raises
    ------
    FileNotFoundError
        When none of it is there: a fingerprint of nothing would pass for one.
    """
    sources = [path for name in COMPUTES for path in _sources(package / name)]
    if not sources:
        raise FileNotFoundError(f"no source of photocheck lies in {package}")
    digest = hashlib.sha256()
    for path in sorted(sources):
        content = path.read_bytes().replace(b"\r\n", b"\n")
        digest.update(f"{path.relative_to(package).as_posix()}\0{len(content)}\0".encode())
        digest.update(content)
    return digest.hexdigest()


def _sources(place: Path) -> list[Path]:
    return [place] if place.is_file() else list(place.rglob("*.py"))
