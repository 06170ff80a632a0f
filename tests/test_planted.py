"""What random planting of faults found unnoticed, each held by arithmetic of its own."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from photocheck.body.posed import DISTANCE, EYE_HEIGHT, POSTURES
from photocheck.body.stance_figures import figures
from photocheck.judge.explanations import KINDS
from photocheck.photo.load import _jpeg_is_whole, _rgb_band
from photocheck.photo.quality import quality_at
from photocheck.scale.sheet import _INCH_TOP, _LINE, LAYOUT, _texts, rulers
from photocheck.scale.subpixel import fit_side

# --- the sheet's rulers ------------------------------------------------------------------------


def test_the_rulers_are_as_long_as_their_labels_say() -> None:
    """Ticks at every centimetre and eighth of an inch; the outermost end flush with the bar."""
    drawn = np.array(list(rulers()))
    below = drawn[:, 1] >= _INCH_TOP
    for part, count, step in ((drawn[~below], 16, 10.0), (drawn[below], 49, 25.4 / 8)):
        bar, ticks = part[0], part[1:]
        assert len(ticks) == count
        assert bar[2] - bar[0] == pytest.approx(step * (count - 1))
        assert (ticks[0, 0], ticks[-1, 2]) == pytest.approx((bar[0], bar[2]))
        middles = (ticks[:, 0] + ticks[:, 2]) / 2.0
        assert ticks[:, 2] - ticks[:, 0] == pytest.approx(np.full(count, _LINE))
        expected = bar[0] + step * np.arange(count)
        assert middles[1:-1] == pytest.approx(expected[1:-1])
        assert np.all(ticks[:, 1] >= bar[1])
        assert np.all(ticks[:, 3] > ticks[:, 1])


def test_every_label_stands_below_its_own_tick() -> None:
    labels = [(text, x) for x, _, _, centred, text in _texts(LAYOUT, "a4") if centred]
    centimetres, inches = labels[:16], labels[16:23]
    for said, part, step in (("cm", centimetres, 10.0), ("in", inches, 25.4)):
        middle = (len(part) - 1) / 2.0
        for number, (text, x) in enumerate(part):
            assert text == (f"0 {said}" if number == 0 else str(number))
            assert x == pytest.approx((number - middle) * step)


# --- reading pictures ----------------------------------------------------------------------------


def jpeg() -> bytes:
    kept = io.BytesIO()
    Image.new("RGB", (16, 16), (200, 30, 30)).save(kept, "JPEG")
    return kept.getvalue()


def test_a_jpeg_is_whole_to_its_last_marker_and_fill_bytes_are_no_marker() -> None:
    """ITU-T T.81, B.1.1.2: any marker may be preceded by any number of fill bytes 0xFF."""
    whole = jpeg()
    assert _jpeg_is_whole(whole)
    assert not _jpeg_is_whole(whole[:-2])
    assert not _jpeg_is_whole(whole[:-1])
    filled = whole[:-2] + b"\xff\xff" + whole[-2:]
    assert _jpeg_is_whole(filled)
    assert not _jpeg_is_whole(filled[:-1])
    stuffed = whole[:-2] + b"\xff\x00\xff\xd0\xff\xd7" + whole[-2:]
    assert _jpeg_is_whole(stuffed)
    assert not _jpeg_is_whole(b"\xff\xd8\x00\x00\x00\x00")


def test_what_is_clear_is_white_and_sixteen_bits_become_eight() -> None:
    clear = Image.new("RGBA", (2, 1), (10, 20, 30, 0))
    assert _rgb_band(clear).tolist() == [[[255, 255, 255]] * 2]
    half = Image.new("RGBA", (1, 1), (0, 0, 0, 51))  # a fifth of black over white
    assert _rgb_band(half).tolist() == [[[204, 204, 204]]]
    grey = Image.fromarray(np.array([[0, 32768, 65535]], np.uint16))
    # by hand: times 255 / 65535, rounded
    assert _rgb_band(grey)[0, :, 0].tolist() == [0, 128, 255]


def test_a_mark_on_the_very_edge_is_in_the_picture() -> None:
    rng = np.random.default_rng(5)
    rgb = rng.integers(0, 255, (80, 90, 3)).astype(np.uint8)
    corners = [(0.0, 0.0), (89.0, 0.0), (0.0, 79.0), (89.9, 79.9)]
    outside = [(-0.1, 5.0), (5.0, -0.1), (90.0, 5.0), (5.0, 80.0)]
    assert all(one.contrast > 0.0 for one in quality_at(rgb, np.array(corners)))
    assert all(one.contrast == 0.0 for one in quality_at(rgb, np.array(outside)))


# --- edges ---------------------------------------------------------------------------------------


def test_an_edges_line_says_how_exact_it_is() -> None:
    """Forty noisy edges: what the ends scatter by is what they say, and not the blocks' own."""
    rng = np.random.default_rng(3)
    x = np.arange(60.0)
    told, found, blocks = [], [], []
    for _ in range(40):
        level = np.clip(0.5 + (x - 30.4) / 2.0, 0.0, 1.0)
        noisy = 60.0 + 120.0 * level + rng.normal(0.0, 6.0, (160, 60))
        picture = np.clip(noisy, 0, 255).astype(np.uint8)
        line = fit_side(picture, np.array([30.0, 150.0]), np.array([30.0, 10.0]), reach_px=4.0)
        assert line is not None
        told.append((line.start_spread_px, line.end_spread_px))
        found.append((line.start[0], line.end[0]))
        blocks.append(line.scatter_px)
    spread = np.std(found, axis=0)
    # forty draws know a deviation to 11 %
    np.testing.assert_allclose(np.mean(told, axis=0), spread, rtol=0.3)
    assert np.all(spread < np.mean(blocks))


# --- stance --------------------------------------------------------------------------------------


def seen(**at: tuple[float, float]) -> dict[str, np.ndarray]:
    return {name: np.array([xy]) for name, xy in at.items()}


def test_the_rise_of_a_back_is_its_height_over_the_line() -> None:
    """By hand: 30 above a level line of 300 is a tenth; turned by any angle it stays."""
    (plan,) = [p for p in figures("arched", ("shoulder_top", "tail_base", "topline")) if p.needs]
    for angle in (0.0, 0.3, -0.5):
        c, s = np.cos(angle), np.sin(angle)
        at = {"shoulder_top": (0.0, 0.0), "tail_base": (300.0, 0.0), "topline": (120.0, 30.0)}
        turned = {n: (c * x - s * y + 7.0, s * x + c * y - 5.0) for n, (x, y) in at.items()}
        assert plan.measure(seen(**turned))[0] == pytest.approx(0.1)


def dogs() -> dict[str, np.ndarray]:
    return seen(
        shoulder_top=(0.3, 1.0),
        tail_base=(0.95, 0.95),
        breastbone=(0.1, 0.65),
        last_rib=(0.6, 0.7),
        head=(0.0, 1.25),
        front_foot=(0.3, 0.0),
        rear_foot=(0.95, 0.0),
        chest_bottom=(0.35, 0.5),
        back_top=(0.35, 0.98),
    )


@pytest.mark.parametrize("size", [0.1, 0.2])
def test_postures_change_a_dog_by_what_their_sizes_mean(size: float) -> None:
    """`POSTURES`: drops of the withers or tail base, feet apart, leaning, angles; by hand."""
    before = dogs()

    def change(posture: str) -> dict[str, np.ndarray]:
        after = dogs()
        POSTURES[posture].pose(after, np.array([size]), np.zeros((5, 1)))
        return {name: (after[name] - before[name])[0] for name in after}

    assert change("crouching")["shoulder_top"][1] == pytest.approx(-size, rel=0.2)
    assert change("head_down")["shoulder_top"][1] == pytest.approx(-size)
    assert change("rear_lowered")["tail_base"][1] == pytest.approx(-size, rel=0.2)
    feet = change("stretched")
    assert feet["rear_foot"][0] - feet["front_foot"][0] == pytest.approx(size)
    lean = change("weight_shifted")
    assert abs(lean["shoulder_top"][0]) == pytest.approx(size)
    assert lean["tail_base"][0] == pytest.approx(lean["shoulder_top"][0])
    assert lean["front_foot"][0] == lean["rear_foot"][0] == 0.0
    bow = change("front_lowered")
    assert bow["shoulder_top"][1] == pytest.approx(-size, rel=0.2)
    assert abs(bow["tail_base"][1]) < 0.2 * size


@pytest.mark.parametrize("size", [0.1, 0.4])
def test_a_turned_dog_is_seen_by_a_pinhole_at_the_median_distance(size: float) -> None:
    """By hand: a point x behind the dog's middle comes x sin(a) nearer, of a camera `away`."""
    after, before = dogs(), dogs()
    POSTURES["turned_away"].pose(after, np.array([size]), np.zeros((5, 1)))
    for name in ("tail_base", "breastbone", "shoulder_top"):
        x, y = before[name][0]
        nearer = -(x - 0.5) * np.sin(size)  # a deviate of 0 turns the tail away
        scale = DISTANCE[0] / (DISTANCE[0] - nearer)
        assert after[name][0, 0] == pytest.approx(0.5 + (x - 0.5) * np.cos(size) * scale)
        assert after[name][0, 1] == pytest.approx(EYE_HEIGHT[0] + (y - EYE_HEIGHT[0]) * scale)


@pytest.mark.parametrize("angle", [0.2, 0.5, 0.8])
def test_an_arched_back_is_an_arc_of_its_old_length(angle: float) -> None:
    """The chord of an arc of length L and angle a is L sin(a/2) / (a/2): any circle."""
    after, before = dogs(), dogs()
    POSTURES["arched"].pose(after, np.array([angle]), np.zeros((5, 1)))

    def chord(at: dict[str, np.ndarray]) -> float:
        return float(np.linalg.norm(at["tail_base"] - at["shoulder_top"]))

    share = np.sin(angle / 2.0) / (angle / 2.0)
    assert chord(after) == pytest.approx(chord(before) * share, rel=1e-9)
    sunk = before["shoulder_top"] - after["shoulder_top"]
    assert sunk[0, 1] == pytest.approx(0.08 * angle, rel=0.2)  # the knees give (judgement)


# --- explanations ----

# Odds against "all agree" of each explanation (judgement, but for the digits' shares): what is
# everyday comes to one in fifty to a hundred, what is odd to one in a few hundred.
ODDS = {
    "wrong_digit": 0.0065,
    "swapped_digits": 0.0015,
    "lost_or_doubled_digit": 0.001,
    "shifted_decimal": 0.001,
    "misread_fraction": 0.005,
    "other_unit_in_one": 0.002,
    "other_unit_in_all": 0.004,
    "neck_doubled": 0.01,
    "ring_halved": 0.006,
    "swapped_readings": 0.004,
    "full_given_as_part": 0.003,
    "begun_at_second_unit": 0.004,
    "last_rib_elsewhere": 0.02,
    "full_on_another_line": 0.01,
    "reference_off": 0.01,
    "dog_crouching": 0.01,
    "dog_stretched": 0.01,
    "dog_arched": 0.008,
    "unnamed": 0.005,
}


def test_the_odds_of_explanations_are_not_moved_by_a_fifth_unnoticed() -> None:
    assert {kind.name: kind.odds for kind in KINDS} == pytest.approx(ODDS, rel=0.2)
