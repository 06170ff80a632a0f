"""Every text of the marking surface, in English.

Another language gives a mapping with the same keys; what it leaves out stays English.
Texts in braces are filled in: keep the names.
"""

from __future__ import annotations

from typing import Final

from photocheck.words import BENDABLE_SPANS, LANDMARK_HINTS, LANDMARK_TITLES, SPAN_TITLES

ENGLISH: Final[dict[str, str]] = {
    **{f"title.{name}": title for name, title in LANDMARK_TITLES.items()},
    **{f"hint.{name}": hint for name, hint in LANDMARK_HINTS.items()},
    **{f"span.{name}": SPAN_TITLES[name] for name in BENDABLE_SPANS},
    "surface": "Mark the dog on the photo",
    "picture": (
        "The photo. Arrow keys move the cross, Enter places a mark there, plus and minus zoom, "
        "Tab goes on to the marks."
    ),
    "picture_view": "The photo with its marks. Arrow keys move it, plus and minus zoom.",
    "loading": "Loading the photo",
    "load_failed": "The photo could not be loaded.",
    "load_again": "Load it again",
    "now": "Now tap",
    "chosen": "Chosen",
    "step_count": "{done} of {total} placed",
    "all_placed": "All placed",
    "all_placed_hint": "Look once more: drag a mark to move it, or tap it for the arrows.",
    "nothing": "Nothing chosen",
    "nothing_hint": "Choose from the list what to place next.",
    "view_only": "The marks",
    "view_only_hint": "Zoom in to look closer.",
    "place_again": "Place again",
    "remove": "Remove",
    "undo": "Undo",
    "redo": "Redo",
    "zoom_in": "Zoom in",
    "zoom_out": "Zoom out",
    "zoom_fit": "Whole photo",
    "move_left": "Move left",
    "move_right": "Move right",
    "move_up": "Move up",
    "move_down": "Move down",
    "place_here": "Place at the cross",
    "step": "Step",
    "step.fine": "fine",
    "step.medium": "medium",
    "step.coarse": "coarse",
    "step_px": "{name}, {px} px",
    "step_note": "Steps in pixels of the photo; with Shift five times as far.",
    "marks": "Marks",
    "optional": "Optional, they sharpen the check",
    "line": "Harness line",
    "line_help": "Where the tape bends, add a bend and drag it; or double-tap the line.",
    "add_bend": "Add a bend: {span}",
    "bend": "bend in the {span}",
    "hint.bend": "Drag it to where the tape would run.",
    "reference": "Measuring object",
    "reference_seen": "Found in the photo. Look whether the outline fits.",
    "reference_correct": "Correct it",
    "reference_found_again": "Use what was found",
    "point.corners": "corner {number} of 4",
    "hint.corners": "a corner of the sheet or card, in any order; zoom in for a small one",
    "point.ends": "end {number} of 2",
    "hint.ends": "one end of the known length",
    "point.near": "point on the object",
    "hint.near": "anywhere inside the object",
    "point.outline": "edge point {number}",
    "hint.outline": "on the edge of the disc or ball; at least five, well spread",
    "add_outline": "Add an edge point",
    "placed": "placed",
    "not_placed": "not placed yet",
    "where": "{title}: {x} of {width} across, {y} of {height} down",
    "cross": "Cross at {x} of {width} across, {y} of {height} down",
    "said_placed": "{title} placed. ",
    "said_moved": "Moved. ",
    "said_removed": "{title} removed. ",
    "said_next": "Next: {title}, {hint}.",
    "said_done": "All placed.",
    "said_nothing": "Nothing to place. Choose a mark from the list.",
    "said_undo": "Undone.",
    "said_redo": "Done again.",
    "true_mark": "true {title}",
}
