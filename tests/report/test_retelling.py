"""A report in another language is what a check in that language would have said."""

from __future__ import annotations

import json
from dataclasses import asdict, replace
from typing import Any

import pytest

from photocheck.checking import check
from photocheck.judge.ratios import read_ratios
from photocheck.report.file import report_from_dict, report_text, report_to_dict
from photocheck.report.model import Report
from photocheck.report.retelling import in_language, with_retellings
from photocheck.speech import LANGUAGES, speaking, tr
from tests.golden import cases, held
from tests.support.checked_samples import checked
from tests.support.made_report import made_report


def _read_back(report: Report) -> Report:
    return report_from_dict(json.loads(report_text(report)))


def _told(report: Report) -> dict[str, Any]:
    return report_to_dict(replace(report, in_other_languages={}))


@pytest.mark.slow
@pytest.mark.parametrize("name", [*cases.samples(), *cases.odd_cases()])
def test_what_is_told_in_the_other_language_is_what_a_check_in_it_says(name: str) -> None:
    ratios = read_ratios(held.FOLDER / "ratios.json") if name == "learnt_ratios" else None
    made = {}
    for language in LANGUAGES:
        with speaking(language):
            made[language] = _read_back(check(held.case_of(name), ratios=ratios))
        assert made[language].language == language
    for here in LANGUAGES:
        for there in LANGUAGES:
            assert _told(in_language(made[here], there)) == _told(made[there])


def test_a_check_of_one_language_is_read_in_the_other_and_kept_as_it_was() -> None:
    report = _read_back(checked("flint"))
    german = in_language(report, "de")
    assert (report.language, german.language) == ("en", "de")
    assert report.headline == "Measure again: rear length."
    assert german.headline == "Messen Sie neu: hintere Länge."
    # English words that only sentences have; names, paths and what was typed stay as they are
    sentences = json.dumps(_told(replace(german, case=made_report().case)), ensure_ascii=False)
    assert not [word for word in (" the ", " again", "Please", " of ") if word in sentences]
    assert german.case is report.case
    assert [one.verdict for one in german.spans] == [one.verdict for one in report.spans]
    assert german.covariance == report.covariance
    assert in_language(report, "en") is report


def test_a_report_of_an_earlier_version_stays_in_its_language() -> None:
    report = made_report()
    assert (report.language, report.in_other_languages) == ("", {})
    assert in_language(report, "de") is report


def test_a_sentence_where_none_is_looked_for_is_no_silent_loss() -> None:
    with speaking("en"), pytest.raises(TypeError, match="not known to hold sentences"):
        with_retellings(replace(made_report(), version=tr("Measure again: {it}", it="x")))


def test_a_report_that_was_made_holds_nothing_but_texts() -> None:
    def kinds(part: Any) -> set[type]:
        if isinstance(part, str):
            return {type(part)}
        parts = part.values() if isinstance(part, dict) else part
        return set().union(*map(kinds, parts)) if isinstance(part, (tuple, dict)) else set()

    with speaking("en"):
        report = with_retellings(replace(made_report(), headline=tr("Try again")))
    assert report.in_other_languages == {"de": {"Try again": "Noch einmal versuchen"}}
    assert kinds(asdict(report)) == {str}
