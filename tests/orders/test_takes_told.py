"""Takes of a reading on their way: typed, kept with when and by whom, corrected, exported."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from photocheck.case.file import case_from_dict, case_to_dict
from photocheck.case.model import Reading, Take
from photocheck.case.samples import samples_folder
from photocheck.case.takes import MOST_TAKES, split_takes
from photocheck.errors import CaseError
from photocheck.orders.corrections import changes, with_readings
from photocheck.orders.draft import Draft, DraftTake, reading_text, takes_of
from photocheck.orders.filling import Blank, Hand, new_draft, typed_at, with_typed
from photocheck.orders.gaps import gaps
from photocheck.orders.intake.entries import entries_of_table
from photocheck.schemas.published import schema

FIRST, SECOND = Blank("readings", "half_neck"), Blank("readings", "half_neck", take=1)
MORNING = Hand("owner", "2026-03-01T09:00:00Z")
NOON = Hand("owner", "2026-03-01T12:00:00Z")
FLINT = json.loads((samples_folder() / "flint" / "case.json").read_text(encoding="utf-8"))


def half_neck(draft: Draft) -> object:
    return draft.to_dict()["readings"].get("half_neck")


def test_each_take_keeps_what_was_typed_when_and_by_whom() -> None:
    draft = with_typed(new_draft("cm"), FIRST, "41", MORNING)
    draft = with_typed(draft, SECOND, " 41,5", NOON)
    first = {"typed": "41", "at": MORNING.at, "by": "owner"}
    second = {"typed": " 41,5", "at": NOON.at, "by": "owner"}
    assert half_neck(draft) == [first, second]
    assert (typed_at(draft, FIRST), typed_at(draft, SECOND)) == ("41", " 41,5")
    put_right = with_typed(draft, FIRST, "42", Hand("owner", "2026-03-02T00:00:00Z"))
    assert half_neck(put_right) == [{**first, "typed": "42"}, second]
    assert Draft.from_dict(draft.to_dict()) == draft


def test_a_take_that_is_emptied_leaves_the_others_where_they_stood() -> None:
    draft = with_typed(with_typed(new_draft("cm"), FIRST, "41"), SECOND, "41.5")
    without = with_typed(draft, FIRST, None)
    assert half_neck(without) == ["", "41.5"]
    assert typed_at(without, SECOND) == "41.5"
    assert [gap.step for gap in gaps(without)] == ["photo"]
    assert half_neck(with_typed(draft, SECOND, "")) == "41"
    assert half_neck(with_typed(without, SECOND, None)) is None


def test_an_empty_take_counts_for_nothing_and_a_wrong_one_is_told() -> None:
    told = {**FLINT, "readings": {"half_neck": ["", "41 cm", {"typed": 41.5, "by": "Ann"}]}}
    reading = case_from_dict(told, check_files=False).readings["half_neck"]
    assert reading.takes == (Take(410.0, "41 cm", "cm"), Take(415.0, "41.5", "cm", "", "Ann"))
    assert reading.mm == 412.5
    assert reading.typed == "41 cm / 41.5"
    told["readings"] = {"half_neck": ["41", "4o"]}
    with pytest.raises(CaseError, match="half neck: '4o'"):
        case_from_dict(told, check_files=False)
    draft = with_typed(with_typed(new_draft("cm"), FIRST, "41"), SECOND, "4o")
    assert "4o" in gaps(draft)[0].sentence


@pytest.mark.parametrize(
    "value",
    [
        "41",
        ["41", "41.5"],
        [{"typed": "41", "by": "Ann"}],
        ["41", {"typed": "16 1/2 in", "at": MORNING.at, "by": "Ann"}],
    ],
)
def test_a_case_file_comes_back_as_it_was(value: object) -> None:
    told = {**FLINT, "readings": {"half_neck": value}}
    case = case_from_dict(told, check_files=False)
    again = case_to_dict(case)
    assert again["readings"] == {"half_neck": value}
    assert case_from_dict(again, check_files=False) == case
    draft = Draft.from_dict(told)
    assert json.dumps(draft.to_dict()) == json.dumps(told)


def test_the_schema_and_the_program_take_as_many() -> None:
    for rules in schema("case")["properties"]["readings"]["properties"].values():
        assert rules["maxItems"] == MOST_TAKES


@pytest.mark.parametrize(
    ("text", "unit", "takes"),
    [
        ("41 / 41.5", "cm", ("41", "41.5")),
        ("41;41,5; 42", "cm", ("41", "41,5", "42")),
        ("41 / 41.5 cm", "in", ("41 cm", "41.5 cm")),
        ("16 in / 41.5 cm", "cm", ("16 in", "41.5 cm")),
        ("14 1/2 / 14 3/4", "in", ("14 1/2", "14 3/4")),
        ('14 1/2" / 14 3/4"', "cm", ('14 1/2"', '14 3/4"')),
        ("14 1 / 2", "in", ("14 1 / 2",)),
        ("14 1/2", "in", ("14 1/2",)),
        ("41 / 4o", "cm", ("41 / 4o",)),
        ("41", "cm", ("41",)),
    ],
)
def test_several_takes_in_one_text(text: str, unit: str, takes: tuple[str, ...]) -> None:
    assert split_takes("half_neck", text, unit) == takes


def test_staff_correct_one_take_and_the_other_keeps_its_hand() -> None:
    draft = with_typed(with_typed(new_draft("cm"), FIRST, "41", MORNING), SECOND, "14", NOON)
    assert reading_text(draft.readings["half_neck"]) == "41 / 14"
    assert with_readings(draft, {"half_neck": "41 / 14"}) == draft
    robin = Hand("Robin", "2026-03-03T08:00:00Z")
    after = with_readings(draft, {"half_neck": "41 / 41.5"}, robin)
    assert takes_of(after.readings["half_neck"]) == (
        DraftTake("41", MORNING.at, "owner"),
        DraftTake("41.5", robin.at, "Robin"),
    )
    assert changes(draft, after) == ("half neck: 41 / 14, now 41 / 41.5",)


def test_a_table_tells_two_takes_in_one_cell_or_in_two_columns(tmp_path: Path) -> None:
    path = tmp_path / "orders.csv"
    path.write_text(
        "Order;Half neck (cm);Half neck 2 (cm);Neck ring;Rear again\n"
        "17;41 / 41.5;;82 cm / 83 cm;\n18;41;41,5;82 cm;13 in\n",
        encoding="utf-8",
    )
    one, two = entries_of_table(path, None, told={}, remembered={}, unit="").entries
    assert one.draft.to_dict()["readings"] == {
        "half_neck": ["41", "41.5"],
        "neck_ring": ["82 cm", "83 cm"],
    }
    assert two.draft.to_dict()["readings"] == {
        "half_neck": ["41", "41,5"],
        "rear_length": "13 in",
        "neck_ring": "82 cm",
    }


def test_one_take_is_what_a_reading_always_was() -> None:
    assert Reading(410.0, "41", "cm") == Reading.of([Take(410.0, "41", "cm")])
