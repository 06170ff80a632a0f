"""The published figures are what commands printed, and every command has its place."""

from __future__ import annotations

import re

import pytest
from click.testing import CliRunner

from photocheck.benchmark.__main__ import main
from photocheck.benchmark.publishing import PUBLISHED, published

TEXT = PUBLISHED.read_text(encoding="utf-8")


def test_a_section_is_replaced_and_nothing_else() -> None:
    page = "a\n<!-- one -->\nold\n<!-- end -->\nb\n<!-- two -->\nkept\n<!-- end -->\n"
    after = published(page, "one", ["python", "-m", "x"], "new \\1 text\n")
    assert "old" not in after
    assert "`python -m x`" in after
    assert "new \\1 text\n<!-- end -->\nb\n<!-- two -->\nkept\n<!-- end -->\n" in after
    assert published(after, "one", ["python", "-m", "x"], "new \\1 text\n") == after
    with pytest.raises(ValueError, match="no section"):
        published(page, "three", [], "")


@pytest.mark.parametrize("command", sorted(main.commands))
def test_every_benchmark_is_published_with_its_command(command: str) -> None:
    (section,) = re.findall(f"<!-- {command} -->\n(.*?)<!-- end -->", TEXT, re.DOTALL)
    assert section.startswith(f"`python -m photocheck.benchmark {command}")
    assert len(section.splitlines()) > 2


def test_a_benchmark_prints_and_publishes(monkeypatch: pytest.MonkeyPatch, tmp_path) -> None:
    from photocheck.benchmark import cold_start, publishing

    told = []
    monkeypatch.setattr(cold_start, "report", lambda runs: f"{runs} runs")
    monkeypatch.setattr(publishing, "publish", lambda *given: told.append(given))
    monkeypatch.setattr("sys.argv", ["benchmark", "--publish", "start", "--runs", "3"])
    assert CliRunner().invoke(main, ["start", "--runs", "3"]).output == "3 runs\n"
    assert told == []
    CliRunner().invoke(main, ["--publish", "start", "--runs", "3"])
    command = ["python", "-m", "photocheck.benchmark", "start", "--runs", "3"]
    assert told == [("start", command, "3 runs")]
