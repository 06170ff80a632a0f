"""The vocabulary: every name the rest of photocheck uses, in one place.

Landmarks are points on the dog, spans are the tape readings between them,
places say in words where the reference object stood.  Nothing here computes.
"""

from __future__ import annotations

from typing import Final

# --- landmarks -------------------------------------------------------------

LANDMARKS: Final = ("breastbone", "shoulder_top", "last_rib", "tail_base")
"""The four marks every check needs."""

HELPER_LANDMARKS: Final = ("back_top", "chest_bottom", "front_foot", "rear_foot")
"""Marks that are optional and sharpen the estimate or show the stance."""

ALL_LANDMARKS: Final = LANDMARKS + HELPER_LANDMARKS

LANDMARK_TITLES: Final = {
    "breastbone": "breastbone",
    "shoulder_top": "shoulder top",
    "last_rib": "last rib",
    "tail_base": "tail base",
    "back_top": "back above the elbow",
    "chest_bottom": "chest bottom behind the elbow",
    "front_foot": "front foot",
    "rear_foot": "rear foot",
}

LANDMARK_HINTS: Final = {
    "breastbone": "the forward point of the breastbone, at the front of the chest",
    "shoulder_top": "the top of the shoulder blades, at the withers",
    "last_rib": "the point on the flank where the harness side rests on the last rib",
    "tail_base": "where the tail leaves the back",
    "back_top": "the top of the back straight above the elbow",
    "chest_bottom": "the lowest line of the chest just behind the elbow",
    "front_foot": "where the near front foot touches the ground",
    "rear_foot": "where the near rear foot touches the ground",
}

# --- spans -----------------------------------------------------------------

SPANS: Final = ("half_neck", "front_length", "rear_length", "full_length")
"""The four tape readings, in the order of every vector and matrix in photocheck."""

SPAN_TITLES: Final = {
    "half_neck": "half neck",
    "front_length": "front length",
    "rear_length": "rear length",
    "full_length": "full length",
}

SPAN_ENDS: Final = {
    "half_neck": ("breastbone", "shoulder_top"),
    "front_length": ("breastbone", "last_rib"),
    "rear_length": ("last_rib", "tail_base"),
    "full_length": ("breastbone", "tail_base"),
}
"""The landmarks at which the tape begins and ends."""

SPAN_PATHS: Final = {
    "half_neck": "from the breastbone up around the side of the neck to the shoulder top",
    "front_length": (
        "from the breastbone below and behind the foreleg, rising along the ribs to the last rib"
    ),
    "rear_length": "from the last rib to the tail base",
    "full_length": "from the breastbone along the same line past the last rib to the tail base",
}

NECK_RING: Final = "neck_ring"
"""The closed tape ring that slips over the dog: twice the half neck."""

READINGS: Final = (*SPANS, NECK_RING)
READING_TITLES: Final = {**SPAN_TITLES, NECK_RING: "neck ring"}

BENDABLE_SPANS: Final = ("half_neck", "front_length", "rear_length")
"""Spans along which bend points may be marked (the full length is front + rear)."""

# --- units -----------------------------------------------------------------

UNITS: Final = ("cm", "in")

# --- where the reference stood ---------------------------------------------

PLACE_TITLES: Final = {
    "near_flank": "held against the dog's near side",
    "near_feet": "standing on the ground beside the near feet",
    "middle": "level with the dog's middle (in front of the chest or behind the tail)",
    "far_feet": "standing on the ground just behind the dog",
    "wall_close": "on a wall the dog nearly touches",
    "wall": "on a wall some way behind the dog",
    "unknown": "not said",
}
PLACES: Final = tuple(PLACE_TITLES)

# --- the dog ---------------------------------------------------------------

COATS: Final = ("unknown", "short", "medium", "long")
BUILDS: Final = ("unknown", "slim", "medium", "broad")

# --- verdicts --------------------------------------------------------------

VERDICTS: Final = ("agrees", "measure_again", "retake", "cannot_tell")
VERDICT_TITLES: Final = {
    "agrees": "agrees",
    "measure_again": "measure again",
    "retake": "take the photo again",
    "cannot_tell": "cannot tell from this photo",
}

EXIT_CODES: Final = {
    "agrees": 0,
    "bad_input": 2,
    "measure_again": 10,
    "retake": 11,
    "cannot_tell": 12,
}
"""What `photocheck check` returns to the shell.  1 is left to failures of the program itself."""
