"""What detailed quadruped bodies say of the shape constants in `photocheck.body.shape`.

``bodies.json`` holds figures measured once on models from openly licensed packages; no
geometry but the landmarks' coordinates is kept.  How they were measured:

- Each model, in the pose it comes in, is scaled to about 550 mm at the back, x from the
  breastbone to the tail, y up, z to the near side with 0 in the middle plane.  Its surface
  is sampled three million times into 4 mm voxels, filled, and turned into a signed distance
  whose zero is moved to the surface's samples.
- Landmarks: the breastbone at the foremost corner of the chest in the middle plane, the
  shoulder top over the foreleg, the tail base where the tail leaves the back, back top and
  chest bottom just behind the foreleg, the last rib 57 % of the way from breastbone to tail
  base at the height of the widest flank.  Picked by rule, every one looked at in side view
  and most corrected by eye.
- Half neck, its width, chest, flank and girth are convex hulls of plane sections of that
  distance; the exponent is the superellipse's with that chord, width and half perimeter.
- Front and rear are strings pulled taut outside the body (`photocheck.phantom.taut`), the
  front one under the chest between the forelegs and up behind the elbow, mean of both
  flanks.  All but one body's were looked at from the side, the front and above; where the
  front one stuck in a crease or had no elbow to turn behind, its figures are null.
- Errors are ln(measured / `photocheck.body.trunk.log_spans`), of the model as it is now,
  with every term 0, a coat of 0 mm and the body's own landmarks: without chest marks, with
  them (``marked``), and with them and the true widths of chest and flank (``widths_known``).

Checked: a taut string round an elliptic cylinder in such a grid is 0.1 % over the exact half
perimeter; girths are within 0.3 % of the meshes' own sections (three bodies); rear strings
over their own straight line are within 1.7 % of exact geodesics over the meshes (six bodies,
ends moved to the nearest vertices).  Nine dogs and dog-likes measured ten times each with
marks moved at random by 8 to 15 mm give `MARKING_LOG_SD`, which is part of every spread
here.  Medians of front and rear hang on how high the last rib is put, spreads hardly: ten
dogs and dog-likes with it at 0.62, 0.66, 0.70 and 0.74 of the shoulder's height have a rear
surplus of 1.094, 1.072, 1.055 and 1.049, a turn below the chord of 0.18, 0.21, 0.24 and 0.26
(by the widest flank, as in the table, it is at 0.67 to 0.82).

A coarse model (`Body.coarse`) cuts corners: its exponent and half neck come out low.  All
are artists' models, and most are for games: they show how shapes may differ, not how often;
short-nosed builds are one body, dwarf-legged and obese ones none.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from photocheck.body import shape
from photocheck.body.trunk import build_trunk, log_spans
from photocheck.case.model import DogFacts
from photocheck.words import LANDMARKS, SPAN_ENDS, SPANS

Array = NDArray[np.float64]

KINDS: Final = ("dog", "doglike", "other")
COARSE_BELOW: Final = 300
"""Vertices below which a model's sections are polygons of a few corners."""


@dataclass(frozen=True, eq=False)
class Body:
    """One measured body.

    Lengths over a chord are over the straight distance of the span's landmarks in side
    view, landmarks mm (x towards the tail, y up); None where the front string failed.
    """

    name: str
    package: str
    version: str
    licence: str
    maker: str
    kind: str
    vertices: int
    landmarks: Mapping[str, tuple[float, float]]
    half_neck_over_chord: float
    neck_width_over_chord: float
    neck_exponent: float
    chest_depth_over_straight: float
    trunk_width_over_depth: float
    flank_width_over_chest: float
    girth_over_depth: float
    girth_over_ellipse: float
    front_over_chord: float | None
    front_surplus: float | None
    turn_along: float | None
    turn_below: float | None
    turn_side: float | None
    rear_over_chord: float
    rear_surplus: float
    remark: str

    @property
    def coarse(self) -> bool:
        """Whether the model is too coarse for the roundness of its sections."""
        return self.vertices < COARSE_BELOW


@dataclass(frozen=True)
class FigureSpread:
    """How a figure differs between bodies.

    Attributes
    ----------
    count : int
    median : float
        Of ratios; the mean of errors, which are logarithms already.
    log_sd : float
        Standard deviation of the logarithm between bodies; nan for fewer than two.
    """

    count: int
    median: float
    log_sd: float


RATIOS: Final = (
    "half_neck_over_chord",
    "neck_width_over_chord",
    "neck_exponent",
    "chest_depth_over_straight",
    "trunk_width_over_depth",
    "flank_width_over_chest",
    "girth_over_ellipse",
    "front_over_chord",
    "front_surplus",
    "turn_below",
    "rear_over_chord",
    "rear_surplus",
)
ERRORS: Final = (
    "half_neck_error",
    "front_error",
    "front_error_marked",
    "front_error_widths_known",
    "rear_error",
    "rear_error_marked",
    "rear_error_widths_known",
    "full_error",
    "full_error_marked",
)
PAIRS: Final = (
    ("neck_width_over_chord", "trunk_width_over_depth"),
    ("neck_width_over_chord", "girth_over_depth"),
    ("half_neck_error", "trunk_width_over_depth"),
    ("half_neck_error", "front_error"),
    ("half_neck_error", "front_error_marked"),
    ("front_error_marked", "rear_error_marked"),
    ("front_surplus", "rear_surplus"),
)
"""Figures whose correlation between bodies the model takes a side on."""

MARKING_LOG_SD: Final[Mapping[str, float]] = MappingProxyType(
    {
        "half_neck_over_chord": 0.022,
        "neck_width_over_chord": 0.050,
        "neck_exponent": 0.056,
        "trunk_width_over_depth": 0.014,
        "flank_width_over_chest": 0.024,
        "front_over_chord": 0.020,
        "front_surplus": 0.009,
        "turn_below": 0.081,
        "rear_over_chord": 0.013,
        "rear_surplus": 0.011,
        "half_neck_error": 0.022,
        "front_error": 0.019,
        "front_error_marked": 0.006,
        "rear_error": 0.010,
        "rear_error_marked": 0.011,
    }
)
"""Standard deviation of the logarithm by placing the landmarks alone, of one body."""


@cache
def bodies() -> tuple[Body, ...]:
    """The table, dogs first."""
    text = (files("photocheck.benchmark") / "bodies.json").read_text(encoding="utf-8")
    return tuple(_body(entry) for entry in json.loads(text))


def _body(entry: dict[str, Any]) -> Body:
    marks = {name: (float(at[0]), float(at[1])) for name, at in entry["landmarks"].items()}
    return Body(**{**entry, "landmarks": MappingProxyType(marks)})


def figure_of(body: Body, figure: str) -> float | None:
    """A measured ratio, or an error of the model as it is now; None where not measured."""
    value = _errors(body).get(figure) if figure in ERRORS else getattr(body, figure)
    return None if value is None else float(value)


@cache
def _errors(body: Body) -> Mapping[str, float]:
    """ln(measured / model) by span and by what the model was told."""
    seen = {name: np.array([x, -y]) for name, (x, y) in body.landmarks.items()}
    four = {name: seen[name] for name in LANDMARKS}
    median = {term: np.zeros(()) for term in shape.TERM_TITLES}
    unknown = shape.TRUNK_WIDTH_OVER_DEPTH["unknown"]
    widths = {
        **median,
        "trunk_width": _term(unknown, body.trunk_width_over_depth),
        "flank_width": _term(shape.FLANK_WIDTH_OVER_CHEST, body.flank_width_over_chest),
    }
    told = {"": (four, median), "_marked": (seen, median), "_widths_known": (seen, widths)}
    measured = {span: float(np.log(mm)) for span, mm in measured_mm(body).items()}
    found = {}
    for suffix, (points, terms) in told.items():
        said = log_spans(build_trunk(points, {}, terms, DogFacts(coat_depth_mm=0.0)))
        for span, value in measured.items():
            name = span.removesuffix("_length") + "_error" + suffix
            found[name] = value - float(said[SPANS.index(span)])
    return found


def _term(ratio: shape.Ratio, value: float) -> Array:
    """How many standard deviations from its median a ratio lies, ()."""
    return np.array(np.log(value / ratio.median) / ratio.log_spread)


def measured_mm(body: Body) -> dict[str, float]:
    """Each measured span, mm; front and full length only where the front string did not fail."""
    over = {
        "half_neck": body.half_neck_over_chord,
        "front_length": body.front_over_chord,
        "rear_length": body.rear_over_chord,
    }
    long = {}
    for span, ratio in over.items():
        start, end = (np.array(body.landmarks[name]) for name in SPAN_ENDS[span])
        if ratio is not None:
            long[span] = ratio * float(np.linalg.norm(end - start))
    if "front_length" in long:
        long["full_length"] = long["front_length"] + long["rear_length"]
    return long


def groups() -> dict[str, tuple[Body, ...]]:
    """The bodies by what is asked of them: kinds overlap, `by_maker` does not."""
    every = bodies()
    return {
        "all": every,
        "all but coarse": tuple(b for b in every if not b.coarse),
        "dogs": tuple(b for b in every if b.kind == "dog"),
        "dogs and dog-likes": tuple(b for b in every if b.kind != "other"),
        "others": tuple(b for b in every if b.kind == "other"),
    }


def by_maker() -> dict[str, tuple[Body, ...]]:
    """The bodies of each maker, in the table's order."""
    makers = dict.fromkeys(body.maker for body in bodies())
    return {maker: tuple(b for b in bodies() if b.maker == maker) for maker in makers}


def spread(among: Sequence[Body], figure: str) -> FigureSpread:
    """Median and log-sd of a ratio (`RATIOS`), mean and sd of an error (`ERRORS`)."""
    values = np.array([v for v in (figure_of(b, figure) for b in among) if v is not None], float)
    is_error = figure in ERRORS
    logs = values if is_error else np.log(values)
    middle = np.mean if is_error else np.median
    deviation = float(np.std(logs, ddof=1)) if len(values) > 1 else float("nan")
    centre = float(middle(values)) if len(values) else float("nan")
    return FigureSpread(len(values), centre, deviation)


def within_makers(figure: str) -> float:
    """The log-sd pooled within makers: what one hand's bodies differ by."""
    parts = [spread(among, figure) for among in by_maker().values()]
    parts = [part for part in parts if part.count > 1]
    freedom = sum(part.count - 1 for part in parts)
    square = sum((part.count - 1) * part.log_sd**2 for part in parts) / freedom
    return float(np.sqrt(square))


def correlation(among: Sequence[Body], one: str, other: str) -> tuple[float, int]:
    """Pearson's r of two figures (ratios as logarithms), and of how many bodies."""
    both = [(figure_of(b, one), figure_of(b, other)) for b in among]
    known = np.array([pair for pair in both if None not in pair], float)
    for column, figure in enumerate((one, other)):
        if figure not in ERRORS:
            known[:, column] = np.log(known[:, column])
    return float(np.corrcoef(known.T)[0, 1]), len(known)


def report() -> str:
    """The study's tables as Markdown."""
    every, makers = bodies(), by_maker()
    counts = ", ".join(f"{sum(b.kind == kind for b in every)} {kind}" for kind in KINDS)
    lines = [
        f"{len(every)} bodies ({counts}) of {len(makers)} makers; "
        f"{sum(b.coarse for b in every)} coarse (fewer than {COARSE_BELOW} vertices).",
        "Each cell: median, sd of the logarithm (number of bodies).",
        "",
        *_table(RATIOS, _ratio),
        "",
        "ln(measured / model), per cent: mean, sd (number of bodies).",
        "",
        *_table(ERRORS, _error),
        "",
        "By maker, as above:",
        "",
        "| maker | bodies | neck width / chord | trunk width / depth | front surplus "
        "| rear surplus |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    shown = ("neck_width_over_chord", "trunk_width_over_depth", "front_surplus", "rear_surplus")
    for maker, among in makers.items():
        cells = " | ".join(_ratio(spread(among, figure)) for figure in shown)
        lines.append(f"| {maker} | {len(among)} | {cells} |")
    lines += ["", "Correlation between bodies, r (number):", ""]
    named = groups()
    lines += [f"| | {' | '.join(named)} |", "| --- |" + " --- |" * len(named)]
    for one, other in PAIRS:
        found = (correlation(among, one, other) for among in named.values())
        cells = " | ".join(f"{r:+.2f} ({count})" for r, count in found)
        lines.append(f"| {_plain(one)} and {_plain(other)} | {cells} |")
    return "\n".join(lines)


def _table(figures: Sequence[str], cell: Callable[[FigureSpread], str]) -> list[str]:
    named = groups()
    lines = [
        f"| | {' | '.join(named)} | within makers | by placing the marks |",
        "| --- |" + " --- |" * (len(named) + 2),
    ]
    for figure in figures:
        cells = [cell(spread(among, figure)) for among in named.values()]
        cells.append(f"{within_makers(figure):.3f}")
        marking = MARKING_LOG_SD.get(figure)
        cells.append("" if marking is None else f"{marking:.3f}")
        lines.append(f"| {_plain(figure)} | {' | '.join(cells)} |")
    return lines


def _plain(figure: str) -> str:
    return figure.replace("_over_", " / ").replace("_", " ")


def _ratio(of: FigureSpread) -> str:
    deviation = "" if np.isnan(of.log_sd) else f", {of.log_sd:.3f}"
    return f"{of.median:.3f}{deviation} ({of.count})" if of.count else "none"


def _error(of: FigureSpread) -> str:
    return f"{100 * of.median:+.1f}, {100 * of.log_sd:.1f} ({of.count})"
