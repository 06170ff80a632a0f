"""The learner's way on its page: what it shows is what `photocheck.practice` says."""

import json
import re
from typing import Any

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from photocheck.photo.load import load_photo
from photocheck.practice.dogs import practice_dogs
from photocheck.practice.lesson import answer
from photocheck.practice.pattern import patterns, personal_spread
from photocheck.practice.sentences import (
    HOW_TO_FIND,
    VERDICTS,
    change_text,
    miss_sentence,
    spread_sentence,
    tendency_sentences,
    weight_sentence,
)
from photocheck.words import LANDMARKS
from photocheck_app.marking import Placed
from photocheck_app.practise import exercise, own_photo
from photocheck_app.practise.learner import Learner
from photocheck_app.practise.remembered import take_back, to_remember
from tests.support.plain_words import not_plain

pytestmark = pytest.mark.usefixtures("decoded_here")

DOGS = {dog.name: dog for dog in practice_dogs()}

SCRIPT = """
from photocheck_app import practise
from photocheck_app.kept import keep_all
from photocheck.speech import speaking
with speaking("en"):
    keep_all()
    practise.page()
"""


class Hand:
    """Stands in for the browser's marking surface: gives back the marks it was told to place."""

    def __init__(self) -> None:
        self.marks: dict[str, tuple[float, float]] = {}
        self.reference: tuple[tuple[float, float], ...] = ()
        self.asked: list[dict] = []

    def __call__(self, photo_rgb: np.ndarray, **asked: Any) -> Placed:
        self.asked.append({"photo": photo_rgb, **asked})
        if asked.get("read_only"):
            start: Placed = asked["start"]
            return start
        return Placed(dict(self.marks), {}, self.reference)


@pytest.fixture
def hand(monkeypatch: pytest.MonkeyPatch) -> Hand:
    it = Hand()
    for module in (exercise, own_photo):
        monkeypatch.setattr(module, "marking_surface", it)
    return it


def opened() -> AppTest:
    page = AppTest.from_string(SCRIPT, default_timeout=60).run()
    assert not page.exception
    return page


def text(page: AppTest) -> str:
    kinds = (page.markdown, page.caption, page.info, page.success, page.warning)
    return "\n".join(element.value for kind in kinds for element in kind)


def off(name: str, forward: float, up: float) -> dict[str, tuple[float, float]]:
    """True marks but for a last rib that many mm off."""
    x, y, w = DOGS[name].to_pixels["last_rib"] @ np.array([forward, up, 1.0])
    return {**DOGS[name].marks, "last_rib": (x / w, y / w)}


@pytest.mark.slow
def test_an_answer_is_what_the_package_says(hand: Hand) -> None:
    page = opened()
    hand.marks = off("linnet", -35.0, 12.0)
    page.button(key="practise_show").click().run()
    assert not page.exception
    dog = DOGS["linnet"]
    given = answer(dog, load_photo(dog.photo), hand.marks)
    shown = text(page)
    assert VERDICTS[given.effects.weight] in shown
    assert "Last rib: 3.5 cm too far back, 1.2 cm too high" in shown
    for name in LANDMARKS:
        assert miss_sentence(name, given.misses[name], "cm") in shown
        assert weight_sentence(given.effects, name, "cm") in shown
    assert HOW_TO_FIND["last_rib"] in shown
    assert HOW_TO_FIND["tail_base"] not in shown
    (table,) = page.table
    assert list(table.value.iloc[:, -1]) == [
        change_text(effect, "cm") for effect in given.effects.together
    ]
    last = hand.asked[-1]
    assert last["read_only"]
    assert last["truth"] == dog.marks
    assert last["start"].marks == hand.marks


def test_the_truth_is_not_given_away_before(hand: Hand) -> None:
    opened()
    assert all(not asked.get("truth") for asked in hand.asked)
    assert all(tuple(asked["optional"]) == () for asked in hand.asked)


def test_missing_marks_are_named_and_nothing_is_lost(hand: Hand) -> None:
    page = opened()
    hand.marks = {"breastbone": (900.0, 700.0), "last_rib": (1000.0, 700.0)}
    page.button(key="practise_show").click().run()
    assert page.info[0].value == "Still to place: shoulder top, tail base."
    hand.marks = dict.fromkeys(LANDMARKS, (900.0, 700.0))
    page.button(key="practise_show").click().run()
    assert "same spot" in page.error[0].value
    page.run()
    assert hand.asked[-1]["start"].marks == hand.marks


def test_inches_go_through(hand: Hand) -> None:
    page = opened()
    page.segmented_control(key="practise_unit").set_value("in").run()
    hand.marks = off("linnet", -25.4, 0.0)
    page.button(key="practise_show").click().run()
    assert "Last rib: 1 in too far back" in text(page)
    assert all(cell.endswith(" in") for cell in page.table[0].value.iloc[:, 0])


@pytest.mark.slow
def test_next_dog_and_the_pattern(hand: Hand) -> None:
    page = opened()
    for name in list(DOGS)[:4]:
        assert page.selectbox(key="practise_dog").value == name
        hand.marks = off(name, -30.0, 0.0)
        page.button(key="practise_show").click().run()
        page.button(key="practise_next").click().run()
    keys = [asked["key"] for asked in hand.asked]
    assert len({k for k in keys if "answer" not in k}) == 5  # a new surface for every dog
    page.segmented_control(key="practise_part").set_value("pattern").run()
    assert not page.exception
    kept = page.session_state["practice"]
    assert [attempt.dog for attempt in kept.attempts] == list(DOGS)[:4]
    shown = text(page)
    spread = personal_spread(kept.attempts)
    assert spread is not None
    assert spread_sentence(spread, "cm") in shown
    for said in tendency_sentences(patterns(kept.attempts), "cm"):
        assert said in shown
    assert "You tend to place the last rib" in shown
    assert "stay in this tab" in shown
    assert not not_plain(re.sub(r":material/\w+:", "", shown))


@pytest.mark.slow
def test_what_a_tab_remembers_comes_back_whole(hand: Hand) -> None:
    page = opened()
    page.segmented_control(key="practise_unit").set_value("in").run()
    hand.marks = off("linnet", -35.0, 12.0)
    page.button(key="practise_show").click().run()
    page.button(key="practise_next").click().run()
    hand.marks = {"breastbone": (900.0, 700.0)}
    page.run()
    before = page.session_state["practice"]
    told = json.loads(json.dumps(to_remember(before)))
    after = Learner()
    take_back(after, told)
    assert after.attempts == before.attempts
    assert (after.unit, after.dog, after.placed) == ("in", before.dog, Placed(dict(hand.marks)))
    # what was made before the browser was heard comes after
    late = Learner(attempts=list(before.attempts), placed=Placed({"last_rib": (1.0, 2.0)}))
    take_back(late, told)
    assert late.attempts == before.attempts * 2
    assert late.placed.marks == {"last_rib": (1.0, 2.0)}


@pytest.mark.parametrize(
    "told",
    [
        None,
        [],
        {"attempts": 7, "unit": "ell", "dog": ["x"], "marks": 3},
        {"attempts": [{"dog": "linnet"}, {"dog": "nobody", "misses": {"last_rib": [1, 2]}}]},
        {"attempts": [{"dog": "linnet", "misses": {"last_rib": [1]}}, "x", None]},
        {"attempts": [{"dog": "linnet", "misses": {"last_rib": [float("nan"), 2]}}]},
        {"dog": "linnet", "marks": {"last_rib": [float("inf"), 2]}},
        {"dog": "linnet", "marks": {"last_rib": "ab", "nose": [1, 2]}},
    ],
)
def test_what_a_browser_cannot_have_remembered_is_left_out(told: Any) -> None:
    now = Learner()
    take_back(now, told)
    assert now.attempts == []
    assert now.placed == Placed()
    assert now.unit == "cm"


def test_the_pattern_is_empty_at_first(hand: Hand) -> None:
    page = opened()
    page.segmented_control(key="practise_part").set_value("pattern").run()
    assert "Nothing yet" in page.info[0].value


@pytest.mark.slow
def test_a_dog_may_be_tried_again(hand: Hand) -> None:
    page = opened()
    hand.marks = off("linnet", -30.0, 0.0)
    page.button(key="practise_show").click().run()
    hand.marks = {}
    page.button(key="practise_again").click().run()
    assert hand.asked[-1]["start"] == Placed()
    hand.marks = dict(DOGS["linnet"].marks)
    page.button(key="practise_show").click().run()
    assert page.success[0].value == VERDICTS["slight"]
    kept = page.session_state["practice"]
    assert len(kept.attempts) == 2
    spread = personal_spread(kept.attempts)
    assert spread is not None
    assert spread.dogs == 1


@pytest.mark.slow
def test_badly_standing_dogs_are_explained(hand: Hand) -> None:
    for name in ("yarrow", "plover"):
        page = opened()
        page.selectbox(key="practise_dog").select(name).run()
        hand.marks = dict(DOGS[name].marks)
        page.button(key="practise_show").click().run()
        assert DOGS[name].about.lesson in text(page)


# -- one's own photo -----------------------------------------------------------------


def own(page: AppTest, content: bytes, name: str = "mine.jpg") -> AppTest:
    page.segmented_control(key="practise_part").set_value("own").run()
    assert "never press" in text(page)
    assert "both be wrong" in text(page)
    page.file_uploader(key="practise_own_file").set_value((name, content, "image/jpeg")).run()
    assert not page.exception
    return page


@pytest.mark.slow
def test_a_photo_of_ones_own_twice(hand: Hand) -> None:
    dog = DOGS["badger"]
    page = own(opened(), dog.photo.read_bytes())
    hand.marks = dict(dog.marks)
    page.button(key="practise_own_on").click().run()
    # the second surface begins empty and shows nothing of the first
    second = next(asked for asked in hand.asked if "second" in asked["key"])
    assert second["start"] == Placed()
    assert not second.get("truth")
    hand.marks = off("badger", 20.0, 0.0)
    page.button(key="practise_own_on").click().run()
    shown = text(page)
    assert "Last rib: the second 2." in shown or "Last rib: the second 1.9" in shown
    assert "Breastbone: on the same spot" in shown
    assert "No truth is known here" in shown
    assert len(page.table[0].value) == 4
    page.button(key="practise_own_again").click().run()
    assert hand.asked[-1]["start"] == Placed()


def test_without_a_scale_shares_are_shown(hand: Hand) -> None:
    page = own(opened(), DOGS["badger"].photo.read_bytes())
    page.selectbox(key="practise_own_kind").select("nothing").run()
    hand.marks = dict(DOGS["badger"].marks)
    page.button(key="practise_own_on").click().run()
    hand.marks = off("badger", 20.0, 0.0)
    page.button(key="practise_own_on").click().run()
    assert "% of the back" in text(page)
    assert not page.table


def test_a_card_is_to_be_tapped(hand: Hand) -> None:
    page = own(opened(), DOGS["badger"].photo.read_bytes())
    page.selectbox(key="practise_own_kind").select("id_card").run()
    assert hand.asked[-1]["reference_shape"] == "near"
    hand.marks = dict(DOGS["badger"].marks)
    page.button(key="practise_own_on").click().run()
    assert "Still to place" in page.info[0].value


def test_no_photo_is_told_in_a_sentence(hand: Hand) -> None:
    page = own(opened(), b"words", "words.jpg")
    assert "words" in page.error[0].value
    assert page.segmented_control(key="practise_part").value == "own"
    page.file_uploader(key="practise_own_file").set_value(
        ("mine.jpg", DOGS["badger"].photo.read_bytes(), "image/jpeg")
    ).run()
    assert not page.error
