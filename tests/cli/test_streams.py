"""Standard input and output, colours, width, a full disk, a no: as https://clig.dev asks."""

from __future__ import annotations

import io
import json
import os
import pty
import subprocess
import sys
import zipfile
from contextlib import closing
from pathlib import Path
from typing import IO

import pytest

from photocheck.cli import say as saying
from photocheck.cli.main import run
from photocheck.errors import PhotocheckError, disk_is_full
from photocheck.files import replacing
from photocheck.orders.model import StoreError
from photocheck.orders.store import open_store
from photocheck.orders.store.copies import check_copy
from photocheck.orders.store.engines import reached
from tests.support.places import ROOT, SAMPLES
from tests.support.store_orders import checked

SORREL = SAMPLES / "sorrel"
FULL = Path("/dev/full")
on_linux = pytest.mark.skipif(not FULL.is_char_device(), reason="only Linux has a full device")


def photocheck(
    *arguments: str, sent: bytes = b"", cwd: Path = ROOT, stdout: IO[bytes] | None = None
) -> subprocess.CompletedProcess[bytes]:
    paths = os.pathsep.join((str(ROOT), str(ROOT / "app")))
    return subprocess.run(
        [sys.executable, "-m", "photocheck", *arguments],
        input=sent,
        stdout=stdout or subprocess.PIPE,
        stderr=subprocess.PIPE,
        cwd=cwd,
        env=os.environ | {"PYTHONPATH": paths},
        check=False,
    )


@pytest.fixture
def kept(tmp_path: Path) -> str:
    address = str(tmp_path / "orders.sqlite3")
    with closing(open_store(address)) as store:
        checked(store)
    return address


@pytest.mark.slow
def test_a_case_by_standard_input_is_the_same_case(capfd: pytest.CaptureFixture[str]) -> None:
    sent = (SORREL / "case.json").read_bytes()
    by_input = photocheck("check", "-", "--json", sent=sent, cwd=SORREL)
    assert by_input.returncode == 0, by_input.stderr
    by_name = photocheck("check", "case.json", "--json", cwd=SORREL)
    assert json.loads(by_input.stdout) == json.loads(by_name.stdout)
    report = by_input.stdout
    told = photocheck("fit", "-", "--json", sent=report, cwd=SORREL)
    assert json.loads(told.stdout)["outcome"] == "to_measure"
    assert b"Hello," in photocheck("message", "-", sent=report, cwd=SORREL).stdout


@pytest.mark.slow
def test_a_photo_by_standard_input_and_a_picture_by_standard_output() -> None:
    sent = (SORREL / "side.jpg").read_bytes()
    seen = photocheck("locate", "-", "--near", "1430,800", "--picture", "-", sent=sent)
    assert seen.returncode == 0, seen.stderr
    assert seen.stdout.startswith(b"\xff\xd8\xff")
    assert seen.stdout.endswith(b"\xff\xd9")
    assert b"A4" in seen.stderr


@pytest.mark.parametrize(
    ("arguments", "begins"),
    [
        (["export", "-o", "-"], b'"order"'),
        (["export", "--json", "-o", "-"], b"{"),
        (["orders", "held", "Juno", "-o", "-"], b"PK"),
        (["backup", "-"], b"SQLite format 3\0"),
        (["sheet", "--paper", "a4", "-o", "-"], b"%PDF"),
        (["shelf", "-"], b""),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else "",
)
def test_what_is_printed_is_the_file_and_nothing_else(
    arguments: list[str],
    begins: bytes,
    kept: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capfdbinary: pytest.CaptureFixture[bytes],
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("PHOTOCHECK_STORE", kept)
    assert run(arguments) == 0
    said = capfdbinary.readouterr()
    assert said.out.startswith(begins)
    assert said.out
    assert b"-: " in said.err
    assert not Path("-").exists()
    if begins == b"PK":
        assert zipfile.ZipFile(io.BytesIO(said.out)).testzip() is None
    if begins.startswith(b"SQLite"):
        Path("copy").write_bytes(said.out)
        assert check_copy("copy").orders == 1


@pytest.mark.slow
def test_a_copy_goes_from_one_store_to_another_by_a_pipe(kept: str, tmp_path: Path) -> None:
    copy = photocheck("backup", "-", "--store", kept).stdout
    other = str(tmp_path / "other.sqlite3")
    asked = photocheck("restore", "-", "--store", other, sent=copy)
    assert asked.returncode == 2  # who sends it cannot be asked
    assert photocheck("restore", "-", "--yes", "--store", other, sent=copy).returncode == 0
    with closing(open_store(other)) as store:
        assert [line.name for line in store.lines()] == ["Juno"]


def test_nothing_by_standard_input_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    said = photocheck("check", "-")
    assert (said.returncode, b"nothing came by standard input" in said.stderr) == (2, True)
    assert run(["batch", "-"]) == 2
    assert "photocheck check -" in capsys.readouterr().err


def in_terminal(*arguments: str, columns: int, **environment: str) -> str:
    """What a command prints where somebody looks on."""
    code = f"import sys; from photocheck.cli.main import run; sys.exit(run({list(arguments)!r}))"
    paths = os.pathsep.join((str(ROOT), str(ROOT / "app")))
    clean = {name: value for name, value in os.environ.items() if name != "NO_COLOR"}
    told = clean | {"PYTHONPATH": paths, "COLUMNS": str(columns), "TERM": "xterm"} | environment
    ours, theirs = pty.openpty()
    with subprocess.Popen(
        [sys.executable, "-c", code], stdout=theirs, stderr=subprocess.DEVNULL, env=told
    ):
        os.close(theirs)
        said = b""
        try:
            while part := os.read(ours, 65536):
                said += part
        except OSError:  # the other end has gone
            pass
    os.close(ours)
    return said.decode().replace("\r\n", "\n")


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="terminals are POSIX's")
def test_a_terminal_has_colours_and_lines_of_its_width(kept: str) -> None:
    asked = ("orders", "show", "Juno", "--store", kept)
    wide = in_terminal(*asked, columns=200)
    assert "\x1b[31m" in wide
    plain = in_terminal(*asked, columns=200, NO_COLOR="1")
    assert "\x1b" not in plain
    assert "\x1b" not in in_terminal(*asked, columns=200, TERM="dumb")
    assert max(map(len, plain.splitlines())) <= saying.WIDEST
    narrow = in_terminal(*asked, columns=50, NO_COLOR="1").splitlines()
    told = [line for line in narrow if not line.startswith(("Where the doubt", "  "))]
    assert max(map(len, told[2:])) <= 50
    listed = in_terminal("orders", "list", "--store", kept, columns=40, NO_COLOR="1")
    assert all(len(line) <= 40 for line in listed.splitlines())


def test_no_colours_where_nobody_looks_on(kept: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["orders", "list", "--store", kept]) == 0
    assert "\x1b" not in capsys.readouterr().out


@on_linux
def test_a_full_disk_is_told_as_such(kept: str, capsys: pytest.CaptureFixture[str]) -> None:
    with FULL.open("wb") as full:
        said = photocheck("schema", "case", stdout=full)
    assert said.returncode == 2
    assert b"the disk is full" in said.stderr
    assert b"Traceback" not in said.stderr
    assert b"Exception" not in said.stderr
    with pytest.raises(PhotocheckError, match="the disk is full"), replacing(FULL) as file:
        file.write(b"x")
    assert FULL.is_char_device()  # nothing has taken its place
    assert run(["export", "-o", str(FULL), "--store", kept]) == 2
    assert "the disk is full" in capsys.readouterr().err


def test_a_full_disk_of_the_store_is_told_as_such(kept: str) -> None:
    with closing(open_store(kept)) as store:

        def fill() -> None:
            with reached(), store.engine.begin() as connection:
                # As a disk of that size would: https://sqlite.org/pragma.html#pragma_max_page_count
                connection.exec_driver_sql("PRAGMA max_page_count = 1")
                connection.exec_driver_sql("INSERT INTO ratios VALUES ('x', ?)", ("x" * 1_000_000,))

        with pytest.raises(StoreError, match="the disk of the orders is full"):
            fill()
    assert not disk_is_full(OSError(2, "No such file"))


def test_a_no_is_a_no_and_no_interruption(
    kept: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(b"n\n")))
    assert run(["forget", "Juno", "--store", kept]) == 3
    said = capsys.readouterr()
    assert "nothing was changed" in said.err
    assert "interrupted" not in said.err
    with closing(open_store(kept)) as store:
        assert len(store.lines()) == 1


def test_every_command_speaks_the_language_it_is_asked_for(
    kept: str, capsys: pytest.CaptureFixture[str]
) -> None:
    for arguments in (
        ["check", "--language", "de"],
        ["--language", "de", "check"],
        ["--language", "en", "check", "--language=de"],
    ):
        assert run(arguments) == 2
        assert "es ist nichts zu prüfen angegeben" in capsys.readouterr().err
    assert run(["orders", "list", "--store", kept, "--language", "de"]) == 0
    assert "wartet" in capsys.readouterr().out
    assert run(["staff", "remove", "Nobody", "--store", kept, "--language", "de"]) == 2
    assert "kann sich" in capsys.readouterr().err


def test_the_shell_completes_commands() -> None:
    paths = os.pathsep.join((str(ROOT), str(ROOT / "app")))
    asked = {"_PHOTOCHECK_COMPLETE": "bash_complete", "COMP_WORDS": "photocheck orders li"}
    done = subprocess.run(
        [sys.executable, "-m", "photocheck"],
        env=os.environ | asked | {"COMP_CWORD": "2", "PYTHONPATH": paths},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.stdout.split() == ["plain,link", "plain,list"]
