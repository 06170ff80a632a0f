"""Killed at any moment, the store has lost nothing it acknowledged, and holds nothing torn."""

from __future__ import annotations

import json
import os
import random
import select
import shutil
import signal
import subprocess
import sys
import time
from collections import defaultdict
from collections.abc import Iterator
from contextlib import closing
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest

from photocheck.orders.draft import Draft
from photocheck.orders.store import DatabaseStore, copies, open_store, schema
from photocheck.orders.store.copies import back_up, check_copy, remove, side_copies
from photocheck.orders.store.engines import engine_for, url_of
from photocheck.orders.store.unfinished import ENDINGS
from tests.support.places import ROOT, SUPPORT
from tests.support.store_orders import checked
from tests.support.store_writer import REPORT, text_of
from tests.support.waiting import until

KILLS, THOROUGH_KILLS = 200, 1000
SIDE_KILLS, THOROUGH_SIDE_KILLS = 12, 100
"""Of each: a copy, a restore, forgetting, an upgrade."""

pytestmark = [pytest.mark.slow, pytest.mark.every_journal]


class Writers:
    """The process that forks writers, and all that those have said."""

    def __init__(self, kind: str, address: str) -> None:
        script = SUPPORT / "store_writer.py"
        self.process = subprocess.Popen(
            [sys.executable, str(script), kind, address],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
        )
        self.address = address
        self.said: list[dict[str, Any]] = []
        self._rest = b""
        self._wait_for_ready()

    def start(self, **task: object) -> int:
        """Start one; gives its process id once it has opened the store."""
        assert self.process.stdin is not None
        line = json.dumps({"address": self.address, **task})
        self.process.stdin.write(line.encode() + b"\n")
        self.process.stdin.flush()
        return self._wait_for_ready()

    def _wait_for_ready(self) -> int:
        until = time.monotonic() + 60
        while time.monotonic() < until:
            for what in self.listen(0.002):
                if "ready" in what:
                    return int(what["ready"])
        raise AssertionError("no writer started")

    def wait_for(self, count: int) -> None:
        """Wait until so many more writes are acknowledged, on a busy machine too."""
        until = time.monotonic() + 60
        while count > 0 and time.monotonic() < until:
            count -= len(self.listen(0.002))

    def time_of(self, **task: object) -> float:
        """How long a task takes that is not disturbed, s."""
        pid = self.start(**task)
        begun = time.monotonic()
        self.wait_for(1)
        kill(pid)
        return time.monotonic() - begun

    def listen(self, seconds: float) -> list[dict[str, Any]]:
        """What is said within a time; reads on as long as somebody speaks."""
        assert self.process.stdout is not None
        handle = self.process.stdout.fileno()
        heard = b""
        until = time.monotonic() + seconds
        while select.select([handle], [], [], max(0.0, until - time.monotonic()))[0]:
            heard += os.read(handle, 65536)
            if time.monotonic() > until:
                break
        *lines, self._rest = (self._rest + heard).split(b"\n")
        new = [json.loads(line) for line in lines]
        assert not [what for what in new if "failed" in what], new
        self.said += new
        return new


@pytest.fixture
def writers(
    address: str,
    request: pytest.FixtureRequest,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> Iterator[Writers]:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    open_store(address).close()
    kind = request.node.callspec.params["address"]
    made = Writers(kind, address)
    yield made
    made.process.kill()
    made.process.wait()


def kill(pid: int) -> None:
    os.kill(pid, signal.SIGKILL)
    until(lambda: not Path(f"/proc/{pid}").exists(), "its end")


def test_nothing_acknowledged_is_lost_or_torn(
    writers: Writers, address: str, request: pytest.FixtureRequest, thorough: bool
) -> None:
    seed = random.Random(str(request.node.name))
    keys = [""]
    kills, least = 0, THOROUGH_KILLS if thorough else KILLS
    # A busy machine acknowledges little between two kills: then it takes more of them.
    while kills < least or (fewest(writers.said) <= least / 10 and kills < 5 * least):
        pids = [
            writers.start(do="write", seed=kills + n, key=seed.choice(keys[-3:])) for n in range(2)
        ]
        for pid in pids:  # while one is killed the other writes on
            writers.wait_for(seed.choice([0, 0, 1, 2]))
            writers.listen(seed.uniform(0, 0.03))
            kill(pid)
            kills += 1
        writers.listen(0)
        keys += [what["key"] for what in writers.said if "key" in what][-1:]
        if kills % 20 == 0:
            look_through(writers.said[-200:], address)
    with closing(open_store(address)) as store:
        look_at_all(store)
    look_through(writers.said, address)
    print(f"{request.node.name}: {kills} kills; acknowledged and all there: {saved(writers.said)}")
    assert fewest(writers.said) > least / 10


def saved(said: list[dict[str, Any]]) -> dict[str, int]:
    """How many writes of each kind were acknowledged."""
    return {
        step: sum(step in what for what in said) for step in ("draft", "photo", "check", "decision")
    }


def fewest(said: list[dict[str, Any]]) -> int:
    return min(saved(said).values())


def look_through(said: list[dict[str, Any]], address: str) -> None:
    """All that was acknowledged is there."""
    by_order: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for what in said:
        if "key" in what:
            by_order[what["key"]].append(what)
    with closing(open_store(address)) as store:
        if store.engine.dialect.name == "sqlite":
            with store.reading() as connection:
                assert connection.exec_driver_sql("PRAGMA integrity_check").scalars().all() == [
                    "ok"
                ]
                assert connection.exec_driver_sql("PRAGMA foreign_key_check").all() == []
        for key, acknowledged in by_order.items():
            order = store.order(key)
            checks = {check.number: check for check in order.checks}
            drafts = [(what["seed"], what["draft"]) for what in acknowledged if "draft" in what]
            if drafts:
                # The newest may be another writer's, killed before it could say so.
                writer, number = order.draft.to_dict()["seed"], order.draft.to_dict()["number"]
                assert number >= max((n for seed, n in drafts if seed == writer), default=1)
            for what in acknowledged:
                if "photo" in what:
                    content = store.photo(key, what["photo"])
                    assert sha256(content).hexdigest() == what["sha256"]
                elif "check" in what:
                    assert len(checks[what["check"]].case.to_dict()["photos"]) == what["photos"]
                elif "decision" in what:
                    assert any(
                        (d.check, d.choice, d.reason)
                        == (what["decision"], what["choice"], what["reason"])
                        for d in order.decisions
                    )


def look_at_all(store: DatabaseStore) -> None:
    """What is there is whole, also what was never acknowledged."""
    with store.reading() as connection:
        for table, least in (("readings", 4), ("check_photos", 1)):
            counted = connection.exec_driver_sql(
                f"SELECT c.number, count(r.check_number) FROM checks c LEFT JOIN {table} r "
                "ON r.check_number = c.number GROUP BY c.number"
            )
            assert all(count >= least for _, count in counted)
    for line in store.lines():
        order = store.order(line.key)
        if order.draft != Draft():
            assert order.draft.to_dict() == text_of(
                order.draft.to_dict()["number"], order.draft.to_dict()["seed"]
            )
        for check in order.checks:
            assert check.report == REPORT
        for photo in store.photos(line.key):
            assert sha256(store.photo(line.key, photo.name)).hexdigest() == photo.sha256


@pytest.fixture
def side_kills(thorough: bool) -> int:
    return THOROUGH_SIDE_KILLS if thorough else SIDE_KILLS


def test_a_copy_is_whole_or_the_one_before(
    writers: Writers, address: str, tmp_path: Path, side_kills: int
) -> None:
    copy = tmp_path / "copy"
    with closing(open_store(address)) as store:
        fill(store)
        back_up(store, copy)
    rng = random.Random(5)
    usual = writers.time_of(do="backup", file=str(copy))
    for _ in range(side_kills):
        pid = writers.start(do="backup", file=str(copy))
        writers.listen(rng.uniform(0, 2 * usual))
        kill(pid)
        assert check_copy(copy).orders == 8
    nothing_hidden(address, tmp_path)


def nothing_hidden(address: str, *folders: Path) -> None:
    """Opening the store once has removed all that the killed left half made."""
    open_store(address).close()
    for folder in folders:
        left = [file.name for file in folder.rglob("*") if file.is_file()]
        # an empty lock may stay for a minute
        left = [name for name in left if not name.endswith(".lock")]
        assert [name for name in left if name.endswith(".part") or ".unfinished-" in name] == []


def test_a_restore_is_done_or_not_at_all(
    writers: Writers, address: str, tmp_path: Path, side_kills: int
) -> None:
    copy = tmp_path / "copy"
    with closing(open_store(address)) as store:
        fill(store)
        back_up(store, copy)
        before = {line.key for line in store.lines()}
        checked(store)
        usual = writers.time_of(do="restore", file=str(copy))
        rng = random.Random(6)
        outcomes = set()
        now = before
        for number in range(side_kills):
            if now == before:
                new, _ = checked(store)
            pid = writers.start(do="restore", file=str(copy))
            acknowledged = number % 4 == 0
            if acknowledged:
                writers.wait_for(1)
            elif number % 4 > 1:
                writers.listen(rng.uniform(0, 2 * usual))
            kill(pid)
            now = {line.key for line in store.lines()}
            assert now == before if acknowledged else now in (before, before | {new})
            outcomes.add(now == before)
            look_at_photos(store)
            for path in side_copies(store):
                check_copy(path)
                remove(path)
        assert outcomes == {True, False}
    nothing_hidden(address, tmp_path)


def fill(store: DatabaseStore) -> None:
    for n in range(8):
        key, _ = checked(store, name=str(n))
        store.keep_photo(key, random.Random(n).randbytes(200_000))


def look_at_photos(store: DatabaseStore) -> None:
    for line in store.lines():
        for photo in store.photos(line.key):
            assert sha256(store.photo(line.key, photo.name)).hexdigest() == photo.sha256


def test_an_order_is_forgotten_or_whole(
    writers: Writers, address: str, tmp_path: Path, side_kills: int
) -> None:
    rng = random.Random(7)
    gone: set[str] = set()
    with closing(open_store(address)) as store:
        fill(store)
        usual = writers.time_of(do="forget")
        for _ in range(side_kills):
            if len(store.lines()) < 4:
                fill(store)
            before = {line.key for line in store.lines()}
            pid = writers.start(do="forget")
            writers.listen(rng.uniform(0, 4 * usual))
            kill(pid)
            writers.listen(0)
            left = {line.key for line in store.lines()}
            gone |= before - left
            assert set(store.forgotten_of(before)) == before - left
            look_at_photos(store)
            for key in left:
                assert (len(store.photos(key)), len(store.order(key).checks)) == (2, 1)
            said = {what["forgot"] for what in writers.said if "forgot" in what}
            assert not said & left
            if store.in_a_file:
                held = b"".join(file.read_bytes() for file in tmp_path.glob("orders*"))
                assert not [key for key in said if key.encode() in held]
    assert gone
    nothing_hidden(address, tmp_path)


def test_an_upgrade_is_done_or_not_at_all(
    writers: Writers, address: str, tmp_path: Path, side_kills: int
) -> None:
    rng = random.Random(8)
    old = address if "://" in address else str(tmp_path / "old.sqlite3")
    as_of_first_version(old)
    begun = time.monotonic()
    with closing(open_store(old)) as store:
        usual = time.monotonic() - begun
        wanted = {line.key: whole(store, line.key) for line in store.lines()}
    versions = set()
    for number in range(side_kills):
        as_of_first_version(old)
        pid = writers.start(do="upgrade", address=old)
        acknowledged = number % 4 == 0
        if acknowledged:
            writers.wait_for(1)
        else:
            writers.listen(rng.uniform(0, 1.5 * usual))
        kill(pid)
        engine = engine_for(url_of(old))
        with engine.connect() as connection:
            found = schema.version_of(connection)
        engine.dispose()
        assert found == schema.SCHEMA if acknowledged else found in ("0001", schema.SCHEMA)
        versions.add(found)
        with closing(open_store(old)) as store:
            assert {line.key: whole(store, line.key) for line in store.lines()} == wanted
            assert side_copies(store)
            for path in side_copies(store):
                assert check_copy(path).version == "0001"
                remove(path)
    assert versions == {"0001", schema.SCHEMA}
    nothing_hidden(old, tmp_path)


def as_of_first_version(address: str) -> None:
    """The held orders of the first version of the tables, in place of what is there."""
    held = ROOT / "tests" / "golden" / "stores" / "0001.sqlite3"
    if "://" not in address:
        for ending in ENDINGS:
            Path(f"{address}{ending}").unlink(missing_ok=True)
        shutil.copyfile(held, address)
        return
    engine = engine_for(url_of(address))
    with engine.begin() as connection:
        connection.exec_driver_sql("DROP SCHEMA public CASCADE")
        connection.exec_driver_sql("CREATE SCHEMA public")
    schema.upgrade(engine, to="0001")
    source = DatabaseStore(engine_for(url_of(str(held))))
    with source.reading() as rows, engine.begin() as target:
        copies._copy_rows(rows, target)
    source.close()
    engine.dispose()


def whole(store: DatabaseStore, key: str) -> tuple[object, ...]:
    photos = [(photo.sha256, len(store.photo(key, photo.name))) for photo in store.photos(key)]
    return store.order(key), photos
