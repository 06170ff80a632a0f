"""What an owner is asked, one thing a screen, and in which order: by the depth that was chosen.

A screen is named by what it asks for: a reading, its second time (`again`), a photo, its marks,
the result.  Nothing is asked that was not chosen, and nothing that was given is left out.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from photocheck.orders.draft import Draft, takes_of
from photocheck.orders.gaps import Gap, gaps
from photocheck.speech import later, tr
from photocheck.words import NECK_RING, READING_TITLES, READINGS

QUICK: Final = "quick"
CAREFUL: Final = "careful"
"""How much somebody wants to do: every reading once and one photo; or every reading twice, the
ring too, and a photo from the front."""

ASKED: Final = ("half_neck", NECK_RING, "front_length", "rear_length", "full_length")
"""The readings in the order in which they are asked for: the ring beside the half neck that it
proves."""

ONLY_CAREFUL: Final = (NECK_RING,)

PHOTO: Final = "photo"
FRONT: Final = "front"
MARKS: Final = "marks"
RESULT: Final = "result"

_AGAIN: Final = "again_"


_TITLES: Final = {
    PHOTO: later("Photo from the side"),
    FRONT: later("Photo from the front"),
    MARKS: later("Marks"),
    RESULT: later("Result"),
}


def again(reading: str) -> str:
    """The screen on which a reading is taken once more.

    >>> again("half_neck"), read_again(again("half_neck")), read_again("half_neck")
    ('again_half_neck', 'half_neck', '')
    """
    return f"{_AGAIN}{reading}"


def read_again(screen: str) -> str:
    """The reading that a screen asks for once more; empty where it does not."""
    return screen.removeprefix(_AGAIN) if screen.startswith(_AGAIN) else ""


EVERY: Final = (*ASKED, *map(again, ASKED), PHOTO, FRONT, MARKS, RESULT)
"""Every screen there is, in turn."""


def depth_of(draft: Draft) -> str:
    """The depth that was chosen, the quick one where none was.

    >>> depth_of(Draft())
    'quick'
    """
    return CAREFUL if draft.owner.depth == CAREFUL else QUICK


def title_of(screen: str) -> str:
    """What a screen is called.

    >>> title_of("photo"), title_of(again("half_neck"))
    ('Photo from the side', 'half neck, once more')
    """
    if reading := read_again(screen):
        return tr("{title}, once more", title=tr(READING_TITLES[reading]))
    return tr({**_TITLES, **READING_TITLES}[screen])


def screens(draft: Draft) -> tuple[str, ...]:
    """The screens of one order, in turn.

    >>> screens(Draft())[3:]
    ('full_length', 'photo', 'marks', 'result')
    >>> screens(Draft(readings={"neck_ring": "82"}))[:2]
    ('half_neck', 'neck_ring')
    """
    careful = depth_of(draft) == CAREFUL
    wanted = {
        name: careful or name not in ONLY_CAREFUL or bool(_takes(draft, name)) for name in ASKED
    }
    twice = {
        again(name): wanted[name] and (careful or len(_takes(draft, name)) > 1) for name in ASKED
    }
    front = careful or any(photo.from_front for photo in draft.photos)
    asked: Mapping[str, bool] = {
        **wanted,
        **twice,
        PHOTO: True,
        FRONT: front,
        MARKS: True,
        RESULT: True,
    }
    return tuple(screen for screen in EVERY if asked[screen])


def share(draft: Draft, screen: str) -> float:
    """How far along the way a screen is, 0 to 1.

    >>> share(Draft(), "result")
    1.0
    """
    asked = screens(draft)
    return asked.index(screen) / (len(asked) - 1)


def following(draft: Draft, screen: str) -> str:
    """The screen after one; what was not read is not asked for again."""
    return _beside(draft, screen, 1)


def preceding(draft: Draft, screen: str) -> str:
    """The screen before one; empty before the first."""
    return _beside(draft, screen, -1)


def _beside(draft: Draft, screen: str, way: int) -> str:
    turn = EVERY[EVERY.index(screen) + 1 :] if way > 0 else EVERY[: EVERY.index(screen)][::-1]
    asked = set(screens(draft))
    for other in turn:
        name = read_again(other)
        if other in asked and (not name or _takes(draft, name)):
            return other
    return ""


def done(draft: Draft) -> frozenset[str]:
    """The screens on which nothing is left to do; never the result."""
    left = gaps(draft)
    lacking = {gap.step for gap in left}
    unread = {gap.reading for gap in left}
    found = {name for name in ASKED if _takes(draft, name) and name not in unread}
    found |= {again(name) for name in ASKED if len(_takes(draft, name)) > 1}
    views = {photo.from_front for photo in draft.photos}
    if "photo" not in lacking:
        found |= {PHOTO} if False in views else set()
        found |= {FRONT} if True in views else set()
    if draft.photos and "marks" not in lacking:
        found.add(MARKS)
    return frozenset(found)


def screen_of(gap: Gap) -> str:
    """Where something that is missing or wrong is put right: a screen, or "dog".

    >>> screen_of(Gap("again", "...", "neck_ring")), screen_of(Gap("readings", "..."))
    ('again_neck_ring', 'half_neck')
    """
    if gap.step == "again":
        return again(gap.reading)
    return gap.reading or (ASKED[0] if gap.step == "readings" else gap.step)


def stands_at(draft: Draft) -> str:
    """Where somebody who comes back goes on: after the last screen that is done.

    >>> stands_at(Draft()), stands_at(Draft(readings={"half_neck": "41", "rear_length": "30"}))
    ('half_neck', 'full_length')
    """
    finished = done(draft)
    last = [screen for screen in EVERY if screen in finished]
    return following(draft, last[-1]) if last else ASKED[0]


def _takes(draft: Draft, name: str) -> list[str]:
    return [take.text for take in takes_of(draft.readings.get(name)) if take.text]


if sorted(ASKED) != sorted(READINGS):
    raise AssertionError("every reading is asked for")
