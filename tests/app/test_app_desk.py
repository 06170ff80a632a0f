"""The desk: what staff see is what the check says, and what they do goes into the history."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from datetime import UTC, datetime
from html import unescape
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import streamlit as st

import photocheck
from photocheck.case.file import case_from_dict, case_to_dict
from photocheck.case.lengths import format_length
from photocheck.case.model import Reading, Take
from photocheck.errors import CaseError, PhotocheckError
from photocheck.judge.tolerances import Tolerances
from photocheck.orders import listing
from photocheck.orders.corrections import (
    changes,
    reference_points,
    shape_of,
    with_marking,
    with_readings,
    with_reference_points,
)
from photocheck.orders.deciding import decide_on, reason_needed
from photocheck.orders.draft import Draft, DraftMarking
from photocheck.orders.filling import new_draft
from photocheck.orders.intake.bring_in import File, bring_in
from photocheck.orders.messages.drafting import draft_message
from photocheck.orders.model import CHOICES, STORE_VARIABLE, OrderError, OrderLine, Store
from photocheck.orders.store import open_store
from photocheck.report.model import DoubtSource, Report
from photocheck.report.retelling import in_language
from photocheck.server import bench, demo_orders
from photocheck.server.run import run_check
from photocheck.server.serving import DESK_VARIABLE
from photocheck.shown.doubt_bars import doubt_bars
from photocheck.shown.spans_plot import spans_plot
from photocheck.words import SPAN_TITLES, VERDICTS
from photocheck_app.desk import moves, session, staff_marks
from photocheck_app.marking.surface import Placed
from tests.support import desk_pages, made_report
from tests.support.checked_samples import checked
from tests.support.desk_pages import (
    GERMAN_DESK,
    HELD,
    SAMPLES,
    decide,
    html,
    key_of,
    opened,
    pressed,
    sample_files,
    shown,
    written,
)
from tests.support.kept_photos import as_kept

store = desk_pages.store

pytestmark = pytest.mark.usefixtures("decoded_here")


# -- figures -------------------------------------------------------------------------


def test_the_plot_shows_the_reports_lengths_in_per_cent_off_the_photo() -> None:
    """Read back off the axis as one would with a ruler."""
    report = made_report.made_report()
    plot = spans_plot(report)
    told = [(share, text.replace("\N{MINUS SIGN}", "-")) for share, text in plot.ticks]
    shares, numbers = zip(*((share, float(text)) for share, text in told), strict=True)
    slope, start = np.polyfit(shares, numbers, 1)
    assert np.allclose(np.polyval([slope, start], shares), numbers)
    assert 3 <= len(numbers) <= 7
    assert plot.unit == "in"
    for row, span in zip(plot.rows, report.spans, strict=True):
        for share, mm in (
            (row.low, span.low_mm),
            (row.middle, span.photo_mm),
            (row.high, span.high_mm),
            (row.reading, span.reading_mm),
        ):
            assert share is not None
            assert mm is not None
            off = 100 * (mm / span.photo_mm - 1)
            assert start + slope * share == pytest.approx(off, abs=1e-9)
            assert 0 < share < 1
        assert (row.beyond, row.open_left, row.open_right) == ("", False, False)
        assert span.reading_mm is not None
        assert row.tape == format_length(span.reading_mm, "in")


def with_span(report: Report, number: int, **changed: Any) -> Report:
    spans = list(report.spans)
    spans[number] = replace(spans[number], **changed)
    return replace(report, spans=tuple(spans))


def test_one_wild_reading_does_not_shrink_the_plot() -> None:
    """A lost decimal point is ten times off; the intervals keep the room they had."""
    report = made_report.made_report()
    usual = spans_plot(report).rows[0]
    wild = spans_plot(with_span(report, 0, reading_mm=3683.0)).rows[0]
    assert (wild.beyond, wild.reading) == ("right", 1.0)
    assert wild.high - wild.low == pytest.approx(usual.high - usual.low, rel=0.2)


def test_an_open_interval_is_drawn_as_going_on() -> None:
    report = with_span(made_report.made_report(), 1, low_mm=1.3, high_mm=213_000.0)
    rows = spans_plot(report).rows
    assert rows[1].open_left
    assert rows[1].open_right
    assert rows[0].high - rows[0].low > 0.04
    assert not rows[0].open_right


def test_a_reading_that_was_not_given_has_no_point() -> None:
    changed = with_span(made_report.made_report(), 2, reading_mm=None, difference=None, verdict="")
    row = spans_plot(changed).rows[2]
    assert (row.reading, row.tape, row.off, row.verdict_title) == (None, "", "", "")


def test_the_doubt_bars_hold_the_whole_variance() -> None:
    report = made_report.made_report()
    many = tuple(
        DoubtSource(f"s{k}", f"source {k}", {s.span: 1 / 8 for s in report.spans}, f"do {k}")
        for k in range(8)
    )
    doubt = doubt_bars(replace(report, budget=many), most=5)
    assert len(doubt.titles) == len(doubt.actions) == 6
    for row in doubt.rows:
        shares = [share for share, _ in row.parts]
        assert math.fsum(shares) == pytest.approx(1)
        assert shares[-1] == pytest.approx(3 / 8)
        assert row.parts[-1][1] == "38 %"
        assert row.extent == "± 9 %"  # 1.96 times 0.045


# -- corrections ---------------------------------------------------------------------


def flint() -> dict:
    return json.loads((SAMPLES / "flint" / "case.json").read_text())


MINE = {
    "breastbone": (800.0, 770.0),
    "shoulder_top": (960.0, 550.0),
    "last_rib": (1120.0, 705.0),
    "tail_base": (1302.0, 600.0),
}


@pytest.mark.parametrize(("beside", "who"), [(True, ["owner", "Ines"]), (False, ["Ines"])])
def test_marks_beside_the_owners_or_in_their_place(beside: bool, who: list[str]) -> None:
    before = Draft.from_dict(flint())
    placed = DraftMarking(MINE, {"front_length": ((900.0, 800.0),), "half_neck": ()})
    after = with_marking(before, 0, by="Ines", placed=placed, beside=beside)
    twice = with_marking(after, 0, by="Ines", placed=placed, beside=beside)
    assert before.to_dict() == flint()
    assert twice == after
    case = case_from_dict(after.to_dict(), check_files=False)
    assert [m.by for m in case.photos[0].markings] == who
    assert case.photos[0].markings[-1].marks == MINE
    assert case.photos[0].markings[-1].bends == {"front_length": ((900.0, 800.0),)}
    assert changes(before, after) == ("photo 1: marks",)


@pytest.mark.parametrize(
    ("kind", "shape", "points"),
    [
        ("a4", "corners", ((1.0, 2.0), (9.0, 2.0), (9.0, 8.0), (1.0, 8.0))),
        ("two_points", "ends", ((1.0, 2.0), (9.0, 2.0))),
        ("ball", "near", ((4.0, 5.0),)),
    ],
)
def test_reference_points_placed_by_hand_are_read_back(kind: str, shape: str, points) -> None:
    case = flint()
    case["photos"][0]["reference"] = {"kind": kind, "place": "middle"}
    before = Draft.from_dict(case)
    assert shape_of(before.photos[0].reference) == shape
    assert reference_points(before.photos[0].reference) == ()
    after = with_reference_points(before, 0, shape, points)
    case_from_dict(after.to_dict(), check_files=False)
    assert reference_points(after.photos[0].reference) == points


def test_readings_stay_as_typed_and_wrong_ones_are_refused() -> None:
    before = Draft.from_dict(flint())
    half = flint()["readings"]["half_neck"]
    typed = {"rear_length": " 27,0 cm ", "half_neck": half, "full_length": ""}
    after = with_readings(before, typed)
    assert after.readings == {
        "half_neck": half,
        "front_length": flint()["readings"]["front_length"],
        "rear_length": "27,0 cm",
    }
    assert changes(before, after) == (
        "rear length: 72, now 27,0 cm",
        f"full length: {flint()['readings']['full_length']}, now not given",
    )
    for wrong in ("about 27", "2700", "-3"):
        with pytest.raises(CaseError, match="rear length"):
            with_readings(before, {"rear_length": wrong})
    assert before.to_dict() == flint()


# -- deciding ------------------------------------------------------------------------


def test_what_needs_a_reason() -> None:
    needed = {(c, v) for c in CHOICES for v in VERDICTS if reason_needed(c, v)}
    against = {("accepted", v) for v in VERDICTS if v != "agrees"}
    assert needed == against | {("refused", v) for v in VERDICTS}


def test_nobody_decides_on_what_they_have_not_seen(store: Store) -> None:
    key = key_of(store, "sorrel")
    seen = store.order(key)
    with pytest.raises(OrderError, match="only with a reason"):
        decide_on(store, seen, "refused", by="Ines", reason="  ")
    decide_on(store, seen, "accepted", by="Ines", reason="")
    with pytest.raises(OrderError, match="somebody else"):
        decide_on(store, seen, "refused", by="Olga", reason="too small for us")
    now = store.order(key)
    store.record_check(key, now.checks[-1].case, now.checks[-1].report, by="owner")
    with pytest.raises(OrderError, match="checked again"):
        decide_on(store, now, "refused", by="Olga", reason="too small for us")
    assert [d.choice for d in store.order(key).decisions] == ["accepted"]


# -- the list ------------------------------------------------------------------------


def line(name: str, state: str, verdict: str, worst: float = 1.0) -> OrderLine:
    sent = datetime(2026, 3, 1, tzinfo=UTC)
    return OrderLine(name, name, sent, state, verdict, worst, f"About {name}.")


def test_the_neighbours_of_an_order_are_those_that_wait() -> None:
    lines = [
        line("crouched", "waiting", "retake", 0.8),
        line("calm", "waiting", "agrees", 1.9),
        line("done", "accepted", "measure_again", 9.0),
    ]
    assert listing.neighbours(lines, "crouched") == ("", "calm")
    assert listing.neighbours(lines, "calm") == ("crouched", "")
    assert listing.neighbours(lines, "done") == ("", "crouched")


# -- bringing in ---------------------------------------------------------------------


def rowan() -> tuple[dict, list[File]]:
    (_, content), photos = sample_files("rowan")
    return json.loads(content), photos


def as_file(data: dict) -> File:
    return "order.json", json.dumps(data).encode()


@pytest.fixture
def empty(tmp_path: Path) -> Store:
    return open_store(str(tmp_path / "empty.db"))


@pytest.mark.slow
def test_a_case_brought_in_gives_what_files_on_disk_give(empty: Store) -> None:
    data, photos = rowan()
    came = bring_in(empty, as_file(data), [*photos, ("cat.jpg", b"never opened")])
    assert came.unused == ("cat.jpg",)
    report = run_check(empty, came.key, by="Ines").report
    case = photocheck.read_case(SAMPLES / "rowan" / "case.json")
    asked = photocheck.check(case, photos=as_kept(empty, came.key, case))
    assert report.spans == asked.spans
    assert report.verdict == asked.verdict
    # The owner's files themselves: what writing a photo anew costs (measured: 0.05 % at most).
    original = photocheck.check(case)
    for is_now, was in zip(report.spans, original.spans, strict=True):
        assert is_now.photo_mm == pytest.approx(was.photo_mm, rel=5e-4)
        assert is_now.verdict == was.verdict


def test_folders_and_capitals_of_photo_names_do_not_matter(empty: Store) -> None:
    data, photos = rowan()
    data["photos"] = data["photos"][:1]
    for path in ("dogs/rowan/SIDE_1.JPG", "C:\\dogs\\side_1.jpg"):
        data["photos"][0]["file"] = path
        assert bring_in(empty, as_file(data), photos[:1]).unused == ()


def test_a_photo_on_disk_is_never_read(empty: Store) -> None:
    data, photos = rowan()
    data["photos"][1]["file"] = str(SAMPLES / "flint" / "side.jpg")
    with pytest.raises(CaseError, match="not uploaded"):
        bring_in(empty, as_file(data), photos)


def alike_in_case() -> tuple[File, list[File]]:
    data, photos = rowan()
    data["photos"][1]["file"] = "other/side_1.jpg"
    return as_file(data), photos


BAD = {
    "a photo missing": (lambda: (as_file(rowan()[0]), rowan()[1][:2]), "side_3.jpg"),
    "photos alike": (lambda: (as_file(rowan()[0]), rowan()[1] * 2), "share the name"),
    "alike in the case": (alike_in_case, "share the name"),
    "not a picture": (
        lambda: (as_file(rowan()[0]), [(name, b"words") for name, _ in rowan()[1]]),
        "side_1.jpg: this is not a picture",
    ),
    "nothing in it": (lambda: (("order.json", b""), []), "order.json: this is not JSON"),
    "a picture as case": (lambda: (("x.jpg", b"\xff\xd8\xff"), []), "x.jpg: .* not text"),
    "a misspelt name": (lambda: (as_file(rowan()[0] | {"dgo": {}}), []), "order.json: .*dgo"),
}


@pytest.mark.parametrize(("made", "said"), BAD.values(), ids=BAD)
def test_bad_files_are_answered_in_a_sentence_and_leave_nothing(
    made, said: str, empty: Store
) -> None:
    with pytest.raises(PhotocheckError, match=said) as caught:
        bring_in(empty, *made())
    assert str(caught.value).endswith(".")
    assert empty.lines() == ()


@pytest.mark.slow
def test_samples_come_in_once_and_say_that_they_are_invented(
    empty: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(demo_orders, "sample_names", lambda: ["flint", "sorrel"])
    done = []
    tight = Tolerances({"half_neck": 0.03})
    came = demo_orders.bring_in_samples(
        empty, tolerated=tight, on_sample=lambda *of: done.append(of)
    )
    assert came == 2
    checks = [empty.order(line.key).checks[-1] for line in empty.lines()]
    assert all(check.report.tolerances == tight.all() for check in checks)
    assert done == [(1, 2), (2, 2)]
    assert demo_orders.bring_in_samples(empty) == 0
    assert sorted(line.name for line in empty.lines()) == [
        "Flint (invented sample)",
        "Sorrel (invented sample)",
    ]
    monkeypatch.setattr(demo_orders, "sample_names", lambda: [])
    with pytest.raises(CaseError, match="missing"):
        demo_orders.bring_in_samples(empty)


# -- the page ------------------------------------------------------------------------


@pytest.mark.slow
def test_the_list_is_filtered_and_leads_to_an_order(store: Store) -> None:
    page = opened()
    assert shown(page) == ["Flint", "Tarn", "Sorrel"]
    page.selectbox(key="desk_verdict").select("agrees").run()
    assert shown(page) == ["Sorrel"]
    page.selectbox(key="desk_verdict").select("").run()
    page.text_input(key="desk_find").set_value("crouch").run()
    assert shown(page) == ["Tarn"]
    page.text_input(key="desk_find").set_value("no such dog").run()
    assert shown(page) == []
    assert "No order fits" in page.info[0].value
    page.text_input(key="desk_find").set_value("").run()
    key = key_of(store, "flint")
    pressed(page, f"desk_open_{key}")
    assert page.query_params["case"] in (key, [key])
    assert "Kestrel Fell" in html(page)


def test_an_empty_desk_says_how_to_begin(tmp_path: Path, monkeypatch) -> None:
    monkeypatch.setenv(STORE_VARIABLE, str(tmp_path / "new.db"))
    monkeypatch.setenv(DESK_VARIABLE, "open")
    st.cache_resource.clear()
    assert "samples" in opened().info[0].value


def test_an_order_shows_what_the_check_says(store: Store) -> None:
    key = key_of(store, "flint")
    report = checked("flint")
    text = unescape(html(opened(case=key)))
    for span in report.spans:
        for mm in (span.reading_mm, span.photo_mm, span.high_mm):
            assert mm is not None
            assert format_length(mm, "cm") in text
        assert SPAN_TITLES[span.span] in text
    for one in report.explanations:
        assert one.title in text
        assert all(value in text for _, value, _ in one.candidates)
    for source in report.budget[:5]:
        assert source.title in text
    for said in (report.headline, report.next_step, *report.redundancy):
        assert said in text


def test_a_german_desk_says_in_german_what_was_checked_in_english(store: Store) -> None:
    report = checked("tarn")
    german = in_language(report, "de")
    key = key_of(store, "tarn")
    text = unescape(html(opened(GERMAN_DESK, case=key)))
    listed = unescape(html(opened(GERMAN_DESK)))
    for here, there in (
        (report.headline, german.headline),
        (report.next_step.rstrip("."), german.next_step.rstrip(".")),
        (report.photos[0].stance[0].sentence, german.photos[0].stance[0].sentence),
        (report.photos[0].remarks[0], german.photos[0].remarks[0]),
        (report.cautions[0], german.cautions[0]),
        (report.budget[0].title, german.budget[0].title),
    ):
        assert here not in text
        assert there in text
    assert report.headline not in listed
    assert german.headline in listed


def test_stance_and_remarks_are_shown(store: Store) -> None:
    key = key_of(store, "tarn")
    (photo,) = store.order(key).checks[-1].report.photos
    text = unescape(html(opened(case=key)))
    assert photo.stance
    assert photo.remarks
    for said in (photo.stance[0].sentence, photo.stance[0].instruction, *photo.remarks):
        assert said in text


@pytest.mark.slow
def test_what_people_typed_is_shown_as_text(store: Store) -> None:
    key = key_of(store, "flint")
    case = flint() | {"name": "<b onclick=x>Rex</b> *bold*"}
    case["photos"] = store.order(key).checks[-1].case.to_dict()["photos"]
    run_check(store, key, by="<i>Ines</i>", draft=Draft.from_dict(case))
    for page in (opened(case=key), opened()):
        assert "<b onclick" not in html(page)
        assert "<i>Ines" not in html(page)


@pytest.mark.slow
def test_refusing_needs_a_reason_and_is_recorded_with_the_message(store: Store) -> None:
    key = key_of(store, "flint")
    page = decide(opened(case=key, by="Ines"), "refused")
    pressed(page, "decide")
    assert "only with a reason" in page.error[0].value
    assert store.order(key).decisions == ()
    drafted = draft_message(store.order(key).checks[-1].report, "refused", language="en")
    assert written(page, "Message").value == drafted
    written(page, "Reason").set_value("The dog is too young.").run()
    written(page, "Message").set_value("Dear owner, no.").run()
    pressed(page, "decide")
    (decision,) = store.order(key).decisions
    assert (decision.choice, decision.by) == ("refused", "Ines")
    assert decision.reason == "The dog is too young."
    assert decision.message == "Dear owner, no."
    assert store.order(key).state == "refused"
    pressed(page, "back_to")
    assert "The dog is too young." in html(page)
    assert [c.value for c in page.code] == ["Dear owner, no."]


@pytest.mark.slow
def test_accepting_is_free_only_with_the_verdict(store: Store) -> None:
    agreed, doubted = key_of(store, "sorrel"), key_of(store, "flint")
    page = pressed(decide(opened(case=agreed), "accepted"), "decide")
    assert not page.error
    assert store.order(agreed).state == "accepted"
    page = pressed(decide(opened(case=doubted), "accepted"), "decide")
    assert "needs a reason" in page.error[0].value
    assert store.order(doubted).state == "waiting"
    page = pressed(decide(opened(case=doubted), "asked_again"), "decide")
    assert store.order(doubted).state == "asked_again"


def test_words_not_sent_outlive_a_reload_for_the_one_who_wrote_them(store: Store) -> None:
    key = key_of(store, "flint")
    page = decide(opened(case=key, by="Ines"), "refused")
    written(page, "Reason").set_value("half a thought").run()
    pressed(page, "desk_to_all")
    again = opened(case=key, by="Ines")
    assert written(again, "Reason").value == "half a thought"
    other = opened(case=key, by="Olga")
    assert not [a for a in other.text_area if a.value == "half a thought"]


@pytest.mark.slow
def test_a_reading_told_by_phone_makes_a_new_check(store: Store) -> None:
    key = key_of(store, "flint")
    page = opened(case=key, by="Ines")
    (rear,) = [t for t in page.text_input if t.label.startswith("rear length")]
    assert rear.value == "72"
    rear.set_value("about 27").run()
    pressed(page, "check_readings")
    assert "rear length" in page.error[0].value
    assert len(store.order(key).checks) == 1
    (rear,) = [t for t in page.text_input if t.label.startswith("rear length")]
    assert rear.value == "about 27"
    rear.set_value("27 cm").run()
    pressed(page, "check_readings")
    before, after = store.order(key).checks
    assert after.by == "Ines"
    (told,) = after.case.to_dict()["readings"]["rear_length"]
    # told by phone, so the owner's hands; who wrote it down is the check's `by`
    assert (told["typed"], told["by"], len(told["at"])) == ("27 cm", "owner", 20)
    assert before.case.to_dict()["readings"]["rear_length"] == "72"
    case = photocheck.read_case(SAMPLES / "flint" / "case.json")
    take = Take(270.0, "27 cm", "cm", told["at"], "owner")
    told = replace(case, readings={**case.readings, "rear_length": Reading.of([take])})
    photos = as_kept(store, key, told)
    assert after.report.spans == photocheck.check(told, photos=photos).spans
    assert "rear length: 72, now 27 cm" in html(page)
    (rear,) = [t for t in page.text_input if t.label.startswith("rear length")]
    assert rear.value == "27 cm"
    pressed(page, f"look {before.number}")
    assert "72.0 cm" in html(page)
    assert not page.radio


@pytest.mark.slow
def test_every_take_is_seen_at_the_desk_and_put_right_there(store: Store) -> None:
    key = key_of(store, "flint")
    page = opened(case=key, by="Ines")
    (rear,) = [t for t in page.text_input if t.label.startswith("rear length")]
    rear.set_value("72 / 27").run()
    pressed(page, "check_readings")
    assert "Rear length: 72 / 27" in html(page)
    assert "Rear length: 72.0 cm and 27.0 cm differ more than a tape does" in html(page)
    assert "Rear length, taken 2 times: ±" in html(page)
    (rear,) = [t for t in page.text_input if t.label.startswith("rear length")]
    assert rear.value == "72 / 27"
    first, second = store.order(key).checks[-1].case.to_dict()["readings"]["rear_length"]
    assert first == "72"  # as it came in
    assert (second["typed"], second["by"]) == ("27", "owner")
    rear.set_value("72 / 27 / 27.5").run()
    pressed(page, "check_readings")
    assert "72.0 cm does not fit the other times it was measured" in html(page)
    assert store.order(key).checks[-1].report.verdict != "measure_again"


@pytest.mark.slow
@pytest.mark.parametrize("way", ["instead", "beside"])
def test_marks_by_staff_give_what_the_check_gives(
    store: Store, way: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    began = []

    def surface(photo: np.ndarray, *, start: Placed, **_: object) -> Placed:
        began.append(start)
        return Placed(marks=MINE)

    monkeypatch.setattr(staff_marks, "marking_surface", surface)
    key = key_of(store, "flint")
    page = opened(case=key, do="marks", by="Ines")
    (how,) = page.radio
    how.set_value(way).run()
    # A second opinion that began with the first would only repeat it.
    marks = case_from_dict(flint(), check_files=False).photos[0].markings[0].marks
    assert began[0].marks == marks
    assert began[1].marks == (MINE if way == "instead" else {})
    pressed(page, "check_marks")
    assert not page.error
    case = case_to_dict(photocheck.read_case(SAMPLES / "flint" / "case.json"))
    mine = {"by": "Ines", "marks": {name: list(xy) for name, xy in MINE.items()}}
    others = case["photos"][0]["markings"] if way == "beside" else []
    case["photos"][0]["markings"] = [*others, mine]
    corrected = case_from_dict(case)
    asked = photocheck.check(corrected, photos=as_kept(store, key, corrected))
    before, after = store.order(key).checks
    assert after.by == "Ines"
    assert after.report.spans == asked.spans
    assert before.report.spans != after.report.spans
    assert store.order(key).draft == before.case


def test_exchanged_marks_are_told_to_staff_before_they_are_sent(store: Store, monkeypatch) -> None:
    told = []

    def surface(*_: object, **given: Any) -> Placed:
        told.append(given["told"])
        return Placed()

    monkeypatch.setattr(staff_marks, "marking_surface", surface)
    key = key_of(store, "flint")
    opened(case=key, do="marks", by="Ines")
    assert told == [None]
    right = store.order(key).told.photos[0].markings[0].marks
    wrong = {**right, "breastbone": right["tail_base"], "tail_base": right["breastbone"]}
    monkeypatch.setattr(staff_marks, "unsent", lambda *_: Placed(marks=wrong))
    opened(case=key, do="marks", by="Ines")
    assert told[1].exchange == {"breastbone": "tail_base", "tail_base": "breastbone"}
    # A small dog far away is none within a hand's breadth: the last check knows the scale.
    small = {name: (0.15 * x, 0.15 * y) for name, (x, y) in right.items()}
    monkeypatch.setattr(staff_marks, "unsent", lambda *_: Placed(marks=small))
    opened(case=key, do="marks", by="Ines")
    assert told[2] is None


def test_marks_that_cannot_be_used_are_answered_and_kept(store: Store, monkeypatch) -> None:
    placed = Placed(marks={k: v for k, v in MINE.items() if k != "tail_base"})
    monkeypatch.setattr(staff_marks, "marking_surface", lambda *_, **__: placed)
    key = key_of(store, "flint")
    page = pressed(opened(case=key, do="marks", by="Ines"), "check_marks")
    assert "tail base" in page.error[0].value
    assert len(store.order(key).checks) == 1
    assert session.unsent("Ines", key, "marks 1 0 instead") == placed


def test_a_photo_is_decoded_once(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    decoded = []
    load = bench.load_photo

    def loading(*given: Any, **told: Any) -> Any:
        decoded.append(1)
        return load(*given, **told)

    monkeypatch.setattr(bench, "load_photo", loading)
    monkeypatch.setattr(staff_marks, "marking_surface", lambda *_, **__: Placed())
    key = key_of(store, "flint")
    bench.drop(key)
    page = decide(opened(case=key), "accepted")
    pressed(page, "to_marks")
    opened(case=key)
    assert len(decoded) == 1


def test_an_unknown_order_is_answered_with_the_way_back(store: Store) -> None:
    page = opened(case="no-such-order")
    assert len(page.error) == 1
    assert shown(pressed(page, "desk_way_out"))


def test_a_fault_of_the_program_is_no_traceback(store: Store, monkeypatch) -> None:
    def fail(*_: object) -> None:
        raise ZeroDivisionError("inside")

    monkeypatch.setattr("photocheck_app.desk.order_page.spans_plot", fail)
    page = opened(case=key_of(store, "flint"))
    assert "should not have happened" in page.error[0].value
    assert "inside" not in page.error[0].value


@pytest.mark.slow
def test_an_upload_is_checked_and_outlives_an_error(store: Store) -> None:
    data, photos = rowan()
    name, content = as_file(data)
    page = opened(do="import", by="Ines")
    page.file_uploader(key="desk_case_file_0").set_value((name, content, "application/json"))
    files = [(photo, content, "image/jpeg") for photo, content in photos]
    page.file_uploader(key="desk_photos_0").set_value(files[:2])
    pressed(page, "desk_bring_in")
    assert "not uploaded" in page.error[0].value
    assert len(store.lines()) == len(HELD)
    page.file_uploader(key="desk_photos_0").set_value(files)
    pressed(page, "desk_bring_in")
    key = key_of(store, "rowan")
    assert [c.by for c in store.order(key).checks] == ["Ines"]
    assert "Rowan" in html(page)


def test_an_order_that_was_not_sent_shows_what_is_missing(store: Store) -> None:
    key = store.open("de")
    store.save_draft(key, new_draft("cm"))
    page = opened(case=key)
    assert "not sent" in page.info[0].value
    assert "No photo" in html(page)
    assert not page.radio


@pytest.mark.slow
def test_nobody_at_the_desk_passes_for_the_owner(store: Store) -> None:
    key = key_of(store, "sorrel")
    pressed(decide(opened(case=key, by="Owner"), "accepted"), "decide")
    assert store.order(key).decisions[0].by == "staff"
    assert moves.when(datetime(2026, 3, 1, 8, 5)) == "2026-03-01 08:05"
