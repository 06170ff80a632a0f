"""What is made of what a network sees: places, looks, kinds."""

from __future__ import annotations

from math import exp

import cv2
import numpy as np
import pytest

from photocheck.propose import propose
from photocheck.propose.heat_places import places
from photocheck.propose.looks import GREY, Small
from photocheck.propose.proposal import UNSURE, proposal_to_dict
from photocheck.propose.proposing import seen_in
from photocheck.propose.weights_facts import facts_of
from photocheck.propose.why_none import KINDS as SAID
from photocheck.propose.why_none import said_of
from photocheck.words import LANDMARKS
from tests.support.dots import COLOURS, KINDS, Dots, dotted, facts

DOG = {
    "breastbone": (300.0, 520.0),
    "shoulder_top": (420.0, 330.0),
    "last_rib": (640.0, 480.0),
    "tail_base": (820.0, 350.0),
    "near_front_foot": (400.0, 760.0),
    "near_hind_foot": (800.0, 770.0),
    "nose": (200.0, 300.0),
}


def moved(scale: float, x: float, y: float) -> dict[str, tuple[float, float]]:
    return {name: (x + scale * px, y + scale * py) for name, (px, py) in DOG.items()}


@pytest.mark.parametrize(
    ("scale", "x", "y", "size"),
    [
        (1.0, 0.0, 0.0, (1200, 900)),
        (1.0, 0.0, 0.0, (900, 1200)),
        (3.0, 300.0, 100.0, (4000, 3000)),  # made smaller first
        (0.5, 700.0, 450.0, (1200, 900)),  # near a corner, looks reach beyond the photo
        (1.3, -200.0, -120.0, (1000, 900)),  # up to the edges
    ],
)
def test_places_are_where_the_network_sees_them(scale, x, y, size) -> None:
    at = moved(scale, x, y)
    proposal = propose(dotted(at, size, 14.0 * scale), Dots())
    trunk = np.hypot(*np.subtract(at["breastbone"], at["tail_base"]))
    assert set(proposal.needed) == set(LANDMARKS)
    for name in LANDMARKS:
        off = np.hypot(*np.subtract(proposal.marks[name].xy, at[name]))
        assert off < 0.01 * trunk, (name, off)
    assert proposal.marks["front_foot"].xy == pytest.approx(at["near_front_foot"], abs=0.01 * trunk)
    assert set(proposal.feet) == {"nose"}
    assert proposal.facing == "left"
    assert proposal.kind == "side_on"
    assert proposal.why_none == ""


@pytest.mark.parametrize("mirrored", [False, True])
def test_places_are_moved_to_where_people_put_them(mirrored: bool) -> None:
    at = {name: (1200.0 - x, y) for name, (x, y) in DOG.items()} if mirrored else DOG
    plain = propose(dotted(at), Dots())
    moved_by = propose(dotted(at), Dots(facts(eye={"shoulder_top": (-10.0, 5.0)})))
    # ahead is towards the breastbone, up is up in the photo; both in per cent of the trunk
    along = np.subtract(plain.marks["breastbone"].xy, plain.marks["tail_base"].xy)
    wanted = plain.marks["shoulder_top"].xy - 0.10 * along - [0.0, 0.05 * np.hypot(*along)]
    assert moved_by.marks["shoulder_top"].xy == pytest.approx(tuple(wanted), abs=0.2)
    assert moved_by.marks["last_rib"] == plain.marks["last_rib"]


@pytest.mark.parametrize("eye", [{"hip": (1.0, 1.0)}, {"last_rib": [1.0]}, {"last_rib": 1.0}])
def test_moves_of_no_point_are_no_facts(eye: dict[str, object]) -> None:
    with pytest.raises(ValueError, match=r"weights|points|unpack"):
        facts(eye=eye)


def test_a_mirrored_photo_gives_the_mirrored_proposal() -> None:
    width = 1200
    turned = {name: (width - 1 - x, y) for name, (x, y) in DOG.items()}
    one, other = propose(dotted(DOG), Dots()), propose(dotted(turned), Dots())
    assert (one.facing, other.facing) == ("left", "right")
    for name in LANDMARKS:
        x, y = one.marks[name].xy
        assert other.marks[name].xy == pytest.approx((width - 1 - x, y), abs=1.0)
    assert one.frame
    assert other.frame
    assert other.frame[0] == pytest.approx(width - 1 - one.frame[2], abs=2.0)


def test_three_looks_and_what_lies_beyond_is_grey() -> None:
    network = Dots()
    propose(dotted(DOG), network)
    assert [look.shape for look in network.seen] == [(256, 256, 3)] * 3
    assert tuple(network.seen[0][0, 0]) == GREY  # above a photo that is wider than high
    # the second square shows the same in a mirror, and more about it
    columns = [np.argwhere((look == COLOURS["tail_base"]).all(axis=-1)) for look in network.seen]
    assert columns[1][:, 1].mean() > 128 > columns[2][:, 1].mean()
    assert len(columns[1]) > len(columns[2]) > 0


def test_of_surely_no_dog_no_more_looks_are_taken() -> None:
    network = Dots(kind="no_dog")
    proposal = propose(dotted({}), network)
    assert len(network.seen) == 1
    assert not proposal.marks
    assert proposal.frame is None
    assert proposal.why_none == "no_dog"


def test_the_frame_holds_the_dog() -> None:
    frame = propose(dotted(DOG), Dots()).frame
    assert frame is not None
    seen = [DOG[name] for name in DOG]
    low, high = np.min(seen, axis=0), np.max(seen, axis=0)
    assert frame == pytest.approx((*low, *high), abs=6.0)


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind not in ("side_on", "no_dog")])
def test_of_another_kind_nothing_is_proposed(kind: str) -> None:
    proposal = propose(dotted(DOG), Dots(kind=kind))
    assert not proposal.marks
    assert not proposal.refused  # no threshold is told
    assert proposal.why_none == kind
    assert said_of(kind).count(".") == 2


def test_a_photo_is_refused_from_its_kinds_own_threshold() -> None:
    told = facts(refused_from={"sitting": 0.9})
    sure = propose(dotted(DOG), Dots(told, kind="sitting"))
    assert sure.refused
    assert sure.why_none == "sitting"
    unsure = propose(dotted(DOG), Dots(told, kind="sitting", sure=2.0))
    assert not unsure.refused
    assert unsure.probability == pytest.approx(exp(2.0) / (exp(2.0) + len(KINDS) - 1), rel=1e-3)
    assert not propose(dotted(DOG), Dots(told, kind="lying")).refused


def test_what_is_not_sure_is_not_shown() -> None:
    half = {name: [0.0, 0.0] for name in facts().points}  # logits: a chance of 0.5 of each
    assert propose(dotted(DOG), Dots(facts(calibration=half, shown_from=0.5))).marks
    told = facts(calibration=half, shown_from=0.51)
    proposal = propose(dotted(DOG), Dots(told))
    assert not proposal.marks
    assert proposal.why_none == UNSURE
    assert proposal.kind == "side_on"
    assert said_of(UNSURE)
    some = {n: [0.0, 9.0 if n == "last_rib" else -9.0] for n in facts().points}
    only = propose(dotted(DOG), Dots(facts(calibration=some)))
    assert list(only.marks) == ["last_rib"]
    assert only.why_none == ""


def test_two_places_share_the_mass_of_a_point() -> None:
    """One look says here, the other there: half of it lies about either."""
    look = Small.of(np.zeros((400, 400, 3), np.uint8)).whole(256)
    maps = np.zeros((2, 1, 64, 64), np.float32)
    maps[0, 0, 20, 20] = maps[1, 0, 40, 44] = 1.0
    maps = np.array([[cv2.GaussianBlur(one[0], (9, 9), 1.3)] for one in maps])
    frame = (100.0, 100.0, 300.0, 300.0)
    (alone,) = places([(look, maps[0])], frame)
    # of a normal distribution, within 10 px where its spread is 1.3 cells (Rayleigh)
    assert alone.mass == pytest.approx(1.0 - exp(-((10.0 / (1.3 * 6.25)) ** 2) / 2.0), abs=0.05)
    # the middle of cell 20 of 64, each 6.25 px; OpenCV goes by 32nds of a cell
    assert alone.xy == pytest.approx((20.5 * 6.25 - 0.5,) * 2, abs=0.25)
    (both,) = places([(look, maps[0]), (look, maps[1])], frame)
    assert both.mass == pytest.approx(alone.mass / 2.0, abs=0.02)


def test_the_spread_is_of_the_trunk() -> None:
    told = facts(spread=dict.fromkeys(facts().points, 5.0))
    proposal = propose(dotted(DOG), Dots(told))
    trunk = np.hypot(*np.subtract(DOG["breastbone"], DOG["tail_base"]))
    (xx, xy), (yx, yy) = proposal.marks["last_rib"].covariance
    assert np.sqrt([xx, yy]) == pytest.approx(0.05 * trunk, rel=0.02)
    assert xy == yx == 0.0


def test_nothing_at_all_is_no_error() -> None:
    seen = seen_in(np.full((1, 1, 3), 90, np.uint8), Dots())
    assert sum(seen.kinds.values()) == pytest.approx(1.0)
    assert propose(dotted({}, (4000, 3)), Dots()).facing in ("left", "right")


def test_a_proposal_as_json() -> None:
    told = proposal_to_dict(propose(dotted(DOG), Dots()))
    assert set(told["marks"]["last_rib"]) == {"at", "covariance", "confidence"}
    assert told["frame"][0] < told["frame"][2]


def test_every_kind_has_words() -> None:
    assert set(SAID) == set(KINDS) - {"side_on"}


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[]",
        "{",
        '{"version": 1}',
        '"text"',
        "[" * 100_000,
    ],
)
def test_what_is_no_facts_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"."):
        facts_of(text)


@pytest.mark.parametrize(
    "told",
    [
        {"points": ["breastbone"]},
        {"kinds": ["sitting"]},
        {"stride": 0},
        {"side": 255},
        {"refused_from": {"side_on": 0.5}},
        {"spread": {}},
        {"calibration": {n: {"mass": [1, 0], "chance": [0, 1]} for n in facts().points}},
        {"calibration": {n: [1.0] for n in facts().points}},
    ],
)
def test_facts_that_do_not_belong_together_are_refused(told) -> None:
    with pytest.raises(ValueError, match=r"."):
        facts(**told)
