"""What the two ways of measuring are promised to see, held against the shares they come from."""

from __future__ import annotations

import re

import pytest

from photocheck.case.lengths import parse_length
from photocheck.orders.depths import DEPTHS, MIDDLING_MM
from photocheck.words import SPANS


@pytest.mark.parametrize("name", DEPTHS)
def test_no_smaller_error_is_promised_to_be_seen_than_is_in_either_unit(name: str) -> None:
    depth = DEPTHS[name]
    caught = {span: depth.caught[span] * MIDDLING_MM[span] for span in SPANS}
    along = max(mm for span, mm in caught.items() if span != "half_neck")
    told = re.findall(r"([\d½]+) cm \(([\d½]+) in\)", depth.promise())
    for (cm, inches), mm in zip(told, (caught["half_neck"], along), strict=True):
        # a whole centimetre and half an inch, as coarse as they are told
        assert mm <= parse_length(cm, "cm")[0] < mm + 10
        assert mm <= parse_length(inches, "in")[0] < mm + 12.7
