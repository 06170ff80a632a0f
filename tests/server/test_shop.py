"""The shop's own files: told once through the environment, read again when they change."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from photocheck.cli.main import run
from photocheck.errors import CaseError
from photocheck.fit.shelf import ShelfError, demo_table
from photocheck.judge.ratios import Ratios, write_ratios
from photocheck.orders.messages.drafting import MessageError
from photocheck.photo import kind
from photocheck.server import serving
from photocheck.server.shop import Shop, ShopError, environment_of, shop_of
from photocheck.words import EXIT_CODES
from tests.support.learnt import learnt


def written_later(path: Path, text: str) -> None:
    """Write with a later time than before, however coarse the disk's clock is."""
    before = path.stat().st_mtime_ns if path.exists() else 0
    path.write_text(text, encoding="utf-8")
    os.utime(path, ns=(before + 10**9, before + 10**9))


def test_an_environment_tells_the_same_in_any_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    told = environment_of(Shop("sizes.csv", "", "ours", heic=True))
    monkeypatch.chdir("/")
    assert shop_of(told) == Shop(str(tmp_path / "sizes.csv"), "", str(tmp_path / "ours"), True)
    assert shop_of(environment_of(Shop())) == shop_of({}) == Shop()


def test_whose_pages_they_are_is_told_too() -> None:
    shop = Shop(name="The invented harness room", reach="0123 456", colour="#1f4e5f")
    assert shop_of(environment_of(shop)) == shop
    shop.check()
    with pytest.raises(ShopError, match="'teal' is no colour"):
        Shop(colour="teal").check()


def test_an_answer_that_is_neither_yes_nor_no_is_not_guessed() -> None:
    with pytest.raises(ShopError, match="PHOTOCHECK_HEIC: 'maybe' is neither yes nor no"):
        shop_of({"PHOTOCHECK_HEIC": "maybe"})
    assert shop_of({"PHOTOCHECK_HEIC": " YES "}).heic
    assert not shop_of({"PHOTOCHECK_HEIC": "0"}).heic


def test_heic_is_taken_where_it_can_be_read(monkeypatch: pytest.MonkeyPatch) -> None:
    assert shop_of({}).heic
    assert Shop().heic
    monkeypatch.setattr(kind, "HEIC_LIBRARY", "no_such_library")
    assert not shop_of({}).heic
    assert not Shop().heic


def test_sizes_are_read_again_when_the_file_changes(tmp_path: Path) -> None:
    file = tmp_path / "sizes.csv"
    written_later(file, demo_table())
    shop = Shop(shelf=str(file))
    assert shop.sizes() is shop.sizes()  # not read anew for every page
    names = [size.name for size in shop.sizes()]
    written_later(file, demo_table().replace("middle,", "in between,"))
    assert [size.name for size in shop.sizes()] == [
        "in between" if name == "middle" else name for name in names
    ]
    written_later(file, "size;\n")
    for _ in range(2):
        with pytest.raises(ShelfError, match="column"):
            shop.sizes()
    file.unlink()
    with pytest.raises(ShelfError, match="cannot be read"):
        shop.sizes()
    written_later(file, demo_table())
    assert [size.name for size in shop.sizes()] == names


def test_what_was_learnt_since_is_used_and_a_broken_file_never_means_the_shipped(
    tmp_path: Path,
) -> None:
    file = tmp_path / "ratios.json"
    write_ratios(file, Ratios())
    shop = Shop(ratios=str(file))
    assert shop.learnt() == Ratios()
    write_ratios(file, learnt())
    assert shop.learnt() == learnt()
    written_later(file, file.read_text().replace("0.8", "0.7"))
    with pytest.raises(CaseError, match="changed after it was learnt"):
        shop.learnt()
    assert Shop().learnt() is None


def broken_template(folder: Path) -> str:
    (folder / "de").mkdir(parents=True)
    (folder / "de" / "closing.txt").write_text("Viele Grüße\n{% if %}", encoding="utf-8")
    return str(folder)


def test_a_broken_template_is_told_with_its_line(tmp_path: Path) -> None:
    folder = broken_template(tmp_path)
    with pytest.raises(MessageError, match=r"de.closing\.txt, line 2"):
        Shop(templates=folder).check()
    (tmp_path / "de" / "closing.txt").write_bytes(b"\xff\xfe\xfa")
    with pytest.raises(MessageError, match="UTF-8"):
        Shop(templates=folder).check()
    (tmp_path / "de" / "closing.txt").write_text("{{ dog }}")
    Shop(templates=folder).check()
    with pytest.raises(MessageError, match="no such folder"):
        Shop(templates=str(tmp_path / "nowhere")).check()


@pytest.mark.parametrize("option", ["--shelf", "--ratios", "--templates"])
def test_wrong_files_are_told_before_the_server_starts(
    option: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setattr(serving, "import_module", lambda *_: pytest.fail("it started"))
    monkeypatch.setattr(serving, "refuse_taken_port", lambda *_: None)
    wrong = str(tmp_path / "wrong")
    store = str(tmp_path / "orders.sqlite3")
    assert run(["serve", option, wrong, "--store", store]) == EXIT_CODES["bad_input"]
    error = capsys.readouterr().err
    assert wrong in error
    assert "Traceback" not in error
    assert not Path(store).exists()
