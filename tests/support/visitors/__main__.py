"""How long an owner waits alone, and among others, and whether all is kept right.

Prints the median and the 95th percentile of each step for a lone visitor and for visitors that
come all at once, from one server and in one run.  The bar, on an idle machine of two cores: among
20 visitors, 95 of 100 checks take at most five times what a lone visitor's takes.  Server and
visitors share the machine.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path

import numpy as np

from tests.support.visitors.kept import wrongs
from tests.support.visitors.made import Told, told_by
from tests.support.visitors.owner import KINDS, Owner, play_all
from tests.support.visitors.serving import Served, served, served_by_two

THINK_S = (2.0, 4.0)
"""Seconds between two actions.  To read a tape, type the number and go to the next field takes no
person less than this (judgement)."""
BAR = 5.0
HOME = "203.0.113.{}"
"""Where a visitor comes from: addresses for documentation (RFC 5737)."""


def _visit(
    app: Served, visitors: Sequence[Told], think_s: tuple[float, float], homes: bool = True
) -> list[Owner]:
    """Each from an address of its own, as from homes, or all from one, as in one room."""
    owners = [
        Owner(
            app.address,
            told,
            think_s,
            trusted=app.certificate,
            source=HOME.format(number) if homes else None,
        )
        for number, told in enumerate(visitors)
    ]
    play_all(owners)
    return owners


def _all(owners: Sequence[Owner], kind: str) -> np.ndarray:
    return np.array([second for owner in owners for second in owner.took[kind]])


def _table(title: str, alone: Sequence[Owner], among: Sequence[Owner]) -> float:
    print(f"\n{title}")
    print("step       alone p50    p95   among p50    p95   p95/alone p50  p95/alone p95")
    ratio = 0.0
    for kind in KINDS:
        one, many = _all(alone, kind), _all(among, kind)
        low, high = np.percentile(one, 50), np.percentile(one, 95)
        mid, top = np.percentile(many, 50), np.percentile(many, 95)
        row = f"{low:9.2f} {high:6.2f}   {mid:9.2f} {top:6.2f}   {top / low:13.1f}"
        print(f"{kind:8} {row}  {top / high:13.1f}")
        ratio = top / low if kind == "check" else ratio
    return float(ratio)


def main() -> int:
    """The command; fails when something was lost or the bar is missed."""
    parser = argparse.ArgumentParser(prog="python -m visitors", description=__doc__)
    parser.add_argument("--visitors", type=int, default=20)
    parser.add_argument("--rounds", type=int, default=8, help="of the lone visitor")
    parser.add_argument("--no-think", action="store_true", help="also without any thinking time")
    parser.add_argument(
        "--two", action="store_true", help="two servers on one PostgreSQL behind nginx"
    )
    parser.add_argument(
        "--one-address", action="store_true", help="all come from one, as from one room"
    )
    asked = parser.parse_args()
    if asked.visitors > 250:
        parser.error("--visitors: 250 at most, each from an address of its own")
    total = asked.rounds + 1 + asked.visitors * (2 if asked.no_think else 1)
    told = [told_by(number) for number in range(total)]
    serving = served_by_two if asked.two else served
    with tempfile.TemporaryDirectory() as folder, ExitStack() as running:
        app = running.enter_context(serving(Path(folder)))
        began = time.monotonic()
        first = _visit(app, told[:1], (0, 0))  # warms up what one would not wait for twice
        at = 1 + asked.rounds
        alone = [_visit(app, [one], (0.2, 0.4))[0] for one in told[1:at]]
        idle = app.resident[-1]
        groups = [(f"each thinking {THINK_S[0]:.0f} to {THINK_S[1]:.0f} s a step", THINK_S)]
        if asked.no_think:
            groups.append(("none thinking at all", (0.0, 0.0)))
        everybody, ratios = [*first, *alone], []
        for said, think_s in groups:
            group_began, busy = time.monotonic(), app.processor_s()
            own = time.process_time()
            among = _visit(app, told[at : at + asked.visitors], think_s, not asked.one_address)
            at += asked.visitors
            everybody += among
            took = time.monotonic() - group_began
            busy = app.processor_s() - busy
            title = f"{len(alone)} lone visits, then {len(among)} visitors at once, {said}"
            ratios.append(_table(f"{title} ({took:.0f} s)", alone, among))
            own = (time.process_time() - own) / len(among)
            print(
                f"processor time of the server: {busy / len(among):.1f} s a visitor; "
                f"of what plays the visitors: {own:.1f} s"
            )
        peak = np.array(app.resident).max(axis=0)
        megabytes = [bytes_ / 1e6 for bytes_ in (*idle, *peak)]
        print(
            "\nresident memory of the server: {:.0f} MB after the lone visits ({:.0f} MB with its "
            "other processes), at most {:.0f} MB ({:.0f} MB)".format(*megabytes)
        )
        print(f"cores: {os.cpu_count()}; all of it took {time.monotonic() - began:.0f} s")
        headlines = {owner.told.name: owner.headline for owner in everybody}
        found = wrongs(app.store, told[: len(everybody)], headlines)
        log = "" if asked.two else app.log.read_text()
        if asked.two:
            slow = (Path(folder) / "nginx.log").read_text().count("upstream timed out")
            print(f"answers for which the proxy did not wait: {slow}")
        if log:
            found.append(f"the server's log says:\n{log}")
    print(f"orders held against what was typed: {len(everybody)}; wrong: {len(found)}")
    print("\n".join(found))
    print(f"p95 of a check among {asked.visitors} / alone: {ratios[0]:.1f} (bar: {BAR:.0f})")
    return 1 if found or ratios[0] > BAR else 0


if __name__ == "__main__":
    sys.exit(main())
