"""The invented sample cases, found in a checkout and in an installed package alike."""

from __future__ import annotations

import json
from pathlib import Path

from photocheck.case.file import read_case
from photocheck.case.model import Case
from photocheck.errors import CaseError
from photocheck.speech import tr

_PACKAGE = Path(__file__).parents[1]
_NAME = "sample_images_demo"


def samples_folder() -> Path:
    """Where the samples lie: under the package in a wheel, beside it in a checkout."""
    installed = _PACKAGE / _NAME
    return installed if installed.is_dir() else _PACKAGE.parent / _NAME


def sample_names() -> list[str]:
    """The samples at hand, by name; none when their folder is missing."""
    return sorted(path.parent.name for path in samples_folder().glob("*/case.json"))


def sample_case(name: str) -> Case:
    """A sample as `photocheck.read_case` gives it, its photos named by their full path.

    Raises
    ------
    CaseError
        When a file of the sample is missing or cannot be read.
    """
    return read_case(samples_folder() / name / "case.json")


def sample_story(name: str) -> str:
    """What a sample shows, in one English sentence.

    Raises
    ------
    CaseError
        When the file that tells it is missing.
    """
    path = samples_folder() / name / "truth.json"
    try:
        return str(json.loads(path.read_text(encoding="utf-8"))["story"])
    except (OSError, ValueError, KeyError) as error:
        raise CaseError(
            tr("this sample is not complete"), where=name, do=tr("Install photocheck again")
        ) from error
