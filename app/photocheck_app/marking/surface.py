"""The marking surface's Python side: what goes to the browser, and what comes back.

The browser holds the live marks and sends them when a drag ends or the keys rest.  Points are
never fed back to it: what it starts from is fixed when it is mounted, so that a slow answer
cannot undo a quick finger.
"""

from __future__ import annotations

import math
import secrets
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
import streamlit as st

from photocheck.body.posed import typical_dog
from photocheck.case.model import Point
from photocheck.judge.marks_told import ToldAtOnce
from photocheck.orders.draft import DraftMarking
from photocheck.shown.colours import SPAN_COLOURS
from photocheck.shown.display import Shown, picture_name, shown
from photocheck.speech import tr
from photocheck.words import ALL_LANDMARKS, BENDABLE_SPANS, HELPER_LANDMARKS, LANDMARKS, SPAN_ENDS
from photocheck_app import kept
from photocheck_app.framework import serve_file, served
from photocheck_app.held_pictures import have_room
from photocheck_app.marking.texts import TEXTS

REFERENCE_POINTS: Final[Mapping[str, tuple[int, int]]] = {
    "corners": (4, 4),
    "ends": (2, 2),
    "near": (1, 1),
    "outline": (5, 24),
    "none": (0, 0),
}
"""Points each shape of reference needs, and the most it takes."""

MOST_BENDS: Final = 12
"""Bend points kept for one span."""

KEPT_PHOTOS: Final = 4
"""Photos whose copies one visitor's session keeps encoded."""

_LAYOUT: Final = {name: (x, -y) for name, (x, y) in typical_dog().items() if name in ALL_LANDMARKS}
"""Where a plain dog's landmarks lie, over its height, y down: where the view goes next."""

_HERE = Path(__file__).parent
# In this order one script, for there is no build step: each builds on those before it.
_SCRIPTS = (
    "geometry",
    "layout",
    "points",
    "view",
    "panel",
    "overlay",
    "changing",
    "pointers",
    "keys",
    "surface",
)


def _file(name: str) -> str:
    return (_HERE / name).read_text(encoding="utf-8")


_component = st.components.v2.component(
    "photocheck_marking",
    html=_file("surface.html")
    .replace("<!-- dog -->", _file("dog.svg"))
    .replace("<!-- front -->", _file("front.svg")),
    css=_file("surface.css"),
    js="\n".join(_file(f"js/{name}.js") for name in _SCRIPTS),
)


@dataclass(frozen=True)
class Placed(DraftMarking):
    """What a person has placed on one photo: marks with bends, and points of the reference.

    Attributes
    ----------
    reference : tuple of Point
        Px of the full-resolution upright photo: corners (clockwise from the top left), ends,
        outline points or the one point inside; empty when untouched, fewer than needed while
        the person is still at it.
    """

    reference: tuple[Point, ...] = ()


def reference_complete(placed: Placed, reference_shape: str) -> bool:
    """Whether the person has placed as many reference points as the shape needs."""
    return len(placed.reference) >= max(1, REFERENCE_POINTS[reference_shape][0])


def marking_surface(
    photo: np.ndarray | Shown,
    *,
    key: str,
    start: Placed | None = None,
    landmarks: Sequence[str] = LANDMARKS,
    optional: Sequence[str] = HELPER_LANDMARKS,
    reference_shape: str = "none",
    reference_seen: Sequence[Point] = (),
    proposed: Mapping[str, Point] | None = None,
    frame: tuple[float, float, float, float] | None = None,
    truth: Mapping[str, Point] | None = None,
    read_only: bool = False,
    told: ToldAtOnce | None = None,
    words: Mapping[str, str] | None = None,
    on_placed: Callable[[Placed], None] | None = None,
) -> Placed:
    """Show the photo with its marks and give back what is placed by now.

    Parameters
    ----------
    photo : (H, W, 3) uint8, or Shown
        The upright photo at full resolution, or what was made of it for the screen; the copies
        of an array are kept in the visitor's session.
    key : str
        Of this photo's surface; to begin anew, change it.  Another photo begins anew by itself.
    start : Placed or None
        What to begin with.  It counts only while the surface is not yet on the page: later
        changes are ignored, so the caller may pass what was last returned.
    landmarks, optional : sequence of str
        Landmarks to be placed, and those offered beside them.
    reference_shape : str
        A key of `REFERENCE_POINTS`.
    reference_seen : sequence of Point
        What was found of the reference, px; shown, and made draggable when asked for.
    proposed : mapping of landmark name to Point, or None
        Where landmarks seem to be, px: shown hollow and asked about one by one.  One that nobody
        confirms is no mark, and is never given back.
    frame : (float, float, float, float) or None
        Left, top, right and bottom of the dog, px, as far as it was seen: where the view begins.
    truth : mapping of landmark name to Point, or None
        Marks to show beside the placed ones, px.
    read_only : bool
        Show and zoom only.
    told : ToldAtOnce or None
        What is wrong with the marks that were last returned: said below the photo until they
        change, with one button that puts it right on the browser's own marks.
    words : mapping of str to str, or None
        Texts that replace those of `photocheck_app.marking.texts.TEXTS`, in the language spoken
        now.
    on_placed : function of a Placed, or None
        Called with every change before the page is run for it, also when that run no longer
        shows the surface: the way to lose nothing when a mark and a button come together.

    Returns
    -------
    Placed
        What the browser last sent; `start` until it has sent anything.

    Raises
    ------
    KeyError
        For an unknown shape of reference.
    PhotoError
        When the array is no 8-bit RGB picture.
    """
    names = (*landmarks, *optional)
    most = REFERENCE_POINTS[reference_shape][1]
    ready = photo if isinstance(photo, Shown) else _shown(photo)
    width, height = ready.size_px
    # Streamlit refuses two of these in a row, as an order's key may have them; no two keys are
    # made one by this.
    mounted = f"{key}-{ready.name}".replace("_", "_.")
    mount, begin = _mount(mounted, start or Placed())
    data = {
        "name": mounted,
        "mount": mount,
        "size": [width, height],
        "pictures": _served(ready, key),
        "start": {
            "marks": begin.marks,
            "bends": begin.bends,
            "reference": begin.reference,
        },
        "landmarks": list(landmarks),
        "optional": list(optional),
        "spans": {
            span: {"ends": SPAN_ENDS[span], "colour": "#{:02x}{:02x}{:02x}".format(*colour)}
            for span, colour in SPAN_COLOURS.items()
            if span in BENDABLE_SPANS
        },
        "shape": reference_shape,
        "needed": list(REFERENCE_POINTS[reference_shape]),
        "mostBends": MOST_BENDS,
        "seen": [list(point) for point in reference_seen],
        "proposed": {name: xy for name, xy in (proposed or {}).items() if name in names},
        "frame": frame,
        "truth": {name: xy for name, xy in (truth or {}).items() if name in names},
        "readOnly": read_only,
        "layout": _LAYOUT,
        "told": None if told is None else {"turn": _turn(mounted, mount), **asdict(told)},
        "words": {name: tr(text) for name, text in TEXTS.items()} | dict(words or {}),
    }

    def understood() -> Placed | None:
        sent = st.session_state.get(mounted, {}).get("placed")
        if not isinstance(sent, Mapping) or sent.get("mount") != mount:
            return None
        return _understood(sent, names, (width, height), reference_shape, most)

    st.session_state.setdefault("photocheck marking readers", {})[key] = understood

    def changed() -> None:
        placed = understood()
        if on_placed is not None and placed is not None:
            on_placed(placed)

    with st.container(key=f"photo_room_{'look' if read_only else 'mark'}_{mounted}"):
        _component(key=mounted, data=data, on_placed_change=changed)
    return understood() or begin


def _turn(mounted: str, mount: str) -> int:
    """How many changes the browser had made when it last sent what is placed."""
    sent = st.session_state.get(mounted, {}).get("placed")
    turn = sent.get("turn") if isinstance(sent, Mapping) and sent.get("mount") == mount else 0
    return turn if isinstance(turn, int) else 0


def watch_placed(key: str, known: Placed, keep: Callable[[Placed], bool]) -> None:
    """Have kept what is placed on the surface of this key, whatever becomes of the run.

    Parameters
    ----------
    key : str
    known : Placed
        What is kept now.
    keep : callable
        Keeps something else, and says whether that changed anything.
    """

    def read() -> object:
        understood = st.session_state.get("photocheck marking readers", {}).get(key)
        placed = understood() if understood else None
        return kept.GONE if placed is None else placed

    kept.watch(key, known, keep, read=read)


def _mount(mounted: str, start: Placed) -> tuple[str, Placed]:
    """The name of this stay of the surface on the page, and what it began with.

    Streamlit drops a component's value once a run does not show it; coming back is a new stay.
    """
    stays: dict[str, tuple[str, Placed]] = st.session_state.setdefault(
        "photocheck marking stays", {}
    )
    if mounted not in stays or mounted not in st.session_state:
        stays[mounted] = (secrets.token_hex(8), start)
    return stays[mounted]


def _shown(photo_rgb: np.ndarray) -> Shown:
    made: dict[str, Shown] = st.session_state.setdefault("photocheck marking copies", {})
    name = picture_name(photo_rgb)
    if name not in made:
        while len(made) >= KEPT_PHOTOS:
            made.pop(next(iter(made)))
        made[name] = shown(photo_rgb)
    return made[name]


def _served(ready: Shown, key: str) -> list[dict[str, Any]]:
    """Addresses of the photo's copies in Streamlit's media store, smallest first.

    The store names files by a hash of their content and name; the name is this session's
    secret, so an address cannot be worked out from the photo, nor shared by two visitors.
    A file lives while the session shows it; Streamlit keeps a closed session for two minutes.
    Where there is no room for larger ones, the smallest must do.
    """
    secret = st.session_state.setdefault("photocheck marking secret", secrets.token_hex(16))
    addresses = [
        (serve_file(copy.jpeg, "image/jpeg", f"marking-{key}-{number}", secret), copy.width)
        for number, copy in enumerate(ready.copies)
        if not number or (served() and have_room(len(copy.jpeg)))
    ]
    return [{"url": url, "width": width} for url, width in addresses if url is not None]


def _understood(
    sent: Mapping[str, Any], names: Sequence[str], size: tuple[int, int], shape: str, most: int
) -> Placed | None:
    """What the browser sent, or None when it cannot have come from the surface."""
    try:
        marks = {name: _point(sent["marks"][name], size) for name in names if name in sent["marks"]}
        bends = {
            span: tuple(_point(xy, size) for xy in sent["bends"][span][:MOST_BENDS])
            for span in BENDABLE_SPANS
            if sent["bends"].get(span)
        }
        points = sent["reference"][:most] if sent.get("shape") == shape else ()
        return Placed(marks, bends, tuple(_point(xy, size) for xy in points))
    except (LookupError, TypeError, ValueError, AttributeError, OverflowError):
        return None


def _point(xy: Any, size: tuple[int, int]) -> Point:
    x, y = float(xy[0]), float(xy[1])
    if not (math.isfinite(x) and math.isfinite(y)):
        raise ValueError("not a point")
    return min(max(x, 0.0), size[0] - 1.0), min(max(y, 0.0), size[1] - 1.0)
