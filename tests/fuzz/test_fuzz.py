"""A short run of the fuzzing; ``cd tests && python -m fuzz`` runs it for as long as asked."""

import pytest

from tests.support.fuzz.__main__ import fuzz
from tests.support.fuzz.doors import drafts, links, pages, placed, requests
from tests.support.fuzz.incoming import orders, tables
from tests.support.fuzz.pictures import pictures
from tests.support.fuzz.shops import ratios, shelves, templates
from tests.support.fuzz.texts import case_texts, cases, lengths


@pytest.mark.parametrize(
    ("make", "inputs"),
    [
        *((lengths, 1000), (cases, 300), (case_texts, 100), (pictures, 100)),
        *((tables, 200), (orders, 100), (shelves, 300), (ratios, 100), (templates, 100)),
        *((requests, 100), (links, 100), (drafts, 30), (placed, 300)),
    ],
)
def test_a_few_made_up_inputs(make, inputs):
    print(fuzz(make, inputs, 0))


@pytest.mark.slow
@pytest.mark.parametrize(
    ("make", "inputs"),
    [
        *((lengths, 20_000), (cases, 10_000), (case_texts, 3_000), (pictures, 3_000)),
        *((tables, 3_000), (orders, 3_000), (shelves, 5_000), (ratios, 2_000), (templates, 2_000)),
        *((requests, 20_000), (links, 20_000), (pages, 500), (drafts, 5_000), (placed, 20_000)),
    ],
)
def test_many_made_up_inputs(make, inputs, thorough):
    print(fuzz(make, inputs if thorough else inputs // 2, 1_000_000))
