"""No test waits for a time to pass: it waits for a state (`tests.support.waiting`, `pages`).

Nor does one judge how long something took: another machine, or a busy one, is no defect. What time
things take is measured by benchmarks, side by side; what bounds it can be counted.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

TESTS = Path(__file__).parent
WAITS = {"sleep", "wait_for_timeout"}
"""`time.sleep`, `asyncio.sleep`, `trio.sleep`, and Playwright's `Page.wait_for_timeout`."""

CLOCKS = {"time", "monotonic", "perf_counter", "process_time", "thread_time"}
"""Those of the standard library's `time`, with or without `_ns`."""

ALLOWED = {
    # Looks again and again, until it is so or a deadline has passed.
    "support/waiting.py": {"until", "until_in_loop", "loop_turns", "patiently"},
    "support/pages.py": {"start_server", "until_on_page"},
    "support/provider.py": {"running"},
    "packaging/test_ways_of_starting.py": {"first_words"},
    # People think between two things they do.
    "support/visitors/owner.py": {"_time", "_see_result"},
    # Somebody reads the first page while the browser fetches the app.
    "browser/measure_loading.py": {"begun"},
    # An attacker keeps its own time; its victim comes again and again.
    "support/visitors/siege.py": {"_again_and_again", "headers", "_frames", "_rerun", "pages"},
}


def waits(source: str) -> Iterator[tuple[str, int]]:
    """Every wait in a module: the function it stands in, and its line.

    Also in a program that is written into a text, as those of child processes are.
    """

    def look(node: Any, inside: str) -> Iterator[tuple[str, int]]:
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            inside = node.name
        if isinstance(node, ast.Call):
            name = getattr(node.func, "attr", getattr(node.func, "id", ""))
            if name in WAITS:
                yield inside, node.lineno
        text = node.value if isinstance(node, ast.Constant) else None
        if isinstance(text, str) and any(f"{wait}(" in text for wait in WAITS):
            yield inside, node.lineno
        for child in ast.iter_child_nodes(node):
            yield from look(child, inside)

    return look(ast.parse(source), "") if any(wait in source for wait in WAITS) else iter(())


def judged_by_clock(source: str) -> list[int]:
    """The lines of all assertions that read a clock, or what a clock was seen to have taken."""
    found: list[int] = []
    if not re.search(r"^\s*(import|from) .*\btime\b", source, re.MULTILINE):
        return found
    for function in ast.walk(ast.parse(source)):
        if not isinstance(function, ast.FunctionDef | ast.AsyncFunctionDef):
            continue
        body = list(ast.walk(function))
        taken = {
            target.id
            for node in body
            if isinstance(node, ast.Assign) and isinstance(node.value, ast.BinOp)
            for target in node.targets
            if isinstance(target, ast.Name) and _reads_a_clock(node.value)
        }
        found += [
            node.lineno
            for node in body
            if isinstance(node, ast.Assert)
            and (
                _reads_a_clock(node.test)
                or any(isinstance(n, ast.Name) and n.id in taken for n in ast.walk(node.test))
            )
        ]
    return found


def _reads_a_clock(node: ast.AST) -> bool:
    names = {
        getattr(call.func, "attr", getattr(call.func, "id", ""))
        for call in ast.walk(node)
        if isinstance(call, ast.Call) and not call.args
    }
    return any(name.removesuffix("_ns") in CLOCKS for name in names)


def modules() -> list[str]:
    return sorted(path.relative_to(TESTS).as_posix() for path in TESTS.rglob("*.py"))


@pytest.mark.parametrize("module", [m for m in modules() if m != Path(__file__).name])
def test_nothing_waits_for_a_time_to_pass(module: str) -> None:
    found = list(waits((TESTS / module).read_text(encoding="utf-8")))
    allowed = ALLOWED.get(module, set())
    assert [(where, line) for where, line in found if where not in allowed] == []
    assert allowed <= {where for where, _ in found}, "take what no longer waits off the list"


def test_every_kind_of_wait_would_be_found() -> None:
    source = (
        "import time\nfrom time import sleep\n"
        "def one(page):\n    time.sleep(1)\n    page.wait_for_timeout(5)\n"
        "async def two():\n    await asyncio.sleep(0)\nsleep(2)\n"
        "PROGRAM = 'import time; time.sleep(60)'\n"
    )
    assert list(waits(source)) == [("one", 4), ("one", 5), ("two", 7), ("", 8), ("", 9)]


@pytest.mark.parametrize("module", [m for m in modules() if "/test_" in f"/{m}"])
def test_nothing_is_judged_by_how_long_it_took(module: str) -> None:
    assert judged_by_clock((TESTS / module).read_text(encoding="utf-8")) == []


def test_every_kind_of_judging_by_the_clock_would_be_found() -> None:
    source = (
        "import time\n"
        "def one():\n    assert time.perf_counter() - began < 3\n"
        "def two():\n    took = (monotonic() - began) / 20\n    assert took < 1\n"
        "async def three():\n    assert perf_counter_ns() < 5\n"
        "def not_this():\n    assert timed(3) == 4\n    took = 5\n    assert took\n"
    )
    assert judged_by_clock(source) == [3, 6, 8]
