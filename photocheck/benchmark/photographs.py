"""Real photographs with truths marked by eye: what is found in them, and how far off.

A folder holds pictures and a `truth.json` (its schema: `photocheck schema photographs`).  Marks
by eye are good to a few px of a large photo, so that errors over stated sd are a little too
large there.  None are shipped: anybody can run this on their own.
"""

from __future__ import annotations

import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, Final

import cv2
import numpy as np
from numpy.typing import NDArray

from photocheck.benchmark.outlines import outline_figures, rank_correlation
from photocheck.case.model import DogFacts, Marking, Point, Reference
from photocheck.errors import PhotocheckError, ScaleError
from photocheck.photo.load import load_photo
from photocheck.scale.corners import side_lengths
from photocheck.scale.ellipses import fit_ellipse
from photocheck.scale.find import locate_any, see_reference
from photocheck.schemas.complaints import complaint, refused
from photocheck.schemas.reading import read_json

Floats = NDArray[np.float64]
Picture = NDArray[np.uint8]

TAPS: Final = 4
"""Marks tried inside each thing, anywhere but near its edges."""
NEAR_ENOUGH: Final = 0.03
"""Worst corner of what counts as right, over the longer side."""
BESIDE_A_DOG_PX: Final = {"id_card": 120.0, "a4": 400.0, "letter": 400.0}
"""Longer side in a photo of a dog, px, to which pictures are shrunk for the second round."""
OFF_PX: Final = (10.0, 30.0)
"""How far corners given by hand are moved, px."""
_TRUNK_MM: Final = 600.0  # breastbone to tail base where nothing tells: only angles are judged
_HALF_FLANK_MM: Final = 75.0


@dataclass(frozen=True)
class Tap:
    """One mark with its kind named: worst corner over the longer side, or None when not found.

    `over` is the RMS error of the corners' coordinates over the stated sd.
    """

    kind: str
    size: str
    off: float | None
    over: float
    seconds: float

    @property
    def right(self) -> bool:
        """Whether it was found where it is."""
        return self.off is not None and self.off <= NEAR_ENOUGH

    @property
    def wrong(self) -> bool:
        """Whether something else was found."""
        return self.off is not None and self.off > NEAR_ENOUGH


@dataclass(frozen=True)
class FinderTally:
    """Everything seen in one photograph."""

    taps: tuple[Tap, ...] = ()
    kinds_first: tuple[bool, ...] = ()
    by_hand: tuple[float, ...] = ()
    rounds: tuple[tuple[str, float | None], ...] = ()
    ghosts: tuple[bool, ...] = ()
    accused: tuple[bool, ...] = ()
    outlines: tuple[tuple[float, float], ...] = ()


def read_truths(folder: Path) -> dict[str, Any]:
    """`truth.json` of a folder.

    Raises
    ------
    CaseError
        When there is none, or it breaks its schema.
    """
    path = folder / "truth.json"
    data = read_json(path)
    wrong = complaint(data, "photographs")
    if wrong is not None:
        raise refused(wrong, str(path))
    truths: dict[str, Any] = data
    return truths


def look_through(folder: Path, seed: int) -> Iterator[tuple[str, FinderTally]]:
    """Each photograph's name and what was seen in it."""
    for number, entry in enumerate(read_truths(folder)["photos"]):
        rng = np.random.default_rng([seed, number])
        yield entry["file"], _tally(load_photo(folder / entry["file"]).rgb, entry, rng)


def _tally(rgb: Picture, entry: Mapping[str, Any], rng: np.random.Generator) -> FinderTally:
    taps: list[Tap] = []
    first: list[bool] = []
    by_hand: list[float] = []
    rounds: list[tuple[str, float | None]] = []
    for thing in entry.get("references", ()):
        if "corners" in thing:
            corners = np.array(thing["corners"], np.float64)
            taps += _tapped(rgb, thing["kind"], corners, rng)
            first.append(_kind_first(rgb, thing["kind"], corners))
            by_hand += _by_hand(rgb, thing["kind"], corners, rng)
        elif "outline" in thing:
            rounds.append((thing["kind"], _round(rgb, thing)))
    accused, outlines = _dogs(rgb, entry.get("dogs", ()))
    return FinderTally(
        tuple(taps),
        tuple(first),
        tuple(by_hand),
        tuple(rounds),
        tuple(
            _found_something(rgb, kind, (float(x), float(y)))
            for x, y in entry.get("nothing", ())
            for kind in ("id_card", "a4")
        ),
        accused,
        outlines,
    )


def _inside(corners: Floats, part: Floats) -> Point:
    u, v = part
    top, bottom = corners[0] * (1 - u) + corners[1] * u, corners[3] * (1 - u) + corners[2] * u
    x, y = top * (1 - v) + bottom * v
    return float(x), float(y)


def _longest(corners: Floats) -> float:
    return float(np.max(side_lengths(corners)))


def _gaps(seen: Floats, truth: Floats) -> Floats:
    """Of corners (4, 2) from the true ones, in whichever order fits."""
    ways = [np.roll(way, k, axis=0) for way in (truth, truth[::-1]) for k in range(4)]
    return min((seen - way for way in ways), key=lambda gap: float(np.sum(gap**2)))


def _tapped(rgb: Picture, kind: str, corners: Floats, rng: np.random.Generator) -> list[Tap]:
    found = []
    factor = min(BESIDE_A_DOG_PX[kind] / _longest(corners), 1.0)
    for size, scale in (("by itself", 1.0), ("beside a dog", factor)):
        picture, truth = rgb, corners
        if scale < 1.0:
            shrunk = cv2.resize(rgb, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
            picture, truth = np.asarray(shrunk, np.uint8), (corners + 0.5) * scale - 0.5
        for part in rng.uniform(0.12, 0.88, (TAPS, 2)):
            found.append(_one_tap(picture, kind, size, truth, _inside(truth, part)))
    return found


def _one_tap(picture: Picture, kind: str, size: str, truth: Floats, at: Point) -> Tap:
    began = time.perf_counter()
    try:
        seen = see_reference(picture, Reference(kind, near=at))
    except PhotocheckError:
        return Tap(kind, size, None, np.nan, time.perf_counter() - began)
    took = time.perf_counter() - began
    gap = _gaps(seen.points_px, truth)
    off = float(np.max(np.hypot(*gap.T))) / _longest(truth)
    return Tap(kind, size, off, float(np.sqrt(np.mean(gap**2))) / seen.spread_px, took)


def _kind_first(rgb: Picture, kind: str, corners: Floats) -> bool:
    found = locate_any(rgb, _inside(corners, np.array([0.5, 0.5])))
    return bool(found) and found[0].kind == kind


def _by_hand(rgb: Picture, kind: str, corners: Floats, rng: np.random.Generator) -> list[float]:
    """Errors over stated sd of the corners that end more than `OFF_PX` off, moved by that much."""
    angles, far = rng.uniform(0, 2 * np.pi, 4), rng.uniform(*OFF_PX, 4)
    moved = corners + far[:, None] * np.column_stack([np.cos(angles), np.sin(angles)])
    size = np.array(rgb.shape[1::-1])
    moved = np.clip(moved, 0, size - 1)
    given = tuple((float(x), float(y)) for x, y in moved)
    try:
        seen = see_reference(rgb, Reference(kind, corners=given))
    except ScaleError:
        return []
    per_axis = np.hypot(*_gaps(seen.points_px, corners).T) / np.sqrt(2)
    return [float(error) / seen.spread_px for error in per_axis]


def _round(rgb: Picture, thing: Mapping[str, Any]) -> float | None:
    """Ln of the seen over the true size of a disc or ball; None when it was not found."""
    outline = np.array(thing["outline"], np.float64)
    truth = fit_ellipse(outline)
    at = outline.mean(axis=0)
    reference = Reference(
        thing["kind"],
        near=(float(at[0]), float(at[1])),
        diameter_mm=float(thing.get("diameter_mm", 25.0)),
    )
    try:
        seen = fit_ellipse(see_reference(rgb, reference).outline_px)
    except ScaleError:
        return None
    if seen is None or truth is None:
        return None
    return float(np.log(np.max(seen.half) / np.max(truth.half)))


def _found_something(rgb: Picture, kind: str, at: Point) -> bool:
    try:
        see_reference(rgb, Reference(kind, near=at))
    except ScaleError:
        return False
    return True


def _dogs(
    rgb: Picture, dogs: Sequence[Mapping[str, Any]]
) -> tuple[tuple[bool, ...], tuple[tuple[float, float], ...]]:
    """Whether each square dog was accused; overlap and trust of each outline."""
    from photocheck.judge.standing import standing

    accused, outlines = [], []
    for dog in dogs:
        marks = {name: (float(x), float(y)) for name, (x, y) in dog.get("marks", {}).items()}
        if not {"breastbone", "shoulder_top", "last_rib", "tail_base"} <= set(marks):
            continue
        if "outline" in dog:
            figures = outline_figures(rgb, marks, [(float(x), float(y)) for x, y in dog["outline"]])
            outlines.append((0.0, 0.0) if figures is None else (figures.overlap, figures.trust))
        if dog.get("square"):
            trunk = np.subtract(marks["breastbone"], marks["tail_base"])
            flat = float(np.hypot(*trunk)) / _TRUNK_MM
            to_pixels = np.diag([flat, flat, 1.0])
            stands = standing(
                [Marking(marks)],
                partial(_seen_flat, to_pixels),
                half_flank_mm=_HALF_FLANK_MM,
                roll_deg=0.0,
                place="near_flank",
                dog=DogFacts(),
                rgb=rgb,
            )
            accused.append(not stands.stance.square)
    return tuple(accused), tuple(outlines)


def _seen_flat(to_pixels: Floats, offset_mm: float) -> Floats:
    """The same scale at every depth: nothing is known of the camera."""
    return to_pixels


def report(folder: Path, seed: int) -> str:
    """The tables, as Markdown."""
    tallies = [tally for _, tally in look_through(folder, seed)]
    lines = [f"{len(tallies)} photographs, {TAPS} taps into each card or sheet, seed {seed}.", ""]
    lines += _taps_table([tap for tally in tallies for tap in tally.taps])
    first = [one for tally in tallies for one in tally.kinds_first]
    ghosts = [one for tally in tallies for one in tally.ghosts]
    hand = np.array([one for tally in tallies for one in tally.by_hand])
    accused = [one for tally in tallies for one in tally.accused]
    lines += ["", "| | share | of |", "| --- | --- | --- |"]
    for name, cases in (
        ("right kind first, no kind named", first),
        ("something found where nothing is", ghosts),
        ("corners by hand 10 to 30 px off: within 3 stated sd", list(hand <= 3.0)),
        ("square dogs accused", accused),
    ):
        share = f"{100 * np.mean(cases):.1f} %" if len(cases) else "-"
        lines.append(f"| {name} | {share} | {len(cases)} |")
    rounds = [one for tally in tallies for one in tally.rounds]
    for kind in ("disc", "ball"):
        logs = [off for name, off in rounds if name == kind]
        seen = np.array([off for off in logs if off is not None])
        if logs:
            error = f"{100 * np.median(np.abs(seen)):.1f} %" if len(seen) else "-"
            name = f"{kind}s found (median error of size {error})"
            lines.append(f"| {name} | {100 * len(seen) / len(logs):.1f} % | {len(logs)} |")
    outlines = np.array([one for tally in tallies for one in tally.outlines])
    if len(outlines):
        lines += ["", _outline_line(outlines)]
    return "\n".join(lines)


def _taps_table(taps: Sequence[Tap]) -> list[str]:
    lines = [
        "| | taps | right | wrong | not found | error over sd at most 2 | median s |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    for size in ("by itself", "beside a dog"):
        for name, kinds in (("cards", ("id_card",)), ("sheets", ("a4", "letter"))):
            some = [tap for tap in taps if tap.size == size and tap.kind in kinds]
            if not some:
                continue
            over = [tap.over <= 2.0 for tap in some if tap.off is not None]
            honest = f"{100 * np.mean(over):.0f} %" if over else "-"
            right = 100 * float(np.mean([tap.right for tap in some]))
            wrong = 100 * float(np.mean([tap.wrong for tap in some]))
            seconds = np.median([tap.seconds for tap in some])
            lines.append(
                f"| {name} {size} | {len(some)} | {right:.0f} % | {wrong:.0f} % "
                f"| {100 - right - wrong:.0f} % | {honest} | {seconds:.2f} |"
            )
    return lines


def _outline_line(outlines: Floats) -> str:
    overlap, trust = outlines.T
    told = rank_correlation(overlap, trust)
    return (
        f"Outlines: IoU {np.median(overlap):.2f} median, {overlap.min():.2f} worst; "
        f"rank correlation with trust {told} ({len(outlines)} dogs)."
    )
