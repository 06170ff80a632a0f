"""A shop's own figures from histories made by hand, whose counts are known."""

from __future__ import annotations

from dataclasses import asdict, replace
from datetime import timedelta

import numpy as np
import pytest
from scipy.stats import binomtest

from photocheck.case.model import Marking
from photocheck.judge.explanations import KINDS
from photocheck.judge.marks_told import MARKS_TOLD
from photocheck.orders.model import Decision, Order
from photocheck.orders.order_facts import facts_of
from photocheck.orders.own_figures import FEWEST, own_figures, share_of
from photocheck.report.model import Report
from photocheck.shown.agreement_plot import agreement_svg
from photocheck.shown.own_figures_told import KIND_TITLES, blocks, plain_own_figures, share_text
from photocheck.speech import speaking
from tests.support.heard_of import fitted, history, report_with, tight

REAR = "rear_length"


def flagged(mm: float, *more: float) -> Report:
    return report_with("measure_again", [REAR], {REAR: (mm, *more)})


def agrees(mm: float, *more: float) -> Report:
    return report_with("agrees", (), {REAR: (mm, *more)})


def test_wilsons_interval_by_hand() -> None:
    """Of 10 with 5: centre 0.5, half width 1.96 / 10 * sqrt(10 / 4 + 0.96) / (1 + 0.384)."""
    found = share_of(5, 10)
    z = 1.959964
    reach = z / (1 + z**2 / 10) * (0.25 / 10 + z**2 / 400) ** 0.5
    assert (found.low, found.high) == pytest.approx((0.5 - reach, 0.5 + reach), abs=1e-6)
    for count, of in ((0, 3), (3, 3), (7, 200)):
        ends = binomtest(count, of).proportion_ci(method="wilson")
        one = share_of(count, of)
        assert (one.low, one.high) == (ends.low, ends.high)
    assert not share_of(0, 0).tells


@pytest.mark.parametrize(
    ("order", "ending"),
    [
        # another length than two good takes ever are: 45.7 and 33.7 cm
        (history(flagged(457.0), agrees(337.0), choice="accepted"), "slip"),
        # the same within a tape's own noise: 45.7 and 45.9 cm
        (history(flagged(457.0), agrees(459.0), choice="accepted"), "false_alarm"),
        # a second take beside the first, which confirms it
        (history(flagged(457.0), agrees(457.0, 458.0)), "false_alarm"),
        (history(flagged(457.0), flagged(457.0, 338.0)), "slip"),
        # a take that was off is struck out
        (history(flagged(457.0, 338.0), agrees(338.0)), "slip"),
        (history(flagged(457.0), choice="accepted"), "as_it_was"),
        (history(flagged(457.0)), "open"),
        (history(flagged(457.0), choice="asked_again"), "open"),
        (history(flagged(457.0), flagged(457.0), choice="refused"), "open"),
    ],
)
def test_what_became_of_a_flagged_reading(order: Order, ending: str) -> None:
    facts = facts_of(order)
    assert facts is not None
    assert facts.flagged[0].ending == ending
    assert facts.flagged[0].reading == REAR
    assert facts.flagged[0].kind == "swapped_digits"


def test_a_value_flagged_by_several_checks_counts_once() -> None:
    facts = facts_of(history(flagged(457.0), flagged(457.0), flagged(460.0), agrees(338.0)))
    assert facts is not None
    # 457 was confirmed by 460; 460 by itself turned out a slip
    assert [one.ending for one in facts.flagged] == ["false_alarm", "slip"]


def many() -> list[Order]:
    caught = [history(flagged(457.0), agrees(337.0), choice="accepted", heard=[fitted(2)])] * 12
    false = [history(flagged(457.0), agrees(459.0), choice="accepted", heard=[tight(2)])] * 3
    kept = [history(flagged(457.0), choice="accepted")] * 2
    plain = [history(agrees(337.0), choice="accepted")] * 20
    hidden = [history(report_with("could_hide"), choice="accepted")] * 3
    nothing = [Order("n", plain[0].opened, "en", plain[0].draft)]
    return [*caught, *false, *kept, *plain, *hidden, *nothing]


def test_the_counts_of_a_shop() -> None:
    found = own_figures(many())
    assert found.orders == 40
    assert (found.flagged, found.as_it_was, found.open) == (17, 2, 0)
    assert (found.slips.count, found.slips.of) == (12, 15)
    assert (found.false_alarms.count, found.false_alarms.of) == (3, 40)
    assert found.kinds == {"swapped_digits": 12}
    assert (found.undecided.count, found.undecided.of) == (3, 40)
    assert found.verdicts == {"agrees": 20, "measure_again": 17, "could_hide": 3}
    assert (found.heard.count, found.heard.of) == (12, 15)
    assert found.results == {"fitted": 12, "tight_or_loose": 3, "returned": 0}
    assert found.felt == {"neck_opening tight": 3}
    assert found.decided.count == 40
    assert found.decided.median_h == pytest.approx(2.0)
    assert found.decided.within_a_day.share == 1.0
    (month,) = found.months
    assert (month.month, month.photos, month.px_per_cm) == ("2026-03", 40, pytest.approx(18.2))


def test_the_owners_reply_is_from_the_question_to_their_next_check() -> None:
    order = history(flagged(457.0), agrees(337.0), hours=[0.0, 30.0])
    asked = Decision(order.checks[0].at + timedelta(hours=4), "Ann", "asked_again", "", "", 1)
    found = own_figures([replace(order, decisions=(asked,))])
    assert found.answered.count == 1
    assert found.answered.median_h == pytest.approx(26.0)
    assert found.answered.within_a_day.count == 0
    by_staff = history(flagged(457.0), agrees(337.0), hours=[0.0, 30.0], by="Ann")
    assert own_figures([replace(by_staff, decisions=(asked,))]).answered.count == 0


def test_a_photo_taken_again_is_counted_when_it_helped() -> None:
    bad = report_with("retake")
    other = replace(bad, photos=tuple(replace(p, sha256="cd" * 32) for p in bad.photos))
    helped = history(bad, replace(other, verdict="agrees"))
    same = history(bad, report_with("agrees"))
    found = own_figures([helped, same, history(bad)])
    assert (found.photos_mended.count, found.photos_mended.of) == (1, 3)


def test_tapes_and_marks_by_several_people() -> None:
    rng = np.random.default_rng(2)
    orders = []
    for _ in range(60):
        truth = rng.uniform(300, 500)
        led = rng.normal(0, 5, size=2)
        mm = [truth + led[0] + rng.normal(0, 3) for _ in range(2)] + [
            truth + led[1] + rng.normal(0, 3) for _ in range(2)
        ]
        report = report_with("agrees", (), {REAR: mm}, ("owner", "owner", "helper", "helper"))
        (photo,) = report.case.photos
        scale = report.photos[0].px_per_mm
        marks = {
            name: (x + rng.normal(0, 6 * scale), y + rng.normal(0, 6 * scale))
            for name, (x, y) in photo.markings[0].marks.items()
        }
        second = {
            name: (x + rng.normal(0, 6 * scale), y + rng.normal(0, 6 * scale))
            for name, (x, y) in photo.markings[0].marks.items()
        }
        photo = replace(photo, markings=(Marking(marks), Marking(second, by="Ann")))
        case = replace(report.case, photos=(photo,))
        orders.append(history(replace(report, case=case)))
    found = own_figures(orders)
    tape = found.tapes[REAR]
    assert (tape.items, tape.results, tape.people_freedom) == (60, 240, 60)
    assert tape.repeatability == pytest.approx(3.0, rel=0.2)
    assert tape.reproducibility == pytest.approx(34.0**0.5, rel=0.2)
    mark = found.marks["breastbone"]
    assert mark.repeatability is None
    assert mark.reproducibility == pytest.approx(6.0, rel=0.2)
    assert found.tape_pairs is not None
    assert found.tape_pairs.spread == pytest.approx(3.0 * 2**0.5, rel=0.2)
    drawn = agreement_svg(found.tape_pairs)
    assert drawn.count("<circle") == 120
    assert drawn.count("stroke-dasharray") == 2


# -- as words ----------------------------------------------------------------------


@pytest.mark.parametrize("language", ["en", "de"])
@pytest.mark.parametrize("count", [0, 1, 5, 40])
def test_it_is_sensible_with_few_and_many(count: int, language: str) -> None:
    with speaking(language):
        found = own_figures(many()[:count])
        said = plain_own_figures(found)
        parts = blocks(found, "in")
    assert str(found.orders) in said
    if count < FEWEST:
        assert "%)" not in said  # no share is told of so few
    if count == 0:
        assert parts == ()
        assert found.months == ()
    assert asdict(found)  # ready for JSON


def test_a_share_is_told_with_its_counts_and_interval() -> None:
    assert share_text(share_of(3, 40)) == "3 of 40: 8 % (3 to 20 %)"
    assert share_text(share_of(1, 3)) == "1 of 3: too few to say"
    assert share_text(share_of(0, 0)) == "none yet"


def test_every_kind_of_slip_has_its_few_words() -> None:
    assert set(KIND_TITLES) == {kind.name for kind in KINDS} | set(MARKS_TOLD)
