"""Orders brought into the store: whole, once, with their photos; and all of it by command."""

from __future__ import annotations

import io
import json
import shutil
import sqlite3
import sys
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from sqlalchemy import func, select

from photocheck.case.samples import samples_folder
from photocheck.cli.main import run
from photocheck.orders import worn_tags as finding
from photocheck.orders.draft import Draft
from photocheck.orders.intake import bring as bring_module
from photocheck.orders.intake.bring import Result, bring
from photocheck.orders.intake.entries import entries_of_table
from photocheck.orders.intake.entries_of_cases import entries_of_cases
from photocheck.orders.intake.photo_folder import photo_folder
from photocheck.orders.store import DatabaseStore, open_store
from photocheck.orders.store.brought import find_brought, put_order
from photocheck.orders.store.tables import orders
from photocheck.orders.worn_tags import FoundTags
from photocheck.photo.load import load_photo
from photocheck.photo.photo import CameraFacts
from photocheck.uploads import Upload
from tests.support.tagged_photo import by_opencv, tagged

TABLE = "no;dog;half neck cm;photo\n1;Juno;41,5;juno.jpg\n2;Pip;38;pip.jpg\n3;Moss;4x;moss.jpg\n"


@pytest.fixture
def table(tmp_path: Path) -> Path:
    """A table with a bad row, and its photos."""
    path = tmp_path / "orders.csv"
    path.write_text(TABLE)
    for number, name in enumerate(("juno", "pip", "moss")):
        (tmp_path / "photos").mkdir(exist_ok=True)
        Image.new("RGB", (200, 150), (number, 0, 0)).save(tmp_path / "photos" / f"{name}.jpg")
    return path


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Photos are taken as they are; that they are made safe is tested with the uploads."""

    def take(content: bytes, _held: object, **_: object) -> Upload:
        return Upload(content, CameraFacts(None, "", "", "", None), "", (1, 1))

    monkeypatch.setattr(bring_module, "take_for_order", take)


def brought(store: DatabaseStore, path: Path, *, photos: bool = True, **more: Any) -> list[Result]:
    folder = photo_folder(path.parent / "photos") if photos else None
    found = entries_of_table(path, folder, told={}, remembered={}, unit="")
    return bring(store, found.entries, language="de", **more)


def outcomes(results: list[Result]) -> list[str]:
    return [result.outcome for result in results]


@pytest.mark.usefixtures("quick")
def test_the_same_table_again_doubles_nothing(store: DatabaseStore, table: Path) -> None:
    results = brought(store, table)
    assert outcomes(results) == ["new", "new", "held_back"]
    order = store.order(results[0].key)
    assert (order.name, order.language, order.state) == ("1, Juno", "de", "being_filled_in")
    (photo,) = order.draft.to_dict()["photos"]
    content = (table.parent / "photos" / "juno.jpg").read_bytes()
    assert store.photo(order.key, photo["file"]) == content
    # corrected, the same table adds that row alone
    table.write_text(TABLE.replace("4x", "40"))
    assert outcomes(brought(store, table)) == ["there", "there", "new"]
    assert outcomes(brought(store, table)) == ["there", "there", "there"]
    assert len(store.lines()) == 3


@pytest.mark.usefixtures("quick")
def test_a_changed_row_changes_nothing_unless_told(store: DatabaseStore, table: Path) -> None:
    first = brought(store, table)[0]
    table.write_text(TABLE.replace("41,5", "42"))
    again = brought(store, table)[0]
    assert (again.outcome, again.key) == ("held_back", first.key)
    assert "--update" in again.problems[0]
    assert store.order(first.key).draft.to_dict()["readings"]["half_neck"] == "41,5"
    before = store.order(first.key).draft.to_dict()["photos"]
    assert brought(store, table, update=True)[0].outcome == "completed"
    draft = store.draft(first.key).to_dict()
    assert draft["readings"]["half_neck"] == "42"
    assert draft["photos"] == before
    assert brought(store, table)[0].outcome == "there"


@pytest.mark.usefixtures("quick")
def test_photos_may_come_later(store: DatabaseStore, table: Path) -> None:
    table.write_text("no;dog;half neck cm\n1;Juno;41,5\n")
    (bare,) = brought(store, table, photos=False)
    assert store.order(bare.key).draft.to_dict()["photos"] == []
    for outcome in ("completed", "there"):
        (result,) = brought(store, table)
        assert (result.outcome, result.key) == (outcome, bare.key)
        assert len(store.order(bare.key).draft.to_dict()["photos"]) == 1
        assert len(store.photos(bare.key)) == 1


@pytest.mark.usefixtures("quick")
def test_photos_may_come_after_the_owner_took_another_out(
    store: DatabaseStore, table: Path
) -> None:
    table.write_text("no;dog;half neck cm\n1;Juno;41,5\n")
    key = brought(store, table, photos=False)[0].key
    # Taken out of the draft; the store still holds its bytes under the first name.
    assert store.keep_photo(key, b"\xff\xd8\xff another") == "photo-1.jpg"
    for photos_kept in (2, 2):  # the second time the owner took the imported one out as well
        store.save_draft(key, store.draft(key).but("photos", ()))
        (result,) = brought(store, table)
        assert (result.outcome, result.key) == ("completed", key)
        (photo,) = store.order(key).draft.to_dict()["photos"]
        assert photo["file"].startswith("photo-2")
        assert len(store.photos(key)) == photos_kept


@pytest.mark.usefixtures("quick")
def test_a_deleted_order_does_not_come_back(store: DatabaseStore, table: Path) -> None:
    store.forget(brought(store, table)[0].key)
    again = brought(store, table)[0]
    assert (again.outcome, again.key) == ("held_back", "")
    assert "deleted" in again.problems[0]


@pytest.mark.usefixtures("quick")
def test_a_try_brings_nothing_in(store: DatabaseStore, table: Path) -> None:
    assert outcomes(brought(store, table, try_only=True)) == ["new", "new", "held_back"]
    assert outcomes(bring(None, (), language="en", try_only=True)) == []
    assert store.lines() == ()


@pytest.mark.every_journal
def test_one_origin_gives_one_order_whoever_is_quicker(
    store: DatabaseStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two desks import the same row: the second sees the first's order, and leaves none behind."""
    from photocheck.orders.store import brought as module

    def put() -> tuple[str, bool]:
        return put_order(store, Draft(name="x"), {}, origin="o", content="c", language="en")

    key, new = put()
    assert new
    real = module._found
    blind = iter([True])  # looked before the other had finished
    monkeypatch.setattr(
        module, "_found", lambda *given: None if next(blind, False) else real(*given)
    )
    assert put() == (key, False)
    with store.reading() as connection:
        assert connection.execute(select(func.count()).select_from(orders)).scalar() == 1
    found = find_brought(store, "o")
    assert found is not None
    assert found.key == key


@pytest.mark.slow
def test_a_photo_that_is_none_costs_that_photo(store: DatabaseStore, table: Path) -> None:
    """Also: what comes in has gone through the gate for strangers' files."""
    (table.parent / "photos" / "pip.jpg").write_bytes(b"\xff\xd8\xff\xe0 broken")
    image = Image.open(table.parent / "photos" / "juno.jpg")
    exif = Image.Exif()
    exif[0x8825] = {1: "N", 2: (52.0, 31.0, 0.0)}  # GPS
    image.save(table.parent / "photos" / "juno.jpg", exif=exif)
    good, bad, _ = brought(store, table)
    assert (good.outcome, good.waits) == ("new", False)
    assert (bad.outcome, bad.waits, bad.problems) == ("new", True, ())
    assert bad.remarks[0].startswith("pip.jpg: ")
    assert store.photos(bad.key) == ()
    kept = store.photo(good.key, store.order(good.key).draft.to_dict()["photos"][0]["file"])
    assert b"GPS" not in kept
    assert kept != (table.parent / "photos" / "juno.jpg").read_bytes()
    # once it is a photo, the same table completes the order
    Image.new("RGB", (200, 150), (9, 0, 0)).save(table.parent / "photos" / "pip.jpg")
    again = brought(store, table)[1]
    assert (again.outcome, again.key, again.waits) == ("completed", bad.key, False)
    assert len(store.photos(bad.key)) == 1


@pytest.mark.usefixtures("quick")
def test_rows_whose_photo_is_still_to_come_come_in(store: DatabaseStore, table: Path) -> None:
    for name in ("juno.jpg", "pip.jpg"):
        (table.parent / "photos" / name).rename(table.parent / name)
    juno, pip, _ = brought(store, table)
    assert [(r.outcome, r.waits, r.ready) for r in (juno, pip)] == [("new", True, False)] * 2
    assert "no photo 'juno.jpg'" in juno.remarks[0]
    assert store.order(juno.key).state == "being_filled_in"
    assert store.order(juno.key).draft.readings == {"half_neck": "41,5"}
    (table.parent / "juno.jpg").rename(table.parent / "photos" / "juno.jpg")
    first, second, _ = brought(store, table)
    assert (first.outcome, first.key, first.waits) == ("completed", juno.key, False)
    assert (second.outcome, second.key, second.waits) == ("there", pip.key, True)
    assert "no photo 'pip.jpg'" in second.remarks[0]


@pytest.mark.usefixtures("quick")
def test_an_order_of_an_earlier_version_is_known_again(store: DatabaseStore, table: Path) -> None:
    """Without a number, too: it came in when nobody read the column with the e-mail address."""
    table.write_text("dog;half neck cm\nJuno;41,5\n")
    first = brought(store, table, photos=False)[0]
    table.write_text("dog;half neck cm;e-mail\nJuno;41,5;a@example.org\n")
    again = brought(store, table, photos=False)[0]
    assert (again.outcome, again.key) == ("there", first.key)


@pytest.mark.usefixtures("quick")
def test_a_look_reads_no_photo(
    store: DatabaseStore, table: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Path, "read_bytes", lambda path: pytest.fail(f"{path} was read"))
    folder = photo_folder(table.parent / "photos")
    found = entries_of_table(
        table, folder, told={}, remembered={}, unit="", content=TABLE.encode()
    ).entries
    looked = bring(store, found, language="en", try_only=True, limits=None)
    assert [(r.outcome, r.waits) for r in looked] == [
        ("new", False),
        ("new", False),
        ("held_back", False),
    ]
    assert store.lines() == ()


def test_case_files(tmp_path: Path, store: DatabaseStore, quick: None) -> None:
    flint = samples_folder() / "flint"
    case = json.loads((flint / "case.json").read_text())
    shutil.copytree(flint, tmp_path / "cases" / "flint")
    many = tmp_path / "cases" / "many.json"
    elsewhere = {**case, "name": "Elsewhere", "photos": [{**case["photos"][0]}]}
    elsewhere["photos"][0] = {**case["photos"][0], "file": "../outside.jpg"}
    shutil.copy(flint / "side.jpg", tmp_path / "outside.jpg")
    below = {**case, "name": "Below"}
    below["photos"] = [{**case["photos"][0], "file": "flint/side.jpg"}]
    many.write_text(json.dumps([below, elsewhere, {**below, "unit": "ell", "name": "Unit"}]))
    (tmp_path / "cases" / "broken.json").write_text("{")

    def come() -> dict[str, Result]:
        found = entries_of_cases([tmp_path / "cases"], None)
        assert found.notes == (
            f"Passed over, for they hold no case: {tmp_path / 'cases' / 'flint' / 'truth.json'}.",
        )
        return {r.where.rpartition("/")[2]: r for r in bring(store, found.entries, language="en")}

    results = come()
    assert {name: result.outcome for name, result in results.items()} == {
        "broken.json": "held_back",
        "case.json": "new",
        "many.json#1": "new",
        "many.json#2": "held_back",
        "many.json#3": "held_back",
    }
    assert results["case.json"].ready
    assert "'../outside.jpg' was not uploaded" in results["many.json#2"].problems[0]
    assert [r.outcome for r in come().values()].count("there") == 2
    # the same name and something else in it
    case["readings"]["half_neck"] = "43"
    (tmp_path / "cases" / "flint" / "case.json").write_text(json.dumps(case))
    assert "said something else" in come()["case.json"].problems[0]
    assert len(store.lines()) == 2


@pytest.mark.usefixtures("checked_here", "decoded_here")
def test_the_import_command(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    photos = tmp_path / "photos"
    photos.mkdir()
    shutil.copy(samples_folder() / "flint" / "side.jpg", photos / "2041-flint.jpg")
    shutil.copy(samples_folder() / "moss" / "side.jpg", photos / "moss.jpg")
    table = tmp_path / "orders.csv"
    table.write_bytes(
        "Nr;Hund;Halber Hals;vorn;hinten;Gesamtlänge (cm);Einheit;Foto;Brustbein;Widerrist;"
        "letzte Rippe;Schwanzansatz;Bogenmaß\r\n"
        "2041;Flint;42,5;46;28;73;cm;;807,6 773,9;964.3 553;1122.5 709.5;1300 596.6;147,5 mm\r\n"
        "2042;Moss;40,5;45;26;71;cm;moss.jpg\r\n"
        "2043;Pike;4o;45;26;71;cm;none.jpg\r\n"
        "2044;Tarn;4o;4o;;;cm;\r\n".encode("utf-8-sig")
    )
    store = tmp_path / "orders.sqlite3"
    command = ["desk", "import", str(table), "--photos", str(photos), "--store", str(store)]
    command += ["--jobs", "1", "--column", "bar=Bogenmaß"]
    assert run([*command, "--dry-run"]) == 13
    assert not store.exists()
    assert not (tmp_path / "config").exists()
    capsys.readouterr()
    assert run(command) == 13
    said = capsys.readouterr()
    assert "line 4 (2043, Pike): Column 'Halber Hals': '4o'" in said.err
    assert "line 4 (2043, Pike): there is no photo 'none.jpg'" in said.err
    assert "line 5 (2044, Tarn): Column 'Halber Hals': '4o'" in said.err
    assert "3 new, 0 completed, 0 there already, 1 held back." in said.out
    assert "Waiting for a photo: 1." in said.out
    assert "Checked: 1 (" in said.out
    with closing(open_store(str(store))) as opened:
        states = {line.name: line.state for line in opened.lines()}
        assert states == {
            "2041, Flint": "waiting",
            "2042, Moss": "being_filled_in",
            "2043, Pike": "being_filled_in",
        }
        (flint,) = [line.key for line in opened.lines() if line.state == "waiting"]
        assert opened.order(flint).checks[0].by == "import"
    table.write_bytes(table.read_bytes().replace(b"4o;4o", b"40;45"))
    # the same on standard input, as a program would give it
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(table.read_bytes())))
    assert run([*command[:2], "-", *command[3:-2]]) == 0
    assert "1 new, 0 completed, 3 there already, 0 held back." in capsys.readouterr().out
    with closing(open_store(str(store))) as opened:
        assert len(opened.order(flint).checks) == 1


@pytest.mark.parametrize(
    "wrong",
    [
        ["none.csv"],
        ["{t}", "--photos", "none"],
        ["{t}", "--column", "half_neck"],
        ["{t}", "--column", "half_neck=Nose"],
        ["{t}", "{t}"],
        ["{f}"],
        ["{f}", "--unit", "cm"],
    ],
)
def test_what_cannot_be_imported_leaves_no_store(
    tmp_path: Path, wrong: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "folder").mkdir()
    table = tmp_path / "t.csv"
    table.write_text("no\n1\n")
    given = [part.format(t=table, f=tmp_path / "folder") for part in wrong]
    store = tmp_path / "orders.sqlite3"
    assert run(["desk", "import", *given, "--store", str(store)]) == 2
    assert capsys.readouterr().err.startswith("photocheck: ")
    assert not store.exists()


def test_an_older_store_takes_imports(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    from photocheck.orders.store import schema
    from photocheck.orders.store.engines import engine_for, url_of

    path = tmp_path / "orders.sqlite3"
    schema.upgrade(engine_for(url_of(str(path))), to="0001")
    with closing(sqlite3.connect(path)) as old:
        assert old.execute("SELECT version_num FROM alembic_version").fetchone() == ("0001",)
    with closing(open_store(str(path))) as opened:
        key, new = put_order(opened, Draft(), {}, origin="o", content="c", language="en")
        assert new
        assert opened.order(key).draft.to_dict() == {}


@pytest.mark.usefixtures("decoded_here")
def test_a_photo_with_tags_needs_no_marks(
    store: DatabaseStore, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Brought in by its table, such an order is checked at once; its neighbour waits for marks."""
    monkeypatch.setattr(finding, "find_tags", by_opencv)
    folder = tmp_path / "photos"
    folder.mkdir()
    (folder / "moss.jpg").write_bytes(tagged()[0])
    shutil.copy(samples_folder() / "flint" / "side.jpg", folder / "juno.jpg")
    path = tmp_path / "orders.csv"
    path.write_text(
        "no;dog;full length cm;photo;known size;place\n"
        "1;Juno;79,5;juno.jpg;marker_sheet;middle\n2;Moss;79,5;moss.jpg;marker_sheet;middle\n"
    )
    looks = []

    def find(content: bytes, view: str) -> FoundTags:
        looks.append(view)
        return finding.tags_found(load_photo(content), view)

    juno, moss = brought(store, path, find_tags=find)
    assert (juno.ready, moss.ready) == (False, True), (juno, moss)
    assert looks == ["side", "side"]
    (marking,) = store.order(moss.key).draft.photos[0].markings
    assert marking.by == "tags"
