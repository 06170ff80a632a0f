"""Orders listed, found, shown and decided on; nobody has to hunt for a key."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import click
import pytest

from photocheck.cli.main import commands, run
from photocheck.orders.draft import Draft
from photocheck.orders.store import DatabaseStore, open_store
from tests.support.store_orders import checked


@pytest.fixture
def three(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[DatabaseStore]:
    """Juno and Juniper, who wait, and Moss, with a number, which is being filled in."""
    monkeypatch.setenv("PHOTOCHECK_STORE", str(tmp_path / "orders.sqlite3"))
    with closing(open_store(str(tmp_path / "orders.sqlite3"))) as store:
        checked(store, name="Juno")
        checked(store, name="Juniper")
        told = {"name": "Moss", "unit": "cm", "owner": {"number": "2041"}}
        store.save_draft(store.open(), Draft.from_dict(told))
        yield store


def key(store: DatabaseStore, name: str) -> str:
    return next(line.key for line in store.lines() if line.name == name)


def told(arguments: list[str], capsys: pytest.CaptureFixture[str], code: int = 0) -> str:
    assert run(["orders", *arguments]) == code
    said = capsys.readouterr()
    return said.err if code else said.out


def test_what_waits_comes_first(three: DatabaseStore, capsys: pytest.CaptureFixture[str]) -> None:
    listed = told(["list"], capsys).splitlines()
    assert [len(line.split("  ")) > 3 for line in listed] == [True] * 3
    assert "Moss" in listed[-1]
    only = told(["list", "--state", "being-filled-in"], capsys).splitlines()
    assert len(only) == 1
    assert "2041, Moss" in only[0]
    parsed = json.loads(told(["list", "--json", "--state", "waiting"], capsys))
    assert {one["name"] for one in parsed} == {"Juno", "Juniper"}
    assert {len(one["order"]) for one in parsed} == {43}
    assert json.loads(told(["list", "--json", "--verdict", "agrees"], capsys)) == []


@pytest.mark.parametrize("how", ["2041", "Moss", "moss", "key", "beginning"])
def test_every_way_leads_to_the_order(
    how: str, three: DatabaseStore, capsys: pytest.CaptureFixture[str]
) -> None:
    moss = key(three, "Moss")
    way = {"key": moss, "beginning": moss[:6]}.get(how, how)
    shown = told(["show", way], capsys)
    assert moss in shown
    assert "Still lacking" in shown
    assert json.loads(told(["show", way, "--json"], capsys))["order"] == moss


def test_where_several_are_meant_they_are_named(
    three: DatabaseStore, capsys: pytest.CaptureFixture[str]
) -> None:
    said = told(["show", "Jun"], capsys, code=2)
    assert "2 orders" in said
    assert key(three, "Juno")[:8] in said
    assert key(three, "Juniper")[:8] in said
    assert "orders find" in told(["show", "Nobody"], capsys, code=2)
    assert "Juno" in told(["find", "juno"], capsys)
    assert told(["find", "nobody"], capsys) == ""


def test_finding_reads_notes_and_addresses_deciding_does_not(
    three: DatabaseStore, capsys: pytest.CaptureFixture[str]
) -> None:
    """A word in somebody's notes does not mean their order where something is done with it."""
    moss = key(three, "Moss")
    owner = {"number": "2041", "notes": "pulls a scooter", "email": "rowan@example.org"}
    three.save_draft(moss, Draft.from_dict({"name": "Moss", "unit": "cm", "owner": owner}))
    for words in (["scooter"], ["rowan@example"], ["MOSS", "pulls"]):
        (line,) = told(["find", *words], capsys).splitlines()
        assert moss[:8] in line
    assert told(["find", " "], capsys) == ""
    assert "no order" in told(["show", "scooter"], capsys, code=2)


def test_a_decision_needs_what_it_needs_at_the_desk(
    three: DatabaseStore, capsys: pytest.CaptureFixture[str]
) -> None:
    assert "reason" in told(["decide", "Juno", "accepted"], capsys, code=2)
    told(["decide", "Juno", "accepted", "--reason", "seen here", "--by", "Ada"], capsys)
    (made,) = three.order(key(three, "Juno")).decisions
    assert (made.choice, made.reason, made.by) == ("accepted", "seen here", "Ada")
    assert "seen here" in told(["show", "Juno"], capsys)
    assert "not been checked" in told(
        ["decide", "Moss", "refused", "--reason", "x"], capsys, code=2
    )


def test_unasked_an_order_goes_by_its_key_alone(
    three: DatabaseStore, capsys: pytest.CaptureFixture[str]
) -> None:
    assert "key" in told(["forget", "Moss", "--yes"], capsys, code=2)
    told(["forget", key(three, "Moss"), "--yes"], capsys)
    assert len(three.lines()) == 2


def test_both_spellings_are_the_same_command() -> None:
    context = click.Context(commands)
    group = commands.get_command(context, "orders")
    assert isinstance(group, click.Group)
    desk = commands.get_command(context, "desk")
    assert isinstance(desk, click.Group)
    assert group.get_command(context, "import") is desk.get_command(context, "import")
    for name in ("export", "backup", "restore", "held", "forget", "link", "record"):
        assert group.get_command(context, name) is commands.get_command(context, name)
