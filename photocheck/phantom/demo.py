"""Makes the sample cases: ``python -m photocheck.phantom.demo OUTDIR``.

Dogs, club and readings are invented; the photos are rendered phantoms, so that
the truth is known.  Marks are placed as a careful person would, a few
millimetres off; readings carry an ordinary tape error and, where the case says
so, one fault.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Sequence
from dataclasses import asdict, replace
from fractions import Fraction
from pathlib import Path
from typing import Any, Final

import numpy as np
import shapely

from photocheck.case.lengths import parse_reading
from photocheck.errors import CaseError
from photocheck.phantom.demo_samples import CLUB, SAMPLES, PhotoPlan, Sample
from photocheck.phantom.draws import random_reference
from photocheck.phantom.facing import (
    FACING_DEG,
    FRONT_OFFSETS,
    front_points,
    observe_front,
    placed_before,
    true_widths,
)
from photocheck.phantom.look import Look
from photocheck.phantom.phone import save_photo
from photocheck.phantom.placed import PlacedReference
from photocheck.phantom.placed_tags import PlacedTag, front_tags, print_factor, side_tags
from photocheck.phantom.render import PICTURE_RESOLUTION, render
from photocheck.phantom.scene import Scene, observe
from photocheck.phantom.solid import Dog, make_dog, random_plan
from photocheck.phantom.tape import tape_truth
from photocheck.phantom.true_camera import Camera
from photocheck.scale.catalogue import MM_PER_INCH
from photocheck.words import LANDMARKS, NECK_RING, SPANS

MADE: Final = "Rendered phantom dog, invented, for photocheck"
TAPE_SD: Final = 0.007
"""Relative tape error of a careful owner in the samples, judgement."""

AGAIN_SD: Final = 0.005
"""How far the second take of a careful owner is off the first, relative; judgement."""
MARK_SD_MM: Final = 4.0
PHOTO_PX: Final = (2000, 1500)


# --- readings --------------------------------------------------------------


def typed(mm: float, unit: str) -> str:
    """A length as an owner types it: to the quarter inch or the half centimetre."""
    if unit == "cm":
        return f"{round(mm / 5.0) * 0.5:.1f}".removesuffix(".0")
    quarters = Fraction(round(mm / MM_PER_INCH * 4), 4)
    whole, part = divmod(quarters, 1)
    return f"{whole} {part}" if part else f"{whole}"


def _swap(text: str) -> str:
    return text[1] + text[0] + text[2:]


def readings(
    truth: dict[str, float], sample: Sample, rng: np.random.Generator
) -> tuple[dict[str, str | list[str]], str]:
    """What the owner typed, and the span the fault sits in ("" for none)."""
    mm = {span: truth[span] * (1.0 + TAPE_SD * rng.normal()) for span in SPANS[:3]}
    mm["full_length"] = (mm["front_length"] + mm["rear_length"]) * (1 + 0.003 * rng.normal())
    where = ""
    if sample.fault == "last_rib_moved":
        shift = 0.11 * truth["full_length"]
        mm["front_length"] += shift
        mm["rear_length"] -= shift
        where = "front_length and rear_length"
    text = {span: typed(mm[span], sample.unit) for span in SPANS}
    if sample.fault == "doubled_neck":
        where = "half_neck"
        text[where] = typed(2.0 * mm[where], sample.unit)
    elif sample.fault == "wrong_unit":
        where = "rear_length"
        text[where] = typed(mm[where], "cm")
    elif sample.fault == "swapped_digits":
        # The reading where a swap changes most and is not refused at once.
        where = max(SPANS[:3], key=lambda s: _swapped_by(s, text[s], sample.unit))
        text[where] = _swap(text[where])
    told: dict[str, str | list[str]] = dict(text)
    if sample.ring or sample.careful:
        mm[NECK_RING] = 2.0 * truth["half_neck"] * (1.0 + TAPE_SD * rng.normal())
        told[NECK_RING] = typed(mm[NECK_RING], sample.unit)
    if sample.careful:
        for name, first in told.items():
            again = mm[name] * (1.0 + AGAIN_SD * rng.normal())
            told[name] = [str(first), typed(again, sample.unit)]
    return told, where


def _swapped_by(span: str, text: str, unit: str) -> int:
    """How far apart the first two digits are; 0 where nobody would believe them swapped."""
    try:
        parse_reading(span, _swap(text), unit)
    except CaseError:
        return 0
    return abs(int(text[0]) - int(text[1]))


# --- scenes ----------------------------------------------------------------


def _clear_view(scene: Scene) -> bool:
    """Nothing of use is hidden: no mark behind the reference, no reference behind the dog."""
    placed, camera = scene.reference, scene.camera
    sheet = shapely.MultiPoint(camera.project(placed.hull_points())).convex_hull.buffer(12.0)
    if placed.place.startswith("near"):
        u, v = np.meshgrid(np.linspace(-0.5, 0.5, 9), np.linspace(-0.5, 0.5, 9))
        face = np.stack([u.ravel(), v.ravel()], axis=1) * placed.outer_mm
        room, _ = scene.dog.visible_field.sample(scene.to_dog(placed.place_points(face)))
        if room.min() < 3.0:
            return False
        four = [scene.landmarks_px[name] for name in scene.landmarks_px if name != "front_foot"]
        return not any(sheet.contains(shapely.Point(p)) for p in four)
    body = scene.to_world(np.asarray(scene.dog.visible_mesh.vertices)[::25])
    return bool(sheet.disjoint(shapely.MultiPoint(camera.project(body)).buffer(14.0)))


def _camera(scene: Scene, shot: PhotoPlan) -> Camera:
    """Stand where asked, step back until dog and reference are in the picture."""
    points = np.concatenate([scene.to_world(scene.dog.extent), scene.reference.hull_points()])
    middle = 0.5 * (points.min(axis=0) + points.max(axis=0))
    middle[2] = 0.0
    a = np.radians(shot.yaw_deg)
    for distance in np.arange(shot.distance_mm, 4500.0, 50.0):
        x, z = middle[0] + distance * np.sin(a), distance * np.cos(a)
        camera = replace(
            scene.camera,
            position=(float(x), shot.height_mm, float(z)),
            aim=(float(middle[0]), float(middle[1]), 0.0),
        )
        if camera.sees(points, 0.03):
            return camera
    raise RuntimeError("dog and reference do not fit into the picture")


def make_scene(dog: Dog, sample: Sample, shot: PhotoPlan, rng: np.random.Generator) -> Scene:
    """A scene of a shot in which nothing of use is hidden."""
    start = Camera(
        (0.0, shot.height_mm, 2500.0),
        (0.0, 300.0, 0.0),
        shot.focal_35mm + float(rng.uniform(-0.3, 0.3)),
        PHOTO_PX,
        float(rng.normal(0.0, 0.8)),
        (float(rng.normal(0.0, 0.006)), 0.0, 0.0, 0.0),
    )
    stated = shot.focal_35mm if shot.exif else None
    for _ in range(300):
        placed = random_reference(rng, dog, shot.kind, shot.place)
        yaw = shot.dog_yaw_deg + float(rng.normal(0.0, 2.0))
        scene = Scene(dog, start, placed, yaw, stated, sample.faces_right)
        if sample.faces_right:
            x, y, z = placed.centre
            mirrored = replace(placed, centre=(2.0 * float(scene.pivot[0]) - x, y, z))
            scene = replace(scene, reference=mirrored)
        scene = replace(scene, camera=_camera(scene, shot))
        if _clear_view(scene):
            return scene
    raise RuntimeError(f"no clear view for {sample.folder}")


def make_front(
    dog: Dog, sample: Sample, shot: PhotoPlan, sheet: PlacedReference, rng: np.random.Generator
) -> Scene:
    """A scene of a shot from the front in which nothing of use is hidden; with the same sheet."""
    width, height = PHOTO_PX
    start = Camera(
        (0.0, shot.height_mm, 2500.0),
        (0.0, 300.0, 0.0),
        shot.focal_35mm + float(rng.uniform(-0.3, 0.3)),
        (height, width),
        float(rng.normal(0.0, 0.8)),
        (float(rng.normal(0.0, 0.006)), 0.0, 0.0, 0.0),
    )
    stated = shot.focal_35mm if shot.exif else None
    for _ in range(300):
        drawn = placed_before(rng, dog, shot.kind, shot.place)
        placed = replace(
            drawn, size_factor=sheet.size_factor, bar_mm=sheet.bar_mm, paper=sheet.paper
        )
        yaw = FACING_DEG + shot.dog_yaw_deg + float(rng.normal(0.0, 2.0))
        scene = Scene(dog, start, placed, yaw, stated)
        scene = replace(scene, camera=_camera(scene, shot))
        if _clear_view(scene):
            return scene
    raise RuntimeError(f"no clear view for {sample.folder}")


# --- files -----------------------------------------------------------------


def _round(points: Sequence[Sequence[float]]) -> list[list[float]]:
    return [[round(x, 1), round(y, 1)] for x, y in points]


def _photo_json(
    scene: Scene, name: str, rng: np.random.Generator, view: str = "side", *, tagged: bool = False
) -> dict[str, Any]:
    front = view == "front"
    seen = (observe_front if front else observe)(scene, rng, MARK_SD_MM, 0.7)
    ref = seen.reference
    reference: dict[str, Any] = {"kind": ref.kind, "place": ref.place}
    if ref.offset_mm is not None:
        reference["offset"] = f"{ref.offset_mm / 10.0:.0f} cm"
    if ref.kind == "marker_sheet":
        if ref.bar_mm is not None:
            reference["bar"] = f"{ref.bar_mm:g} mm"
    else:
        reference["corners"] = _round(ref.corners)
    marks = {k: _round([xy])[0] for k, xy in seen.marking.marks.items()}
    if scene.reference.place == "near_feet":
        marks.pop("front_foot", None)  # often behind the reference
    marking = {"by": "owner", "marks": marks, "spread_mm": 6}
    told = {"view": view} if front else {}
    markings = [] if tagged else [marking]
    return {"file": name, **told, "reference": reference, "markings": markings}


def _photo_truth(scene: Scene, name: str, tags: Sequence[PlacedTag]) -> dict[str, Any]:
    placed = asdict(scene.reference)
    seen = scene.landmarks_px
    if scene.reference.place in FRONT_OFFSETS:
        points = front_points(scene)
        ends = scene.camera.project(np.array(list(points.values())))
        seen = {k: (float(x), float(y)) for k, (x, y) in zip(points, ends, strict=True)}
    return {
        "file": name,
        "landmarks_px": {k: _round([xy])[0] for k, xy in seen.items()},
        "landmarks_mm": {k: [round(float(v), 1) for v in p] for k, p in scene.landmarks.items()},
        **({"tags": [_tag_truth(scene, tag) for tag in tags]} if tags else {}),
        "camera": asdict(scene.camera),
        "focal_px": scene.camera.focal_px,
        "reference": placed,
        "offset_mm": scene.reference.offset_mm,
        "dog_yaw_deg": scene.dog_yaw_deg,
    }


def _tag_truth(scene: Scene, tag: PlacedTag) -> dict[str, Any]:
    """Where a tag's tip is, px, how large its square is, and how much the body hides of it."""
    return {
        "landmark": tag.landmark,
        "side_mm": round(tag.side_mm, 2),
        "tip_px": _round([tag.tip_px(scene.camera).tolist()])[0],
        "hidden": round(float(tag.hidden.mean()), 2),
    }


def _widths(dog: Dog) -> dict[str, float]:
    widths = true_widths(dog)
    return {"neck_width_mm": round(widths.neck, 1), "chest_width_mm": round(widths.chest, 1)}


def write_sample(
    sample: Sample,
    folder: Path,
    *,
    draw: Callable[[Scene, Look, Sequence[PlacedTag]], Any] = render,
) -> None:
    """Write one case: its photos, ``case.json`` and ``truth.json``.

    Parameters
    ----------
    sample : Sample
    folder : Path
        Made when missing.
    draw : callable
        Scene, look and the tags on the dog to an (H, W, 3) uint8 picture; the real renderer
        unless only the JSON is wanted.
    """
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(sample.seed)
    drawn = random_plan(rng, posture=sample.posture, severity=sample.severity)
    plan = replace(
        drawn,
        height_mm=sample.height_mm,
        broadness=sample.broadness,
        coat_mm=sample.coat_mm,
        proportions=replace(drawn.proportions, drop_ears=sample.drop_ears),
    )
    dog = make_dog(plan, PICTURE_RESOLUTION)
    standing = make_dog(replace(plan, posture="square", severity=0.0))
    truth = tape_truth(standing)
    text, where = readings(truth, sample, rng)
    photos, facts = [], []
    printed = print_factor(rng) if sample.tagged else 1.0
    for number, shot in enumerate(sample.shots, start=1):
        name = "side.jpg" if len(sample.shots) == 1 else f"side_{number}.jpg"
        scene = make_scene(dog, sample, shot, rng)
        stated = scene.exif_focal_35mm
        tags = side_tags(scene, rng, landmarks=LANDMARKS, printed=printed) if sample.tagged else ()
        save_photo(folder / name, draw(scene, shot.look, tags), shot.look, stated, made=MADE)
        photos.append(_photo_json(scene, name, rng, tagged=sample.tagged))
        facts.append(_photo_truth(scene, name, tags))
    if sample.front:
        scene = make_front(dog, sample, sample.front, scene.reference, rng)
        look, stated = sample.front.look, scene.exif_focal_35mm
        tags = front_tags(scene, rng, printed=printed) if sample.tagged else ()
        save_photo(folder / "front.jpg", draw(scene, look, tags), look, stated, made=MADE)
        photos.append(_photo_json(scene, "front.jpg", rng, "front", tagged=sample.tagged))
        facts.append(_photo_truth(scene, "front.jpg", tags))
    case = {
        "format": "photocheck-case/1",
        "name": f"{CLUB}: {sample.dog}",
        "unit": sample.unit,
        **({"measured_at_tags": True} if sample.tagged else {}),
        "readings": text,
        "dog": {
            "name": sample.dog,
            "breed": sample.breed,
            "weight": f"{standing.mass_kg:.0f} kg",
            "coat": plan.coat,
            "build": plan.build,
            "girth": f"{standing.girth / 10.0:.0f} cm",
            "age_months": sample.age_months,
            **(_between_boards(standing) if sample.careful and not sample.front else {}),
        },
        "photos": photos,
    }
    known = {
        "note": "Invented dog; rendered picture; lengths in mm, pixels of the upright photo.",
        "story": sample.story,
        "fault": sample.fault,
        "fault_in": where,
        "spans_mm": {k: round(v, 1) for k, v in truth.items()},
        "girth_mm": round(standing.girth, 1),
        **(_widths(standing) if sample.careful else {}),
        "posture_in_photo": sample.posture,
        "severity": sample.severity,
        "photos": facts,
    }
    for file, data in (("case.json", case), ("truth.json", known)):
        lines = json.dumps(data, indent=1, ensure_ascii=False)
        (folder / file).write_text(lines + "\n", encoding="utf-8")


def _between_boards(dog: Dog) -> dict[str, str]:
    """Between two boards, to the half centimetre."""
    true = true_widths(dog)
    return {
        "neck_width": f"{typed(true.neck, 'cm')} cm",
        "chest_width": f"{typed(true.chest, 'cm')} cm",
    }


def readme() -> str:
    """The text that goes with the samples."""
    rows = "\n".join(f"| `{s.folder}/` | {s.story} |" for s in SAMPLES)
    return f"""# Sample cases

Everything here is invented: the {CLUB} does not exist, nor do its dogs, owners
or orders.  The photos are not photos: they are rendered phantoms (simulated
dogs of known shape), so that the true lengths are known.

| folder | what it shows |
|---|---|
{rows}

Each folder holds the picture (`side.jpg`, or `side_1.jpg` and so on, and `front.jpg`
where there is one from the front), `case.json` as an owner would hand it in, and
`truth.json` with the true lengths, landmarks, camera, reference and fault.  Where the dog
wears tags there are no marks; else they are {MARK_SD_MM:g} mm off per axis.  Tape readings
are {100 * TAPE_SD:g} % off before rounding, as a careful person's would be.

Where a dog did not stand square in the picture, the readings are those of the
same dog standing square.

Made again with `python -m photocheck.phantom.demo sample_images_demo`.
"""


def main(arguments: Sequence[str]) -> int:
    """Write all samples below the folder named first; further names pick some of them."""
    if not arguments:
        print("usage: python -m photocheck.phantom.demo OUTDIR [NAME ...]")
        return 2
    out, wanted = Path(arguments[0]), set(arguments[1:])
    for sample in SAMPLES:
        if not wanted or sample.folder in wanted:
            write_sample(sample, out / sample.folder)
            print(f"{sample.folder}: {sample.story}")
    (out / "README.md").write_text(readme(), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
