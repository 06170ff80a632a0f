"""Moving code about must not move any answer."""

from __future__ import annotations

import json
from contextlib import closing
from pathlib import Path

import pytest
from alembic.script import ScriptDirectory

from photocheck.orders.store import schema
from photocheck.orders.store.brought import find_brought
from photocheck.server.access.passes import links_of
from photocheck.server.access.staff import recognised
from tests.golden import held


def _tolerance() -> float:
    known = json.loads((held.FOLDER / "kernel.json").read_text(encoding="utf-8"))
    return held.SAME_MACHINE if held.kernel() == known else held.OTHER_MACHINE


@pytest.mark.parametrize("name", held.names())
def test_a_held_case_is_answered_as_it_was(name: str) -> None:
    kept = json.loads((held.REPORTS / f"{name}.json").read_text(encoding="utf-8"))
    found = held.differences(held.answer(name), kept, relative=_tolerance())
    assert not found, "\n".join(found[:20])


def test_nothing_is_held_that_is_not_asked_for() -> None:
    kept = {path.stem for path in held.REPORTS.glob("*.json")}
    assert kept == set(held.names())


@pytest.mark.parametrize("factor", [1 + 1e-7, 1.001])
def test_a_moved_number_is_seen(factor: float) -> None:
    kept = json.loads((held.REPORTS / "sorrel-en.json").read_text(encoding="utf-8"))
    moved = json.loads(json.dumps(kept))
    moved["report"]["spans"][0]["photo_mm"] *= factor
    assert len(held.differences(moved, kept)) == 1


@pytest.mark.parametrize("version", held.STORE_VERSIONS)
def test_orders_of_every_schema_version_read_as_they_did(
    version: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    found = held.orders(version, tmp_path)
    kept = json.loads((held.STORES / f"{version}.json").read_text(encoding="utf-8"))
    assert held.differences(found, kept) == []


def test_every_schema_version_is_held() -> None:
    versions = ScriptDirectory(str(schema.MIGRATIONS)).walk_revisions()
    assert sorted(each.revision for each in versions) == list(held.STORE_VERSIONS)


def test_staff_and_links_of_a_held_store_still_open_it(tmp_path: Path) -> None:
    with closing(held.opened("0003", tmp_path)) as store:
        assert recognised(store, "Ada", "seven wet harnesses drying") == "ada"
        assert recognised(store, "Ada", "seven dry harnesses drying") is None
        assert sum(len(links_of(store, line.key)) for line in store.lines()) == 1
        assert find_brought(store, "ab" * 32) is not None
