"""photocheck: does what the tape says agree with what the photo shows?

The whole job is one call, `photocheck.check(case) -> Report`.  Submodules are
imported on first use, so that ``photocheck --help`` stays quick.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from photocheck.version import __version__

_LAZY = {
    "check": "photocheck.checking",
    "Case": "photocheck.case.model",
    "DogFacts": "photocheck.case.model",
    "Marking": "photocheck.case.model",
    "PhotoEntry": "photocheck.case.model",
    "Reading": "photocheck.case.model",
    "Reference": "photocheck.case.model",
    "Report": "photocheck.report.model",
    "PhotocheckError": "photocheck.errors",
    "read_case": "photocheck.case.file",
}

__all__ = [
    "Case",
    "DogFacts",
    "Marking",
    "PhotoEntry",
    "PhotocheckError",
    "Reading",
    "Reference",
    "Report",
    "__version__",
    "check",
    "read_case",
]

if TYPE_CHECKING:
    from photocheck.case.file import read_case
    from photocheck.case.model import Case, DogFacts, Marking, PhotoEntry, Reading, Reference
    from photocheck.checking import check
    from photocheck.errors import PhotocheckError
    from photocheck.report.model import Report


def __getattr__(name: str) -> Any:
    if name not in _LAZY:
        raise AttributeError(f"module 'photocheck' has no attribute {name!r}")
    return getattr(import_module(_LAZY[name]), name)
