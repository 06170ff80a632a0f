"""The command line speaks the language it is asked for, or that of its environment."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from photocheck.cli import main
from photocheck.cli.main import run
from photocheck.judge.learning import Learning, LeftOut
from photocheck.judge.ratios import GroupRatios, HeldOut, Ratios, Version, WayRatio
from photocheck.orders.store import open_store
from photocheck.shown.plain_learning import plain_learning
from photocheck.speech import speaking, spoken
from tests.support.places import SAMPLES

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


def test_what_is_seen_of_a_reference_is_told_in_the_language(
    environment: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["--language", "de", "locate", str(SAMPLES / "flint" / "side.jpg")]) == 0
    lines = capsys.readouterr().out.splitlines()
    titles = ("Vergleichsobjekt", "Abstand", "Kamera", "Maßstab", "Brennweite", "Foto")
    assert [line.split()[0] for line in lines[:6]] == list(titles)
    assert all(line[16:18] == "  " and line[18] != " " for line in lines[:6])  # aligned
    assert "photocheck-Markenbogen (Quadrate gefunden)" in lines[0]
    assert re.search(r" \d,\d\d m$", lines[1])
    points = [line for line in lines if line.startswith("  ")]
    assert len(points) == 16
    assert all(
        re.fullmatch(r"  \d+\.\d,\d+\.\d", point) for point in points
    )  # as options take them


def test_what_was_learnt_is_told_in_the_language() -> None:
    way = WayRatio(0.065, 0.01, 0.78)
    check = HeldOut(7, 7, 0.1, 0.01, True, {"half_neck": 0.081}, {"half_neck": 0.038})
    groups = {"build slim": GroupRatios(1, {"half_neck": way}), "husky": GroupRatios(6, {})}
    version = Version(
        "1-ab", 1, "shipped", 7, 1, {}, {}, {"half_neck": way}, groups, check, ("a", "b")
    )
    left_out = tuple(LeftOut(f"Auftrag {number}", "Grund") for number in range(22))
    learning = Learning(True, Ratios(), version, left_out, "gelernt")
    with speaking("de"):
        said = plain_learning(learning)
    for line in (
        "Version 1-ab, nach den mitgelieferten Verhältnissen.",
        "- halber Hals: 8,1 % mit den mitgelieferten, 3,8 % mit den gelernten Verhältnissen",
        "- Körperbau: schlank (Aufträge: 1): halber Hals +6,5 %, Streuung 0,78",
        "- alle anderen: halber Hals +6,5 %, Streuung 0,78",
        "- und 2 weitere",
    ):
        assert line in said.splitlines()


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
