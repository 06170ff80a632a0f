"""A shop's template sees the order's facts and nothing of the program it is filled in by.

The ways out that are tried are those of Jinja's own notes on its sandbox
(https://jinja.palletsprojects.com/en/stable/sandbox/) and what is commonly tried against it.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from photocheck.orders.messages.drafting import MessageError, draft_message
from tests.support.made_report import made_report

OUT = [
    "{{ ''.__class__.__mro__ }}",
    "{{ ().__class__.__base__.__subclasses__() }}",
    "{{ ''|attr('__class__') }}",
    "{{ '{0.__class__.__mro__}'.format('x') }}",
    "{{ '{x.__class__}'.format_map({'x': 1}) }}",
    "{% set f = '{0.__class__}'.format %}{{ f('x') }}",
    "{{ ('{0.__class__}'|attr('format'))('x') }}",
    "{{ '%s'|format(dog.__class__) }}",
    "{{ self.__init__.__globals__ }}",
    "{{ lipsum.__globals__['os'].popen('id').read() }}",
    "{{ cycler.__init__.__globals__.os }}",
    "{{ readings|groupby('__class__')|list }}",
    "{% include '../../../etc/passwd' %}",
    "{% include '/etc/passwd' %}",
    "{% import 'os' as os %}",
    "{{ readings.append(1) }}",
    "{{ readings[0].update({'said': 'x'}) }}",
    "{{ range(10000000)|list }}",
    "{% include 'accepted.txt' %}",
    "{% macro m() %}{{ m() }}{% endmacro %}{{ m() }}",
]


@pytest.mark.parametrize("text", OUT)
def test_no_template_reaches_the_programs_inside(tmp_path: Path, text: str) -> None:
    (tmp_path / "en").mkdir()
    (tmp_path / "en" / "accepted.txt").write_text(text, encoding="utf-8")
    with pytest.raises(MessageError, match=r"accepted\.txt"):
        draft_message(made_report(), "accepted", templates=tmp_path)


def test_a_template_of_a_shops_own_is_filled_in(tmp_path: Path) -> None:
    (tmp_path / "en").mkdir()
    text = "{{ ['a']|map(attribute='__class__')|list }} {{ dog }}"
    (tmp_path / "en" / "accepted.txt").write_text(text, encoding="utf-8")
    said = draft_message(made_report(), "accepted", templates=tmp_path)
    assert said == f"[Undefined] {made_report().case.dog.name}"
