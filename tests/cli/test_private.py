"""What holds an owner's data is for whoever writes it alone, and steers no terminal."""

from __future__ import annotations

import json
import stat
from contextlib import closing
from pathlib import Path

import pytest

from photocheck.batch.results import Results, write_summary
from photocheck.cli.main import run
from photocheck.cli.say import say, say_json
from photocheck.orders.store import open_store
from tests.support.store_orders import checked


@pytest.fixture
def orders(tmp_path: Path) -> tuple[str, str]:
    address = str(tmp_path / "orders.sqlite3")
    with closing(open_store(address)) as store:
        key, _ = checked(store, name="Ju\x1b[31mno\x9b2J\u202e")
    return address, key


def mode(file: Path) -> int:
    return stat.S_IMODE(file.stat().st_mode)


def test_files_with_owners_data_are_private(orders: tuple[str, str], tmp_path: Path) -> None:
    address, key = orders
    written = {name: tmp_path / name for name in ("held.zip", "orders.csv", "backup")}
    written["held.zip"].write_text("an older one")
    written["held.zip"].chmod(0o666)
    assert run(["held", key, "-o", str(written["held.zip"]), "--store", address]) == 0
    assert run(["export", "-o", str(written["orders.csv"]), "--store", address]) == 0
    assert run(["backup", str(written["backup"]), "--store", address]) == 0
    written |= {"results": tmp_path / "results.jsonl", "summary": tmp_path / "summary.csv"}
    with Results(written["results"]) as results:
        results.add({"order": "1", "outcome": "refused"})
    write_summary(written["summary"], [])
    assert {name: mode(file) for name, file in written.items()} == dict.fromkeys(written, 0o600)


def test_a_name_steers_no_terminal(
    orders: tuple[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    address, key = orders
    run(["forget", key, "--yes", "--store", address])
    say("a\x1b]0;title\x07b\x9bc\u202ed\te\n")
    say_json(json.dumps({"name": "a\x9bb\u202e\x7f\x1b"}, ensure_ascii=False))
    said = capsys.readouterr()
    for text in (said.out, said.err):
        assert all(c.isprintable() or c in "\n\t" for c in text)
    assert json.loads(said.out.splitlines()[-1]) == {"name": "a\x9bb\u202e\x7f\x1b"}
