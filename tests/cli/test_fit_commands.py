"""The commands that follow a check, run as a user runs them."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from photocheck.cli.main import run
from photocheck.fit.shelf import read_shelf
from photocheck.orders.messages.drafting import PARTS, TEMPLATES
from photocheck.report.file import report_text
from photocheck.speech import LANGUAGES
from photocheck.words import EXIT_CODES
from tests.support.made_report import made_report
from tests.support.places import SAMPLES

AGREES, FLAGGED = SAMPLES / "sorrel" / "case.json", SAMPLES / "flint" / "case.json"


@pytest.fixture
def report(tmp_path: Path) -> Path:
    file = tmp_path / "report.json"
    file.write_text(report_text(made_report()), encoding="utf-8")
    return file


def test_a_size_of_the_shelf_for_a_sample(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table = str(tmp_path / "shelf.csv")
    assert run(["shelf", table]) == 0
    assert len(read_shelf(table)) > 3
    assert run(["shelf", table]) == EXIT_CODES["bad_input"]  # never over a shop's own
    capsys.readouterr()
    assert run(["fit", str(AGREES), "--shelf", table, "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["outcome"] in ("size", "to_measure")
    assert answer["sizes"][0]["chance"] >= answer["sizes"][1]["chance"]
    assert {one["name"] for one in answer["measures"]} >= {"neck_opening", "full_length"}


def test_readings_in_doubt_give_the_exit_code_of_the_check(
    report: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["fit", str(report)]) == EXIT_CODES["measure_again"]
    assert "Measure again first" in capsys.readouterr().out


def test_growth_that_cannot_be_foreseen(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    made = made_report(verdict="agrees")
    puppy = replace(made, case=replace(made.case, dog=replace(made.case.dog, age_months=5.0)))
    file = tmp_path / "puppy.json"
    file.write_text(report_text(puppy), encoding="utf-8")
    assert run(["fit", str(file), "--growth", "for-growth"]) == EXIT_CODES["cannot_tell"]
    assert "vet" in capsys.readouterr().out
    assert run(["fit", str(file)]) == 0


def test_a_message_for_a_report(report: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["message", str(report), "--language", "de", "--reason", "Bis Freitag."]) == 0
    said = capsys.readouterr().out
    assert said.startswith("Guten Tag")
    assert "Bis Freitag." in said
    assert run(["message", str(report), "--choice", "refused"]) == 0
    assert "cannot make this harness" in capsys.readouterr().out


def test_templates_are_written_to_be_changed(
    tmp_path: Path, report: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "ours"
    assert run(["templates", str(folder)]) == 0
    written = {str(p.relative_to(folder)) for p in folder.rglob("*.txt")}
    assert written == {f"{code}/{n}.txt" for code in LANGUAGES for n in (*TEMPLATES, *PARTS)}
    assert run(["templates", str(folder)]) == EXIT_CODES["bad_input"]
    capsys.readouterr()
    assert run(["message", str(report)]) == 0
    shipped = capsys.readouterr().out
    assert run(["message", str(report), "--templates", str(folder)]) == 0
    assert capsys.readouterr().out == shipped
    (folder / "en" / "closing.txt").write_text("{{ nobody }}")
    assert run(["message", str(report), "--templates", str(folder)]) == EXIT_CODES["bad_input"]
    assert "closing.txt, line 1" in capsys.readouterr().err


def test_a_record_of_a_sample(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "record.html"
    assert run(["record", str(FLAGGED), "-o", str(out), "--by", "Ada"]) == 0
    html = out.read_text(encoding="utf-8")
    assert "Measure again: rear length." in html
    assert "Ada" in html
    assert html.count("data:image/jpeg;base64,") == 1
    assert len(html) < 600_000


def test_a_record_shows_no_other_photo_than_the_one_checked(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    made = made_report(str(SAMPLES / "flint" / "side.jpg"))
    file = tmp_path / "report.json"
    file.write_text(report_text(made), encoding="utf-8")
    out = tmp_path / "record.html"
    assert run(["record", str(file), "-o", str(out)]) == EXIT_CODES["bad_input"]
    assert "SHA-256" in capsys.readouterr().err
    assert not out.exists()


@pytest.mark.parametrize("command", ["fit", "message"])
@pytest.mark.parametrize(
    "content", [None, "{", "[]", '{"format": "photocheck-report/1"}', '{"a": 1}']
)
def test_bad_input_ends_in_a_sentence(
    command: str, content: str | None, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "case.json"
    if content is not None:
        file.write_text(content)
    assert run([command, str(file)]) == EXIT_CODES["bad_input"]
    error = capsys.readouterr().err
    assert error.startswith("photocheck: ")
    assert "Traceback" not in error
