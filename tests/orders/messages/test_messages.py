"""Drafts to owners: the order's own facts, kindly said, from templates a shop may change."""

from __future__ import annotations

import os
import re
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jinja2 import UndefinedError

from photocheck.case.model import Reading
from photocheck.fit.answer import fit
from photocheck.fit.match import SizeFit
from photocheck.judge.explain import CHANCE
from photocheck.judge.explanations import KINDS
from photocheck.judge.wording import CAUTIONS, STANCE_REASONS
from photocheck.orders.messages import drafting
from photocheck.orders.messages.drafting import (
    DRAFTS,
    PARTS,
    TEMPLATES,
    MessageError,
    draft_message,
    shipped_templates,
)
from photocheck.orders.messages.facts import NAMES, facts
from photocheck.report.model import Explanation, Report, StanceFinding
from photocheck.shown.plain_fit import cut_rows
from photocheck.speech import LANGUAGES, speaking
from photocheck.words import READING_TITLES, VERDICTS
from tests.support.cut_orders import carried
from tests.support.made_report import made_report

BLAME = re.compile(
    r"\b(wrong|mistake|error|fault|careless|fail\w*|must|incorrect|falsch\w*|Fehler\w*|"
    r"müssen Sie (?!dafür)|schuld\w*|leider)\b",
    re.IGNORECASE,
)
NUMBER = re.compile(r"\d+ \d+/\d+|\d+/\d+|\d+(?:[.,]\d+)?")


def numbers(text: str) -> set[Fraction]:
    """Every number in a text; 13 1/4 is one, and so is 36,8."""
    found = set()
    for piece in NUMBER.findall(text):
        whole, _, part = piece.rpartition(" ")
        found.add(Fraction(whole or 0) + Fraction(part.replace(",", ".")))
    return found


def known_numbers(report: Report) -> set[Fraction]:
    """The order's own: as typed, and every length of case and report as a tape shows it."""
    case = report.case
    lengths = [mm for span in report.spans for mm in (span.photo_mm, span.low_mm, span.high_mm)]
    lengths += [2 * mm for mm in lengths[:3]]  # the ring is twice the half neck
    lengths += [reading.mm for reading in case.readings.values()]
    parts = {name: reading.mm for name, reading in case.readings.items()}
    lengths += [parts.get("front_length", 0) + parts.get("rear_length", 0)]
    lengths += [2 * parts.get("half_neck", 0)]
    found = set()
    for mm in lengths:
        if case.unit == "cm":
            found.add(Fraction(f"{mm / 10:.1f}"))
        else:
            found.add(Fraction(int(Fraction(mm) / Fraction(254, 10) * 8 + Fraction(1, 2)), 8))
    for reading in case.readings.values():
        found |= numbers(reading.typed)
    for explanation in report.explanations:
        for _, text, _ in explanation.candidates:
            found |= numbers(text)
    for photo in report.photos:
        for remark in photo.remarks:
            found |= numbers(remark)
    return found


def variants() -> list[Report]:
    """Reports of every verdict, unit, explanation and stance."""
    found = []
    explanations = [kind.name for kind in KINDS] + [CHANCE]
    for unit in ("in", "cm"):
        for verdict in VERDICTS:
            report = made_report(verdict=verdict, unit=unit)
            report = replace(report, cautions=CAUTIONS)
            found.append(report)
            found.append(replace(report, explanations=()))
            for name in explanations:
                one = replace(report.explanations[0], name=name)
                found.append(replace(report, explanations=(one,)))
            for stance in STANCE_REASONS:
                photo = replace(report.photos[0], stance=(StanceFinding(stance, "s", "i", 3.0),))
                found.append(replace(report, photos=(photo,), explanations=()))
    ring = {**found[0].case.readings, "neck_ring": Reading(680.0, "68", "cm")}
    neck = replace(found[0].spans[0], verdict="measure_again")
    found.append(
        replace(
            found[0],
            case=replace(found[0].case, readings=ring),
            spans=(neck, *found[0].spans[1:]),
            explanations=(
                Explanation("ring_halved", "", 0.9, "", "", (("neck_ring", "28 in", 1.0),)),
            ),
        )
    )
    return found


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("choice", DRAFTS)
def test_no_message_names_a_number_the_order_does_not_have(language: str, choice: str) -> None:
    for report in variants():
        said = draft_message(report, choice, language=language)
        assert numbers(said) <= known_numbers(report), said


def test_the_check_on_numbers_can_fail(tmp_path: Path) -> None:
    (tmp_path / "en").mkdir()
    (tmp_path / "en" / "closing.txt").write_text("Allow 47 days.")
    report = made_report()
    said = draft_message(report, "accepted", templates=tmp_path)
    assert not numbers(said) <= known_numbers(report)


@pytest.mark.slow
@pytest.mark.parametrize("language", LANGUAGES)
def test_no_message_accuses(language: str) -> None:
    for report in variants():
        for choice in DRAFTS:
            said = draft_message(report, choice, language=language)
            assert BLAME.search(said) is None, BLAME.search(said)


def test_what_is_asked_again_says_which_reading_why_and_how() -> None:
    said = " ".join(draft_message(made_report(), "asked_again").split())
    for part in (
        "Juno",
        "rear length: you gave 18 in",
        "about 13 1/4 in",
        "two digits changed places",
        "rear length: 13 1/4 in",  # the value that would fit
        "from the last rib to the tail base",
        "need not take a new photo",
        "Never force or lean on a dog",
        "see a vet",
    ):
        assert part in said, part
    assert "half neck" not in said  # that one agrees


def test_readings_that_contradict_each_other_are_told_with_both_numbers() -> None:
    # 20 1/2 + 18 = 38 1/2 in against 33 1/2 in
    said = draft_message(made_report(), "asked_again")
    assert "make 38 1/2 in, and the full length reads 33 1/2 in" in said
    case = made_report().case
    fits = {**case.readings, "full_length": Reading(977.9, "38 1/2", "in")}
    said = draft_message(replace(made_report(), case=replace(case, readings=fits)), "asked_again")
    assert "These two should be the same" not in said


def test_german_has_decimal_commas_and_no_english_sentences() -> None:
    report = replace(made_report(unit="cm"), cautions=CAUTIONS)
    said = draft_message(report, "asked_again", language="de")
    assert "etwa 33,8 cm" in said
    assert "zwei Ziffern" in said
    assert "blurred" not in said  # a remark of an English report
    assert "blurred" in draft_message(report, "asked_again", language="en")


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_explanation_and_stance_has_its_words(language: str) -> None:
    texts = set()
    for kind in (*(kind.name for kind in KINDS), CHANCE):
        one = replace(made_report().explanations[0], name=kind, candidates=())
        texts.add(
            draft_message(
                replace(made_report(), explanations=(one,)), "asked_again", language=language
            )
        )
    assert len(texts) == len(KINDS) + 1
    stances = set()
    for name in STANCE_REASONS:
        report = replace(made_report(verdict="retake"), explanations=())
        photo = replace(report.photos[0], stance=(StanceFinding(name, "", "", 3.0),))
        stances.add(
            draft_message(replace(report, photos=(photo,)), "asked_again", language=language)
        )
    assert len(stances) == len(STANCE_REASONS)


def test_the_verdict_decides_what_is_asked_for() -> None:
    retake = draft_message(made_report(verdict="retake"), "asked_again")
    assert retake == draft_message(made_report(verdict="retake"), "retake")
    assert "ask you for another one" in retake
    cannot = draft_message(
        replace(made_report(verdict="cannot_tell"), explanations=()), "asked_again"
    )
    assert "leaves too much open about: rear length" in cannot


def test_accepting_claims_agreement_only_when_there_is_one() -> None:
    assert "Tape and photo agree" in draft_message(made_report(verdict="agrees"), "accepted")
    assert "agree" not in draft_message(made_report(verdict="cannot_tell"), "accepted")
    assert "agree" not in draft_message(made_report().case, "accepted")


def test_a_growing_dogs_owner_is_sent_to_a_vet_about_load() -> None:
    report = made_report(verdict="agrees")
    puppy = replace(report, case=replace(report.case, dog=replace(report.case.dog, age_months=7.0)))
    assert "growing" in draft_message(puppy, "accepted")
    assert "growing" not in draft_message(report, "accepted")
    assert "Tierarztpraxis" in draft_message(puppy, "accepted", language="de")


def test_a_case_without_a_check_asks_for_its_readings() -> None:
    case = made_report().case
    said = draft_message(case, "asked_again")
    assert "half neck (you gave 14 1/2 in)" in said
    assert "the photo lets us" not in said
    none = draft_message(replace(case, readings={}), "asked_again")
    assert all(f"- {title}:" in none for title in list(READING_TITLES.values())[:4])


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("choice", DRAFTS)
def test_the_reason_and_the_dogs_name_are_taken_in_as_text(language: str, choice: str) -> None:
    report = made_report()
    name = "{{ 7*7 }}\u202e<b>Jo\nno</b>" + "x" * 200
    named = replace(report, case=replace(report.case, dog=replace(report.case.dog, name=name)))
    said = draft_message(named, choice, language=language, reason="Zeile eins\n\x07{% raise %}")
    assert "{{ 7*7 }}<b>Jo no</b>xxx" in said
    assert "49" not in said
    assert "Zeile eins\n{% raise %}" in said
    assert "\u202e" not in said
    assert "\n\n\n" not in said
    assert said == said.strip()


@settings(deadline=None)
@given(st.text(max_size=30), st.text(max_size=80), st.sampled_from(DRAFTS))
def test_whatever_is_typed_a_message_comes_out(name: str, reason: str, choice: str) -> None:
    report = made_report()
    readings = {"half_neck": Reading(368.3, name, "in")}
    case = replace(report.case, dog=replace(report.case.dog, name=name), readings=readings)
    for language in LANGUAGES:
        assert draft_message(replace(report, case=case), choice, language=language, reason=reason)


# --- templates of the shop's own ------------------------------------------------


def test_a_shops_template_takes_the_place_of_the_shipped_one(tmp_path: Path) -> None:
    (tmp_path / "de").mkdir()
    (tmp_path / "de" / "closing.txt").write_text("Ihr Geschirrmacher", encoding="utf-8")
    said = draft_message(made_report(), "asked_again", language="de", templates=tmp_path)
    assert said.endswith("Ihr Geschirrmacher")
    assert said.startswith("Guten Tag")
    (tmp_path / "de" / "closing.txt").write_text("Wir in der Werkstatt", encoding="utf-8")
    os.utime(tmp_path / "de" / "closing.txt", (1, 1))  # within one tick of a coarse clock
    changed = draft_message(made_report(), "asked_again", language="de", templates=tmp_path)
    assert changed.endswith("Wir in der Werkstatt")
    assert draft_message(made_report(), "refused", templates=tmp_path).endswith("Your workshop")


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ("Hello\n{% if dog %}\n{{ dog }", 3, "cannot be read"),
        ("Hello\n\n{{ dgo }}", 3, "dgo"),
        ("a\n{{ readings[99].title }}", 2, "cannot be filled in"),
        ("{% include 'missing.txt' %}", 1, "missing.txt"),
        ("a\nb\n{{ ''.__class__.__mro__ }}", 3, "cannot be filled in"),
        ("{% for i in range(999999999) %}x{% endfor %}", 1, "cannot be filled in"),
        ("{{ 1 / 0 }}", 1, "cannot be filled in"),
        ("{% import 'reasons.txt' as r %}\n{{ r.nothing }}", 2, "cannot be filled in"),
    ],
)
def test_a_broken_template_says_which_line(tmp_path: Path, text: str, line: int, said: str) -> None:
    (tmp_path / "en").mkdir()
    file = tmp_path / "en" / "refused.txt"
    file.write_text(text)
    with pytest.raises(MessageError) as caught:
        draft_message(made_report(), "refused", templates=tmp_path)
    assert caught.value.where == f"{file}, line {line}"
    assert said in str(caught.value)


def test_a_shipped_template_that_fails_is_not_put_down_to_the_shop(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(drafting, "facts", lambda *_: {})
    with pytest.raises(UndefinedError):
        draft_message(made_report(), "refused")


def test_a_broken_part_is_named_itself(tmp_path: Path) -> None:
    (tmp_path / "en").mkdir()
    (tmp_path / "en" / "closing.txt").write_text("Bye\n{{ nme }}")
    with pytest.raises(MessageError) as caught:
        draft_message(made_report(), "refused", templates=tmp_path)
    assert caught.value.where == f"{tmp_path / 'en' / 'closing.txt'}, line 2"
    assert "dog" in caught.value.do  # what may be used


def test_a_template_in_another_encoding_and_a_missing_folder(tmp_path: Path) -> None:
    (tmp_path / "de").mkdir()
    (tmp_path / "de" / "refused.txt").write_bytes("Grüße".encode("latin-1"))
    with pytest.raises(MessageError, match="UTF-8"):
        draft_message(made_report(), "refused", language="de", templates=tmp_path)
    with pytest.raises(MessageError, match="folder"):
        draft_message(made_report(), "refused", templates=tmp_path / "none")
    with pytest.raises(MessageError, match="perhaps"):
        draft_message(made_report(), "perhaps")


def test_templates_are_all_there_and_know_all_they_may_use() -> None:
    assert set(facts(made_report().case, made_report(), "")) == set(NAMES)
    for language in LANGUAGES:
        shipped = shipped_templates(language)
        assert set(shipped) == {f"{name}.txt" for name in (*TEMPLATES, *PARTS)}
    assert draft_message(made_report(), "refused", language="xx").startswith("Hello")


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_message_and_the_cut_say_the_same_lengths(language: str) -> None:
    report = carried()
    with speaking(language):
        answer = fit(report)
        lengths = [row[1] for row in cut_rows(answer)[1:]]
        names = [row[0] for row in cut_rows(answer)[1:]]
    said = draft_message(report, "accepted", language=language, answer=answer)
    for name, length in zip(names, lengths, strict=True):
        assert f"- {name}: {length}" in said
    about = {"en": "about twice the half neck", "de": "der doppelte halbe Hals"}[language]
    assert about in said  # why one neck is another number than the other
    sized = replace(answer, outcome="size", sizes=(SizeFit("large {{ 7 }}", 0.9, (), ""),))
    assert "large {{ 7 }}" in draft_message(report, "accepted", language=language, answer=sized)
    first = fit(replace(report, verdict="could_hide"))
    bare = draft_message(report, "accepted", language=language, answer=first)
    assert not any(length in bare for length in lengths)
