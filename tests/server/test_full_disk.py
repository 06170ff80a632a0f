"""A real disk that is full: said in a sentence, nothing acknowledged lost, and on by itself.

On a filesystem of a few megabytes that is mounted for the test alone.
"""

from __future__ import annotations

import asyncio
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
import requests

from tests.support.served_alone import Alone, served_alone
from tests.support.small_disk import SmallDisk, small_disk
from tests.support.visitors.kept import wrongs
from tests.support.visitors.made import told_by
from tests.support.visitors.owner import Owner, play_all
from tests.support.visitors.wire import PageError, Wire

pytestmark = pytest.mark.slow

MEGABYTES = 48
NOT_STORED = "What you changed last could not be stored yet."
AWAY = "The orders cannot be reached just now"
PHOTO = "Take or choose a photo"


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[SmallDisk]:
    folder = tmp_path / "disk"
    folder.mkdir()
    with small_disk(folder, MEGABYTES) as disk:
        yield disk


@pytest.fixture
def app(disk: SmallDisk, tmp_path: Path) -> Iterator[Alone]:
    """A server whose orders lie on the small disk."""
    where = ["--store", str(disk.folder / "orders.sqlite3")]
    with served_alone(tmp_path, before=disk.inside, options=where) as app:
        yield app


def headings(wire: Wire) -> list[str]:
    return [str(heading.body) for heading in wire.all("heading")]


async def _again(owner: Owner, address: str) -> None:
    """The same order in another page, as by its link."""
    query = owner.wire.query
    await owner.wire.close()
    owner.wire = Wire(address, locale=owner.told.locale)
    await owner.wire.open(f"/?{query}")


async def _owner_on_a_full_disk(owner: Owner, address: str, disk: SmallDisk) -> None:
    wire = owner.wire
    await wire.open("/?begin=quick")
    (field,) = [field.label for field in wire.all("text_input")]
    await wire.type(field, owner.told.readings[field])
    disk.fill()
    health = await asyncio.to_thread(requests.get, f"{address}/health", timeout=30)
    assert health.status_code == 503
    assert len(health.text.splitlines()) == 1

    # what is typed is held, and stored without being typed again
    await wire.type(field, "16")
    assert wire.shows(NOT_STORED)
    disk.make_room()
    await wire.run()
    assert not wire.shows(NOT_STORED)
    await _again(owner, address)
    (field_again,) = owner.wire.all("text_input")
    assert field_again.default == "16"
    await owner.wire.type(field, owner.told.readings[field])
    del owner.told.readings[field]
    await owner._tell_readings()
    await owner._tell_dog()

    # a photo is not taken in, and is once there is room
    disk.fill()
    with pytest.raises(PageError, match="Nothing is lost; try again in a moment"):
        await owner.wire.upload(PHOTO, "side.jpg", owner.told.photo)
    disk.make_room()
    await _again(owner, address)
    await owner._give_photo()
    await owner._place_marks()

    # a check is shown where it could be kept: SQLite may have room for it in its own file
    disk.fill()
    await owner.wire.press("See the result")
    assert (owner._verdict() == "") == (AWAY in headings(owner.wire))
    disk.make_room()
    await owner.wire.run()
    owner.headline = owner._verdict()
    assert owner.headline
    label = next(
        button.label for button in owner.wire.all("button") if "to the workshop" in button.label
    )
    await owner.wire.press(label)
    await owner.wire.press("Send")
    assert owner.wire.shows("Sent to the workshop.")
    await owner.wire.close()


def test_an_owner_on_a_full_disk_loses_nothing_and_goes_on(
    app: Alone, disk: SmallDisk, tmp_path: Path
) -> None:
    before, owner = (Owner(app.address, told_by(number)) for number in range(2))
    play_all([before])
    readings = dict(owner.told.readings)
    asyncio.run(asyncio.wait_for(_owner_on_a_full_disk(owner, app.address, disk), 300))
    owner.told.readings.update(readings)
    # looked through from where the disk is seen
    copy = disk.run("cp", disk.folder / "orders.sqlite3", tmp_path)
    assert copy.returncode == 0, copy.stderr
    told = {one.told.name: one.headline for one in (before, owner)}
    kept_at = tmp_path / "orders.sqlite3"
    assert wrongs(kept_at, [before.told, owner.told], told) == []
    assert "Traceback" not in app.log.read_text()


def test_commands_on_a_full_disk_say_so_and_leave_nothing(disk: SmallDisk, tmp_path: Path) -> None:
    store = tmp_path / "orders.sqlite3"  # on a disk with room
    with served_alone(tmp_path) as app:
        owner = Owner(app.address, told_by(0))
        play_all([owner])
    full = disk.folder

    def photocheck(*said: str | Path) -> tuple[int, str]:
        done = disk.run(sys.executable, "-m", "photocheck", *said, "--store", store)
        return done.returncode, (done.stderr + done.stdout).decode()

    named = owner.told.name
    commands: dict[str, tuple[str | Path, ...]] = {
        "backup": ("backup", full / "copy"),
        "export": ("export", "-o", full / "all.csv"),
        "export all": ("export", "-o", full / "all.json"),
        "held": ("held", named, "-o", full / "held.zip"),
        "record": ("record", named, "-o", full / "record.html"),
        "record PDF": ("record", named, "-o", full / "record.pdf"),
    }
    disk.fill()
    there = disk.files()
    for what, command in commands.items():
        code, said = photocheck(*command)
        assert code == 2, (what, said)
        assert "the disk is full" in said, what
        assert "Traceback" not in said, what
        assert len(said.strip().splitlines()) == 1, (what, said)
        assert disk.files() == there, what
    disk.make_room()
    for what, command in commands.items():
        code, said = photocheck(*command)
        assert code == 0, (what, said)
    assert {command[-1].name for command in commands.values() if isinstance(command[-1], Path)} <= {
        *disk.files()
    }


def test_a_table_is_brought_in_as_far_as_there_is_room_and_the_rest_later(disk: SmallDisk) -> None:
    store = disk.folder / "orders.sqlite3"

    def photocheck(*said: str | Path) -> tuple[int, str]:
        done = disk.run(sys.executable, "-m", "photocheck", *said, "--store", store)
        return done.returncode, (done.stderr + done.stdout).decode()

    def bring(orders: int) -> tuple[int, str]:
        table = disk.folder.parent / "orders.csv"
        rows = (f"Invented {number},41,52\n" for number in range(orders))
        head = "Dog,Half neck (cm),Front length (cm)\n"
        table.write_text(head + "".join(rows), encoding="utf-8")
        return photocheck("orders", "import", table)

    def there() -> int:
        code, said = photocheck("export", "-o", "-")
        assert code == 0, said
        # a name and a dog each
        return said.count('"Invented ') // 2

    assert bring(5)[0] == 0
    disk.fill()
    code, said = bring(300)
    assert code in (2, 13), said
    assert "full" in said
    assert "Traceback" not in said
    before = there()
    assert 5 <= before < 300
    disk.make_room()
    code, said = bring(300)
    assert code == 0, said
    assert there() == 300


async def _photo_without_room(owner: Owner, disk: SmallDisk) -> None:
    await owner.wire.open("/?begin=quick")
    await owner._tell_readings()
    await owner._tell_dog()
    disk.fill()
    with pytest.raises(requests.HTTPError, match="507"):
        await owner.wire.upload(PHOTO, "side.jpg", owner.told.photo)
    disk.make_room()
    await owner._give_photo()
    await owner._place_marks()
    await owner._see_result()
    await owner.wire.close()


def test_photos_on_their_way_in_find_no_room_and_then_do(disk: SmallDisk, tmp_path: Path) -> None:
    """The small disk holds temporary files alone."""
    code = f"import tempfile; tempfile.tempdir = {str(disk.folder)!r}"
    with served_alone(tmp_path, before=disk.inside, code=code) as app:
        owner = Owner(app.address, told_by(0))
        asyncio.run(asyncio.wait_for(_photo_without_room(owner, disk), 300))
        assert wrongs(app.store, [owner.told], {owner.told.name: owner.headline}) == []
        said = app.log.read_text()
        assert "No space left on device" in said
        assert "Traceback" not in said
