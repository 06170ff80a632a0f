"""Learning from the store and the shop's own figures, run as a user runs them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from photocheck.cli.main import run
from photocheck.fit.growth import ADULT_FROM
from photocheck.judge.ratios import read_ratios
from photocheck.orders.store import open_store
from photocheck.report.file import report_text
from photocheck.words import EXIT_CODES
from tests.support.agreed import agreed
from tests.support.heard_of import fitted, report_with, tight
from tests.support.store_orders import checked

BAD = EXIT_CODES["bad_input"]


def test_learning_from_the_store_in_one_step(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = _filled(tmp_path)
    ratios = str(tmp_path / "ratios.json")
    assert run(["learn", "--begin", "--ratios", ratios]) == 0
    assert read_ratios(ratios).current == "shipped"
    assert run(["learn", "--begin", "--ratios", ratios]) == BAD  # never over a shop's own
    capsys.readouterr()
    command = ["learn", "--from-store", "--store", file, "--ratios", ratios]
    assert run(command) == 0
    said = capsys.readouterr().out
    assert "Only 1 orders can teach" in said
    assert "Flint: neck opening too tight, and not measured again" in said
    assert run([*command, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["adopted"], told["current"]) == (False, "shipped")
    assert told["left_out"][0]["name"] == "Flint"


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (["outcomes.json", "--from-store"], "both ORDERS and --from-store"),
        ([], "no orders are given"),
        (["outcomes.json", "--store", "x.db"], "--store goes with --from-store"),
        (["--begin", "--look"], "--begin goes alone"),
        (["--undo", "--from-store"], "--undo goes alone"),
        (["--from-store", "--store", "nowhere.db"], "no orders yet"),
    ],
)
def test_what_does_not_go_together_is_refused(
    given: list[str],
    said: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(["learn", *given]) == BAD
    assert said in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_the_shops_own_figures(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = _filled(tmp_path)
    assert run(["desk", "figures", "--store", file]) == 0
    said = capsys.readouterr().out
    assert said.startswith("2 orders were checked.")
    assert "1 of 2: too few to say" in said
    assert run(["desk", "figures", "--store", file, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["heard"] == pytest.approx(
        {"count": 1, "of": 2, "low": 0.0945, "high": 0.9055}, abs=1e-4
    )
    assert told["felt"] == {"neck_opening tight": 1}
    assert run(["--language", "de", "desk", "figures", "--store", file, "--unit", "in"]) == 0
    assert "2 Aufträge wurden geprüft." in capsys.readouterr().out


def test_an_empty_store_has_no_figures(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = str(tmp_path / "orders.db")
    open_store(file).close()
    assert run(["desk", "figures", "--store", file]) == 0
    assert capsys.readouterr().out == "0 orders were checked.\n"
    assert run(["desk", "figures", "--store", str(tmp_path / "none.db")]) == BAD


# -- a puppy -----------------------------------------------------------------------


def test_a_puppy_is_looked_ahead_to(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "report.json"
    file.write_text(report_text(agreed(age_months=5.0, weight_kg=14.0)), encoding="utf-8")
    command = ["fit", str(file), "--growth", "for-growth"]
    assert run(command) == EXIT_CODES["cannot_tell"]
    assert "expected to weigh" in capsys.readouterr().out
    more = ["--adult-weight", "22-28 kg", "--adult-from", "breeder"]
    assert run([*command, *more]) == 0
    said = capsys.readouterr().out
    assert "Looked ahead" in said
    assert "in 30 days" in said
    assert run([*command, *more, "--json"]) == 0
    steps = json.loads(capsys.readouterr().out)["growth"]
    assert steps[0]["days"] == 30
    assert run([*command, "--adult-weight", "22-28 kg", "--adult-from", "breed"]) == BAD
    assert "not named" in capsys.readouterr().err
    for told_by in ADULT_FROM:
        named = ["--adult-named", "an invented standard"]
        assert run([*command, "--adult-weight", "25 kg", "--adult-from", told_by, *named]) == 0


def _filled(folder: Path) -> str:
    """A store with two accepted orders: one fitted, one was tight."""
    file = str(folder / "orders.db")
    store = open_store(file)
    for k, (name, heard) in enumerate((("Juno", fitted), ("Flint", tight))):
        key, _ = checked(store, name=name)
        report = report_with("agrees", (), {"rear_length": (337.0 + k,)})
        check = store.record_check(key, store.order(key).told, report, by="owner")
        store.decide(key, "accepted", by="Ann", reason="looks right")
        store.hear(key, heard(check.number))
    store.close()
    return file
