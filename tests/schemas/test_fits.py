"""What `fits` lets through is what jsonschema lets through."""

from __future__ import annotations

import copy
import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from photocheck.case.samples import sample_names, samples_folder
from photocheck.report.file import report_to_dict
from photocheck.schemas import published
from photocheck.schemas.complaints import complaint
from photocheck.schemas.published import NAMES, fits, schema
from tests.support.made_report import made_report

CASE = json.loads((samples_folder() / "sorrel" / "case.json").read_text(encoding="utf-8"))
REPORT = report_to_dict(made_report("side.jpg", "measure_again"))
GIVEN = {
    "case": CASE,
    "report": REPORT,
    "outcome": {"format": "photocheck-outcome/1", "outcome": "fitted", "report": "side.json"},
}
VALUES = st.one_of(
    st.none(),
    st.booleans(),
    st.sampled_from([0, 1, -1, 3.0, 1e300, "", "cm", "unknown", [], {}, [1, 2], [1, 2, 3]]),
    st.floats(allow_nan=False, allow_infinity=False),
    st.text(max_size=5),
)


def _ways(value, at=()):
    yield at
    if isinstance(value, (dict, list)):
        for key, item in value.items() if isinstance(value, dict) else enumerate(value):
            yield from _ways(item, (*at, key))


def _changed(data, way, how, value):
    if not way:
        return value
    data = copy.deepcopy(data)
    inner = data
    for step in way[:-1]:
        inner = inner[step]
    if how == "leave out":
        del inner[way[-1]]
    elif how == "add" and isinstance(inner, dict):
        inner["another"] = value
    elif how == "add":
        inner.append(value)
    else:
        inner[way[-1]] = value
    return data


@pytest.mark.parametrize("name", sorted(GIVEN))
def test_what_is_right_fits(name):
    assert fits(GIVEN[name], name)
    assert complaint(GIVEN[name], name) is None


def test_every_sample_fits():
    for sample in sample_names():
        text = (samples_folder() / sample / "case.json").read_text(encoding="utf-8")
        assert fits(json.loads(text), "case")


@pytest.mark.slow
@pytest.mark.parametrize("name", sorted(GIVEN))
@settings(max_examples=150, deadline=None)
@given(data=st.data())
def test_any_change_is_judged_as_jsonschema_judges_it(name, data):
    way = data.draw(st.sampled_from(list(_ways(GIVEN[name]))))
    how = data.draw(st.sampled_from(["set", "leave out", "add"]))
    changed = _changed(GIVEN[name], way, how, data.draw(VALUES))
    right = Draft202012Validator(schema(name)).is_valid(changed)
    assert fits(changed, name) == right
    assert (complaint(changed, name) is None) == right


@pytest.mark.parametrize("name", NAMES)
def test_every_rule_of_the_schemas_is_known(name):
    """A rule that `fits` does not know would be an error in it, so none may slip in."""

    def rules_of(rules):
        yield from rules
        for key in ("properties", "$defs"):
            for inner in rules.get(key, {}).values():
                yield from rules_of(inner)
        for key in ("anyOf", "oneOf", "prefixItems"):
            for inner in rules.get(key, ()):
                yield from rules_of(inner)
        for key in ("items", "additionalProperties"):
            if isinstance(rules.get(key), dict):
                yield from rules_of(rules[key])

    assert set(rules_of(schema(name))) <= set(published._RULES) | published._NOTES


def test_a_part_is_held_against_its_own_rules():
    assert fits({"kind": "id_card"}, "case", part="reference")
    assert not fits({"kind": "card"}, "case", part="reference")
    assert complaint({"kind": "card"}, "case", part="reference") is not None
