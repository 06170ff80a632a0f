"""Every text marked for translation is in every catalogue, with the same parts to fill in."""

import ast
import string

import pytest
from babel.messages.pofile import read_po

from photocheck.speech import LANGUAGES, speaking, spoken, tr
from tests.support.places import ROOT

CATALOGUES = ROOT / "photocheck" / "languages"
OTHERS = [code for code in LANGUAGES if code != "en"]


def marked() -> set[str]:
    """Every text that `tr` or `later` is given as it stands, inside f-strings too."""
    found = set()
    for folder in ("photocheck", "app"):
        for path in (ROOT / folder).rglob("*.py"):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                match node:
                    case ast.Call(ast.Name("tr" | "later"), [ast.Constant(str() as text), *_]):
                        found.add(text)
    return found


def translated(code: str) -> dict[str, str]:
    with (CATALOGUES / f"{code}.po").open("rb") as file:
        return {str(m.id): str(m.string) for m in read_po(file) if m.id}


def parts(text: str) -> set[str]:
    return {f"{name}:{spec}" for _, name, spec, _ in string.Formatter().parse(text) if name}


@pytest.mark.parametrize("code", OTHERS)
def test_every_text_is_translated_with_the_same_parts(code: str) -> None:
    catalogue = translated(code)
    wanted = marked()
    assert wanted, "nothing is marked: the extraction is broken"
    assert not sorted(wanted - catalogue.keys()), "add these to the catalogue"
    assert not sorted(catalogue.keys() - wanted), "these are no longer said"
    assert [text for text in wanted if not catalogue[text]] == []
    assert [text for text in wanted if parts(text) != parts(catalogue[text])] == []


def test_the_language_holds_only_inside_its_block() -> None:
    with speaking("de"):
        assert spoken() == "de"
        with speaking("xx"):
            assert spoken() == "en"
        assert spoken() == "de"
    assert spoken() == "en"


def test_a_text_without_translation_stays_english() -> None:
    with speaking("de"):
        assert tr("no catalogue holds this {thing}", thing="text") == "no catalogue holds this text"
