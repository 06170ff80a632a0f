"""What is learnt, offered and said of odd tags and marks, held still as `steps` are."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import product
from typing import Any

import numpy as np

from photocheck.case.model import Case, DogFacts, Marking, PhotoEntry, Reading, Reference, Take
from photocheck.errors import PhotocheckError
from photocheck.judge.budget import what_actions_leave
from photocheck.judge.compare import compare
from photocheck.judge.estimate import estimate
from photocheck.judge.evidence import evidence_of
from photocheck.judge.hierarchy import fit, log_density, predictive
from photocheck.judge.impossible_marks import judge_marks, righted, within_a_hand
from photocheck.judge.joint import Joint
from photocheck.judge.learning import learn, screen
from photocheck.judge.marks_told import MarkedPhoto, told_at_once, told_marks
from photocheck.judge.shots import Shot
from photocheck.judge.steps import next_step, offers
from photocheck.judge.tag_sizes import odd_tags, tag_look
from photocheck.judge.tape_habits import held_out_tape, learnt_habits, tape_seen
from photocheck.photo.kind import kind_of, webp_size
from photocheck.photo.preview import frame_in_preview
from photocheck.scale import priors
from photocheck.scale.pose import View, likely_poses
from photocheck.scale.priors import Offset
from photocheck.scale.tag_layout import square_mm, tip_mm
from photocheck.scale.tag_reference import tags_as_reference
from photocheck.scale.tags_seen import TagSeen, TagsSeen
from photocheck.scale.tips import of_view, tips, with_tips
from photocheck.words import BUILDS, LANDMARKS, READINGS, SPANS, TAGS
from tests.golden.steps import SETS, Told, plain
from tests.golden.steps_parts import parts_of
from tests.support.finished_orders import made
from tests.support.judged import DOG, marking, pixel, square_view
from tests.support.plain_scenes import clutter, finished
from tests.support.square_dog import SQUARE

# --- learning -----------------------------------------------------------------------------------


def taught() -> Told:
    """Orders of three breeds and builds, with tags and without, outlying, half heard of: learnt."""
    told: Told = {}
    for seed, (count, shift) in enumerate(((4, 0.1), (11, 0.0), (16, 0.3))):
        rng = np.random.default_rng(seed)
        orders = []
        for number in range(count):
            order = made(
                rng, (shift, -0.5 * shift, 0.3 * shift),
                group=("husky", "whippet", "")[number % 3],
                outcome=("fitted", "accepted", "fitted", "fitted")[number % 4],
                tags=seed > 0 and number % 5 == 0,
                slip=0.7 if number == 9 else 0.0,
            )  # fmt: skip
            tape = tape_seen(_taken(rng, 0.3 if seed == 2 else 1.0))
            orders.append(replace(order, build=BUILDS[number % 3], tape=tape))
        orders += [replace(orders[0], outcome="returned", name="back"),
                   replace(orders[1], name="again"), replace(orders[2], readings=(), key="none"),
                   replace(orders[3], outcome="unknown", key="not heard of")]  # fmt: skip
        groups = ["", "husky", "whippet"]
        usable = orders[:count]
        evidence = evidence_of(usable, groups)
        found = fit(evidence)
        first = learn(orders)
        told[str(seed)] = parts_of(
            [
                found, found.shift, found.factor,
                log_density(evidence, *predictive(evidence, found)),
                log_density(evidence, *predictive(evidence, None)),
                [[order.name, score] for order, score in screen(usable, groups)[1]],
                [first.adopted, first.version, first.left_out, first.reason, first.tape_reason],
            ]
        )  # fmt: skip
    return told


def _taken(rng: np.random.Generator, times: float) -> dict[str, Reading]:
    """Readings whose takes differ by so many times 9 mm; now and then one is missing."""
    lengths = dict(zip(READINGS, (290.0, 420.0, 330.0, 750.0, 580.0), strict=True))
    return {
        name: Reading.of([Take(mm + times * float(rng.normal(0.0, 9.0)), f"{mm:.0f} mm", "mm")
                          for _ in range(int(rng.integers(1, 4)))])
        for name, mm in lengths.items()
        if rng.random() > 0.2
    }  # fmt: skip


def tapes() -> Told:
    """What takes tell of hands, and what hands of a shop are taken for."""
    told: Told = {}
    for seed, times in enumerate((0.3, 3.0)):
        rng = np.random.default_rng(seed)
        readings = [_taken(rng, times) for _ in range(14)]
        seen = [tape_seen(one, READINGS if seed % 2 else ()) for one in readings]
        told[str(times)] = parts_of([seen[:3], learnt_habits(seen), held_out_tape(seen)])
    told["none"] = parts_of(learnt_habits([]))
    return told


# --- fronts and tags ----------------------------------------------------------------------------


def fronts_seen() -> Told:
    """A dog from its side and its front: widths, doubt, how the camera stood; then with tags."""
    told: Told = {}
    for number, (place, offset, width, chest) in enumerate(
        (("front_feet", None, 170.0, True), ("front_feet", -40.0, 190.0, False),
         ("unknown", None, 150.0, True))
    ):  # fmt: skip
        reference = Reference("a4", place=place, offset_mm=offset)
        view = replace(
            square_view(distance=2000.0 + 100.0 * number),
            offset=priors.offset_prior(reference, "front"),
        )
        marks = {"neck_left": pixel(-0.5 * width, -90.0, 2080.0),
                 "neck_right": pixel(0.52 * width, -110.0, 2080.0)}  # fmt: skip
        if chest:
            marks |= {
                "chest_left": pixel(-95.0, 0.0, 2300.0),
                "chest_right": pixel(100.0, 8.0, 2300.0),
            }
        found = estimate(
            [square_view(), view], [[marking()], [Marking(marks)]],
            DogFacts(coat="medium", girth_mm=700.0 if number else None),
        )  # fmt: skip
        told[f"{place} {offset}"] = parts_of(
            [found.log_spans, np.sqrt(np.diag(found.covariance)), dict(found.widths),
             list(found.outliers), [vars(camera) for camera in found.cameras],
             {k: v for k, v in found.shares.items() if float(np.max(v)) > 1e-9}]
        )  # fmt: skip
    return told


def facts_believed() -> Told:
    """What one photo and facts make of a dog: facts that go with it and facts that do not."""
    told: Told = {}
    facts: tuple[dict[str, Any], ...] = (
        {"girth_mm": 720.0}, {"girth_mm": 1100.0}, {"weight_kg": 24.0}, {"weight_kg": 70.0},
        {"height_mm": 600.0}, {"height_mm": 380.0}, {"breed": "Labrador"}, {"breed": "dachshund"},
        {"neck_width_mm": 165.0}, {"neck_width_mm": 300.0}, {"chest_width_mm": 210.0},
        {"chest_width_mm": 90.0, "neck_width_mm": 160.0}, {"build": "broad", "coat": "long"},
        {"coat_depth_mm": 30.0, "girth_mm": 700.0, "weight_kg": 22.0, "height_mm": 590.0},
    )  # fmt: skip
    view = square_view(offset=Offset(1.0, 20.0, 40.0))
    for given in facts:
        found = estimate([view], [[marking(2480.0, half_flank=75.0)]], DogFacts(**given))
        told[str(given)] = parts_of(
            [found.log_spans, np.sqrt(np.diag(found.covariance)), dict(found.widths),
             list(found.outliers), found.half_flank_mm, vars(found.cameras[0]),
             {k: v for k, v in found.shares.items() if float(np.max(v)) > 1e-9}]
        )  # fmt: skip
    return told


def _tag(name: str, depth: float, grown: float, side: float = 40.0) -> TagSeen:
    x, y = DOG[name]
    flat = square_mm(side) - tip_mm(side)
    corners = np.array([pixel(x + float(u), y + float(v), depth) for u, v in flat])
    size = float(np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1).mean()) / side
    return TagSeen(
        name, side, corners, 0.15, np.array(pixel(x, y, depth)), np.eye(2), size * grown, 0.006
    )


def tags_judged() -> Told:
    """Tags that look too large or too small, all of them or one: what is said and believed."""
    told: Told = {}
    ways: tuple[tuple[str, tuple[float, ...]], ...] = (
        ("good", (1.0, 1.0, 1.0, 1.0)), ("nearer", (1.17, 1.18, 1.16, 1.17)),
        ("farther", (0.85, 0.85, 0.86, 0.85)), ("usual set", (1.33, 1.34, 1.33, 1.33)),
        ("small set", (0.75, 0.74, 0.75, 0.75)), ("one", (1.0, 1.0, 1.3, 1.0)),
        ("little", (1.0, 1.05, 1.0, 1.0)),
        ("two", (1.0, 1.25, 1.25, 1.0)), ("three tags", (1.0, 1.25, 1.0)),
        ("two tags", (1.0, 1.3)),
    )  # fmt: skip
    by_themselves = ("three tags",)
    for (name, grown), alone in product(ways, (False, True)):
        if alone and name not in by_themselves:
            continue
        tags = TagsSeen(tuple(_tag(k, 2520.0, g) for k, g in zip(LANDMARKS, grown, strict=False)))
        view = replace(square_view(offset=Offset(0.0, 20.0, 30.0)), tags=tags)
        if alone:
            try:
                view = replace(view, seen=tags_as_reference(tags), offset=Offset(0.0, 0.0, 8.0))
            except PhotocheckError as error:
                told[f"{name} alone"] = str(error)
                continue
        marks = Marking(dict(marking().marks) | tips(tags, "side"), by=TAGS)
        joint = Joint([Shot(view, likely_poses(view)[0], (marks,))], DogFacts(coat_depth_mm=0))
        looks = [tag_look(joint, 1), odd_tags(joint, 2)]
        told[name + " alone" * alone] = parts_of(
            [
                [None if look is None else [look.sentence, look.view.offset.spread_mm,
                                            [t.px_per_mm_spread for t in look.view.tags.tags]]
                 for look in looks],
                _estimated(view, marks) if name in ("nearer", "two", "two tags") else [],
            ]
        )  # fmt: skip
        if alone or len(grown) < 4:
            continue
        entry = PhotoEntry("a.jpg", Reference("a4"), (marking(),))
        few = replace(tags, tags=tags.tags[:2])
        for spread, view_name in product((1.0, 6.0), ("side", "front")):
            after, said = with_tips(entry, of_view(few, view_name), spread)
            told[f"{name} {spread} {view_name}"] = parts_of(
                [[[m.by, dict(m.marks)] for m in after.markings], list(said)]
            )
    return told


def _estimated(view: View, marks: Marking) -> list[Any]:
    found = estimate([view], [[marks]], DogFacts(coat_depth_mm=0))
    doubt = np.sqrt(np.diag(found.covariance))
    return [found.log_spans, doubt, found.cameras[0].offset_mm]


# --- steps offered -------------------------------------------------------------------------------


def offered() -> Told:
    """What may be done next: of doubtful places, few readings, slips, cut pictures."""
    told: Told = {}
    offsets = (Offset(0.0, 0.0, 20.0), Offset(0.0, -400.0, 160.0), Offset(1.0, 30.0, 60.0))
    given: tuple[tuple[str, ...], ...] = ((), SPANS[:1], SPANS[:3], SPANS, READINGS)
    for number, offset in enumerate(offsets):
        view = square_view(kind="id_card" if number == 1 else "a4", offset=offset)
        if number == 2:
            view = replace(view, cut=True)
        marks = (marking(),) * (1 + number)
        dog = DogFacts(weight_kg=25.0) if number == 1 else DogFacts()
        found = estimate([view], [marks], dog)
        lengths = dict(zip(SPANS, np.exp(found.log_spans), strict=True))
        for names, slip in product(given, (1.0, 1.06)):
            ring = {"neck_ring": 2.0 * slip * lengths["half_neck"]}
            readings = {n: Reading(mm, f"{mm:.0f} mm", "cm")
                        for n, mm in (lengths | ring).items() if n in names}  # fmt: skip
            case = Case((PhotoEntry("a.jpg", Reference("a4"), marks),), readings, dog=dog)
            outcome = compare(found.log_spans, found.covariance, readings)
            told[f"{number} {len(names)} {slip}"] = parts_of(
                [
                    next_step(found, outcome, case, [view]),
                    list(offers(found, outcome, case, [view])),
                    dict(what_actions_leave(case, [view])),
                ]
            )
    return told


# --- marks ---------------------------------------------------------------------------------------


def marks_told() -> Told:
    """Marks exchanged, on one spot, within a hand, turned about: what is said at once and later."""
    told: Told = {}
    unit = {k: (600.0 * x, -600.0 * y) for k, (x, y) in SQUARE.items()}
    for few, number in (*product(("four",), range(8)), *product(("all",), range(1, 5))):
        marks = {k: unit[k] for k in SETS[few]}
        names = list(marks)
        if number in (1, 2):
            one, other = names[0], names[number + 1]
            marks[one], marks[other] = marks[other], marks[one]
        if number == 3:
            marks[names[2]] = (marks[names[3]][0] - 7.0, marks[names[3]][1] + 4.0)
        if number == 4:
            marks[names[1]] = (marks[names[1]][0], -1900.0)
        if number == 5:
            marks = {k: (0.1 * x, 0.1 * y) for k, (x, y) in marks.items()}
        if number == 6:
            marks = dict(zip(names, [*marks.values()][1:] + [*marks.values()][:1], strict=True))
        if number == 7:
            marks[names[2]] = marks[names[3]]
        photos = [MarkedPhoto(marks, 6.0, 1 + number % 2, ("owner", "Jo")[number % 2],
                              number % 3 == 0, number == 5)]  # fmt: skip
        told[f"{few} {number}"] = parts_of(
            [told_at_once(marks, 2000.0), told_at_once(marks, 900.0, 1.4), list(told_marks(photos)),
             righted(marks), [within_a_hand(marks, mm) for mm in (0.1, 1.0, 3.0)]]
        )  # fmt: skip
    told |= _told_beside_what_is_expected(unit)
    for left, right in ((10.0, 20.0), (20.0, 10.0), (10.0, 10.0)):
        pair = {"neck_left": (left, 5.0), "neck_right": (right, 5.0)}
        told[f"front {left} {right}"] = parts_of(told_at_once(pair, 900.0))
    return told


@dataclass(frozen=True)
class Foreseen:
    """Where a landmark would be expected."""

    xy: tuple[float, float]
    covariance: tuple[tuple[float, float], tuple[float, float]] = ((400.0, 0.0), (0.0, 300.0))
    confidence: float = 0.9


def _told_beside_what_is_expected(unit: dict[str, tuple[float, float]]) -> Told:
    """Marks near each other or exchanged, with places expected of them: each reason's odds."""
    marks = {k: unit[k] for k in SETS["four"]}
    expected = {k: Foreseen((x + 8.0, y - 6.0)) for k, (x, y) in marks.items()}
    told: Told = {}
    for off in (0.0, 20.0, 60.0, 150.0):
        near = marks | {"last_rib": (marks["tail_base"][0] - off, marks["tail_base"][1] + 5.0)}
        judged = judge_marks(near, 6.0, expected=expected)
        told[f"expected {off}"] = parts_of(
            [judged.fine, judged.anywhere, {"/".join(k): v for k, v in judged.exchanged.items()},
             {"/".join(k): v for k, v in judged.crowded.items()}]
        )  # fmt: skip
    return told


# --- files ---------------------------------------------------------------------------------------


def files_known() -> Told:
    """First bytes of every kind of file, cut short and put together oddly: what each is called."""
    told: Told = {}
    box = b"\0\0\0\x1cftyp%s\0\0\0\0mif1%s\0\0\0\0"
    starts = {
        "jpeg": b"\xff\xd8\xff\xe0\0\x10JFIF" + 20 * b"\0",
        "png": b"\x89PNG\r\n\x1a\n" + 20 * b"\0",
        "webp": b"RIFF\x20\0\0\0WEBPVP8X\x0a\0\0\0\0\0\0\0\x1f\x03\0\x57\x02\0" + 8 * b"\0",
        "lossy": b"RIFF\x20\0\0\0WEBPVP8 \x0a\0\0\0\x10\x02\0\x9d\x01\x2a\x2c\x01\xc8\x40"
        + b"\0" * 8,
        "lossless": b"RIFF\x20\0\0\0WEBPVP8L\x0a\0\0\0\x2f\x2b\xc1\x31\x10" + b"\0" * 8,
        "heic": box % (b"heic", b"heic"), "heix": box % (b"mif1", b"heix"),
        "moving heic": box % (b"hevc", b"heic"), "msf1": box % (b"msf1", b"heic"),
        "avif": box % (b"avif", b"heic"), "avis": box % (b"miaf", b"avis"),
        "video": b"\0\0\0\x14ftypisom\0\0\0\0isom", "gif": b"GIF89a",
        "tiff": b"II*\0", "tiff2": b"MM\0*",
        "bmp": b"BM" + 9 * b"\0", "pdf": b"%PDF-1.7", "jxl": b"\0\0\0\x0cJXL \r\n",
        "jxl2": b"\xff\x0a\0",
        "text": b"hello",
        "nothing": b"",
    }  # fmt: skip
    for name, whole in starts.items():
        rows = []
        for end in range(len(whole) + 1):
            for kinds in (("JPEG", "PNG", "WEBP", "HEIF"), ("JPEG", "PNG")):
                try:
                    rows.append(kind_of(whole[:end], kinds=kinds))
                except PhotocheckError as error:
                    rows.append(str(error))
        same = [0, *(k for k in range(1, len(rows)) if rows[k] != rows[k - 1])]
        told[name] = [[k, rows[k]] for k in same]
        told[f"{name} as webp"] = [plain(webp_size(whole[:end])) for end in (29, 30, len(whole))]
    return told


def previews() -> Told:
    """Where a picture lies in its preview: cut from it, whole, with bars, of something else."""
    told: Told = {}
    rng = np.random.default_rng(5)
    whole = finished(rng, clutter(rng, (480, 360), 14.0), 2.0)
    other = finished(rng, clutter(rng, (480, 360), 14.0), 2.0)
    small = whole.reshape(120, 3, 160, 3, 3).mean(axis=(1, 3)).astype(np.uint8)
    barred = np.vstack([np.zeros((12, 160, 3), np.uint8), small, np.zeros((9, 160, 3), np.uint8)])
    cuts = {"whole": whole, "half": whole[60:300, 90:420], "little": whole[:340, :452],
            "far": whole[200:290, 300:420], "other": other}  # fmt: skip
    for name, cut in cuts.items():
        picture = np.ascontiguousarray(cut)
        others = (barred, small[:59], small[:60], 0 * small) if name == "half" else (barred,)
        told[name] = [parts_of(frame_in_preview(picture, one)) for one in (small, *others)]
    return told


STEPS: dict[str, Callable[[], Told]] = {
    "taught": taught,
    "tapes": tapes,
    "fronts_seen": fronts_seen,
    "facts_believed": facts_believed,
    "tags_judged": tags_judged,
    "offered": offered,
    "marks_told": marks_told,
    "files_known": files_known,
    "previews": previews,
}
