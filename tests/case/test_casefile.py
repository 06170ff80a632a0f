import copy
import dataclasses
import json
import math
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from photocheck.case.file import case_from_dict, case_to_dict, read_case, reference_from_dict
from photocheck.case.lengths import exact_text
from photocheck.case.model import Case, DogFacts, Marking, PhotoEntry, Reading, Reference
from photocheck.errors import CaseError
from photocheck.report.file import read_report, report_from_dict, report_text, report_to_dict
from photocheck.report.model import Report
from photocheck.scale.catalogue import REFERENCES
from photocheck.schemas.complaints import path_in_words
from photocheck.schemas.published import schema_text
from photocheck.words import (
    ALL_LANDMARKS,
    BENDABLE_SPANS,
    DECLINED,
    FRONT_HELPERS,
    FRONT_LANDMARKS,
    FRONT_PLACES,
    LANDMARKS,
    PLACES,
    READINGS,
    TAG_SETS,
)
from tests.support.made_report import made_case, made_report
from tests.support.places import SAMPLES

GOOD = {
    "format": "photocheck-case/1",
    "name": "Order 1042",
    "unit": "in",
    "readings": {
        "half_neck": "14 1/2",
        "front_length": 20.5,
        "rear_length": "45,7 cm",
        "full_length": "2 ft 9 1/2 in",
        "neck_ring": "29",
    },
    "dog": {
        "name": "Juno",
        "breed": "mix",
        "weight": "62 lb",
        "coat": "medium",
        "coat_depth": "1/2",
        "build": "slim",
        "girth": "70 cm",
        "age_months": 30,
    },
    "photos": [
        {
            "file": "side.jpg",
            "reference": {
                "kind": "id_card",
                "place": "near_feet",
                "offset": "-12 cm",
                "offset_spread": "4 cm",
                "corners": [[1500, 2250], [1790, 2262], [1788, 2440], [1497, 2432]],
                "near": [1600, 2300],
                "corner_spread_px": 1.5,
            },
            "markings": [
                {
                    "by": "owner",
                    "marks": {name: [100 + 50 * i, 200] for i, name in enumerate(ALL_LANDMARKS)},
                    "bends": {"front_length": [[1010, 1420], [1330, 1490]]},
                    "spread_mm": 6,
                },
                {"marks": {name: [100 + 50 * i, 210] for i, name in enumerate(LANDMARKS)}},
            ],
            "focal_35mm": 26,
            "distortion": [0.01, -0.02, 0, 0, 0.001],
        },
        {
            "file": "other.jpg",
            "reference": {
                "kind": "two_points",
                "ends": [[1, 2], [3, 4]],
                "length": "300 mm",
            },
            "markings": [{"marks": {name: [10 * i, 20] for i, name in enumerate(LANDMARKS)}}],
        },
    ],
}  # fmt: skip


@pytest.fixture
def folder(tmp_path):
    for name in ("side.jpg", "other.jpg"):
        (tmp_path / name).write_bytes(b"")
    return tmp_path


def changed(path: str, value) -> dict:
    """GOOD with one value set, or taken out when it is `...`."""
    data = copy.deepcopy(GOOD)
    *steps, last = [int(s) if s.isdigit() else s for s in path.split("/")]
    at: Any = data
    for step in steps:
        at = at[step]
    if value is ...:
        del at[last]
    else:
        at[last] = value
    return data


def written(folder: Path, data) -> Path:
    path = folder / "case.json"
    path.write_text(data if isinstance(data, str) else json.dumps(data), encoding="utf-8")
    return path


# --- reading ---------------------------------------------------------------


def test_a_full_case(folder):
    case = read_case(written(folder, GOOD))
    assert case.readings["half_neck"] == Reading(368.3, "14 1/2", "in")
    assert case.readings["front_length"] == Reading(520.7, "20.5", "in")
    assert case.readings["rear_length"] == Reading(457.0, "45,7 cm", "cm")
    assert case.readings["full_length"] == Reading(850.9, "2 ft 9 1/2 in", "in")
    assert case.dog == DogFacts("Juno", "mix", 62 * 0.45359237, 700.0, "medium", 12.7, "slim", 30.0)
    first, second = case.photos
    assert first.path == str(folder / "side.jpg")
    assert first.reference == Reference(
        "id_card",
        "near_feet",
        -120.0,
        40.0,
        ((1500.0, 2250.0), (1790.0, 2262.0), (1788.0, 2440.0), (1497.0, 2432.0)),
        (1600.0, 2300.0),
        corner_spread_px=1.5,
    )
    assert first.markings[0].bends == {"front_length": ((1010.0, 1420.0), (1330.0, 1490.0))}
    assert first.markings[1].by == "owner"
    assert first.distortion == (0.01, -0.02, 0.0, 0.0, 0.001)
    assert second.reference.length_mm == 300.0
    assert second.reference.place == "unknown"


def test_the_least_case(folder):
    data = {
        "format": "photocheck-case/1",
        "unit": "cm",
        "photos": [
            {
                "file": "side.jpg",
                "reference": {"kind": "marker_sheet"},
                "markings": [{"marks": {name: [1, 2] for name in LANDMARKS}}],
            }
        ],
    }
    case = read_case(written(folder, data))
    assert case.readings == {}
    assert case.dog == DogFacts()


def test_round_trip(folder):
    case = read_case(written(folder, GOOD))
    data = json.loads(json.dumps(case_to_dict(case, folder)))
    assert data["photos"][0]["file"] == "side.jpg"
    assert data["readings"]["half_neck"] == "14 1/2"
    assert case_from_dict(data, folder) == case
    assert case_from_dict(case_to_dict(case), "elsewhere") == case


lengths = st.floats(60.0, 850.0)
points = st.tuples(st.floats(-1e4, 1e4), st.floats(-1e4, 1e4))
maybe = st.none() | lengths


@settings(max_examples=40, deadline=None)
@given(
    st.builds(
        Case,
        photos=st.lists(
            st.builds(
                PhotoEntry,
                path=st.just("/photos/side.jpg"),
                reference=st.builds(
                    Reference,
                    kind=st.sampled_from(list(REFERENCES)),
                    place=st.sampled_from(PLACES),
                    offset_mm=st.none() | st.floats(-1e3, 1e3).map(lambda mm: round(mm, 6)),
                    offset_spread_mm=maybe,
                    corners=st.just(()) | st.tuples(points, points, points, points),
                    near=st.none() | points,
                    ends=st.just(()) | st.tuples(points, points),
                    length_mm=maybe,
                    diameter_mm=maybe,
                    bar_mm=maybe,
                    corner_spread_px=st.none() | st.floats(0.1, 20),
                ),
                markings=st.lists(
                    st.builds(
                        Marking,
                        marks=st.fixed_dictionaries(
                            dict.fromkeys(LANDMARKS, points),
                            optional={"front_foot": points},
                        ),
                        bends=st.dictionaries(
                            st.sampled_from(BENDABLE_SPANS),
                            st.lists(points, max_size=3).map(tuple),
                        ),
                        by=st.text("abc ", max_size=5),
                        spread_mm=st.none() | st.floats(0.5, 50),
                    ),
                    min_size=1,
                    max_size=2,
                ).map(tuple),
                focal_35mm=st.none() | st.floats(8, 900),
                distortion=st.just(()) | st.tuples(*[st.floats(-1, 1)] * 5),
            ),
            min_size=1,
            max_size=2,
        ).map(tuple),
        readings=st.dictionaries(
            st.sampled_from(READINGS),
            st.integers(6, 60).map(lambda n: Reading(n * 127 / 10, f"{n}/2 in", "in"))
            | lengths.map(lambda mm: Reading(mm, exact_text(mm), "cm")),
        ),
        unit=st.sampled_from(["cm", "in"]),
        dog=st.builds(
            DogFacts,
            name=st.text("Abc é", max_size=8),
            breed=st.text("Abc ", max_size=8),
            weight_kg=st.none() | st.floats(0.5, 150),
            girth_mm=st.none() | st.floats(150, 1500),
            coat=st.sampled_from(["unknown", "long"]),
            coat_depth_mm=st.none() | st.floats(0.01, 150),
            build=st.sampled_from(["unknown", "broad"]),
            age_months=st.none() | st.floats(0, 300),
            neck_width_mm=st.none() | st.floats(20, 300),
            chest_width_mm=st.none() | st.floats(30, 500),
            height_mm=st.none() | st.floats(100, 1100),
        ),
        name=st.text("Order 1", max_size=10),
    )
)
def test_any_case_round_trips(case):
    data = json.loads(json.dumps(case_to_dict(case)))
    assert case_from_dict(data, check_files=False) == case


@pytest.mark.parametrize("unit", ["cm", "in"])
@pytest.mark.parametrize(
    "reading",
    [
        Reading(368.3, "14 1/2", "in"),
        Reading(368.3, "14.5", "in"),
        Reading(368.0, "36,8", "cm"),
        Reading(368.0, "368 mm", "cm"),
        Reading(381.0, "15", "in"),
        Reading(381.25, "", "cm"),
        Reading(381.25, "about fifteen", "cm"),
        Reading(355.6, "", "in"),
    ],
)
def test_readings_round_trip_whatever_was_typed(reading, unit):
    case = dataclasses.replace(made_case(), readings={"half_neck": reading}, unit=unit)
    back = case_from_dict(case_to_dict(case), check_files=False).readings["half_neck"]
    assert (back.mm, back.unit) == (reading.mm, reading.unit)


# --- what is refused, and in which words -----------------------------------

MARKS = "photos/0/markings/0/marks"
WRONG = [
    ("format", ..., "no format is given", '"format": "photocheck-case/1"'),
    ("format", "photocheck-case/9", "the format is 'photocheck-case/9'", "photocheck-case/1"),
    ("unit", ..., "'unit' is missing", "Add it"),
    ("unit", "inch", '"inch" is not known here', "cm, in"),
    ("unit", "mm", '"mm" is not known here', "cm"),
    ("photos", ..., "'photos' is missing", "Add it"),
    ("photos", [], "0 given here, at least 1", "Give 1"),
    ("photos", {}, "must be a list in brackets, not a group", "Correct it"),
    ("reading", {}, "'reading' is not known", "Did you mean 'readings'"),
    ("readings/halfneck", "14", "'halfneck' is not known", "Did you mean 'half_neck'"),
    ("readings/zzz", "14", "'zzz' is not known", "Known here: half_neck"),
    (
        "readings/half_neck",
        None,
        "must be a text in quotes or a number or a list in brackets, not nothing",
        "Correct",
    ),
    ("readings/half_neck", "abc", "half neck: 'abc' cannot be read", "14 1/2 in"),
    ("readings/half_neck", "-3", "half neck: '-3' is negative", "14 1/2 in"),
    ("readings/half_neck", "40 in", "40 in = 101.6 cm is longer than any dog", "40 cm would be"),
    ("dog/weight", "900 kg", "weight: '900 kg' is 900 kg, heavier", "28 kg"),
    ("dog/coat", "fluffy", '"fluffy" is not known here', "unknown, short, medium, long"),
    ("dog/coat_depth", "40 cm", "a coat cannot be 40 cm deep", "2 cm"),
    ("dog/girth", "x", "girth: 'x' cannot be read", "14 1/2 in"),
    ("dog/neck_width", "51 cm", "is longer than any dog's neck width", "51 mm would be possible"),
    ("dog/chest_width", "7 mm", "is shorter than any dog's chest width", "Look at"),
    ("dog/height", "0", "height at the shoulder: a length of zero", "Type a length"),
    ("dog/age_months", -1, "dog, age months: -1 is outside", "at least 0"),
    ("dog/age_months", "2", "dog, age months: this must be a number, not a text", "Correct"),
    (f"{MARKS}/tailbase", [1, 2], "'tailbase' is not known", "Did you mean 'tail_base'"),
    (f"{MARKS}/breastbone", [1], "breastbone: 1 given here, exactly 2", "[x, y]"),
    (f"{MARKS}/breastbone", [1, "2"], "breastbone 2: this must be a number, not a text", "Correct"),
    (f"{MARKS}/breastbone", [1, 1e300], "far too large", "Correct"),
    (f"{MARKS}/breastbone", [1, True], "must be a number, not true or false", "Correct"),
    ("photos/0/reference", ..., "photo 1: 'reference' is missing", "Add"),
    ("photos/0/reference/kind", "id_crad", '"id_crad" is not known', "Did you mean 'id_card'"),
    ("photos/0/reference/place", "moon", '"moon" is not known', "near_flank"),
    ("photos/0/reference/corners", [[1, 2]] * 3, "3 given here, exactly 4", "Give 4"),
    ("photos/0/reference/corner_spread_px", 0, "0 is outside", "above 0"),
    ("photos/0/reference/offset", "x cm", "photo 1, reference, offset: 'x cm' cannot", "14 1/2"),
    ("photos/0/view", "back", '"back" is not known', "side, front"),
    ("photos/0/file", "", "photo 1, file: this text is empty", "Correct"),
    ("photos/0/file", "nose.jpg", "photo 1: the photo file 'nose.jpg' is not there", "beside"),
    ("photos/0/file", "a\0b", "photo 1: a text holds a character", "Type it again"),
    ("name", "Bramble \ud83d", "a text holds a character that cannot be written", "Type it again"),
    ("photos/0/file", "n" * 5000, "is not there", "beside"),
    ("photos/1/markings/0/by", 3, "photo 2, marking 1, by: this must be a text", "Correct"),
    ("photos/0/markings/0/bends/full_length", [], "'full_length' is not known", "Did you"),
    ("photos/0/distortion", [1], "1 given here, at least 4", "Give 4"),
    ("photos/0/focal_35mm", 2, "2 is outside", "at least 8"),
    ("name", "x" * 300, "too long", "Correct"),
]  # fmt: skip


@pytest.mark.parametrize(("path", "value", "why", "do"), WRONG)
def test_every_wrong_value_is_told_in_words(folder, path, value, why, do):
    file = written(folder, changed(path, value))
    with pytest.raises(CaseError) as caught:
        read_case(file)
    said = str(caught.value)
    assert why in said
    assert do in said
    assert said.startswith(str(file))
    assert "\n" not in said


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "not JSON"),
        ("{'unit': 'cm'}", "not JSON: .* line 1, column 2"),
        ('{"unit": "cm",\n}', "not JSON.*line"),
        ('{"unit": "cm", "unit": "in"}', "'unit' is given twice"),
        ('{"x": NaN}', "NaN is not a number"),
        ("[" * 100_000, "nested|not JSON"),
        ("[]", "must be a group"),
        ("3", "must be a group"),
    ],
)
def test_what_is_not_json(folder, text, why):
    with pytest.raises(CaseError, match=why):
        read_case(written(folder, text))


def test_files_that_cannot_be_read(tmp_path):
    with pytest.raises(CaseError, match="no such case file"):
        read_case(tmp_path / "none.json")
    with pytest.raises(CaseError, match="folder"):
        read_case(tmp_path)
    (tmp_path / "case.json").write_bytes(b"\xff\xfe\x00{")
    with pytest.raises(CaseError, match="not text in UTF-8"):
        read_case(tmp_path / "case.json")
    with (tmp_path / "big.json").open("wb") as file:
        file.truncate(6_000_000)
    with pytest.raises(CaseError, match="too large"):
        read_case(tmp_path / "big.json")
    with pytest.raises(CaseError, match="cannot be opened"):
        read_case("a\0b")


def test_byte_order_mark_is_no_obstacle(folder):
    (folder / "case.json").write_text(json.dumps(GOOD), encoding="utf-8-sig")
    assert read_case(folder / "case.json").name == "Order 1042"


json_values = st.recursive(
    st.none() | st.booleans() | st.floats(allow_nan=False) | st.integers() | st.text(max_size=5),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from([*GOOD, "kind", "file", "marks", "x"]), inner, max_size=4)
    ),
    max_leaves=12,
)
PATHS = sorted({p for p, *_ in WRONG if "halfneck" not in p})


@given(st.sampled_from(PATHS), json_values)
def test_any_value_anywhere_gives_a_case_or_a_case_error(path, value):
    try:
        case = case_from_dict(changed(path, value), check_files=False)
    except CaseError:
        return
    assert isinstance(case, Case)


def test_a_reference_alone():
    got = reference_from_dict({"kind": "disc", "near": [3, 4], "diameter": "10 in"}, "cm")
    assert got == Reference("disc", near=(3.0, 4.0), diameter_mm=254.0)
    with pytest.raises(CaseError, match="options: 'kind' is missing"):
        reference_from_dict({"near": [3, 4]}, "cm", where="options")


def test_paths_in_words():
    assert path_in_words(["photos", 0, "markings", 1, "marks", "last_rib"]) == (
        "photo 1, marking 2, marks, last rib"
    )


# --- the published schemas -------------------------------------------------


@pytest.mark.parametrize("name", ["case", "report"])
def test_schemas_are_schemas_and_say_what_everything_is(name):
    schema = json.loads(schema_text(name))
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    Draft202012Validator.check_schema(schema)

    def described(node, path):
        if isinstance(node, dict):
            for key, inner in node.get("properties", {}).items():
                words = "description" in inner or "$ref" in inner or "enum" in inner
                assert words, f"{path}/{key}"
                described(inner, f"{path}/{key}")
            for key, inner in node.get("$defs", {}).items():
                assert "description" in inner, key
                described(inner, key)

    described(schema, "")


def test_schemas_accept_what_is_written(folder):
    for name, data in (("case", GOOD), ("report", report_to_dict(made_report()))):
        Draft202012Validator(json.loads(schema_text(name))).validate(json.loads(json.dumps(data)))


def test_case_schema_knows_the_vocabulary():
    schema = json.loads(schema_text("case"))
    defs = schema["$defs"]
    assert set(schema["properties"]["readings"]["properties"]) == set(READINGS)
    assert set(defs["marking"]["properties"]["marks"]["properties"]) == {
        *ALL_LANDMARKS,
        *FRONT_LANDMARKS,
        *FRONT_HELPERS,
    }
    assert defs["photo"]["properties"]["tags"]["enum"] == list(TAG_SETS)
    assert defs["photo"]["properties"]["declined"]["items"]["enum"] == list(DECLINED)
    assert set(defs["marking"]["properties"]["bends"]["properties"]) == set(BENDABLE_SPANS)
    assert defs["reference"]["properties"]["kind"]["enum"] == list(REFERENCES)
    assert defs["reference"]["properties"]["place"]["enum"] == list(
        dict.fromkeys((*PLACES, *FRONT_PLACES))
    )


def test_report_schema_names_every_field():
    schema = json.loads(schema_text("report"))
    report = made_report()
    pairs = [
        (schema, report),
        ("span", report.spans[0]),
        ("photo_result", report.photos[0]),
        ("source", report.budget[0]),
        ("case", report.case),
        ("dog", report.case.dog),
        ("photo_entry", report.case.photos[0]),
        ("reference", report.case.photos[0].reference),
        ("marking", report.case.photos[0].markings[0]),
        ("reading", report.case.readings["half_neck"]),
    ]
    for which, held in pairs:
        node = schema["$defs"][which] if isinstance(which, str) else which
        fields = {f.name for f in dataclasses.fields(held)}
        assert set(node["properties"]) - {"format"} == fields
        assert set(node["required"]) - {"format"} == fields


# --- reports ---------------------------------------------------------------


def test_a_report_of_before_0_2_is_read_with_what_was_not_told_then() -> None:
    data = json.loads(report_text(made_report()))
    for name in ("promise", "catches_common", "tolerances", "certainty"):
        del data[name]
    for name in ("neck_width_mm", "chest_width_mm", "height_mm"):
        del data["case"]["dog"][name]
    for reading in data["case"]["readings"].values():
        del reading["takes"]
    report = report_from_dict(data)
    assert (report.promise, report.catches_common, report.tolerances) == ("", 0.0, {})
    assert report.case.readings == made_report().case.readings
    data["mood"] = "good"
    with pytest.raises(CaseError, match="published report schema"):
        report_from_dict(data)


def test_report_round_trip_is_exact(tmp_path):
    report = made_report(photos=2)
    assert math.isinf(report.spans[2].catches)
    data = report_to_dict(report)
    assert json.loads(report_text(report)) == data
    assert report_from_dict(data) == report
    path = tmp_path / "report.json"
    path.write_text(report_text(report), encoding="utf-8")
    back = read_report(path)
    assert back == report
    assert isinstance(back, Report)
    assert isinstance(back.covariance[0], tuple)


@pytest.mark.parametrize(
    "change",
    [
        {"verdict": "fine"},
        {"spans": 3},
        {"covariance": [["x"]]},
        {"extra": 1},
        {"format": "photocheck-report/9"},
    ],
)
def test_other_reports_are_refused(change):
    with pytest.raises(CaseError, match="report"):
        report_from_dict({**report_to_dict(made_report()), **change})


def test_no_report_at_all():
    for data in ({}, [], None, 3):
        with pytest.raises(CaseError, match="no format is given"):
            report_from_dict(data)


def test_what_was_confirmed_is_kept_and_only_where_there_is_any() -> None:
    data = json.loads((SAMPLES / "flint" / "case.json").read_text(encoding="utf-8"))
    (marking,) = data["photos"][0]["markings"]
    plain = case_from_dict(data, check_files=False)
    assert plain.photos[0].markings[0].confirmed == ()
    assert "confirmed" not in case_to_dict(plain)["photos"][0]["markings"][0]
    marking["confirmed"] = ["last_rib", "tail_base"]
    told = case_from_dict(data, check_files=False)
    assert told.photos[0].markings[0].confirmed == ("last_rib", "tail_base")
    assert case_to_dict(told)["photos"][0]["markings"][0]["confirmed"] == marking["confirmed"]
    marking["confirmed"] = ["nose"]
    with pytest.raises(CaseError):
        case_from_dict(data, check_files=False)
