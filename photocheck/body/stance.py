"""Whether a dog stands square: its marks against a population of dogs that do.

The landmarks' places, freed of position and size, are compared with two populations
simulated from published proportions (`photocheck.body.standards`): one that stands square
and one for each other posture (`photocheck.body.populations`).  Each gives a density (normal,
with the simulated mean and covariance; a posture's is a mixture over its sizes), their
ratio is the Bayes factor.  Square dogs drawn from the same population say how large a
factor must be so that no more than a stated share of them is accused.

Coordinates are millimetres in the dog's middle plane.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from photocheck.body import saying
from photocheck.body.populations import (
    LEAST_ODDS,
    Populations,
    any_rival,
    populations,
    rounded,
    shape_of,
)
from photocheck.body.posed import POSTURES
from photocheck.body.shape import COAT_PRESSED_SHARE, MARK_SPREAD_MM, coat_pressed
from photocheck.body.stance_figures import StanceFigure
from photocheck.body.standards import Allowance
from photocheck.case.model import Point
from photocheck.speech import tr

Array = NDArray[np.float64]
Line = tuple[Point, Point]

ACCUSED: Final = 0.05
"""Share of square dogs that may be accused."""
TELLS: Final = 2.5
"""How many standard deviations a posture of telling size must move the marks to be
checkable: at 5 % accused, four of five are then found."""
ALSO: Final = 0.7
"""Postures this much less likely than the best (natural logarithm) are named too: half."""
TILT_DEG: Final = 2.5
"""Default standard deviation of the upright direction, degrees: a sheet propped or hung by
hand (judgement)."""
GROUND_SPREAD_MM: Final = 8.0
"""Default standard deviation of the feet's height common to both: how far they stand out of
the middle plane is guessed, and a camera above the ground sees nearer ones lower."""


UNKNOWN_COAT: Final = (14.0, 14.0)
"""Stand-off when nothing is told of the coat, mean and spread, mm: from short to long hair, 2 to
40 mm (`photocheck.body.shape`)."""


def coat_stand_off(coat: str, coat_depth_mm: float | None = None) -> tuple[float, float]:
    """How far the visible outline stands off the body, mean and spread, mm.

    From what is believed of a tape pressing the coat down (`photocheck.body.shape`).

    Parameters
    ----------
    coat : str
        One of `photocheck.words.COATS`.
    coat_depth_mm : float or None
        As measured by the owner.

    >>> coat_stand_off("long", 30.0)
    (30.0, 5.5)
    """
    if coat_depth_mm is not None:
        return coat_depth_mm, 0.15 * coat_depth_mm + 1.0
    if coat == "unknown":
        return UNKNOWN_COAT
    pressed = coat_pressed(coat, None)
    return pressed.mean_mm / COAT_PRESSED_SHARE, pressed.spread_mm / COAT_PRESSED_SHARE


NO_ALLOWANCE: Final = Allowance()


@dataclass(frozen=True)
class BodyMarks:
    """What is known of one dog's stance.

    Attributes
    ----------
    points : mapping of landmark name to (x, y)
        Middle plane, mm; breastbone, shoulder_top and tail_base at least, other names
        of `photocheck.words.ALL_LANDMARKS` where marked.
    up : (float, float)
        Upright direction in the same axes; the default is for y down.
    mark_spread_mm : float
        Standard deviation of each point per axis.
    tilt_deg : float
        Standard deviation of the upright direction, degrees.
    ground_spread_mm : float
        Standard deviation of the height of both feet together, mm.
    coat_mm, coat_spread_mm : float
        How far the visible outline stands off the body.
    topline : tuple of Point
        The back's outline from shoulder top to tail base, mm; empty when not known.
    head : Point or None
        Highest point of head and neck, mm.
    allow : Allowance
        What the breed's standard allows.
    """

    points: Mapping[str, Point]
    up: Point = (0.0, -1.0)
    mark_spread_mm: float = MARK_SPREAD_MM
    tilt_deg: float = TILT_DEG
    ground_spread_mm: float = GROUND_SPREAD_MM
    coat_mm: float = 12.0
    coat_spread_mm: float = 8.0
    topline: tuple[Point, ...] = ()
    head: Point | None = None
    allow: Allowance = NO_ALLOWANCE


@dataclass(frozen=True)
class Finding:
    """A posture the marks speak for.

    Attributes
    ----------
    name : str
        A key of `photocheck.body.posed.POSTURES`.
    sentence : str
        What was seen, in kind words, with the figure and its bound.
    instruction : str
        What puts it right.
    figure : StanceFigure
    log_bayes : float
        Natural logarithm of the Bayes factor against standing square.
    size : float
        Its most likely size, in the unit of `POSTURES`.
    lines : tuple of Line
        To draw, in the coordinates of the marks, mm.
    lines_px : tuple of Line
        The same in the photo; empty when no way to pixels was given.
    """

    name: str
    sentence: str
    instruction: str
    figure: StanceFigure
    log_bayes: float
    size: float
    lines: tuple[Line, ...]
    lines_px: tuple[Line, ...] = ()


@dataclass(frozen=True)
class Stance:
    """How the dog stands.

    Attributes
    ----------
    findings : tuple of Finding
        Most likely first; empty when nothing speaks against standing square.
    log_odds : mapping of posture to float
        ln of its odds against standing square after looking, for every posture.
    unchecked : mapping of posture to str
        A sentence for each that these marks could not show.
    accused_share : float
        Share of square dogs that would be accused, as asked for.
    shown : frozenset of posture
        Those of which a figure is one that square dogs do not have.
    cautions : tuple of str
        To be shown wherever an instruction is.
    """

    findings: tuple[Finding, ...]
    log_odds: Mapping[str, float]
    unchecked: Mapping[str, str]
    accused_share: float
    shown: frozenset[str] = frozenset()
    cautions: tuple[str, ...] = field(default=saying.CAUTIONS)

    @property
    def square(self) -> bool:
        """Whether nothing speaks against standing square."""
        return not self.findings


def judge_stance(
    marks: BodyMarks,
    *,
    accused: float = ACCUSED,
    to_px: Callable[[Point], Point] | None = None,
) -> Stance:
    """Judge how a dog stands.

    Parameters
    ----------
    marks : BodyMarks
    accused : float
        Share of square-standing dogs that may be accused, 0.001 to 0.5.
    to_px : callable or None
        From body coordinates, mm, to the photo, px.

    Raises
    ------
    ValueError
        When breastbone, shoulder top or tail base is missing, points are not finite or
        coincide, a spread is negative, or `accused` is out of range.

    >>> trunk = {"breastbone": (0, 0), "shoulder_top": (90, -200), "tail_base": (560, -150)}
    >>> judge_stance(BodyMarks({**trunk, "front_foot": (110, 380), "rear_foot": (590, 380)})).square
    True
    >>> low = judge_stance(BodyMarks({**trunk, "front_foot": (110, 200), "rear_foot": (590, 200)}))
    >>> low.findings[0].name
    'crouching'
    """
    places, unit = _normal_places(marks)
    if not 0.001 <= accused <= 0.5:
        raise ValueError("the share of square dogs accused must lie between 0.001 and 0.5")
    known = populations(
        tuple(sorted(places)),
        rounded(marks.mark_spread_mm / unit),
        rounded(marks.ground_spread_mm / unit),
        rounded(float(np.radians(marks.tilt_deg))),
        rounded(marks.coat_mm / unit),
        rounded(marks.coat_spread_mm / unit),
        marks.allow,
    )
    seen = shape_of({name: np.asarray(at)[None] for name, at in places.items()}, known.names)
    factors = {name: rival.log_density(seen) - known.square(seen) for name, rival in known.rivals}
    log_odds = {name: float(f[0] + np.log(POSTURES[name].odds)) for name, f in factors.items()}
    findings: tuple[Finding, ...] = ()
    one = {name: np.asarray(at, float)[None] for name, at in places.items()}
    shown = frozenset(name for name in factors if known.shows(name, one))
    seen_odds = {name: log_odds[name] for name in shown if log_odds[name] >= LEAST_ODDS}
    if seen_odds and any_rival(seen_odds) > known.limit(accused):
        best = max(seen_odds.values())
        named = sorted(
            (n for n, odds in seen_odds.items() if odds >= best - ALSO),
            key=lambda n: -seen_odds[n],
        )
        sizes = {name: rival.likely_size(seen) for name, rival in known.rivals}
        findings = tuple(
            _finding(n, marks, one, known, float(factors[n][0]), sizes[n], to_px) for n in named
        )
    found = {finding.name for finding in findings}
    unchecked = {
        name: saying.unchecked(name, known.names)
        for name, power in known.power.items()
        if (power < TELLS or not known.shown[name]) and name not in found
    }
    return Stance(findings, log_odds, unchecked, float(accused), shown)


# -- from millimetres to places ---------------------------------------------------


def _normal_places(marks: BodyMarks) -> tuple[dict[str, Array], float]:
    """Places with x from head to tail and y up, mm, and the trunk's length, mm."""
    points = {name: np.asarray(at, float) for name, at in marks.points.items()}
    for name in ("breastbone", "shoulder_top", "tail_base"):
        if name not in points:
            raise ValueError(f"the {name.replace('_', ' ')} is needed to judge the stance")
    if marks.head is not None:
        points["head"] = np.asarray(marks.head, float)
    up = np.asarray(marks.up, float)
    spreads = (marks.mark_spread_mm, marks.tilt_deg, marks.ground_spread_mm, marks.coat_spread_mm)
    if not (min(spreads) >= 0.0 and marks.coat_mm >= 0.0 and np.isfinite(spreads).all()):
        raise ValueError("spreads and the coat must be finite and not negative")
    line = np.asarray(marks.topline, float).reshape(-1, 2)
    for at in (*points.values(), up, line):
        if not np.isfinite(at).all():
            raise ValueError("a point is not finite")
    if np.linalg.norm(up) == 0.0:
        raise ValueError("the upright direction has no length")
    up = up / np.linalg.norm(up)
    along = np.array([-up[1], up[0]])
    trunk = points["tail_base"] - points["breastbone"]
    if abs(trunk @ along) < 1.0:
        raise ValueError("breastbone and tail base lie on one upright line")
    along = along * np.sign(trunk @ along)
    axes = np.stack([along, up])
    places = {name: axes @ at for name, at in points.items()}
    if len(line) >= 2:
        places["topline"] = _middle_of(line @ axes.T, places["shoulder_top"], places["tail_base"])
    return places, float(np.linalg.norm(trunk))


def _middle_of(line: Array, start: Array, end: Array) -> Array:
    """The outline's height halfway between two landmarks, averaged over a fifth of the way."""
    span = end[0] - start[0]
    x = start[0] + span * np.linspace(0.4, 0.6, 11)
    order = np.argsort(line[:, 0])
    y = np.interp(x, line[order, 0], line[order, 1])
    return np.array([start[0] + 0.5 * span, float(y.mean())])


# -- what to say ------------------------------------------------------------------


def _finding(
    name: str,
    marks: BodyMarks,
    own: dict[str, Array],
    known: Populations,
    log_bayes: float,
    size: float,
    to_px: Callable[[Point], Point] | None,
) -> Finding:
    best, figure = -np.inf, None
    for each in known.shown[name]:
        value = float(each.plan.measure(own)[0])
        away = each.plan.sign * (value - each.middle) / (each.high - each.low)
        if each.plan.sign == 0:
            away = abs(value - each.middle) / (each.high - each.low)
        if away > best:
            plan = each.plan
            best, figure = away, StanceFigure(plan.title, value, each.low, each.high, plan.basis)
    assert figure is not None  # only what a figure shows is named
    lines = tuple(
        (_plain(marks.points[a]), _plain(marks.points[b]))
        for a, b in saying.LINES[name]
        if a in marks.points and b in marks.points
    )
    lines += _ground_lines(name, marks)
    lines_px: tuple[Line, ...] = ()
    if to_px is not None:
        lines_px = tuple((to_px(a), to_px(b)) for a, b in lines)
    return Finding(
        name=name,
        sentence=saying.sentence(name, figure),
        instruction=tr(saying.INSTRUCTIONS[name]),
        figure=figure,
        log_bayes=log_bayes,
        size=size,
        lines=lines,
        lines_px=lines_px,
    )


def _ground_lines(name: str, marks: BodyMarks) -> tuple[Line, ...]:
    """Uprights from the trunk down to the height of the feet."""
    up = np.asarray(marks.up, float) / np.linalg.norm(marks.up)
    drawn = []
    for top, foot in saying.UPRIGHTS[name]:
        if top in marks.points and foot in marks.points:
            start = np.asarray(marks.points[top], float)
            fall = float((start - np.asarray(marks.points[foot], float)) @ up)
            end = start - fall * up
            drawn.append((_plain(start), _plain(end)))
    return tuple(drawn)


def _plain(at: Point | Array) -> Point:
    return float(at[0]), float(at[1])
