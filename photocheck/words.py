"""The vocabulary: every name the rest of photocheck uses, in one place.

Landmarks are points on the dog, spans are the tape readings between them,
places say in words where the reference object stood.  Nothing here computes.  Titles, hints and
paths are shown through `photocheck.speech.tr`.
"""

from __future__ import annotations

from typing import Final

from photocheck.speech import later, tr

# --- landmarks -------------------------------------------------------------

LANDMARKS: Final = ("breastbone", "shoulder_top", "last_rib", "tail_base")
"""The four marks every check needs."""

HELPER_LANDMARKS: Final = ("back_top", "chest_bottom", "front_foot", "rear_foot")
"""Marks that are optional and sharpen the estimate or show the stance."""

ALL_LANDMARKS: Final = LANDMARKS + HELPER_LANDMARKS

VIEWS: Final = ("side", "front")
"""Where a photo may be taken from; the first is meant where nothing is said."""

FRONT_PAIRS: Final = {
    "neck_width": ("neck_left", "neck_right"),
    "chest_width": ("chest_left", "chest_right"),
}
"""What is marked left and right in a photo from the front, as seen in the picture."""
FRONT_LANDMARKS: Final = FRONT_PAIRS["neck_width"]
"""The marks that every photo from the front needs."""
FRONT_HELPERS: Final = FRONT_PAIRS["chest_width"]
"""Those that are optional; both or none."""

EVERY_LANDMARK: Final = (*ALL_LANDMARKS, *FRONT_LANDMARKS, *FRONT_HELPERS)
"""Of either view."""

LANDMARK_TITLES: Final = {
    "breastbone": later("breastbone"),
    "shoulder_top": later("shoulder top"),
    "last_rib": later("last rib"),
    "tail_base": later("tail base"),
    "back_top": later("back above the elbow"),
    "chest_bottom": later("chest bottom behind the elbow"),
    "front_foot": later("front foot"),
    "rear_foot": later("rear foot"),
    "neck_left": later("neck, left in the picture"),
    "neck_right": later("neck, right in the picture"),
    "chest_left": later("chest, left in the picture"),
    "chest_right": later("chest, right in the picture"),
}

LANDMARK_HINTS: Final = {
    "breastbone": later("the forward point of the breastbone, at the front of the chest"),
    "shoulder_top": later("the top of the shoulder blades, at the withers"),
    "last_rib": later("the point on the flank where the harness side rests on the last rib"),
    "tail_base": later("where the tail leaves the back"),
    "back_top": later("the top of the back straight above the elbow"),
    "chest_bottom": later("the lowest line of the chest just behind the elbow"),
    "front_foot": later("where the near front foot touches the ground"),
    "rear_foot": later("where the near rear foot touches the ground"),
    "neck_left": later(
        "left in the picture, where the harness's ring is widest: from the breastbone up around "
        "the base of the neck"
    ),
    "neck_right": later("the same at the right"),
    "chest_left": later(
        "left in the picture, the widest point of the chest behind the elbows, if it is seen"
    ),
    "chest_right": later("the same at the right, if it is seen"),
}

# --- spans -----------------------------------------------------------------

SPANS: Final = ("half_neck", "front_length", "rear_length", "full_length")
"""The four tape readings, in the order of every vector and matrix in photocheck."""

SPAN_TITLES: Final = {
    "half_neck": later("half neck"),
    "front_length": later("front length"),
    "rear_length": later("rear length"),
    "full_length": later("full length"),
}

SPAN_ENDS: Final = {
    "half_neck": ("breastbone", "shoulder_top"),
    "front_length": ("breastbone", "last_rib"),
    "rear_length": ("last_rib", "tail_base"),
    "full_length": ("breastbone", "tail_base"),
}
"""The landmarks at which the tape begins and ends."""

SPAN_PATHS: Final = {
    "half_neck": later("from the breastbone up around the side of the neck to the shoulder top"),
    "front_length": later(
        "from the breastbone below and behind the foreleg, rising along the ribs to the last rib"
    ),
    "rear_length": later("from the last rib to the tail base"),
    "full_length": later(
        "from the breastbone along the same line past the last rib to the tail base"
    ),
}

NECK_RING: Final = "neck_ring"
"""The closed tape ring that slips over the dog: twice the half neck."""

READINGS: Final = (*SPANS, NECK_RING)
READING_TITLES: Final = {**SPAN_TITLES, NECK_RING: later("neck ring")}
READING_PATHS: Final = {
    **SPAN_PATHS,
    NECK_RING: later("as a closed ring that just slips over the dog's head and lies at the neck"),
}

FACT_TITLES: Final = {
    "girth": later("girth"),
    "neck_width": later("neck width"),
    "chest_width": later("chest width"),
    "height": later("height at the shoulder"),
}
"""What else may be measured of the dog: with limits, as readings have them, but not checked."""

FACT_PATHS: Final = {
    "neck_width": later(
        "between two boards or books held at either side of the neck, at its widest where the "
        "harness's ring lies"
    ),
    "chest_width": later(
        "between two boards or books held at either side of the chest, behind the elbows"
    ),
    "height": later("from the ground straight up to the shoulder top"),
}

BENDABLE_SPANS: Final = ("half_neck", "front_length", "rear_length")
"""Spans along which bend points may be marked (the full length is front + rear)."""

# --- units -----------------------------------------------------------------

UNITS: Final = ("cm", "in")

UNIT_WORDS: Final = {"cm": later("centimetres"), "in": later("inches")}

# --- where the reference stood ---------------------------------------------

PLACE_TITLES: Final = {
    "near_flank": later("held against the dog's near side"),
    "near_feet": later("standing on the ground beside the near feet"),
    "middle": later("level with the dog's middle (in front of the chest or behind the tail)"),
    "far_feet": later("standing on the ground just behind the dog"),
    "wall_close": later("on a wall the dog nearly touches"),
    "wall": later("on a wall some way behind the dog"),
    "unknown": later("not said"),
}
PLACES: Final = tuple(PLACE_TITLES)
FRONT_PLACE_TITLES: Final = {
    "front_feet": later("standing on the ground beside the front feet"),
    "chest_side": later("beside the chest, behind the elbows"),
    "before_dog": later("standing on the ground in front of the dog"),
    "behind_dog": later("standing or hanging behind the dog"),
    "unknown": later("not said"),
}
SHORT_PLACES: Final = {
    "middle": later("in line with it"),
    "near_feet": later("by the near feet"),
    "near_flank": later("held at its near side"),
    "far_feet": later("just behind it"),
    "wall_close": later("on a wall it nearly touches"),
    "wall": later("on a wall farther off"),
    "front_feet": later("by the front feet"),
    "chest_side": later("beside the chest"),
    "before_dog": later("in front of it"),
    "behind_dog": later("behind it"),
    "unknown": later("I don't know"),
}
"""The same places in a few words, under a drawing that shows them."""
FRONT_PLACES: Final = tuple(FRONT_PLACE_TITLES)
"""Where the reference stood in a photo from the front."""
PLACES_BEFORE: Final = ("near_flank", "near_feet", "before_dog")
"""On the camera's side of the dog's middle, by their own words; from the front, of its
breastbone."""
PLACES_BEHIND: Final = (
    *("far_feet", "wall_close", "wall"),
    *("front_feet", "chest_side", "behind_dog"),
)
"""On its other side, where a measured distance counts as negative."""

# --- what is known of a photo ----------------------------------------------

REFERENCE_HOW_TITLES: Final = {
    "markers": later("markers"),
    "found": later("found"),
    "marked": later("marked"),
}
"""How the reference was seen."""

FOCAL_SOURCE_TITLES: Final = {
    "given": later("given"),
    "exif 35 mm": later("exif 35 mm"),
    "exif 35 mm, zoom unclear": later("exif 35 mm, zoom unclear"),
    "exif focal length and sensor": later("exif focal length and sensor"),
    "prior": later("prior"),
}
"""Where the focal length is from."""

TAGS: Final = "tags"
TAGS_AND_OWNER: Final = "tags and owner"
"""Who placed marks, where printed tags on the dog were found: they alone, or with some by hand."""
TAGS_UNUSED: Final = "unused"
"""Of a photo whose tags are not where they belong, as where one slipped: none is looked for."""
TAG_SETS: Final = ("usual", "small", TAGS_UNUSED)
"""Sizes of the tags, or that they are not used; `photocheck.scale.tag_layout.TAG_MM` has mm."""
THING_DECLINED: Final = "thing"
VIEW_DECLINED: Final = "view"
DECLINED: Final = (THING_DECLINED, VIEW_DECLINED)
"""What was said no to of what the program saw in a photo: a thing that it took for what is of known
size, and that the photo seems to be none of a dog from the side."""
MARKED_BY_TITLES: Final = {
    "owner": later("owner"),
    "staff": later("staff"),
    TAGS: later("tags"),
    TAGS_AND_OWNER: later("tags and owner"),
}
"""Who placed marks, checked or decided, where nobody is named."""


def by_whom(by: str) -> str:
    """Who that was, for people: those of `MARKED_BY_TITLES` in words, others as they are named.

    >>> by_whom("tags"), by_whom("Ann")
    ('tags', 'Ann')
    """
    return tr(MARKED_BY_TITLES[by]) if by in MARKED_BY_TITLES else by


# --- the dog ---------------------------------------------------------------

COATS: Final = ("unknown", "short", "medium", "long")
BUILDS: Final = ("unknown", "slim", "medium", "broad")
BUILD_TITLES: Final = {"slim": later("slim"), "medium": later("medium"), "broad": later("broad")}

# --- verdicts --------------------------------------------------------------

VERDICTS: Final = ("agrees", "could_hide", "measure_again", "retake", "cannot_tell")
VERDICT_TITLES: Final = {
    "agrees": later("agrees"),
    "could_hide": later("an error could hide"),
    "measure_again": later("measure again"),
    "retake": later("take the photo again"),
    "cannot_tell": later("cannot tell from this photo"),
}

EXIT_CODES: Final = {
    "agrees": 0,
    "bad_input": 2,
    "measure_again": 10,
    "retake": 11,
    "cannot_tell": 12,
    "could_hide": 14,
}
"""What `photocheck check` returns to the shell.  1 is left to failures of the program itself, 13 to
many orders of which some were not taken in (`photocheck.cli.exits`)."""
