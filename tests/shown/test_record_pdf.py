"""The record to print: the shop, the order's number, what to cut, a place to sign, own letters."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pypdfium2
import pytest

from photocheck.case.lengths import format_length
from photocheck.cli.main import run
from photocheck.fit.answer import FitAnswer, fit
from photocheck.letters import MISSING, written
from photocheck.orders.draft import Draft
from photocheck.orders.model import Decision
from photocheck.shown.record_pdf import record_pdf
from photocheck.speech import LANGUAGES, speaking, tr
from tests.support.cut_orders import carried
from tests.support.records import AT, check_of, crowded, decision, photo

SHOP = "Erfundene Geschirre & Söhne <b>"


def told(file: bytes) -> list[str]:
    """What stands on each page, on one line."""
    document = pypdfium2.PdfDocument(file)
    return [" ".join(page.get_textpage().get_text_bounded().split()) for page in document]


def record(language: str, answer: FitAnswer | None = None) -> bytes:
    check = replace(
        check_of(carried()), case=Draft.from_dict({"owner": {"number": "2026-17"}, "name": "x"})
    )
    accepted = Decision(AT, "Bo", "accepted", "seen on the dog", "", 17)
    with speaking(language):
        answer = answer or fit(carried())
        pictures = {"side.jpg": photo()}
        return record_pdf(check, pictures, order="k3f9", decision=accepted, fit=answer, shop=SHOP)


@pytest.mark.slow
@pytest.mark.parametrize("language", LANGUAGES)
def test_it_says_what_is_cut_for_which_order_and_where_to_sign(language: str) -> None:
    file = record(language)
    whole = " ".join(told(file))
    with speaking(language):
        for measure in fit(carried()).measures:
            assert format_length(measure.mm, "cm") in whole
        for said in (
            tr("Checked by"),
            tr("Cut by"),
            tr("name, date, signature"),
            tr("neck opening"),
        ):
            assert said in whole, said
    for said in (SHOP, "2026-17", "k3f9", "seen on the dog", "ab" * 32):
        assert said in whole, said


@pytest.mark.slow
def test_all_letters_are_in_the_file() -> None:
    file = record("de")
    fonts = re.findall(rb"/BaseFont\s*/([^\s/]+)", file)
    assert len(fonts) == file.count(b"/FontFile2") == 2
    # a subset's tag, ISO 32000-1, 9.6.4
    assert all(re.fullmatch(rb"[A-Z]{6}\+BitstreamVera.*", font) for font in fonts)


@pytest.mark.slow
def test_why_nothing_may_be_cut_is_said() -> None:
    doubted = replace(carried(), verdict="could_hide")
    whole = " ".join(told(record("en", fit(doubted))))
    assert "does not confirm" in whole
    assert "neck opening" not in whole


@pytest.mark.slow
@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_however_much_there_is_to_say_all_of_it_is_said(paper: str) -> None:
    reason = "because of this and that " * 80
    with speaking("de"):
        file = record_pdf(
            check_of(crowded()),
            {"side.jpg": photo()},
            order="k" * 43,
            decision=decision(reason),
            paper=paper,
            shop="S" * 500,
        )
    pages = told(file)
    assert 2 <= len(pages) <= 6
    whole = " ".join(pages)
    assert whole.count("because of this and that") == 80
    assert all(f"{k} A sentence about" in whole for k in range(9))  # what was marked wrongly
    size = pypdfium2.PdfDocument(file)[0].get_size()
    assert size == pytest.approx({"a4": (595.3, 841.9), "letter": (612, 792)}[paper], abs=0.1)


def test_letters_that_the_fonts_lack_are_seen_to_be_missing() -> None:
    assert written("Größe ½, Łó, Žižka") == "Größe ½, Łó, Žižka"
    assert written("Łódź") == "Łódz"  # the plainer letter, where there is one
    assert written("A\u0328") == "A"  # a mark of its own, without its letter's form
    assert written("犬") in (MISSING, "?")


@pytest.mark.slow
def test_the_command_makes_one_by_its_ending(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "record.pdf"
    case = Path(__file__).parents[2] / "sample_images_demo" / "heron" / "case.json"
    asked = ["record", str(case), "-o", str(out), "--shop", "Invented Works", "--paper", "letter"]
    assert run(asked) == 0
    assert "browser" not in capsys.readouterr().out
    assert "Invented Works" in told(out.read_bytes())[0]
