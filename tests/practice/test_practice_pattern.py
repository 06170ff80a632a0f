"""The pattern over attempts and the self-check: honest about few attempts."""

import numpy as np
import pytest
from scipy import stats

from photocheck.body.shape import MARK_SPREAD_MM
from photocheck.case.model import Reference
from photocheck.errors import CaseError
from photocheck.photo.load import load_photo
from photocheck.practice.dogs import practice_dogs
from photocheck.practice.drawing import pattern_svg
from photocheck.practice.lesson import self_check
from photocheck.practice.misses import Miss
from photocheck.practice.pattern import (
    PRIOR_MEAN_WEIGHT,
    PRIOR_SPREAD_WEIGHT,
    Attempt,
    Spread,
    leaning,
    patterns,
    personal_spread,
    pooled,
)
from photocheck.practice.repeat import repeat
from photocheck.practice.sentences import (
    moved_sentence,
    repeat_sentence,
    spread_sentence,
    tendency_sentences,
)
from photocheck.words import LANDMARKS


def spread_of(made: list[Attempt]) -> Spread:
    """The person's own, where there is enough to tell it."""
    spread = personal_spread(made)
    assert spread is not None
    return spread


def attempts(rng, count: int, sd: float, lean: dict | None = None) -> list[Attempt]:
    """Invented learners: normal misses, and a leaning for some landmarks, mm."""
    made = []
    for k in range(count):
        misses = {}
        for name in LANDMARKS:
            ahead, above = (lean or {}).get(name, (0.0, 0.0))
            misses[name] = Miss(ahead + rng.normal(0, sd), above + rng.normal(0, sd))
        made.append(Attempt(f"dog {k}", misses))
    return made


def test_the_leaning_is_the_posterior_integrated_numerically() -> None:
    """The same model by brute force: prior times likelihood over mean and variance."""
    values = np.array([4.0, 11.0, 7.0, 9.0])
    got = leaning(list(values))

    means = np.linspace(-30.0, 40.0, 701)[:, None]
    logs = np.linspace(0.0, 8.0, 401)[None, :]
    variance = np.exp(logs)
    # scaled inverse chi-square, and the Jacobian of the logarithm
    a = PRIOR_SPREAD_WEIGHT / 2
    density = stats.invgamma.pdf(variance, a, scale=a * MARK_SPREAD_MM**2) * variance
    density = density * stats.norm.pdf(means, 0.0, np.sqrt(variance / PRIOR_MEAN_WEIGHT))
    for value in values:
        density = density * stats.norm.pdf(value, means, np.sqrt(variance))
    marginal, at = density.sum(axis=1), means[:, 0]
    marginal /= marginal.sum()
    assert got.mean_mm == pytest.approx(float(marginal @ at), abs=0.01)
    below = np.cumsum(marginal)
    assert np.interp([got.low_mm, got.high_mm], at, below) == pytest.approx(
        [0.025, 0.975], abs=0.003
    )


def test_few_attempts_say_little() -> None:
    one = leaning([20.0])
    assert one.mean_mm == pytest.approx(10.0)  # half of it: one attempt against none
    assert one.low_mm < 0.0 < one.high_mm
    assert not one.told
    assert not leaning([20.0, 20.0]).told
    assert leaning([20.0, 20.0, 20.0, 20.0]).told


@pytest.mark.slow
def test_few_learners_without_a_leaning_are_told_of_one() -> None:
    """No leaning: few are told of any of the eight, beginners with twice the
    ordinary scatter included."""
    rng = np.random.default_rng(5)
    for count in (3, 5, 10):
        for factor in (1.0, 2.0):
            told = 0
            for _ in range(300):
                found = patterns(attempts(rng, count, factor * MARK_SPREAD_MM))
                told += any(p.forward.told or p.up.told for p in found)
            assert told / 300 < 0.12, (count, factor, told)


def test_a_plain_leaning_is_told() -> None:
    rng = np.random.default_rng(6)
    told = 0
    for _ in range(100):
        made = attempts(rng, 6, MARK_SPREAD_MM, {"last_rib": (-20.0, 0.0)})
        (rib,) = (p for p in patterns(made) if p.landmark == "last_rib")
        told += rib.forward.told
        (sentence,) = tendency_sentences([rib], "cm")
        assert ("too far back" in sentence) == rib.forward.told
    assert told >= 97


def test_too_early_to_tell_is_said() -> None:
    made = attempts(np.random.default_rng(1), 2, 5.0)
    (sentence,) = tendency_sentences(patterns(made), "cm")
    assert sentence == "Too early to tell where you lean: mark 1 more."


def test_the_spread_is_right_and_its_interval_covers() -> None:
    """Landmarks found differently well, and a leaning: the interval covers about 95 %."""
    rng = np.random.default_rng(7)
    sds = dict(zip(LANDMARKS, (5.0, 5.0, 12.0, 6.0), strict=True))
    true = np.sqrt(np.mean([sd**2 for sd in sds.values()]) + 10.0**2 / 8)
    covered, middles = 0, []
    for _ in range(500):
        made = [
            Attempt(
                str(k),
                {
                    name: Miss(
                        rng.normal(0, sd) - (10.0 if name == "last_rib" else 0.0), rng.normal(0, sd)
                    )
                    for name, sd in sds.items()
                },
            )
            for k in range(8)
        ]
        spread = spread_of(made)
        middles.append(spread.mm)
        covered += spread.low_mm <= true <= spread.high_mm
    assert np.mean(middles) == pytest.approx(true, rel=0.05)
    assert 0.90 <= covered / 500 <= 0.99


def test_one_slip_does_not_spoil_the_spread() -> None:
    rng = np.random.default_rng(8)
    made = attempts(rng, 8, 5.0)
    slipped = [*made[:-1], Attempt("dog 7", {**made[-1].misses, "tail_base": Miss(250.0, -90.0)})]
    clean, spoilt = spread_of(made).mm, spread_of(slipped).mm
    # the plain root mean square would be above 30 mm
    assert clean == pytest.approx(5.0, rel=0.2)
    assert spoilt < 1.4 * clean


def test_only_the_first_try_at_a_dog_counts() -> None:
    off, spot = Miss(30.0, 0.0), Miss(0.0, 0.0)
    made = [
        Attempt("linnet", dict.fromkeys(LANDMARKS, off)),
        *(Attempt("linnet", dict.fromkeys(LANDMARKS, spot)) for _ in range(9)),
    ]
    assert all(p.misses == (off,) for p in patterns(made))
    assert spread_of(made).dogs == 1
    assert personal_spread([]) is None


def test_pooled_as_by_hand() -> None:
    """Two groups of one spread: plain chi-square on 8 values (SciPy), no approximation left."""
    rows = [np.array([3.0, -3.0, 3.0, -3.0])] * 2
    sd, low, high = pooled(rows)
    assert sd == pytest.approx(3.0)
    assert (low, high) == pytest.approx(tuple(3.0 * np.sqrt(8 / stats.chi2.ppf([0.975, 0.025], 8))))


def test_drawing_holds_every_mark() -> None:
    made = [
        Attempt("a", {"last_rib": Miss(-15.0, 2.0)}),
        Attempt("b", {"last_rib": Miss(0.0, 400.0)}),
    ]
    (pattern,) = patterns(made)
    for unit in ("cm", "in"):
        svg = pattern_svg(pattern, unit)
        dots = svg.count('r="4.5"')
        assert dots == 2
        assert svg.count('fill="none" stroke="#1f4e5f"') == 1  # the one beyond the drawing


# -- one's own photo -----------------------------------------------------------------

FIRST = {
    "breastbone": (500.0, 700.0),
    "shoulder_top": (650.0, 500.0),
    "last_rib": (850.0, 620.0),
    "tail_base": (1100.0, 520.0),
}


def test_repeat_without_a_scale_by_hand() -> None:
    """By hand: breastbone to tail base is hypot(600, 180) = 626.4 px; 12.53 px are 2 %."""
    second = {**FIRST, "last_rib": (850.0 + 12.528, 620.0)}
    result = repeat(FIRST, second)
    assert not result.in_mm
    assert result.moved["last_rib"].forward_mm == pytest.approx(-2.0, abs=0.001)
    assert result.spans == ()
    # eight differences, one of them 2: root of (4 / 8) over the root of 2
    assert result.spread == pytest.approx(0.5, abs=1e-4)
    assert moved_sentence("last_rib", result, "cm") == (
        "Last rib: the second 2.0\N{NO-BREAK SPACE}% of the back further back"
    )
    mirrored = {name: (2000.0 - x, y) for name, (x, y) in FIRST.items()}
    again = {name: (2000.0 - x, y) for name, (x, y) in second.items()}
    assert repeat(mirrored, again).moved["last_rib"].forward_mm == pytest.approx(-2.0, abs=0.001)


@pytest.mark.slow
def test_repeat_with_a_scale_agrees_with_the_true_camera() -> None:
    """On a practice photo the estimate's planes must give what the true camera gives."""
    for dog in practice_dogs()[:4]:
        photo = load_photo(dog.photo)
        second = {}
        for name in LANDMARKS:
            x, y, w = dog.to_pixels[name] @ np.array([14.0, -9.0, 1.0])
            second[name] = (x / w, y / w)
        result, problem = self_check(photo, dog.reference, dog.marks, second, dog.facts)
        assert problem == ""
        for name, miss in result.moved.items():
            assert miss.forward_mm == pytest.approx(14.0, rel=0.08), (dog.name, name)
            assert miss.up_mm == pytest.approx(-9.0, rel=0.12, abs=0.4), (dog.name, name)
        assert [e.change for e in result.spans] == pytest.approx([0.0] * 4, abs=0.05)
        assert "1.0 cm" in repeat_sentence(result, "cm") or "0.8 cm" in repeat_sentence(
            result, "cm"
        )


def test_the_same_marks_twice_are_on_the_same_spot() -> None:
    dog = practice_dogs()[0]
    result, _ = self_check(load_photo(dog.photo), dog.reference, dog.marks, dog.marks)
    assert moved_sentence("breastbone", result, "cm") == "Breastbone: on the same spot"
    assert all(e.weight == "slight" for e in result.spans)


@pytest.mark.slow
def test_a_reference_that_is_not_there_leaves_the_shares() -> None:
    photo = load_photo(practice_dogs()[0].photo)
    missing = Reference(kind="id_card", place="middle", near=(300.0, 200.0))
    result, problem = self_check(photo, missing, FIRST, FIRST)
    assert problem.endswith(".")
    assert not result.in_mm


def test_marks_that_cannot_be_compared_are_refused() -> None:
    with pytest.raises(CaseError, match="not marked: tail base"):
        repeat({k: v for k, v in FIRST.items() if k != "tail_base"}, FIRST)
    with pytest.raises(CaseError, match="one spot"):
        repeat({**FIRST, "tail_base": (505.0, 700.0)}, FIRST)


def test_lengths_in_the_readers_unit() -> None:
    spread = spread_of(attempts(np.random.default_rng(2), 4, 6.0))
    assert " cm " in spread_sentence(spread, "cm")
    assert " in " in spread_sentence(spread, "in")
