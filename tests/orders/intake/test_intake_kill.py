"""Import and batch, killed at random moments: nothing told is lost, nothing is half there."""

from __future__ import annotations

import io
import json
import os
import random
import shutil
import signal
import subprocess
import sys
from contextlib import closing
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from photocheck.batch.results import FORMAT
from photocheck.case.samples import samples_folder
from photocheck.orders.store import open_store
from tests.support.places import SUPPORT
from tests.support.waiting import some_moment, until

pytestmark = pytest.mark.slow

ROWS = 24
DOGS = ("flint", "moss", "pike", "heron", "tarn")


def lines_of(content: bytes) -> list[dict[str, Any]]:
    """The whole lines."""
    return [json.loads(line) for line in content[: content.rfind(b"\n") + 1].splitlines()]


@pytest.mark.parametrize("address", ["sqlite", "postgresql"], indirect=True)
def test_an_import_that_is_killed_goes_on_where_it_ended(
    address: str, tmp_path: Path, thorough: bool
) -> None:
    wanted = 20 if thorough else 10
    photos = tmp_path / "photos"
    photos.mkdir()
    table = tmp_path / "orders.csv"
    text = "no;dog;half neck cm\n"
    sizes = {}
    for n in range(100, 100 + ROWS):
        text += f"{n};Dog {n};4{n % 10},5\n"
        sizes[n] = (100 + n, 120)
        Image.new("RGB", sizes[n], (n, n, n)).save(photos / f"{n}.jpg")
    table.write_text(text)
    script = SUPPORT / "intake_writer.py"
    command = [sys.executable, str(script), str(table), str(photos), address]
    rng = random.Random(1)
    said: dict[str, str] = {}
    kills = 0
    with closing(open_store(address)) as store:
        while True:
            process = subprocess.Popen(command, stdout=subprocess.PIPE)
            assert process.stdout is not None
            process.stdout.readline()  # the store is open
            if kills < wanted:
                some_moment(process, rng.uniform(0, 0.5))
                process.kill()
                kills += 1
            content = process.stdout.read()
            process.wait()
            new = {line["where"]: line for line in lines_of(content)}
            for where, line in new.items():
                # "there" also when the kill came between the store's word and the import's
                allowed = ("there",) if where in said else ("there", "new")
                assert line["outcome"] in allowed
                assert said.setdefault(where, line["key"]) == line["key"]
            orders = {line.key: store.order(line.key) for line in store.lines()}
            assert set(said.values()) <= set(orders)
            for key, order in orders.items():
                number = int(order.name.partition(",")[0])
                assert order.draft.to_dict()["readings"] == {"half_neck": f"4{number % 10},5"}
                (photo,) = order.draft.to_dict()["photos"]
                with Image.open(io.BytesIO(store.photo(key, photo["file"]))) as p:
                    assert p.size == sizes[number]
            names = [order.name for order in orders.values()]
            assert len(names) == len(set(names))
            if process.returncode == 0:
                break
    assert kills == wanted
    assert len(names) == len(said) == ROWS


def children(pid: int) -> list[int]:
    """The processes that check, of a batch."""
    found = []
    for task in Path(f"/proc/{pid}/task").glob("*/children"):
        for child in task.read_text().split():
            command = Path(f"/proc/{child}/cmdline").read_bytes()
            if b"spawn_main" in command:
                found.append(int(child))
    return found


def gone(pid: int) -> bool:
    try:
        return "Z (zombie)" in Path(f"/proc/{pid}/status").read_text()
    except OSError:
        return True


def all_gone(pids: list[int]) -> bool:
    return all(gone(pid) for pid in pids)


def at_work(batch: subprocess.Popen[bytes], out: Path | None = None, size: int = 0) -> bool:
    """Whether its processes are there, or its results have grown, or it has ended."""
    if batch.poll() is not None:
        return True
    return bool(children(batch.pid)) if out is None else out.stat().st_size != size


@pytest.mark.parametrize("victim", ["batch", "worker"])
def test_a_batch_that_is_killed_goes_on_where_it_ended(
    victim: str, tmp_path: Path, thorough: bool
) -> None:
    times = 12 if thorough else 6
    folder = tmp_path / "cases"
    for name in DOGS:
        shutil.copytree(samples_folder() / name, folder / name)
    out = tmp_path / "out.jsonl"
    command = [sys.executable, "-m", "photocheck", "batch", str(folder)]
    command += ["-o", str(out), "--jobs", "2"]
    rng = random.Random(2)
    kept = b""
    kills = 0
    while True:
        process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        workers: list[int] = []
        until(partial(at_work, process), "processes that check")
        workers = children(process.pid) if process.poll() is None else []
        if kills < times:
            size = out.stat().st_size if out.exists() else 0
            # some before the first result, some after it
            if kills % 2:
                until(partial(at_work, process, out, size), "another result")
            some_moment(process, rng.uniform(0, 0.2))
            workers = children(process.pid) if process.poll() is None else []
            kills += 1
            if victim == "batch":
                process.kill()
            elif workers:
                os.kill(rng.choice(workers), signal.SIGKILL)
        code = process.wait(60)
        # nobody works on for nobody
        until(partial(all_gone, workers), "the workers' end")
        content = out.read_bytes()
        assert content.startswith(kept)
        kept = content[: content.rfind(b"\n") + 1]
        lines = lines_of(content)
        assert all(line["format"] == FORMAT for line in lines)
        if kills < times:
            # Some are done; begin again with fewer done, so that there is work left to kill.
            keep = lines[: rng.randrange(3)]
            kept = b"".join(json.dumps(line, ensure_ascii=False).encode() + b"\n" for line in keep)
            out.write_bytes(kept + rng.choice([b"", b'{"format": "photo']))
        elif code == 0:
            break
    assert kills == times
    assert len({line["order"] for line in lines}) == len(DOGS)
    last: dict[str, str] = {}
    for line in lines:
        # What is done is done again only after a crash, be it of a second look.
        again = line["outcome"] == "checked" and last.get(line["order"]) == "checked"
        assert not again, line["order"]
        last[line["order"]] = line["outcome"]
    assert set(last.values()) == {"checked"}
