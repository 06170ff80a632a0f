"""Files out of the store by command: whole or not there, and the same as the store holds."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest

from photocheck.case.samples import samples_folder
from photocheck.cli.main import run
from photocheck.orders.export import COLUMNS
from photocheck.orders.intake.bring_in import bring_in
from photocheck.orders.store import DatabaseStore, open_store
from photocheck.schemas.complaints import complaint
from photocheck.server.run import run_check
from photocheck.shown import outgoing
from photocheck.shown.outgoing import file_name, still_there
from photocheck.words import EXIT_CODES
from tests.support.store_orders import case_of, checked, report_of

BAD_INPUT = EXIT_CODES["bad_input"]


@pytest.fixture
def address(tmp_path: Path) -> str:
    return str(tmp_path / "orders.sqlite3")


def three_orders(store: DatabaseStore) -> dict[str, str]:
    accepted, _ = checked(store, name="Juno; the second")
    store.decide(accepted, "accepted", by="Ann", reason="looks right")
    waiting, _ = checked(store, name="Rex")
    return {"accepted": accepted, "waiting": waiting, "being_filled_in": store.open("de")}


def rows(file: Path, delimiter: str) -> list[dict[str, str]]:
    text = file.read_bytes().decode("utf-8-sig")
    return list(csv.DictReader(io.StringIO(text, newline=""), delimiter=delimiter))


@pytest.mark.parametrize(
    ("option", "delimiter"),
    [([], ","), (["--delimiter", ";"], ";"), (["--delimiter", "tab"], "\t")],
)
def test_a_table_of_all_orders(
    store: DatabaseStore, address: str, tmp_path: Path, option: list[str], delimiter: str
) -> None:
    keys = three_orders(store)
    out = tmp_path / "orders.csv"
    assert run(["export", "-o", str(out), "--store", address, *option]) == 0
    found = rows(out, delimiter)
    assert list(found[0]) == list(COLUMNS)
    assert {row["order"]: row["state"] for row in found} == {k: s for s, k in keys.items()}
    # U+FEFF marks UTF-8 (The Unicode Standard, 23.8); that spreadsheets want it is from memory.
    assert out.read_bytes().startswith(b"\xef\xbb\xbf")


def test_only_orders_in_a_state(
    store: DatabaseStore, address: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    keys = three_orders(store)
    out = tmp_path / "orders.json"
    asked = ["export", "-o", str(out), "--json", "--store", address]
    assert run([*asked, "--state", "being-filled-in", "--state", "accepted"]) == 0
    assert "2 orders" in capsys.readouterr().out
    told = json.loads(out.read_text(encoding="utf-8"))
    assert complaint(told, "orders") is None
    assert {order["order"] for order in told["orders"]} == {
        keys["being_filled_in"],
        keys["accepted"],
    }


def test_what_cannot_be_exported_is_told_and_leaves_the_older_file(
    store: DatabaseStore,
    address: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    three_orders(store)
    out = tmp_path / "orders.csv"
    out.write_text("older")
    asked = ["export", "-o", str(out), "--store", address]
    for wrong in (["--json", "--delimiter", ";"], ["--delimiter", "x"], ["--state", "lost"]):
        assert run([*asked, *wrong]) == BAD_INPUT
    assert run(["export", "-o", str(out), "--store", str(tmp_path / "none")]) == BAD_INPUT
    assert run(["export", "-o", str(tmp_path / "no" / "orders.csv"), "--store", address])
    assert "Traceback" not in capsys.readouterr().err

    def full(*_: object, **__: object) -> bytes:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(outgoing, "table_file", full)
    assert run(asked) == BAD_INPUT
    assert "disk is full" in capsys.readouterr().err
    assert out.read_text() == "older"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["orders.csv", "orders.sqlite3"]


def test_orders_deleted_meanwhile_are_left_out(store: DatabaseStore) -> None:
    keys = three_orders(store)
    store.forget(keys["waiting"])
    assert [order.key for order in still_there(store, keys.values())] == [
        keys["accepted"],
        keys["being_filled_in"],
    ]


@pytest.mark.slow
def test_the_record_of_a_stored_order(
    store: DatabaseStore, address: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = samples_folder() / "sorrel"
    photos = [(p.name, p.read_bytes()) for p in folder.glob("*.jpg")]
    key = bring_in(store, ("case.json", (folder / "case.json").read_bytes()), photos).key
    out, table = tmp_path / "record.html", str(tmp_path / "sizes.csv")
    asked = ["record", key, "-o", str(out), "--store", address]
    assert run(asked) == BAD_INPUT
    assert "not checked yet" in capsys.readouterr().err
    assert not out.exists()
    run_check(store, key, by="owner")
    store.decide(key, "accepted", by="Ann at the desk", reason="fits")
    assert run(["shelf", table]) == 0
    assert run([*asked, "--shelf", table, "--language", "de"]) == 0
    html = out.read_text(encoding="utf-8")
    assert '<html lang="de"' in html
    assert "Ann at the desk" in html
    assert "large" in html  # the size of the invented shelf that fits this dog
    assert html.count("data:image/jpeg;base64,") == 1
    for option in (["--by", "Ada"], ["--ratios", "ratios.json"]):
        assert run([*asked, *option]) == BAD_INPUT
        assert option[0] in capsys.readouterr().err
    assert run(["record", "x" * 43, "-o", str(out), "--store", address]) == BAD_INPUT
    assert "no such order" in capsys.readouterr().err


def test_a_file_called_like_a_key_is_still_a_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    name = "a" * 43
    Path(name).write_text("{")
    assert run(["record", name, "-o", "record.html"]) == BAD_INPUT
    assert "JSON" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("name", "called"),
    [
        ("Juno (invented sample)", "record-juno-invented-sample.html"),
        ("Bärbel & Söhne", "record-barbel-sohne.html"),
        ('../../etc/passwd\0"', "record-etc-passwd.html"),
        ("犬", "record.html"),
        ("", "record.html"),
        ("x" * 300, f"record-{'x' * 40}.html"),
    ],
)
def test_a_file_name_that_every_system_takes(name: str, called: str) -> None:
    assert file_name(name, "record", "html") == called


def test_a_record_is_of_the_store_that_was_named(address: str, tmp_path: Path) -> None:
    other = open_store(str(tmp_path / "other.sqlite3"))
    key = other.open()
    other.record_check(key, case_of(), report_of(), by="owner")
    open_store(address).close()
    out = tmp_path / "record.html"
    assert run(["record", key, "-o", str(out), "--store", address]) == BAD_INPUT
    assert not out.exists()


def test_a_workbook_by_its_ending_and_the_terminal_by_a_dash(
    store: DatabaseStore,
    address: str,
    tmp_path: Path,
    capfdbinary: pytest.CaptureFixture[bytes],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    three_orders(store)
    asked = ["export", "--store", address, "-o"]
    assert run([*asked, "-"]) == 0
    out = capfdbinary.readouterr().out
    assert len(out.decode("utf-8-sig").splitlines()) == 4
    assert not (tmp_path / "-").exists()
    assert run([*asked, "orders.xlsx"]) == 0
    assert (tmp_path / "orders.xlsx").read_bytes().startswith(b"PK")
    for wrong in (["--json"], ["--delimiter", ";"]):
        assert run([*asked, "other.xlsx", *wrong]) == BAD_INPUT
    assert not (tmp_path / "other.xlsx").exists()
