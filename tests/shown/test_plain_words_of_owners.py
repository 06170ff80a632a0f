"""What an owner reads of a report: in their own words, units and language."""

from __future__ import annotations

from dataclasses import replace
from math import isfinite

import pytest

from photocheck.case.lengths import format_length, parse_length
from photocheck.case.samples import sample_names, sample_story
from photocheck.shown.plain import seen_from
from photocheck.speech import speaking, tr
from tests.support.made_report import made_report


def test_how_large_an_error_would_be_seen_holds_no_odds():
    report = replace(made_report(verdict="could_hide"), promise="Seen in 95 of 100 such orders …")
    said = seen_from(report)
    assert "of 100" not in said
    assert said.startswith("Nearly every error as large as this would be seen: half neck ")
    sizes = [
        format_length(span.catches * span.reading_mm, report.case.unit)
        for span in report.spans
        if span.reading_mm and isfinite(span.catches)
    ]
    assert 0 < len(sizes) < len(report.spans)  # of one nothing is known
    assert all(size in said for size in sizes)
    assert seen_from(replace(report, promise="")) == ""


@pytest.mark.parametrize("mm", [368.3, 25.4, 9.525])
def test_inches_have_a_word_of_their_own_in_german(mm):
    """There "in" means something else: "ein Fehler von 2 in oder mehr in einer Länge"."""
    english = format_length(mm, "in")
    with speaking("de"):
        german = format_length(mm, "in")
    assert english.endswith(" in")
    assert german == english.removesuffix("in") + "Zoll"
    for said in (english, german):
        assert parse_length(said, "cm") == (pytest.approx(mm), "in")


def test_every_samples_story_is_told_in_german():
    for name in sample_names():
        story = sample_story(name)
        with speaking("de"):
            assert tr(story) != story, name
