"""The one-page record: nothing lost, nothing let in, one page on paper."""

from __future__ import annotations

import hashlib
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest

from photocheck.orders.draft import Draft
from photocheck.orders.model import Decision, Order, OrderError
from photocheck.shown.record import order_record, record_html
from tests.support.made_report import made_report
from tests.support.records import AT, check_of, crowded, decision, photo

NASTY = "\"><script>alert(1)</script><img src=//x.example/y onerror=z> 'q' {{ 7*7 }} \u202e"


class Page(HTMLParser):
    """What a browser would find: every tag with its attributes, and the text."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.text += data


def test_it_holds_what_was_measured_decided_and_by_whom() -> None:
    report = made_report()
    text = Page(record_html(check_of(report), {}, order="k3f9", decision=decision())).text
    words = " ".join(text.split())
    for said in (
        "Order 1042",
        report.headline,
        "Juno",
        "18 in",  # the rear length as the tape has it: 457.2 mm
        "13 1/4 in",  # and the photo: 338 mm is 13.31 in
        "measure again",
        "Asked again by Ada at the desk, 2026-03-29 07:05 UTC.",
        "The rear length is to be measured once more.",
        "ab" * 32,
        "photocheck 0.1.0",
        "shape ratios: as shipped",
        "the owner",
        "k3f9",
        "where the reference stood",
        "52 %",
    ):
        assert said in words, said


def test_widths_and_height_are_written_down_where_they_are_told() -> None:
    report = made_report()
    dog = replace(report.case.dog, neck_width_mm=127.0, chest_width_mm=203.2, height_mm=584.2)
    told = replace(report, case=replace(report.case, dog=dog))
    words = "".join(Page(record_html(check_of(told), {})).text.split())
    for said in ("neckwidth5in", "chestwidth8in", "heightattheshoulder23in"):
        assert said in words, said
    assert "neck width" not in Page(record_html(check_of(report), {})).text


def test_a_missing_decision_is_said() -> None:
    assert "Not decided yet." in record_html(check_of(made_report()), {})


@pytest.mark.slow
def test_nothing_typed_becomes_markup_and_nothing_is_loaded() -> None:
    report = made_report()
    case = replace(report.case, name=NASTY, dog=replace(report.case.dog, name=NASTY, breed=NASTY))
    span = replace(report.spans[0], sentence=NASTY)
    nasty = replace(
        report,
        case=case,
        headline=NASTY,
        spans=(span, *report.spans[1:]),
        redundancy=(NASTY,),
        next_step=NASTY,
        cautions=(NASTY,),
        photos=(replace(report.photos[0], remarks=(NASTY,), path=NASTY, sha256=NASTY),),
        budget=(replace(report.budget[0], title=NASTY),),
        explanations=(replace(report.explanations[0], title=NASTY),),
        outliers=(NASTY,),
        ratios_version=NASTY,
    )
    check = replace(check_of(nasty), by=NASTY, program=NASTY, ratios=NASTY)
    html = record_html(
        check,
        {"side.jpg": photo()},
        order=NASTY,
        decision=Decision(AT, NASTY, "refused", NASTY, NASTY, 17),
    )
    page = Page(html)
    tags = [tag for tag, _ in page.tags]
    assert "script" not in tags
    assert tags.count("img") == 1
    for tag, attributes in page.tags:
        for name, value in attributes.items():
            assert not name.startswith("on"), (tag, name)
            if name in ("src", "href", "action", "data", "poster", "srcset"):
                assert value is not None
                assert value.startswith("data:image/jpeg;base64,")
    assert "{{ 7*7 }}" in page.text  # shown, not worked out
    assert "\u202e" not in html
    policy = next(a["content"] for t, a in page.tags if a.get("http-equiv"))
    assert policy is not None
    assert policy.startswith("default-src 'none'")


@pytest.mark.slow
def test_the_tables_and_pictures_can_be_read_aloud() -> None:
    page = Page(record_html(check_of(made_report()), {"side.jpg": photo()}))
    scopes = [a.get("scope") for tag, a in page.tags if tag == "th"]
    assert len(scopes) > 10
    assert set(scopes) == {"col", "row"}
    assert [a for tag, a in page.tags if tag == "img" and not a.get("alt")] == []
    tags = [tag for tag, _ in page.tags]
    assert tags.count("caption") == tags.count("table") == 2
    assert ("html", {"lang": "en"}) in page.tags


def test_what_had_to_be_left_out_is_said() -> None:
    assert "Shortened to one page" in record_html(check_of(crowded()), {})
    assert "Shortened to one page" not in record_html(check_of(made_report()), {})


@pytest.mark.slow
def test_an_orders_record_takes_the_decision_on_its_latest_check(tmp_path: Path) -> None:
    from PIL import Image

    file = tmp_path / "side.jpg"
    Image.fromarray(photo()).save(file)
    order = Order("k3f9", AT, "en", Draft())
    with pytest.raises(OrderError):
        order_record(order, lambda name: file.read_bytes())
    report = made_report()
    of_another = replace(order, checks=(check_of(report),))
    with pytest.raises(OrderError, match="SHA-256"):
        order_record(of_another, lambda name: file.read_bytes())
    own = hashlib.sha256(file.read_bytes()).hexdigest()
    report = replace(report, photos=(replace(report.photos[0], sha256=own),))
    old = replace(decision("An older decision."), check=16)
    checked = replace(order, checks=(check_of(report),), decisions=(old,))
    html = order_record(checked, lambda name: file.read_bytes())
    assert "An older decision." not in html
    assert "Not decided yet." in html
    assert len(re.findall("data:image/jpeg", html)) == 1
    assert len(html) < 1_000_000
    decided = replace(checked, decisions=(old, decision()))
    assert "to be measured once more" in order_record(decided, lambda name: file.read_bytes())


def test_it_says_which_marks_were_proposed_and_which_are_by_hand() -> None:
    report = made_report()
    entry = report.case.photos[0]
    confirmed = ("breastbone", "last_rib")
    marking = replace(entry.markings[0], confirmed=confirmed)
    photo = replace(entry, markings=(marking, *entry.markings[1:]))
    case = replace(report.case, photos=(photo, *report.case.photos[1:]))
    text = " ".join(Page(record_html(check_of(replace(report, case=case)), {})).text.split())
    assert "proposed and confirmed: breastbone and last rib; by hand: " in text
    assert "proposed" not in Page(record_html(check_of(report), {})).text
