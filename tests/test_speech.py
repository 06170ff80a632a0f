"""Every text a person can meet is looked up, and is in every catalogue with the same parts."""

import ast
import pickle
import re
import string
from gettext import GNUTranslations
from io import BytesIO
from typing import Any, Final

import pytest

from photocheck.speech import (
    LANGUAGES,
    capital_first,
    ended,
    first_known,
    joined,
    language_of,
    listed,
    number,
    said_in,
    speaking,
    spoken,
    tr,
    tr_n,
)
from photocheck.words import ALL_LANDMARKS, BUILDS, COATS, READINGS, UNITS
from tests.support.bypassing import bypassing, is_said, sources
from tests.support.catalogues import CATALOGUES, OTHERS, compiled, key_of, said_by, written
from tests.support.places import ROOT

STAYS_ENGLISH: Final = {
    "photocheck/phantom": "for contributors: simulates dogs, no shop runs it",
    "photocheck/benchmark": "for contributors: measures the estimator, no shop runs it",
}
"""Folders whose texts are not looked up, with the reason.

The same holds for ``--help`` of the command line, which is documented in one language: options'
help and commands' docstrings are not looked for.  What click itself says of a mistyped option is
click's.
"""
NO_LANGUAGE: Final = {
    "Language · Sprache": "found by everybody, whatever is spoken",
    "data:image/svg+xml;base64,": "how the address of a drawing begins, which nobody reads",
    **dict.fromkeys(
        (*ALL_LANDMARKS, *READINGS, *COATS, *BUILDS, *UNITS, "girth"), "as typed in case files"
    ),
}
"""Texts that are the same in every language, with the reason."""


def marked() -> set[str | tuple[str, str]]:
    """Every text that is looked up or marked as it stands, inside f-strings too."""
    found: set[str | tuple[str, str]] = set()
    for text in sources(ROOT, "photocheck", "app").values():
        # most modules say nothing, and are not read by their syntax
        said_here = re.search(r"\b(?:tr|tr_n|later)\s*\(", text)
        for node in ast.walk(ast.parse(text)) if said_here else ():
            match node:
                case ast.Call(ast.Name("tr" | "later"), [ast.Constant(str() as said), *_]):
                    found.add(said)
                case ast.Call(
                    ast.Name("tr_n"),
                    [ast.Constant(str() as one), ast.Constant(str() as many), *_],
                ):
                    found.add((one, many))
    return found


def translated(code: str) -> dict[str | tuple[str, str], str | tuple[str, ...]]:
    found: dict[Any, Any] = {key_of(m): m.string for m in written(code) if m.id}
    return found


def forms(text: str | tuple[str, ...]) -> tuple[str, ...]:
    return (text,) if isinstance(text, str) else tuple(text)


def parts(text: str) -> set[str]:
    return {f"{name}:{spec}" for _, name, spec, _ in string.Formatter().parse(text) if name}


def same_parts(text: str | tuple[str, str], said: str | tuple[str, ...]) -> bool:
    """A text's translation has its parts; a form of one count may leave the count out."""
    whole = set().union(*(parts(form) for form in forms(text)))
    if isinstance(text, str):
        return parts(forms(said)[0]) == whole
    return all(whole - {"count:"} <= parts(form) <= whole for form in forms(said))


@pytest.mark.parametrize("code", OTHERS)
def test_every_text_is_translated_with_the_same_parts(code: str) -> None:
    catalogue = translated(code)
    wanted = marked()
    assert wanted, "nothing is marked: the extraction is broken"
    assert not sorted(map(str, wanted - catalogue.keys())), "add these to the catalogue"
    assert not sorted(map(str, catalogue.keys() - wanted)), "these are no longer said"
    assert [text for text in wanted if not all(forms(catalogue[text]))] == []
    assert [text for text in wanted if not same_parts(text, catalogue[text])] == []


@pytest.mark.parametrize("code", OTHERS)
def test_no_text_is_translated_twice(code: str) -> None:
    lines = (CATALOGUES / f"{code}.po").read_text(encoding="utf-8").splitlines()
    entries = sum(line.startswith("msgid ") for line in lines)
    assert entries == len(translated(code)) + 1, "of two entries the last would be said"  # header


@pytest.mark.parametrize("code", OTHERS)
def test_what_is_compiled_is_what_was_written(code: str) -> None:
    kept = said_by((CATALOGUES / f"{code}.mo").read_bytes())
    wanted = said_by(compiled(code))
    changed = {text for text in kept.keys() | wanted.keys() if kept.get(text) != wanted.get(text)}
    assert not changed, "run: python -m tests.support.catalogues"
    assert len(kept) == len(translated(code)) + 1  # nothing is left out as fuzzy; and the header


@pytest.mark.parametrize("code", OTHERS)
def test_every_plural_has_the_forms_that_the_header_says(code: str) -> None:
    catalogue = written(code)
    several = [m for m in catalogue if not isinstance(m.id, str)]
    assert several
    assert [m.id for m in several if len(m.string or "") != catalogue.num_plurals] == []
    spoken_ones = GNUTranslations(BytesIO(compiled(code)))
    for message in several:
        one, many = tuple(message.id)
        said = {spoken_ones.ngettext(one, many, n) for n in range(200)}
        assert said == set(message.string or ())


# --- what does not go through the catalogue ----------------------------------


@pytest.mark.slow
def test_everything_said_goes_through_the_catalogue() -> None:
    """All rooms at once: what is shown in one may be written in another."""
    found = bypassing(
        sources(ROOT, "photocheck", "app"), exempt=tuple(STAYS_ENGLISH), names=NO_LANGUAGE.keys()
    )
    assert [str(item) for item in found] == [], "say these by tr"


@pytest.mark.parametrize("reason", [*STAYS_ENGLISH.values(), *NO_LANGUAGE.values()])
def test_every_exception_has_its_reason(reason: str) -> None:
    assert len(reason.split()) > 2


@pytest.mark.parametrize("folder", STAYS_ENGLISH)
def test_every_folder_that_stays_english_is_there(folder: str) -> None:
    assert list((ROOT / folder).glob("*.py"))


ERRORS = """
class PhotocheckError(Exception):
    def __init__(self, wrong, *, where="", do=""): ...
class CaseError(PhotocheckError): ...
"""
SPEECH = """
def tr(text, /, **parts): ...
def tr_n(one, many, count, /, **parts): ...
def later(text): return text
"""
HANDED_ON = "from photocheck.errors import CaseError\nclass OrderError(CaseError): ...\n"

PLANTED: Final = {
    # errors: what is wrong, what to do, classes under other names and handed on by packages
    "error": 'from photocheck.errors import CaseError\nraise CaseError("PLANTED is wrong")',
    "base": 'from photocheck import errors\nraise errors.PhotocheckError("PLANTED is wrong")',
    "do": 'from photocheck.errors import CaseError as E\nraise E(text, do="Do PLANTED")',
    "wrong": 'from photocheck.errors import CaseError\nraise CaseError(wrong="PLANTED is wrong")',
    "derived": 'from photocheck.orders import OrderError\nraise OrderError("PLANTED is wrong")',
    "own class": "from photocheck.orders import OrderError\nclass Mine(OrderError): ...\n"
    'raise Mine("PLANTED is wrong")',
    "super": "from photocheck.errors import CaseError\nclass Mine(CaseError):\n"
    '    def __init__(self):\n        super().__init__("PLANTED is wrong")',
    "local": "from photocheck.errors import CaseError\ndef f(a):\n"
    '    said = "PLANTED is wrong"\n    raise CaseError(said)',
    "either": "from photocheck.errors import CaseError\ndef f(a):\n"
    '    raise CaseError(a or ("PLANTED one" if a else tr("two")))',
    "helper": "from photocheck.errors import CaseError\n"
    'def say(a):\n    return "PLANTED is wrong"\ndef f(a):\n    raise CaseError(say(a))',
    "tuple": "from photocheck.errors import CaseError\n"
    'def say(a):\n    return 1, "PLANTED is wrong"\n'
    "def f(a):\n    code, said = say(a)\n    raise CaseError(said)",
    "parameter": "from photocheck.errors import CaseError\n"
    'def refuse(said):\n    raise CaseError(said)\ndef f(a):\n    refuse("PLANTED is wrong")',
    "default": "from photocheck.errors import CaseError\n"
    'def refuse(said="PLANTED is wrong"):\n    raise CaseError(said)',
    "table": "from photocheck.errors import CaseError\nSAID = {1: 'PLANTED is wrong'}\n"
    "def f(a):\n    raise CaseError(SAID[a])",
    "loop": "from photocheck.errors import CaseError\ndef f(a):\n"
    '    for field, said in (("a", "PLANTED is wrong"), ("b", "b")):\n'
    "        raise CaseError(said)",
    "never said": "from photocheck.errors import CaseError\nfrom photocheck.speech import later\n"
    'raise CaseError(later("PLANTED is wrong"))',
    "a part": "from photocheck.errors import CaseError\nfrom photocheck.speech import tr\n"
    'raise CaseError(tr("{what} is wrong", what="the PLANTED thing"))',
    # pages
    "write": 'import streamlit as st\nst.write("PLANTED text")',
    "label": 'import streamlit as st\nst.text_input("PLANTED label")',
    "column": "import streamlit as st\ndef f():\n    left, right = st.columns(2)\n"
    '    left.button("PLANTED label")',
    "help": 'import streamlit as st\nst.button(label, help="PLANTED help")',
    "html": "import streamlit as st\nst.html(f'<p class=\"quiet\">PLANTED text {number}</p>')",
    "from": 'from streamlit import warning\nwarning("PLANTED text")',
    # the command line
    "echo": 'import click\nclick.echo("PLANTED text")',
    "secho": 'import click\nclick.secho("PLANTED text", fg="red")',
    "confirm": 'import click\nclick.confirm("PLANTED text?")',
    "click": 'from click import ClickException\nraise ClickException("PLANTED text")',
    "usage": 'import click\nraise click.UsageError(message="PLANTED text")',
    # texts put together, in each of these
    "f error": "from photocheck.errors import CaseError\n"
    'raise CaseError(f"PLANTED {thing} is wrong")',
    "f page": 'import streamlit as st\nst.error(f"PLANTED {thing}")',
    "f echo": 'import click\nclick.echo(f"{thing}: PLANTED text")',
    "f looked up": 'from photocheck.speech import tr\ntr(f"PLANTED {thing}")',
    "f of a name": 'import click\nNAME = "PLANTED text"\ndef f():\n    click.echo(f"{NAME}!")',
    "sum": 'import click\nclick.echo("PLANTED " + thing)',
    "per cent": 'import click\nclick.echo("PLANTED %s" % thing)',
    "format": 'import click\nclick.echo("PLANTED {}".format(thing))',
    "joined": 'import click\nclick.echo(", ".join(["PLANTED text", thing]))',
    # what people read from a field
    "field": "from dataclasses import dataclass\n@dataclass\nclass Remark:\n    name: str\n"
    '    sentence: str\nRemark("far", "PLANTED text")',
}


def found_in(planted: str) -> list[str]:
    texts = {
        "photocheck/errors.py": ERRORS,
        "photocheck/speech.py": SPEECH,
        "photocheck/orders/model.py": HANDED_ON,
        "photocheck/orders/__init__.py": "from photocheck.orders.model import OrderError",
        "photocheck/planted.py": planted,
    }
    return [item.text for item in bypassing(texts)]


@pytest.mark.parametrize("planted", PLANTED.values(), ids=PLANTED.keys())
def test_a_planted_sentence_is_found(planted: str) -> None:
    assert [text for text in found_in(planted) if "PLANTED" in text]


LOOKED_UP: Final = {
    "error": "from photocheck.errors import CaseError\nfrom photocheck.speech import tr\n"
    'raise CaseError(tr("this is wrong"), where="file", do=tr("Mend {it}", it=name))',
    "several": "import click\nfrom photocheck.speech import tr_n\n"
    'click.echo(tr_n("{count} order", "{count} orders", 3))',
    "table": "import streamlit as st\nfrom photocheck.speech import later, tr\n"
    'TITLES = {"a": later("first title")}\ndef f(a):\n    st.write(tr(TITLES[a]))',
    "figures": 'import click\nclick.echo(f"{since:%Y-%m-%d}  {length:.1f} cm")',
    "tags": 'import streamlit as st\nst.html(f\'<p class="quiet" style="{look}">{text}</p>\')',
    "keys": 'import streamlit as st\nst.button(label, key="the key", type="primary")',
    "kept": "from dataclasses import dataclass\nfrom photocheck.speech import later\n@dataclass\n"
    'class Remark:\n    sentence: str\nRemark(later("it is far"))',
    "another library": 'import logging\nlogging.info("only for the log")',
}


@pytest.mark.parametrize("looked_up", LOOKED_UP.values(), ids=LOOKED_UP.keys())
def test_what_is_looked_up_is_not_found(looked_up: str) -> None:
    assert found_in(looked_up) == []


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("a word", True),
        ("Language", True),
        ("--photo 2 cm", False),
        ("<b class='quiet'>", False),
        ("photocheck: ", False),
        (":material/add:", False),
        ("half_neck", False),
        ("3 x 4.5 %", False),
    ],
)
def test_what_counts_as_words(text: str, said: bool) -> None:
    assert is_said(text) == said


# --- the language ------------------------------------------------------------


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
        assert tr_n("{count} bone", "{count} bones", 1) == "1 bone"
        assert tr_n("{count} bone", "{count} bones", 2) == "2 bones"
        assert tr("") == ""


def test_the_form_goes_with_the_count() -> None:
    several = ("{count} order", "{count} orders")
    assert [tr_n(*several, count) for count in (0, 1, 2)] == ["0 orders", "1 order", "2 orders"]
    with speaking("de"):
        said = [tr_n(*several, count) for count in (0, 1, 2)]
    assert said == ["0 Aufträge", "1 Auftrag", "2 Aufträge"]


@pytest.mark.parametrize(
    ("environment", "language"),
    [
        ({}, "en"),
        ({"LANG": "de_DE.UTF-8"}, "de"),
        ({"LANG": "de"}, "de"),
        ({"LANG": "DE@euro"}, "de"),
        ({"LANG": "xx_XX.UTF-8"}, "en"),
        ({"LANG": "C.UTF-8"}, "en"),
        ({"LANG": "de_DE.UTF-8", "LC_MESSAGES": "en_GB.UTF-8"}, "en"),
        ({"LANG": "en_GB.UTF-8", "LC_MESSAGES": "de_AT.UTF-8"}, "de"),
        ({"LC_ALL": "C", "LC_MESSAGES": "de_AT.UTF-8"}, "en"),
        ({"LC_ALL": "", "LANG": "de_CH"}, "de"),
    ],
)
def test_the_environment_names_the_language(environment: dict[str, str], language: str) -> None:
    assert language_of(environment) == language
    assert language in LANGUAGES


@pytest.mark.parametrize(
    ("wanted", "language"),
    [
        ([], "en"),
        (["fr", "de-AT", "en"], "de"),
        (["", "*", " DE "], "de"),
        (["en-GB", "de"], "en"),
        (["deu"], "en"),
    ],
)
def test_the_first_language_that_is_spoken_is_taken(wanted: list[str], language: str) -> None:
    assert first_known(wanted) == language


def test_what_was_said_can_be_said_again_whatever_it_was_made_of() -> None:
    weight = tr("{kg:.1f} kg", kg=21.5)
    title = capital_first(tr("neck ring"))
    of_both = joined(title, "", ended(listed([weight, number("1.5")])))
    assert of_both == "Neck ring 21.5 kg and 1.5."
    assert said_in(of_both, "de") == "Halsring 21,5 kg und 1,5."
    assert said_in(pickle.loads(pickle.dumps(of_both)), "de") == "Halsring 21,5 kg und 1,5."
    with speaking("de"):
        german = tr_n("{count} photo", "{count} photos", 3)
    assert (german, said_in(german, "en")) == ("3 Fotos", "3 photos")
    # what a person typed is nobody's to translate
    assert said_in("neck ring", "de") == "neck ring"
    assert said_in(f"{title}!", "de") == "Neck ring!"
