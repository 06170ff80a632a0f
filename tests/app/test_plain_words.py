"""What owners and learners read holds no raw key, no probability and no word of statistics."""

from __future__ import annotations

import ast
import re
from pathlib import Path
from typing import Final

import pytest

from photocheck.speech import speaking, tr
from tests.support.places import APP, ROOT
from tests.support.plain_words import not_plain

SCREENS: Final = (
    *sorted((APP / "owner").glob("*.py")),
    *sorted((APP / "practise").glob("*.py")),
    *sorted((APP / "marking").glob("*.py")),
    *sorted((ROOT / "photocheck" / "practice").glob("*.py")),
    ROOT / "photocheck" / "judge" / "marks_told.py",
)
"""Where what these screens say is written; what the maker reads is elsewhere."""


def said_in(path: Path) -> set[str]:
    """Every text that a module says, but for the parts that are filled in."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        match node:
            case ast.Call(ast.Name("tr" | "later" | "tr_n"), [*said]):
                texts = [each.value for each in said if isinstance(each, ast.Constant)]
                found |= {text for text in texts if isinstance(text, str)}
    return found


@pytest.mark.parametrize("spoken", ["en", "de"])
@pytest.mark.parametrize("path", SCREENS, ids=lambda path: f"{path.parent.name}/{path.name}")
def test_screens_speak_plainly(path: Path, spoken: str) -> None:
    with speaking(spoken):
        texts = {re.sub(r"\{[^}]*\}|:material/\w+:", "", tr(text)) for text in said_in(path)}
    assert [text for text in texts if not_plain(text)] == []


def test_what_is_looked_for_is_found() -> None:
    assert not_plain("give it as spread_mm")
    assert not_plain("with a probability of 4 %")
    assert not_plain("die Wahrscheinlichkeit dafür")
    assert not not_plain("Breastbone: 4.2 cm too far back")
    assert sum(len(said_in(path)) for path in SCREENS) > 150
