"""Dataclasses and published schemas say the same: a field of one side only is seen here."""

from __future__ import annotations

import copy
import json
from collections.abc import Iterator, Mapping
from dataclasses import MISSING, dataclass, field, fields, is_dataclass, make_dataclass
from pathlib import Path
from types import NoneType
from typing import Any, get_args, get_origin, get_type_hints

import pytest

from photocheck.case.file import case_from_dict, case_to_dict
from photocheck.case.model import Case, DogFacts, Marking, PhotoEntry, Reference
from photocheck.orders.draft import Draft, OwnerTold
from photocheck.report.file import report_from_dict, report_to_dict
from photocheck.report.model import Report
from photocheck.schemas.published import schema_text
from photocheck.words import (
    ALL_LANDMARKS,
    BENDABLE_SPANS,
    DECLINED,
    FRONT_HELPERS,
    FRONT_LANDMARKS,
    READINGS,
)

Rules = Mapping[str, Any]

# -- the report: its schema follows from its types -----------------------------------


class Held:
    """A type held against the rules of a schema; what does not fit is told by its place."""

    def __init__(self, defs: Rules) -> None:
        self.defs = defs
        self.wrong: list[str] = []

    def compare(self, kind: Any, rules: Rules, place: str) -> None:
        if "$ref" in rules and rules["$ref"] != "#/$defs/number":
            self.compare(kind, self.defs[rules["$ref"].removeprefix("#/$defs/")], place)
        elif NoneType in get_args(kind):
            self._maybe(kind, rules, place)
        elif is_dataclass(kind):
            self._fields(kind, rules, place)
        elif get_origin(kind) is tuple:
            self._items(get_args(kind), rules, place)
        elif get_origin(kind) is Mapping:
            self._expect(rules.get("type") == "object", place, "must be an object")
            self.compare(get_args(kind)[1], rules["additionalProperties"], f"{place}[]")
        else:
            self._expect(_plain(kind, rules), place, f"{kind} is not {dict(rules)}")

    def _maybe(self, kind: Any, rules: Rules, place: str) -> None:
        (inner,) = (each for each in get_args(kind) if each is not NoneType)
        ways = rules.get("anyOf", [rules])
        self._expect({"type": "null"} in ways, place, "may be None but not null")
        (way,) = (each for each in ways if each != {"type": "null"})
        self.compare(inner, way, place)

    def _fields(self, kind: Any, rules: Rules, place: str) -> None:
        hints = get_type_hints(kind)
        names = {each.name for each in fields(kind)}
        known = rules["properties"].keys() - ({"format"} if place == "report" else set())
        self._expect(names <= known, place, f"only fields: {sorted(names - known)}")
        self._expect(known <= names, place, f"only in the schema: {sorted(known - names)}")
        self._expect(
            set(rules["required"]) == set(rules["properties"]),
            place,
            "all that is written is required",
        )
        self._expect(rules["additionalProperties"] is False, place, "no other name is allowed")
        for name in names & known:
            self.compare(hints[name], rules["properties"][name], f"{place}.{name}")

    def _items(self, kinds: tuple[Any, ...], rules: Rules, place: str) -> None:
        self._expect(rules.get("type") == "array", place, "must be an array")
        if kinds[1:] == (...,):
            self.compare(kinds[0], rules["items"], f"{place}[]")
            return
        count = (rules.get("minItems"), rules.get("maxItems"))
        self._expect(count == (len(kinds), len(kinds)), place, f"holds {len(kinds)}")
        each = rules.get("prefixItems", [rules.get("items")] * len(kinds))
        for kind, item in zip(kinds, each, strict=True):
            self.compare(kind, item, f"{place}[]")

    def _expect(self, right: bool, place: str, otherwise: str) -> None:
        if not right:
            self.wrong.append(f"{place}: {otherwise}")


def _plain(kind: Any, rules: Rules) -> bool:
    if kind is float:
        return rules.get("$ref") == "#/$defs/number"
    if kind is int:
        return rules.get("type") == "integer"
    if kind is bool:
        return rules.get("type") == "boolean"
    if kind is str:
        words = rules.get("enum", [])
        return rules.get("type") == "string" or (bool(words) and all(type(w) is str for w in words))
    return False


def report_drift(kind: Any, rules: Rules) -> list[str]:
    held = Held(rules["$defs"])
    held.compare(kind, rules, "report")
    return held.wrong


def schema(name: str) -> dict[str, Any]:
    return json.loads(schema_text(name))


def test_the_report_and_its_schema_have_the_same_parts():
    assert report_drift(Report, schema("report")) == []


def test_a_part_of_the_report_on_one_side_only_is_seen():
    rules = schema("report")
    more = make_dataclass("Report", [("mood", str)], bases=(Report,), kw_only=True, frozen=True)
    assert report_drift(more, rules) == ["report: only fields: ['mood']"]
    for place in (rules, *rules["$defs"].values()):
        if place.get("type") == "object":
            place["properties"]["mood"] = {"type": "string"}
            place["required"].append("mood")
            assert any("only in the schema: ['mood']" in w for w in report_drift(Report, rules))
            del place["properties"]["mood"], place["required"][-1]
    assert report_drift(Report, rules) == []


@pytest.mark.parametrize(
    ("part", "name", "rule"),
    [
        ("span", "score", {"$ref": "#/$defs/number"}),  # None is possible
        ("span", "catches", {"anyOf": [{"$ref": "#/$defs/number"}, {"type": "null"}]}),
        ("photo_result", "sha256", {"$ref": "#/$defs/number"}),
        ("photo_result", "size_px", {"type": "array", "items": {"type": "integer"}}),
        ("reading", "mm", {"type": "string"}),
    ],
)
def test_another_type_or_nullability_is_seen(part, name, rule):
    rules = schema("report")
    rules["$defs"][part]["properties"][name] = rule
    assert len(report_drift(Report, rules)) >= 1


def test_what_may_be_left_out_of_a_report_is_seen():
    rules = schema("report")
    rules["$defs"]["dog"]["required"].remove("breed")
    assert report_drift(Report, rules) == ["report.case.dog: all that is written is required"]


def made(kind: Any) -> Any:
    """One value of a type with every part filled."""
    if is_dataclass(kind):
        assert isinstance(kind, type)
        hints = get_type_hints(kind)
        return kind(**{each.name: made(hints[each.name]) for each in fields(kind)})
    if NoneType in get_args(kind):
        return made(next(each for each in get_args(kind) if each is not NoneType))
    if get_origin(kind) is tuple:
        kinds = get_args(kind)
        return (made(kinds[0]),) if kinds[1:] == (...,) else tuple(map(made, kinds))
    if get_origin(kind) is Mapping:
        return {"half_neck": made(get_args(kind)[1])}
    return {float: 1.5, int: 3, bool: True, str: "half_neck"}[kind]


def full_report() -> dict[str, Any]:
    """A report with every part filled, its words of a closed list among the list."""
    data = report_to_dict(made(Report))
    for value, rules in _walk(data, schema("report"), schema("report")["$defs"]):
        for name, rule in rules.get("properties", {}).items():
            if "enum" in rule:
                value[name] = rule["enum"][-1]
    return data


def _walk(value: Any, rules: Rules, defs: Rules) -> Iterator[tuple[Any, Rules]]:
    """Every object with the rules it falls under."""
    if "$ref" in rules:
        rules = defs[rules["$ref"].removeprefix("#/$defs/")]
    if isinstance(value, dict):
        if "properties" in rules:
            yield value, rules
        for name, item in value.items():
            yield from _walk(
                item,
                rules.get("properties", {}).get(name) or rules.get("additionalProperties") or {},
                defs,
            )
    elif isinstance(value, list):
        for item in value:
            yield from _walk(item, rules.get("items", {}), defs)


def test_every_part_of_a_report_is_written_and_read():
    data = full_report()
    report = report_from_dict(data)
    assert report_to_dict(report) == data
    seen = list(_walk(data, schema("report"), schema("report")["$defs"]))
    assert len(seen) == 16  # every object that the schema knows
    for value, rules in seen:
        assert value.keys() == rules["properties"].keys()


# -- the case file: names and types follow the fields by rules said here ---------------


@dataclass(frozen=True)
class Part:
    """How a dataclass is written in a case file."""

    kind: type
    where: str
    """Of the schema's definitions; "" for the whole, "dog" for the dog's part."""
    needed: frozenset[str]
    """Properties that must be given."""
    extra: frozenset[str] = field(default_factory=frozenset)
    """Properties that are no field."""


PARTS = (
    # who orders is the store's, and so is what was declined: no check looks at it, and no report
    # repeats it
    Part(Case, "", frozenset({"format", "unit", "photos"}), frozenset({"format", "owner"})),
    Part(PhotoEntry, "photo", frozenset({"file", "reference"}), frozenset({"declined"})),
    Part(Reference, "reference", frozenset({"kind"})),
    Part(Marking, "marking", frozenset({"marks"})),
    Part(DogFacts, "dog", frozenset()),
)
MEASURED = ("_mm", "_kg")
"""Fields in these units are typed as lengths and weights, under the name without the unit."""
AS_THEY_ARE = ("spread_mm", "focal_35mm")
"""Numbers that only programs give; the unit stays in the name."""


def property_of(name: str) -> str:
    if name == "path":
        return "file"
    return name[:-3] if name.endswith(MEASURED) and name not in AS_THEY_ARE else name


def case_drift(part: Part, kind: Any, rules: Rules) -> list[str]:
    rules = _part(rules, part.where)
    names = {property_of(each.name): each.name for each in fields(kind)}
    known = rules["properties"].keys() - part.extra
    wrong = [f"only a field: {name}" for name in sorted(names.keys() - known)]
    wrong += [f"only in the schema: {name}" for name in sorted(known - names.keys())]
    if frozenset(rules.get("required", ())) != part.needed:
        wrong.append("another choice of what is needed")
    hints = get_type_hints(kind)
    for name in names.keys() & known:
        if not _written(hints[names[name]], names[name], rules["properties"][name]):
            wrong.append(f"another type: {name}")
    without = {e.name for e in fields(kind) if e.default is e.default_factory is MISSING}
    if not {property_of(n) for n in without} <= part.needed | {"readings"}:  # none need be given
        wrong.append("a field without a default may be left out")
    return wrong


def _part(rules: Rules, where: str) -> Rules:
    if where == "dog":
        return rules["properties"]["dog"]
    return rules["$defs"][where] if where else rules


def _written(kind: Any, name: str, rules: Rules) -> bool:
    kinds = (
        [each for each in get_args(kind) if each is not NoneType]
        if NoneType in get_args(kind)
        else [kind]
    )
    if kinds[0] is float:
        typed = property_of(name) != name
        return rules.get("type") == (["string", "number"] if typed else "number")
    if kinds[0] is bool:
        return rules.get("type") == "boolean"
    if kinds[0] is str:
        return rules.get("type") == "string" or "enum" in rules
    if is_dataclass(kinds[0]):
        return rules.get("$ref") == f"#/$defs/{name}" or rules.get("type") == "object"
    if get_origin(kinds[0]) is tuple:
        return rules.get("type") == "array" or rules.get("$ref") == "#/$defs/point"
    return rules.get("type") == "object"


@pytest.mark.parametrize("part", PARTS, ids=lambda part: part.kind.__name__)
def test_a_case_and_its_schema_have_the_same_parts(part):
    assert case_drift(part, part.kind, schema("case")) == []


@pytest.mark.parametrize("part", PARTS, ids=lambda part: part.kind.__name__)
def test_a_part_of_the_case_on_one_side_only_is_seen(part):
    rules = schema("case")
    more = make_dataclass("More", [("mood_mm", float, 0.0)], bases=(part.kind,), frozen=True)
    assert case_drift(part, more, rules) == ["only a field: mood"]
    _part(rules, part.where)["properties"]["mood"] = {"type": "number"}
    assert case_drift(part, part.kind, rules) == ["only in the schema: mood"]
    assert case_drift(part, more, rules) == ["another type: mood"]


def test_landmarks_spans_and_readings_are_those_of_the_words():
    rules = schema("case")
    marking = rules["$defs"]["marking"]["properties"]
    assert tuple(marking["marks"]["properties"]) == (
        *ALL_LANDMARKS,
        *FRONT_LANDMARKS,
        *FRONT_HELPERS,
    )
    assert tuple(marking["bends"]["properties"]) == BENDABLE_SPANS
    assert tuple(rules["properties"]["readings"]["properties"]) == READINGS


def filled(rules: Rules, defs: Rules, name: str = "") -> Any:
    """Something that the schema allows, with every property given and none at its default."""
    if "$ref" in rules:
        return filled(defs[rules["$ref"].removeprefix("#/$defs/")], defs, name)
    if "const" in rules:
        return rules["const"]
    if "enum" in rules:
        return rules["enum"][-1 if name != "place" else 0]
    kind = rules["type"]
    if isinstance(kind, list) and kind[-1] in ("array", "object"):
        kind = kind[-1]  # a text or more: a reading taken several times, a take with its hands
    if kind == "object":
        return {key: filled(rule, defs, key) for key, rule in rules["properties"].items()}
    if kind == "array":
        return [filled(rules["items"], defs) for _ in range(rules.get("minItems", 1))]
    if kind == ["string", "number"]:
        own = {"weight": "28 kg", "coat_depth": "2 cm", "neck_width": "12 cm"}
        return own.get(name, "42.5 cm")
    return {"string": f"some {name}", "number": 30.0, "boolean": True}[kind]


def _places(value: Any, at: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """The way to every property."""
    if isinstance(value, dict):
        for name, item in value.items():
            yield (*at, name)
            yield from _places(item, (*at, name))
    elif isinstance(value, list):
        for number, item in enumerate(value):
            yield from _places(item, (*at, number))


def test_every_property_of_a_case_file_is_read_and_written():
    rules = schema("case")
    data = filled(rules, rules["$defs"])
    owner = data.pop("owner")
    assert Draft.from_dict({"owner": owner}).to_dict() == {"owner": owner}
    assert owner.keys() == {each.name for each in fields(OwnerTold)} - {"extra", "written"}
    declined = [photo.pop("declined") for photo in data["photos"]]
    assert {name for each in declined for name in each} <= set(DECLINED)
    case = case_from_dict(data, Path(), check_files=False)
    assert case_from_dict({**data, "owner": owner}, Path(), check_files=False) == case
    photos = [{**photo, "declined": no} for photo, no in zip(data["photos"], declined, strict=True)]
    assert case_from_dict({**data, "photos": photos}, Path(), check_files=False) == case
    told = {"photos": [{"file": "photo-1", "declined": list(DECLINED)}]}
    assert Draft.from_dict(told).photos[0].declined == DECLINED
    assert Draft.from_dict(told).to_dict() == told
    again = case_to_dict(case, Path())
    assert case_from_dict(again, Path(), check_files=False) == case
    assert set(_places(again)) == set(_places(data))
    for *way, last in _places(data):
        if last == "format":
            continue
        without = copy.deepcopy(data)
        inner = without
        for step in way:
            inner = inner[step]
        needed = {name for part in PARTS for name in part.needed} | set(FRONT_LANDMARKS)
        needed |= {"typed"}  # of a take
        if last in needed:
            continue
        del inner[last]
        assert case_from_dict(without, Path(), check_files=False) != case, (way, last)
