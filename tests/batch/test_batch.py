"""Many orders checked: resumed, recorded, and no order stopped by another."""

from __future__ import annotations

import csv
import json
import os
import shutil
import signal
import threading
from concurrent.futures import BrokenExecutor, Executor, ThreadPoolExecutor
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from photocheck.batch import many
from photocheck.batch.lanes import Lanes
from photocheck.batch.results import FORMAT, LONGEST_LINE, Results, summary_beside, write_summary
from photocheck.case.file import read_case
from photocheck.case.samples import samples_folder
from photocheck.checking import check
from photocheck.cli.main import run
from photocheck.errors import PhotocheckError
from photocheck.judge.ratios import write_ratios
from photocheck.orders.draft import Draft
from photocheck.orders.gaps import gaps
from photocheck.orders.intake.bring_in import bring_in
from photocheck.orders.intake.case_files import find_cases
from photocheck.orders.store import open_store
from photocheck.orders.worn_tags import FoundTags
from photocheck.report.file import report_from_dict
from photocheck.words import EXIT_CODES
from tests.support.learnt import learnt
from tests.support.made_report import made_report
from tests.support.waiting import until


@pytest.fixture
def cases(tmp_path: Path) -> Path:
    """Two good orders, one with a broken photo, one without its photo, one that is no JSON."""
    folder = tmp_path / "cases"
    for name in ("flint", "moss"):
        shutil.copytree(samples_folder() / name, folder / name)
    for name in ("broken", "gone"):
        shutil.copytree(samples_folder() / "flint", folder / name)
    (folder / "broken" / "side.jpg").write_bytes(b"\xff\xd8\xff\xe0 broken")
    (folder / "gone" / "side.jpg").unlink()
    (folder / "torn.json").write_text('{"format": ')
    return folder


def lines_of(path: Path) -> list[dict[str, Any]]:
    return [json.loads(line) for line in path.read_bytes().splitlines()]


def checked_again(
    folder: Path, out: Path, executor: Executor | None = None
) -> dict[str, dict[str, Any]]:
    """One batch over a folder; gives what each order came to."""
    came: dict[str, dict[str, Any]] = {}

    def keep(line: dict[str, Any]) -> None:
        came[str(Path(line["order"]).relative_to(folder)).partition("/")[0]] = line
        if line["outcome"] not in many.PASSED_OVER:
            results.add(line)

    with Results(out) as results, executor or ThreadPoolExecutor(1) as workers:
        tasks = many.tasks_of_cases(find_cases([folder])[0], results.last, many.Task())
        many.run(tasks, workers, at_once=1, on_line=keep)
    return came


def outcomes(came: dict[str, dict[str, Any]]) -> dict[str, str]:
    return {name: line["outcome"] for name, line in came.items()}


@pytest.mark.slow
def test_reports_are_those_of_a_single_check_and_bad_orders_stop_no_other(
    cases: Path, tmp_path: Path
) -> None:
    out = tmp_path / "out.jsonl"
    came = checked_again(cases, out)
    assert outcomes(came) == {
        **dict.fromkeys(("flint", "moss"), "checked"),
        **dict.fromkeys(("broken", "gone", "torn.json"), "refused"),
    }
    for line in lines_of(out):
        assert line["format"] == FORMAT
        if line["outcome"] == "checked":
            assert report_from_dict(line["report"]) == check(read_case(line["order"]))
        else:
            assert "Traceback" not in line["problem"]
            assert line["problem"].startswith(line["order"].removesuffix("case.json"))


@pytest.mark.slow
def test_what_is_done_with_the_same_inputs_is_not_done_again(
    cases: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "out.jsonl"
    checked_again(cases, out)
    before = out.read_bytes()
    again = outcomes(checked_again(cases, out))
    assert again.pop("torn.json") == "refused"  # nothing of it could be read to compare
    assert set(again.values()) == {"same"}
    # another photo, a photo that was missing, another reading, another version: done again
    shutil.copy(cases / "flint" / "side.jpg", cases / "gone" / "side.jpg")
    text = (cases / "moss" / "case.json").read_text()
    (cases / "moss" / "case.json").write_text(text.replace('"name": "', '"name": "Old ', 1))
    again = outcomes(checked_again(cases, out))
    assert {name for name, outcome in again.items() if outcome != "same"} == {
        *("gone", "moss", "torn.json")
    }
    assert out.read_bytes().startswith(before)
    monkeypatch.setattr(many, "program", lambda: "another")
    assert "same" not in outcomes(checked_again(cases, out)).values()


@pytest.mark.parametrize(
    "odd",
    [
        b'{"report": {}}',
        b'{"report": {"verdict": "agrees", "headline": "", "next_step": "", "spans": null}}',
        b'{"report": {"verdict": "agrees", "headline": "", "next_step": "", "spans": "abc"}}',
        b'{"outcome": {"odd": 1}}',
        b"[" * 100_000,
        b"9" * 10_000,
        b"\xff",
        b"{}",
    ],
)
def test_results_that_somebody_made_up_are_passed_over(odd: bytes, tmp_path: Path) -> None:
    first = {"format": FORMAT, "order": "first", "outcome": "refused", "inputs": [1]}
    if odd.startswith(b'{"'):
        kept = {"format": FORMAT, "order": "odd", "outcome": "checked"}
        odd = json.dumps({**kept, **json.loads(odd)}).encode()
    path = tmp_path / "out.jsonl"
    path.write_bytes(json.dumps(first).encode() + b"\n" + odd + b"\n")
    with Results(path) as results:
        assert list(results.last) == ["first"]
        assert results.last["first"]["inputs"] == "[1]"
    path.write_bytes(odd + b"\n")
    with pytest.raises(PhotocheckError, match="something other"), Results(path):
        pass


def test_results_without_an_end_are_none(tmp_path: Path) -> None:
    """A device that never ends (POSIX has no name for one; Linux and others have this), and a line
    that is longer than any of ours."""
    (path := tmp_path / "long.jsonl").touch()
    os.truncate(path, LONGEST_LINE + 2)
    endless = Path("/dev/zero")
    for odd in (path, *([endless] if os.access(endless, os.W_OK) else [])):
        (named := tmp_path / "named.jsonl").unlink(missing_ok=True)
        named.symlink_to(odd)
        with pytest.raises(PhotocheckError, match="something other"), Results(named):
            pass


def test_the_summary_is_written_over_nothing_but_a_summary(tmp_path: Path) -> None:
    own = tmp_path / "orders.csv"
    own.write_text("number,name\n1,Luna\n")
    for out in ("orders.jsonl", "other.csv", "OTHER.CSV"):
        arguments = ["batch", str(samples_folder() / "flint"), "-o", str(tmp_path / out)]
        assert run(arguments) == EXIT_CODES["bad_input"]
    assert own.read_text() == "number,name\n1,Luna\n"
    assert [path.name for path in tmp_path.iterdir()] == ["orders.csv"]
    write_summary(own, [])
    assert summary_beside(tmp_path / "orders.jsonl") == own
    assert summary_beside(Path(".")).name == ".csv"


@pytest.mark.slow
def test_a_torn_last_line_is_taken_off_and_done_again(cases: Path, tmp_path: Path) -> None:
    out = tmp_path / "out.jsonl"
    checked_again(cases, out)
    whole = out.read_bytes()
    last = json.loads(whole.splitlines()[-1])["order"]
    for cut in (1, 7, 400):
        out.write_bytes(whole[:-cut])
        came = checked_again(cases, out)
        redone = [line["order"] for line in came.values() if line["outcome"] != "same"]
        assert last in redone, cut
        assert len(redone) <= 2, cut  # the other one is torn.json, always done again
        assert len({line["order"] for line in lines_of(out)}) == 5, cut


def test_a_file_of_somebody_else_is_never_cut(tmp_path: Path) -> None:
    for number, content in enumerate((b"my novel", b'{"a": 1}\nmore', b"[1]\n")):
        path = tmp_path / str(number)
        path.write_bytes(content)
        with pytest.raises(PhotocheckError, match="something other"), Results(path):
            pass
        assert path.read_bytes() == content
    path = tmp_path / "begun"
    path.write_bytes(b'{"form')  # a first line that was torn is ours
    with Results(path) as results:
        assert results.last == {}
        with pytest.raises(PhotocheckError, match="another batch"), Results(path):
            pass
    assert path.read_bytes() == b""


# Run by name in other processes.


def end(_: object = None) -> None:
    os._exit(1)


def hang(_: object = None) -> None:
    threading.Event().wait()


def own_id(_: object = None) -> int:
    return os.getpid()


def sometimes_end(task: many.Task) -> dict[str, Any]:
    if "broken" in task.order:
        os.kill(os.getpid(), signal.SIGKILL)
    return many.work(task)


@pytest.mark.slow
def test_a_process_that_dies_or_hangs_takes_no_other_order_with_it() -> None:
    with Lanes(2, recycled_after=3, patience_s=2) as lanes:
        for bad in (end, hang):
            lost = lanes.submit(bad)
            kept = [lanes.submit(own_id) for _ in range(4)]
            with pytest.raises(BrokenExecutor):
                lost.result(60)
            assert len({future.result(60) for future in kept}) <= 2
        # the processes that stand in for them work, and are replaced after three calls each
        ids = [lanes.submit(own_id).result(60) for _ in range(12)]
        assert len(set(ids)) >= 4
        assert all(ids.count(process) <= 3 for process in ids)


@pytest.mark.slow
def test_a_process_that_ends_between_two_calls_is_replaced() -> None:
    with Lanes(1) as lanes:
        first = lanes.submit(own_id).result(60)
        os.kill(first, signal.SIGKILL)
        until(lambda: lanes._lanes[0].pool._broken, "the pool has noticed")
        assert lanes.submit(own_id).result(60) != first


@pytest.mark.slow
def test_a_crashed_order_is_marked_and_tried_again(
    cases: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "out.jsonl"
    with monkeypatch.context() as patch:
        patch.setattr(many, "work", sometimes_end)
        came = checked_again(cases, out, Lanes(1))
    assert outcomes(came)["broken"] == "crashed"
    assert "Run the batch again" in came["broken"]["problem"]
    assert [*outcomes(came).values()].count("checked") == 2
    assert outcomes(checked_again(cases, out))["broken"] == "refused"


@pytest.mark.slow
def test_a_failure_of_the_program_is_no_refusal_of_the_photo_and_is_tried_again(
    cases: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    address = f"sqlite:///{tmp_path / 'orders.db'}"
    photos = [("side.jpg", (cases / "flint" / "side.jpg").read_bytes())]
    with closing(open_store(address)) as store:
        file = ("case.json", (cases / "flint" / "case.json").read_bytes())
        key = bring_in(store, file, photos).key
    out = tmp_path / "out.jsonl"

    def fail(*_: object) -> None:
        raise AttributeError("planted inside")

    with monkeypatch.context() as patch:
        patch.setattr("photocheck.photo.load._decode", fail)
        line = many.work(many.Task(store=address, key=key))
        assert line["outcome"] == "crashed"
        assert "the program failed" in line["problem"]
        came = checked_again(cases, out)
        assert came["flint"]["outcome"] == "crashed"
        assert "AttributeError" in came["flint"]["problem"]
    assert checked_again(cases, out)["flint"]["outcome"] == "checked"
    assert many.work(many.Task(store=address, key=key))["outcome"] == "checked"


@pytest.mark.slow
def test_no_more_is_under_way_than_was_said(cases: Path) -> None:
    """Else all orders of a long list would wait in memory."""
    sources, _ = find_cases([cases])
    given = 0
    done = 0

    def tasks() -> Any:
        nonlocal given
        for source in sources * 3:
            given += 1
            assert given - done <= 4  # two under way, two whose results are being kept
            yield many.Task(source=source)

    def count(_: object) -> None:
        nonlocal done
        done += 1

    with ThreadPoolExecutor(8) as executor:
        many.run(tasks(), executor, at_once=2, on_line=count)
    assert given == done == 15


@pytest.mark.slow
def test_the_batch_command(cases: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "out.jsonl"
    command = ["batch", str(cases), "-o", str(out), "--jobs", "1"]
    assert run(command) == 13
    said = capsys.readouterr()
    assert "Checked: 2 (" in said.out
    assert "Could not be checked: 3." in said.out
    with out.with_suffix(".csv").open(encoding="utf-8-sig", newline="") as file:
        rows = {Path(row["order"]).parent.name: row for row in csv.DictReader(file)}
    report = check(read_case(cases / "flint" / "case.json"))
    assert rows["flint"]["verdict"] == report.verdict
    assert report.spans[0].reading_mm is not None
    assert rows["flint"]["half_neck_tape_mm"] == f"{report.spans[0].reading_mm:.1f}"
    assert rows["gone"]["problem"].endswith(".")
    for bad in ("broken", "gone", "torn.json"):
        shutil.rmtree(cases / bad) if (cases / bad).is_dir() else (cases / bad).unlink()
    assert run(command) == 0
    assert "Done before and unchanged: 2." in capsys.readouterr().out
    # what cannot be begun leaves no file behind
    new = tmp_path / "new.jsonl"
    for wrong in ([], [str(tmp_path / "none")], ["--waiting", "--store", str(tmp_path / "none")]):
        assert run(["batch", *wrong, "-o", str(new)]) == 2
    assert not new.exists()


@pytest.mark.slow
@pytest.mark.usefixtures("checked_here", "decoded_here")
def test_waiting_orders_are_checked_again_when_something_changed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    address = str(tmp_path / "orders.sqlite3")
    out = tmp_path / "out.jsonl"
    command = ["batch", "--store", address, "-o", str(out), "--jobs", "1", "--waiting"]
    with closing(open_store(address)) as store:
        flint = samples_folder() / "flint"
        case_file = ("case.json", (flint / "case.json").read_bytes())
        photos = [("side.jpg", (flint / "side.jpg").read_bytes())]
        key = bring_in(store, case_file, photos, language="de").key
        store.open()
        assert run(command) == 0
        assert lines_of(out) == []  # never sent: nobody's business yet
        for _ in range(2):
            assert run([*command, "--drafts"]) == 0
            (line,) = lines_of(out)
            (checked,) = store.order(key).checks
            assert (line["order"], line["outcome"]) == (key, "checked")
            assert (checked.by, checked.language) == ("batch", "de")
            assert report_from_dict(line["report"]) == checked.report
        # another results file does not check it again either
        out.unlink()
        assert run(command) == 0
        assert len(store.order(key).checks) == len(lines_of(out)) == 1
        # but another version of photocheck does
        monkeypatch.setattr(many, "program", lambda: "another")
        line = many.work(many.Task(store=address, key=key, known=line["inputs"]))
        assert line["outcome"] == "checked"
        assert len(store.order(key).checks) == 2
        store.decide(key, "refused", by="me", reason="no")
        assert many.work(many.Task(store=address, key=key))["outcome"] == "left"
        many._store(address).close()


@pytest.mark.slow
@pytest.mark.usefixtures("checked_here", "decoded_here")
def test_tags_mark_what_was_never_sent(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    address = str(tmp_path / "orders.sqlite3")
    with closing(open_store(address)) as store:
        alder = samples_folder() / "alder"
        case_file = ("case.json", (alder / "case.json").read_bytes())
        photos = [(file.name, file.read_bytes()) for file in sorted(alder.glob("*.jpg"))]
        key = bring_in(store, case_file, photos, language="en").key
        order = store.order(key)
        assert {gap.step for gap in gaps(order.draft)} == {"marks"}
        like = many.Task(store=address)
        assert many.tasks_of_store(store, {}, like, drafts=False) == []
        (task,) = many.tasks_of_store(store, {}, like, drafts=True)
        assert (job := many._job_of_store(task)).over == ""
        with monkeypatch.context() as nowhere:
            nowhere.setattr(many, "tags_found", lambda *_: FoundTags())
            other = many._job_of_store(task)
            assert (other.over, many.work(task)["outcome"]) == ("unmarked", "unmarked")
            assert other.inputs != job.inputs
            # the command says so and keeps nothing of it
            out = tmp_path / "out.jsonl"
            command = ["batch", "--store", address, "-o", str(out), "--waiting", "--drafts"]
            assert run([*command, "--jobs", "1"]) == 0
            assert lines_of(out) == []
        assert store.order(key).checks == order.checks == ()
        many._store(address).close()


@pytest.mark.slow
def test_a_dask_cluster_does_the_same(cases: Path, tmp_path: Path) -> None:
    from distributed import LocalCluster

    alone, there = tmp_path / "alone.jsonl", tmp_path / "there.jsonl"
    assert run(["batch", str(cases), "-o", str(alone), "--jobs", "1"]) == 13
    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
    ) as cluster:
        command = ["batch", str(cases), "-o", str(there), "--dask", cluster.scheduler_address]
        assert run(command) == 13

    def told(path: Path) -> dict[str, Any]:
        return {
            line["order"]: {k: v for k, v in line.items() if k != "seconds"}
            for line in lines_of(path)
        }

    assert told(there) == told(alone)
    assert run(["batch", str(cases), "-o", str(there), "--dask", "tcp://127.0.0.1:1"]) == 2


def test_a_batch_says_where_the_desk_checks_with_other_ratios(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("photocheck.cli.batch_commands.work", lambda *_: None)
    ratios = learnt()
    used = replace(made_report(), ratios_version=ratios.current)
    with closing(open_store("orders.sqlite3")) as store:
        key = store.open()
        case = Draft.from_dict({"name": "Juno"})
        store.save_draft(key, case)
        store.record_check(key, case, used, by="Ada", ratios=ratios)
        store.decide(key, "accepted", by="Ada", reason="it fits")
    asked = ["batch", "--waiting", "--store", "orders.sqlite3"]
    assert run(asked) == 0
    said = capsys.readouterr().err
    assert ratios.current in said
    assert "PHOTOCHECK_RATIOS" in said
    write_ratios("ratios.json", ratios)
    for way in ("option", "variable"):
        if way == "variable":
            monkeypatch.setenv("PHOTOCHECK_RATIOS", "ratios.json")
        assert run([*asked, *(["--ratios", "ratios.json"] if way == "option" else [])]) == 0
        assert capsys.readouterr().err == ""
