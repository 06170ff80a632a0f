"""Which of a random sample of planted faults the tests notice.

    python -m tests.support.planted photocheck/photo photocheck/case/lengths.py --seed 1 --count 60

Rooms are folders or modules.  What is tried is HEAD, in a clone that is gone afterwards; which
tests reach which line is kept per commit in the user's cache.  Every result is written as it comes,
so that the same command goes on where it was stopped; without `--slow` the slow tests are left for
a later call.  A fault that changes no answer gets its reason in the file by hand:
`"equivalent": "why"`, and is left out of the share.
"""

from __future__ import annotations

import argparse
import json
import signal
import subprocess
import sys
import tempfile
from collections import Counter
from dataclasses import asdict
from pathlib import Path
from typing import Any

from platformdirs import user_cache_path
from scipy.stats import binomtest

from tests.support.places import ROOT
from tests.support.planted.faults import Fault, drawn
from tests.support.planted.trial import Copy


def sources(folder: Path, rooms: list[str]) -> dict[str, str]:
    """Every module of the rooms, by its path in the checkout; ValueError for none."""
    found: dict[str, str] = {}
    for room in rooms:
        place = folder / room
        modules = [place] if place.suffix == ".py" else sorted(place.rglob("*.py"))
        if not modules:
            raise ValueError(f"no modules in {room}")
        found |= {str(path.relative_to(folder)): path.read_text("utf-8") for path in modules}
    return found


def known(out: Path) -> dict[Fault, dict[str, Any]]:
    """What was found out of each fault; the last line of a fault counts."""
    results = {}
    for line in out.read_text("utf-8").splitlines() if out.exists() else ():
        result = json.loads(line)
        results[Fault(**result["fault"])] = result
    return results


def summary(results: list[dict[str, Any]]) -> str:
    """Shares with their interval (Clopper and Pearson's, 95 %), and what was not noticed."""
    counted = [each for each in results if "equivalent" not in each]
    kinds = Counter(each["noticed"] for each in counted)
    noticed, total = len(counted) - kinds[""], len(counted)
    if not total:
        return "no faults"
    low, high = binomtest(noticed, total).proportion_ci()
    lines = [
        f"{noticed} of {total} noticed ({noticed / total:.1%}; 95 %: {low:.0%} to {high:.0%}), "
        f"{kinds['quick']} by quick tests, {kinds['held']} only by what is held as it is, "
        f"{kinds['slow']} only by slow ones; {len(results) - total} equivalent"
    ]
    for each in results:
        if not each["noticed"]:
            fault = Fault(**each["fault"])
            why = each.get("equivalent", "" if each["slow"] else "slow tests not tried")
            change = f"{fault.file}:{fault.line} {fault.kind}: {fault.before} -> {fault.after}"
            lines.append(f"  {change}{why and f'  [{why}]'}")
    return "\n".join(lines)


def main() -> None:
    """The command."""
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))  # what it started ends with it
    parser = argparse.ArgumentParser(prog="python -m tests.support.planted", description=__doc__)
    parser.add_argument("rooms", nargs="+", metavar="ROOM")
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--count", type=int, default=60)
    parser.add_argument("--slow", action="store_true", help="slow tests too, for what is left")
    parser.add_argument("--out", type=Path, help="one JSON line per result; else in the cache")
    told = parser.parse_args()
    commit = subprocess.check_output(["git", "rev-parse", "HEAD"], cwd=ROOT, text=True).strip()
    cache = user_cache_path("photocheck-planted", ensure_exists=True)
    rooms = [room.rstrip("/") for room in told.rooms]
    which = "-".join([commit[:12], *(Path(room).stem for room in rooms)])
    out = told.out or cache / f"{which}-{told.seed}.jsonl"
    with tempfile.TemporaryDirectory() as scratch:
        copy = Copy(Path(scratch, "copy"), cache / which, rooms)
        subprocess.check_call(["git", "clone", "-q", str(ROOT), str(copy.folder)])
        subprocess.check_call(["git", "checkout", "-q", commit], cwd=copy.folder)
        sample = drawn(sources(copy.folder, rooms), told.count, told.seed)
        copy.collect()
        for number, fault in enumerate(sample, start=1):
            old = known(out).get(fault)
            if old and (old["noticed"] or "equivalent" in old or old["slow"] >= told.slow):
                continue
            kind, by = copy.noticed(fault, quick=old is None, slow=told.slow)
            result = {"fault": asdict(fault), "noticed": kind, "by": by, "slow": told.slow}
            with out.open("a", encoding="utf-8") as kept:
                kept.write(json.dumps(result) + "\n")
            print(
                f"{number:3} {fault.file}:{fault.line} {fault.kind}: {kind or 'NOT'} {by}",
                flush=True,
            )
    print(summary([known(out)[fault] for fault in sample]))
    print(f"{out}")


if __name__ == "__main__":
    main()
