"""The command line speaks the language it is asked for, or that of its environment."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from photocheck.cli import main
from photocheck.cli.main import run
from photocheck.orders.store import open_store
from photocheck.speech import spoken

GERMAN = "es ist nichts zu prüfen angegeben"
ENGLISH = "nothing to check is given"


@pytest.fixture
def environment(monkeypatch: pytest.MonkeyPatch) -> pytest.MonkeyPatch:
    for name in ("LC_ALL", "LC_MESSAGES", "LANG"):
        monkeypatch.delenv(name, raising=False)
    return monkeypatch


def test_it_speaks_english_where_nothing_is_asked(
    environment: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["check"]) == 2
    assert ENGLISH in capsys.readouterr().err


def test_it_speaks_the_language_of_the_environment(
    environment: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    environment.setenv("LANG", "de_AT.UTF-8")
    assert run(["check"]) == 2
    assert GERMAN in capsys.readouterr().err
    assert spoken() == "en"  # the language ends with the command


@pytest.mark.parametrize(
    ("language", "locale", "said"), [("de", "en_GB", GERMAN), ("en", "de_DE", ENGLISH)]
)
def test_what_is_asked_goes_before_the_environment(
    language: str,
    locale: str,
    said: str,
    environment: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    environment.setenv("LC_ALL", locale)
    assert run(["--language", language, "check"]) == 2
    assert said in capsys.readouterr().err


def test_a_failure_of_the_program_is_told_in_the_language_too(
    environment: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def fail(*_: object, **__: object) -> None:
        raise RuntimeError("a screw is loose")

    environment.setattr("photocheck.case.file.read_case", fail)
    assert run(["--language", "de", "check", "case.json"]) == main.FAILED
    said = capsys.readouterr().err
    assert said.startswith("photocheck: das hätte nicht geschehen dürfen")
    assert "a screw is loose" in said


def test_a_command_says_an_order_and_several_orders(
    environment: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
) -> None:
    store, copy = str(tmp_path / "orders.sqlite3"), str(tmp_path / "copy.sqlite3")
    opened = open_store(store)
    opened.open("en")
    assert run(["backup", copy, "--store", store]) == 0
    assert "1 order with 0 photos" in capsys.readouterr().out
    opened.open("en")
    opened.close()
    assert run(["--language", "de", "backup", copy, "--store", store]) == 0
    assert "2 Aufträge mit 0 Fotos" in capsys.readouterr().out


def test_babel_is_not_imported_to_speak() -> None:
    done = subprocess.run(
        [
            sys.executable,
            "-c",
            "import sys\nfrom photocheck.cli.main import run\n"
            "run(['--language', 'de', 'check'])\n"
            "print(sorted(name for name in sys.modules if name.partition('.')[0] == 'babel'))",
        ],
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.strip() == "[]"
    assert GERMAN in done.stderr
