"""The tool that plants faults: each is one change that Python reads as another program."""

from __future__ import annotations

import ast
import json
from dataclasses import asdict
from hashlib import sha256
from pathlib import Path

import pytest
from scipy.stats import beta

from tests.support.places import ROOT
from tests.support.planted import trial
from tests.support.planted.__main__ import known, sources, summary
from tests.support.planted.faults import MOST_OF_A_FILE, Fault, drawn, faults
from tests.support.planted.trial import Copy

EVERY_KIND = '''
def best(rows, least=-3, *, near=0.5):
    """Twelve: 12."""
    kept = {}
    for row in (r for r in rows if r.äöü > 0):
        if not row or row.a < least and row.b is not None:
            continue
        kept[row.a] = max(row.a - 2, abs(row.b), key=row.c)
        kept[row.b] += 1.5 if near else 2.5
    while kept:
        kept.clear()
        break
    raise ValueError(f"{least + 1}")
'''


def test_every_fault_is_another_program_and_every_kind_is_planted() -> None:
    """Held by Python's own parser; letters of two bytes shift no place."""
    whole = ast.dump(ast.parse(EVERY_KIND))
    every = [way for ways in faults("photocheck/x.py", EVERY_KIND) for way in ways]
    for fault in every:
        planted = fault.planted(EVERY_KIND.encode())
        assert ast.dump(ast.parse(planted)) != whole, fault
        lines = EVERY_KIND.splitlines()[fault.line - 1 : fault.last_line]
        assert fault.before in "\n".join(lines)
    assert {fault.kind for fault in every} == {
        *("comparison", "operator", "sides swapped", "less asked", "sign dropped", "constant"),
        *("negated", "forced", "loop", "dropped", "other function", "function dropped"),
        *("arguments swapped", "argument dropped"),
    }
    changed = {(fault.before, fault.after) for fault in every}
    assert ("row.a < least", "(row.a <= least)") in changed
    assert ("kept.clear()", "pass") in changed
    assert ("abs(row.b)", "(row.b)") in changed


@pytest.mark.parametrize(
    "source",
    [
        '"""There are 3 of 4."""\n',
        "def f(x: Annotated[int, 3] = None) -> Literal[-1]: ...\n",
        "x = tr('{n} of 3', n=n)\n",
        "__all__ = ['a', *('b' if 3 > 2 else 'c')]\n",
        "logging.warning('of %s', 3 + 4)\n",
        "@lru_cache(maxsize=3)\ndef f(): ...\n",
        "if TYPE_CHECKING:\n    x = 3\n",
        "x = f'{3}'\n",
        "same = f(a, a)\n",
    ],
)
def test_what_decides_nothing_is_left_alone(source: str) -> None:
    assert faults("photocheck/x.py", source) == []


def test_the_same_seed_draws_the_same_and_no_file_fills_the_sample() -> None:
    files = sources(ROOT, ["photocheck/fit", "photocheck/case/lengths.py"])
    assert "photocheck/case/lengths.py" in files
    assert "photocheck/fit/match.py" in files
    sample = drawn(files, 20, 1)
    assert sample == drawn(dict(reversed(files.items())), 20, 1)
    assert sample != drawn(files, 20, 2)
    assert len(sample) == len({(each.file, each.start, each.end) for each in sample}) == 20
    assert max(sum(a.file == b.file for b in sample) for a in sample) <= MOST_OF_A_FILE
    table = {"a.py": "x = [1, 2, 3, 4, 5, 6]\n"}
    assert len(drawn(table, 60, 1)) == MOST_OF_A_FILE
    with pytest.raises(ValueError, match="no modules in photocheck/nowhere"):
        sources(ROOT, ["photocheck/nowhere"])


def test_a_fault_goes_into_no_other_file() -> None:
    fault = drawn({"a.py": "x = 1\n"}, 1, 1)[0]
    with pytest.raises(ValueError, match=r"a\.py is not the file"):
        fault.planted(b"y == 2\n")


def _result(line: int, noticed: str, **more: str) -> dict[str, object]:
    fault = Fault("photocheck/x.py", line, line, 0, 1, "constant", "1", "(2)")
    return {"fault": asdict(fault), "noticed": noticed, "by": "", "slow": True, **more}


def test_the_share_leaves_equivalents_out_and_tells_its_interval(tmp_path: Path) -> None:
    """Clopper and Pearson's interval (Biometrika 26, 1934) by quantiles of the beta."""
    out = tmp_path / "results.jsonl"
    assert known(out) == {}
    every = [_result(n, "quick") for n in range(43)] + [_result(n, "") for n in range(43, 49)]
    every += [_result(48, "", equivalent="never read")]  # what was written last counts
    out.write_text("".join(json.dumps(each) + "\n" for each in every), encoding="utf-8")
    said = summary(list(known(out).values()))
    low, high = beta.ppf(0.025, 43, 6), beta.ppf(0.975, 44, 5)
    assert said.startswith(f"43 of 48 noticed (89.6%; 95 %: {low:.0%} to {high:.0%}), 43 by quick")
    assert "1 equivalent" in said
    assert "photocheck/x.py:47 constant: 1 -> (2)\n" in said
    assert said.endswith("[never read]")


MODULE = """
def down(n):
    while n > 0:
        n -= 1
    return n

def unseen():
    return 3
"""
ITS_TESTS = """
from hashlib import sha256
from pathlib import Path
import pytest
from photocheck.room.small import down, unseen

@pytest.mark.parametrize("n", [2])
def test_down(n):
    assert down(n) == 0

def test_as_written():
    text = Path("photocheck/room/small.py").read_bytes()
    assert sha256(text).hexdigest() == "{}"

@pytest.mark.slow
def test_seen_slowly():
    assert unseen() < 4
"""


@pytest.mark.slow
def test_faults_are_noticed_by_tests_that_pass_without_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One by a value, one by never ending, one by a slow test, one by none; no text is a notice."""
    folder = tmp_path / "copy"
    for place, text in {
        "photocheck/__init__.py": "",
        "photocheck/room/__init__.py": "",
        "photocheck/room/small.py": MODULE,
        "tests/__init__.py": "",
        "tests/room/__init__.py": "",
        "tests/golden/test_none.py": "",
        "tests/room/test_small.py": ITS_TESTS.format(sha256(MODULE.encode()).hexdigest()),
        "pytest.ini": "[pytest]\naddopts = -q -m 'not slow'\nmarkers = slow\n",
    }.items():
        (folder / place).parent.mkdir(parents=True, exist_ok=True)
        (folder / place).write_text(text, encoding="utf-8")
    for part in ("__init__.py", "reached.py", "faults.py"):
        to = folder / "tests" / "support" / "planted" / part
        to.parent.mkdir(parents=True, exist_ok=True)
        to.write_bytes((ROOT / "tests" / "support" / "planted" / part).read_bytes())
    monkeypatch.setattr(trial, "LEAST_S", 5.0)
    copy = Copy(folder, tmp_path / "reach", ["photocheck/room"])
    copy.collect()
    every = [way for ways in faults("photocheck/room/small.py", MODULE) for way in ways]
    found = {(each.before, each.after): each for each in every}
    assert copy.reaching(found["n -= 1", "n += 1"]) == ["tests/room/test_small.py::test_down[2]"]
    assert copy.reaching(found["3", "(4)"]) == []

    def noticed(before: str, after: str) -> tuple[str, str]:
        return copy.noticed(found[before, after], quick=True, slow=True)

    down = "tests/room/test_small.py::test_down[2]"
    assert noticed("n > 0", "(n >= 0)") == ("quick", down)
    assert noticed("n -= 1", "n += 1") == ("quick", "no end")
    assert noticed("3", "(4)") == ("slow", "tests/room/test_small.py::test_seen_slowly")
    assert noticed("3", "(2)") == ("", "")
    assert (folder / "photocheck/room/small.py").read_text(encoding="utf-8") == MODULE
