"""A sample's photo with printed tags pasted onto the dog, their tips at its marks."""

from __future__ import annotations

import io
import json
from collections.abc import Mapping
from functools import cache

import cv2
import numpy as np
from PIL import Image

from photocheck.case.samples import samples_folder
from photocheck.orders.draft import Draft
from photocheck.orders.model import Store
from photocheck.scale.sheet import marker_cells
from photocheck.scale.tag_layout import (
    CELLS,
    PAPER_TAPER,
    SQUARE,
    TAG_IDS,
    TIP,
    WEDGE,
    WHITE,
    square_mm,
    tip_mm,
)
from photocheck.scale.tags_seen import TagSeen, TagsSeen

TURNS = {"breastbone": -90.0, "shoulder_top": 0.0, "last_rib": 0.0, "tail_base": 25.0}
"""Degrees clockwise by which each tag is turned: it stands out from the dog (which looks left)."""

SHEET_AT = (530, 730, 740, 1060)
"""Where the sheet stands in Flint's photo, px: left, top, right, bottom."""

FINE = 4
"""Each pixel is the mean of so many squared."""
CELL_PX = 24
"""Of the drawing that is pasted."""


def tagged(
    sample: str = "flint",
    *,
    turns: Mapping[str, float] = TURNS,
    side_px: float = 33.5,
    sheet: bool = True,
) -> tuple[bytes, dict[str, tuple[float, float]]]:
    """A JPEG of a sample's side photo with tags, its camera's facts kept, and where the tips are.

    Parameters
    ----------
    turns : mapping of landmark to degrees
        Which tags, and how each is turned.
    side_px : float
        Of the black squares, px; as 40 mm look where this dog stands.
    sheet : bool
        Whether the marker sheet stays in the picture.
    """
    content, marks = _photo(sample, tuple(turns.items()), side_px, sheet)
    return content, dict(marks)


@cache
def _photo(
    sample: str, turned: tuple[tuple[str, float], ...], side_px: float, sheet: bool
) -> tuple[bytes, Mapping[str, tuple[float, float]]]:
    """Pasted once: many tests look at the same photo."""
    turns = dict(turned)
    folder = samples_folder() / sample
    told = json.loads((folder / "case.json").read_text(encoding="utf-8"))["photos"][0]
    marks = {name: tuple(xy) for name, xy in told["markings"][0]["marks"].items()}
    with Image.open(folder / told["file"]) as opened:
        exif = opened.getexif()
        rgb = np.asarray(opened.convert("RGB")).astype(np.float32)
    if not sheet:
        left, top, right, bottom = SHEET_AT
        rgb[top:bottom, left:right] = rgb[top:bottom, left - 1 : left]
    for name, turn in turns.items():
        _paste(rgb, name, marks[name], turn, side_px / CELLS)
    held = io.BytesIO()
    Image.fromarray(np.rint(rgb).astype(np.uint8)).save(held, "JPEG", quality=94, exif=exif)
    return held.getvalue(), {name: marks[name] for name in turns}


def order_with_tags(store: Store, sample: str = "flint") -> str:
    """The key of an order to which nothing is left to tell but whether the tags are right."""
    told = json.loads((samples_folder() / sample / "case.json").read_text(encoding="utf-8"))
    (photo,) = told["photos"]
    key = store.open("en")
    photo |= {"file": store.keep_photo(key, tagged(sample)[0]), "markings": []}
    store.save_draft(key, Draft.from_dict(told))
    return key


def _paste(rgb: np.ndarray, name: str, at: tuple[float, ...], turn: float, cell: float) -> None:
    ink, paper = _drawn(TAG_IDS[name])
    reach = int(np.ceil(14 * cell))
    left, top = int(at[0]) - reach, int(at[1]) - reach
    cosine, sine = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    along = FINE * cell / CELL_PX * np.array([[cosine, -sine], [sine, cosine]])
    # The drawing's tip lies at the mark; pixel centres at integers in both.
    tip = (np.array(TIP) + 8.0) * CELL_PX - 0.5
    goal = (np.array(at) - (left, top) + 0.5) * FINE - 0.5
    matrix = np.column_stack([along, goal - along @ tip])
    size = (2 * reach * FINE, 2 * reach * FINE)
    part = rgb[top : top + 2 * reach, left : left + 2 * reach]
    whole = (part.shape[1], part.shape[0])
    warp = [cv2.warpAffine(one, matrix, size, flags=cv2.INTER_LINEAR) for one in (ink, paper)]
    small = [cv2.resize(one, whole, interpolation=cv2.INTER_AREA) for one in warp]
    covered = small[1][..., None]
    part[:] = part * (1 - covered) + (225.0 * covered - 200.0 * small[0][..., None])


def _drawn(marker_id: int) -> tuple[np.ndarray, np.ndarray]:
    """Share of ink and of paper, 16 cells wide and high, the square's middle in the middle."""
    side = 16 * CELL_PX
    ink, paper = np.zeros((side, side), np.float32), np.zeros((side, side), np.float32)

    def at(points: object) -> np.ndarray:
        return np.rint((np.asarray(points) + 8.0) * CELL_PX).astype(np.int32)

    low, high = at([-WHITE, WHITE])
    paper[low:high, low:high] = 1.0
    cv2.fillPoly(paper, [at(PAPER_TAPER)], 1.0)
    cv2.fillPoly(ink, [at(WEDGE)], 1.0)
    low, high = at([-SQUARE, SQUARE])
    ink[low:high, low:high] = np.kron(marker_cells(marker_id), np.ones((CELL_PX, CELL_PX)))
    return ink, paper


def by_opencv(picture: np.ndarray) -> TagsSeen:
    """Tags as OpenCV's own detector sees them, each as a plane: another finder than ours."""
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    grey = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)
    found, ids, _ = cv2.aruco.ArucoDetector(dictionary, settings).detectMarkers(grey)
    corners = {} if ids is None else dict(zip(np.ravel(ids).tolist(), found, strict=True))
    return TagsSeen(
        tuple(
            _seen(name, np.asarray(corners[marker][0], np.float64))
            for name, marker in TAG_IDS.items()
            if marker in corners
        )
    )


def _seen(name: str, corners: np.ndarray) -> TagSeen:
    plane = cv2.getPerspectiveTransform(
        square_mm(40.0).astype(np.float32), corners.astype(np.float32)
    )
    tip = cv2.perspectiveTransform(tip_mm(40.0).reshape(1, 1, 2), plane)[0, 0]
    size = np.sqrt(cv2.contourArea(corners.astype(np.float32))) / 40.0
    return TagSeen(name, 40.0, corners, 0.3, tip, np.eye(2), float(size), 0.01)
