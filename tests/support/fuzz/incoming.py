"""Tables and case files as they come in by ``photocheck import``."""

from __future__ import annotations

import copy
import csv
import io
import json
import random
from dataclasses import replace
from pathlib import Path
from typing import Any

from photocheck.case.file import case_from_dict
from photocheck.cli.intake_commands import _called
from photocheck.orders.gaps import gaps
from photocheck.orders.intake.bring import OUTCOMES, bring
from photocheck.orders.intake.entries import Entries, entries_of_table
from photocheck.orders.intake.entries_of_cases import entries_of_cases
from photocheck.orders.intake.headings import HEADINGS
from photocheck.orders.intake.photo_folder import PhotoFolder
from photocheck.words import UNITS
from tests.support.fuzz.scratch import damaged_text, written
from tests.support.fuzz.texts import BASES, Job, mutated_case, typed_text, value

_NAMES = ["luna-1.jpg", "luna-2.jpg", "2041.jpg", "IMG_20260401_2041.jpg", "Käfer/photo.JPG", "x"]

_CELLS = [
    *("2041", "Luna", "42,5", "42.5 cm", '14 1/2"', "28 kg", "3,5", "3 years", "luna-1.jpg"),
    *("near the flank", "marker sheet", "id card", "1200;800", "1200,800", "(1200|800)", "de"),
    *("short", "broad", "cm", "Zoll", "=1+1", "-", "n/a", "0", "1e9", "'42", "in front", "147 mm"),
]

_PIECES = [
    *(b";", b",", b"\t", b"|", b"\n", b"\r\n", b"\r", b'"', b'""', b'";"', b"\0", b"sep=;\n"),
    *(b"\xef\xbb\xbf", b"\xff\xfe", b"\xe4", b"=cmd()", b"half neck [in]", b"neck (cm)", b"(in)"),
    *(b"\xe2\x80\xa8", b"\x85", b"\x1f", b"\xed\xa0\x80", b'"' * 60, b";" * 300, b"\n" * 70),
]

_ENCODINGS = ["utf-8", "utf-8", "utf-8-sig", "cp1252", "utf-16", "utf-16-le", "latin-1"]


def _folder(rng: random.Random) -> PhotoFolder | None:
    if rng.random() < 0.5:
        return None
    return PhotoFolder({name: Path("/nowhere") / name for name in rng.sample(_NAMES, 4)})


def _table(rng: random.Random) -> bytes:
    columns = rng.sample(list(HEADINGS), rng.randrange(1, 9))
    head = [rng.choice([field, *HEADINGS[field]]) for field in columns]
    head = [text + rng.choice(["", "", "", " (cm)", " [in]", " in Zoll", "/kg"]) for text in head]
    rows = [head]
    for _ in range(rng.randrange(6)):
        row = [
            typed_text(rng) if rng.random() < 0.3 else rng.choice(["", *_CELLS]) for _ in columns
        ]
        rows.append(row[: rng.choice([99, 99, 99, len(row) - 1])] + rng.choice([[], [], ["more"]]))
    held = io.StringIO()
    csv.writer(held, delimiter=rng.choice(";,\t|"), lineterminator="\r\n").writerows(rows)
    return held.getvalue().encode(rng.choice(_ENCODINGS), "replace")


def tables(rng: random.Random) -> Job:
    """One table, whole or damaged; what is taken without a problem must be a case."""
    given = damaged_text(_table(rng), _PIECES, rng, rng.choice([0, 0, 1, 2, 4]))
    folder, unit = _folder(rng), rng.choice(["", *UNITS])
    told = {rng.choice(list(HEADINGS)): rng.choice(["", "Luna"])} if rng.random() < 0.1 else {}

    def job() -> None:
        with written("orders.csv", given) as path:
            _hold(entries_of_table(path, folder, told=told, remembered={}, unit=unit))

    return given, job


def orders(rng: random.Random) -> Job:
    """Case files as they come in: one, or a list of them, mutated, and their bytes damaged."""
    way = rng.random()
    data: Any = mutated_case(rng)
    if way < 0.4:
        data = [mutated_case(rng) for _ in range(rng.randrange(4))]
        data += [copy.deepcopy(rng.choice(BASES))]
        data.insert(rng.randrange(len(data)), value(rng))
    given = _json(data)
    if way > 0.8:
        pieces = [b"NaN", b"1e999", b'"\\ud800"', b"[[", b"}", b'"photos": ', b"\xff", b"null"]
        given = damaged_text(given, pieces, rng, 2)
    folder = _folder(rng)

    def job() -> None:
        with written("orders.json", given) as path:
            for name in ("side.jpg", "side_1.jpg", "side_2.jpg", "side_3.jpg"):
                path.with_name(name).write_bytes(b"\xff\xd8\xff")
            _hold(entries_of_cases([path], folder))

    return given, job


def _json(data: Any) -> bytes:
    return json.dumps(data, allow_nan=True).encode()


def _hold(found: Entries) -> None:
    """What holds for anything that was taken in."""
    for note in found.notes:
        assert note
    for entry in found.entries:
        assert entry.where
        for problem in (*entry.problems, *entry.remarks):
            assert problem
            assert problem.isprintable(), problem
        if entry.problems:
            continue
        json.dumps(entry.draft.to_dict(), allow_nan=False).encode()
        if entry.checkable and not gaps(entry.draft):
            case_from_dict(entry.draft.to_dict(), check_files=False)
    tried = [replace(entry, read=lambda _: b"", whole=False) for entry in found.entries]
    for result in bring(None, tried, language="en", try_only=True):
        assert result.outcome in OUTCOMES
        assert (result.outcome == "held_back") == bool(result.problems)
        assert _called(result).isprintable()
