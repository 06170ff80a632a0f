"""Files made to keep whoever reads them busy: what is wrong with them is told soon."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from photocheck.errors import CaseError
from photocheck.schemas import complaints
from photocheck.schemas.complaints import complaint, most_telling
from photocheck.schemas.reading import parse_json

RULES = {
    "properties": {"list": {"maxItems": 3, "items": {"type": "string"}}, "name": {"type": "string"}}
}


def counted(data: Any, seen: list[str]) -> Iterator[Any]:
    for error in Draft202012Validator(RULES).iter_errors(data):
        seen.append(str(error.validator))
        yield error


def test_a_list_that_is_too_long_is_not_looked_into() -> None:
    seen: list[str] = []
    told = most_telling(counted({"list": [1] * 500}, seen))
    assert told is not None
    assert (told.validator, seen) == ("maxItems", ["maxItems"])


def test_of_a_crowd_of_faults_few_are_weighed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(complaints, "MOST_WEIGHED", 2)
    seen: list[str] = []
    told = most_telling(counted({"list": [1, 2, 3], "name": 4}, seen))
    assert told is not None
    assert (told.absolute_path[0], len(seen)) == ("list", 2)
    monkeypatch.setattr(complaints, "MOST_WEIGHED", 4)
    told = most_telling(counted({"list": [1, 2, 3], "name": 4}, seen))
    assert told is not None
    assert list(told.absolute_path) == ["name"]  # of all four the one that is least deep
    assert most_telling(iter(())) is None


def test_a_case_of_ten_thousand_wrong_photos_is_told_as_too_many() -> None:
    told = complaint({"format": "photocheck-case/1", "unit": "cm", "photos": [1] * 10_000}, "draft")
    assert told is not None
    assert told.validator == "maxItems"


@pytest.mark.parametrize("text", ["1e999", "-1E400", "1" + "0" * 400, "-1" + "0" * 5000])
def test_a_number_that_64_bits_do_not_hold_is_refused(text: str) -> None:
    """RFC 8259, 6: software has good interoperability within IEEE 754 binary64; Python's own
    reader makes an infinity of such a number, or refuses it by words about its settings."""
    with pytest.raises(CaseError, match=rf"{text[:30]}.*is too large") as caught:
        parse_json(f'{{"girth": {text}}}'.encode(), where="here")
    assert len(str(caught.value)) < 100


@pytest.mark.parametrize("text", [r'"Ju\ud800no"', r'["\uDFFF\ud83d"]', r'{"\ud83d": 1}'])
def test_half_a_letter_is_refused(text: str) -> None:
    """RFC 8259, 8.2: what becomes of an unpaired surrogate nobody can tell."""
    with pytest.raises(CaseError, match="cannot be written"):
        parse_json(text.encode(), where="here")
    assert parse_json(b'"\\ud83d\\udc15 \\u00e4"', where="here") == "\U0001f415 ä"


def test_numbers_that_they_hold_are_read_as_they_are() -> None:
    assert parse_json(b"[1e308, -5e-324, 0.1, 12, -0.0]", where="here") == [
        1e308,
        -5e-324,
        0.1,
        12,
        0,
    ]
    assert isinstance(parse_json(b"12", where="here"), int)


def test_what_is_shipped_is_so_many() -> None:
    assert complaints.MOST_WEIGHED == 200
