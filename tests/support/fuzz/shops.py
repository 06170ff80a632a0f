"""What a shop keeps in files of its own: sizes, learnt ratios, templates of messages."""

from __future__ import annotations

import hashlib
import json
import math
import random
from typing import Any

from photocheck.body.shape import BASE_WAYS, SHIPPED
from photocheck.case.model import DogFacts
from photocheck.fit.shelf import demo_table, read_shelf
from photocheck.judge.ratios import (
    GroupRatios,
    HeldOut,
    Ratios,
    Version,
    WayRatio,
    ratios_from_dict,
    ratios_to_dict,
    read_ratios,
    write_ratios,
)
from photocheck.orders.messages.drafting import (
    DRAFTS,
    check_templates,
    draft_message,
    shipped_templates,
)
from photocheck.words import SPANS
from tests.support.fuzz.scratch import damaged_text, written
from tests.support.fuzz.texts import Job, mutated, typed_text
from tests.support.made_report import made_report

# --- sizes ---------------------------------------------------------------------

_SHELF = demo_table().encode()
_SHELF_PIECES = [
    *(b";", b",", b"\t", b"\n", b'"', b"#", b"\0", b"\xff", b"size", b"unit", b"in", b"cm", b"-1"),
    *(
        b"54 cm",
        b'21 1/2"',
        b"1e9",
        b"neck_opening_from",
        b"rear_length_to",
        b"middle",
        b"\xe2\x80",
    ),
    *(b"\xe2\x80\xa8", b"inf", b"nan", b"0", b"4,5", b"\x1e", b"large and long", b"\xc2\x85"),
]


def shelves(rng: random.Random) -> Job:
    """The table of sizes, damaged; what is taken has limits that sizes can be matched with."""
    given = damaged_text(_SHELF, _SHELF_PIECES, rng, rng.choice([1, 1, 2, 3, 6]))
    if rng.random() < 0.1:
        given = typed_text(rng).encode("utf-8", "surrogatepass")

    def job() -> None:
        with written("shelf.csv", given) as path:
            sizes = read_shelf(path)
        assert sizes
        for size in sizes:
            assert size.name.isprintable()
            assert size.limits
            for low, high in size.limits.values():
                assert 0 < low < high < math.inf

    return given, job


# --- learnt ratios ---------------------------------------------------------------


def _learnt() -> dict[str, Any]:
    ways = {way: WayRatio(0.01, 0.02, 0.9) for way in BASE_WAYS}
    figures = dict.fromkeys(SPANS, 0.04)
    spreads = dict.fromkeys(BASE_WAYS, 0.03)
    check = HeldOut(40, 5, 0.3, 0.1, True, figures, figures)
    groups = {"invented cross": GroupRatios(20, ways)}
    taught = tuple(f"order {number}" for number in range(3))
    first = Version(
        "", 1, SHIPPED.version, 40, 1, spreads, spreads, ways, groups, check, taught
    ).named()
    second = Version("", 2, first.version, 60, 0, spreads, spreads, ways, {}, check, taught).named()
    whole = ratios_to_dict(Ratios().adding(first).adding(second))
    ratios_from_dict(whole)  # damage is done to what is valid
    return whole


LEARNT = _learnt()


def renamed(data: Any) -> None:
    """Give every version the name that its content has now, as who changes a file on purpose."""
    try:
        names = {SHIPPED.version: SHIPPED.version}
        for version in data["versions"]:
            before = version["version"]
            version["parent"] = names.get(version["parent"], version["parent"])
            body = json.dumps({**version, "version": ""}, sort_keys=True, ensure_ascii=True)
            digest = hashlib.sha256(body.encode()).hexdigest()[:12]
            names[before] = version["version"] = f"{version['number']}-{digest}"
        data["current"] = names.get(data["current"], data["current"])
    except (LookupError, TypeError, AttributeError, ValueError):
        return


def ratios(rng: random.Random) -> Job:
    """A ratios file, mutated, mostly with names that fit, or its bytes damaged."""
    data = mutated(LEARNT, rng)
    if rng.random() < 0.8:
        renamed(data)
    given = json.dumps(data).encode()
    if rng.random() < 0.15:
        pieces = [b"NaN", b"1e999", b"-", b"{", b"]", b'"', b"null", b"\xff", b'"version"', b"0"]
        given = damaged_text(given, pieces, rng, rng.choice([1, 2]))

    def job() -> None:
        with written("ratios.json", given) as path:
            taken = read_ratios(path)
            for breed in ("invented cross", "Another"):
                for learnt in taken.for_dog(DogFacts(breed=breed)).ways.values():
                    assert math.isfinite(learnt.shift)
                    assert 0 < learnt.spread_factor < math.inf
            write_ratios(path, taken)
            assert read_ratios(path) == taken
            if taken.in_use is not None:
                assert taken.undone().current == taken.in_use.parent

    return given, job


# --- templates of messages ---------------------------------------------------------

_TEMPLATES = shipped_templates("en")
_TAGS = [
    "{{", "}}", "{%", "%}", "{#", "#}", "-%}", "{%-", "|", "~", "(", ")", "[", "]", ".", "'",
    "\"", " if ", " else ", "{% endif %}", "{% endfor %}", "{% for r in readings %}",
    "{% set x = 1 %}", "{% include 'closing.txt' %}", "{% import 'reasons.txt' as r %}",
    "{% macro m() %}", "{{ m() }}", "{% extends 'refused.txt' %}", "{% block a %}", "{{ dog }}",
    "{{ reason }}", "readings[0]", "__class__", "__globals__", "|attr('__class__')",
    ".format(dog)", "|map(attribute='title')|join", "self", "loop", "{% raw %}",
    "{% filter upper %}", "{% with %}", "{{ 1/0 }}", "|round", "|int", "|e", "\u0000", "\u2028",
    "{% include '../en/accepted.txt' %}", "{% include '/etc/hostname' %}", "|tojson",
    "|groupby(0)", "|random", "%s", "{0.__class__}", "flagged", "sum.parts", "none", "is defined",
    "not ", "1", "-",
]  # fmt: skip
"""Nothing that makes long texts or loops: how much a template may work is not bounded."""

_REPORT = made_report()
_INSIDE = ("<class '", "<module '", "<frame", "<code object", "mro")


def templates(rng: random.Random) -> Job:
    """A shop's template, damaged; what comes of it shows nothing of the program's inside."""
    name = rng.choice(list(_TEMPLATES))
    pieces = [tag.encode() for tag in _TAGS] + [b"\xff", b"\xf0\x9f\x90\x95"]
    given = damaged_text(_TEMPLATES[name].encode(), pieces, rng, rng.choice([1, 1, 2, 4]))
    if rng.random() < 0.3:
        given = "".join(rng.choices(_TAGS, k=rng.randrange(1, 9))).encode()
    choice = rng.choice(DRAFTS)

    def job() -> None:
        with written(f"en/{name}", given) as path:
            folder = path.parent.parent
            check_templates(folder)
            said = draft_message(_REPORT, choice, templates=folder)
        assert not any(inside in said for inside in _INSIDE), said

    return given, job
