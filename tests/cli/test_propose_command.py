"""``photocheck propose``: what it prints and draws, and that a check takes nothing of it."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from photocheck.cli.main import run
from photocheck.propose import network
from photocheck.words import LANDMARKS
from tests.support.dots import Dots, dotted, facts, write_network
from tests.support.places import SAMPLES

DOG = {"breastbone": (500.0, 500.0), "shoulder_top": (560.0, 380.0)}
DOG |= {"last_rib": (640.0, 480.0), "tail_base": (720.0, 400.0)}


@pytest.fixture
def photo(tmp_path: Path) -> str:
    path = tmp_path / "dots.png"
    Image.fromarray(dotted(DOG).rgb).save(path)
    return str(path)


@pytest.fixture
def dots(monkeypatch: pytest.MonkeyPatch) -> Dots:
    """The program's network is one that sees dots."""
    seeing = Dots()
    monkeypatch.setattr("photocheck.propose.proposing.shared", lambda: seeing)
    return seeing


def test_what_is_proposed_is_printed(photo: str, dots: Dots, capsys) -> None:
    assert run(["propose", photo]) == 0
    said = capsys.readouterr().out
    assert "  500." in said or "  499." in said
    assert "tail base; 8" in said
    assert "The dog faces left." in said


@pytest.mark.slow
def test_the_same_as_json_and_in_german(photo: str, dots: Dots, capsys) -> None:
    assert run(["propose", photo, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    for name in LANDMARKS:
        assert told["marks"][name]["at"] == pytest.approx(DOG[name], abs=1.5)
    assert told["facing"] == "left"
    assert run(["--language", "de", "propose", photo]) == 0
    assert "Der Hund schaut nach links." in capsys.readouterr().out


def test_they_are_drawn_hollow(photo: str, dots: Dots, tmp_path: Path, capsys) -> None:
    out = tmp_path / "proposed.png"
    assert run(["propose", photo, "--out", str(out)]) == 0
    drawn = np.asarray(Image.open(out))
    # inside a ring the photo is seen: the dot's own colour
    assert any((drawn == colour).all(axis=-1).any() for colour in ((0, 255, 0), (255, 255, 0)))
    assert (drawn == 255).all(axis=-1).sum() > 500
    assert run(["propose", photo, "--out", "proposed.bmp"]) == 2
    assert ".jpg or .png" in capsys.readouterr().err


def test_why_nothing_is_proposed_is_said(
    photo: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys
) -> None:
    sitting = Dots(facts(refused_from={"sitting": 0.9}), kind="sitting")
    monkeypatch.setattr("photocheck.propose.proposing.shared", lambda: sitting)
    out = tmp_path / "sitting.jpg"
    assert run(["propose", photo, "--out", str(out)]) == 0
    assert "The dog seems to sit." in capsys.readouterr().out
    assert out.exists()


@pytest.mark.parametrize("files", ["none", "damaged"])
def test_without_weights_a_sentence_says_so_and_a_check_goes_on(
    files: str, photo: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys
) -> None:
    if files == "damaged":
        write_network(tmp_path)
        (tmp_path / network.WEIGHTS).write_bytes(b"")
    monkeypatch.setattr(network, "FOLDER", tmp_path)
    monkeypatch.setattr(network, "_one", None)
    assert run(["propose", photo]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    assert "no marks can be proposed" in said.err
    assert run(["check", str(SAMPLES / "sorrel" / "case.json")]) == 0


def test_a_check_takes_no_proposal(photo: str, dots: Dots, capsys) -> None:
    """What it is not told it does not look for, though a proposal is there for every mark."""
    given = ["--photo", photo, "--reference", "two_points", "--ends", "100,100 400,100"]
    given += ["--length", "50 cm", "--half-neck", "36", "--unit", "cm"]
    assert run(["check", *given]) == 2
    assert "breastbone" in capsys.readouterr().err
    assert not dots.seen
