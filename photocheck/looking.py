"""One photo of a check: what is handed in with it, what was seen in it, how the dog stands."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

from photocheck.body.shape import MARK_SPREAD_MM
from photocheck.case.model import Case, DogFacts, Marking, PhotoEntry
from photocheck.case.validity import check_marks, require_marks
from photocheck.errors import CaseError
from photocheck.judge.estimate import Estimate
from photocheck.judge.standing import Standing
from photocheck.judge.standing import standing as standing_in
from photocheck.photo.photo import Photo
from photocheck.photo.whole import framing_said
from photocheck.scale.catalogue import DOG_TAGS, REFERENCES
from photocheck.scale.find import see_reference
from photocheck.scale.lens import straighten, straighten_tags
from photocheck.scale.light import as_grey
from photocheck.scale.pose import View
from photocheck.scale.priors import offset_prior
from photocheck.scale.tag_reference import tags_as_reference
from photocheck.scale.tags import find_tags
from photocheck.scale.tags_seen import NO_TAGS
from photocheck.scale.tips import of_view, tips, with_tips
from photocheck.speech import tr
from photocheck.words import TAGS_UNUSED


@dataclass(frozen=True)
class LookedAt:
    """One photo on its way through a check.

    Attributes
    ----------
    entry : PhotoEntry
        As handed in; tips of tags that were found are one more marking, which replaces marks by
        hand of the same landmarks.
    picture : callable
        Gives the photo when it is asked for; between times it need not be in memory.
    view : View
        The reference as seen, and the camera.
    markings : tuple of Marking
        Freed from a calibrated lens' distortion.
    remarks : tuple of str
        On the reference, and on a picture that is not all that the camera took.
    standing : Standing or None
        How the dog stands; None until the estimate has placed the camera.
    """

    entry: PhotoEntry
    picture: Callable[[], Photo]
    view: View
    markings: tuple[Marking, ...]
    remarks: tuple[str, ...]
    standing: Standing | None = None

    def measured(self, case: Case) -> LookedAt:
        """The same as a photo of that case: whether the tape was held at the tags is said there."""
        return replace(self, view=replace(self.view, at_tags=case.measured_at_tags))

    @property
    def stood(self) -> Standing:
        """How the dog stands, once that was judged.

        Raises
        ------
        ValueError
        """
        if self.standing is None:
            raise ValueError("how the dog stands was not judged yet")
        return self.standing


def looked_at(entry: PhotoEntry, picture: Callable[[], Photo]) -> LookedAt:
    """The scale and the marks of one photo.

    Raises
    ------
    CaseError
        When a mark lies outside the picture or two marks coincide.
    ScaleError
        When the reference cannot be found or fitted.
    """
    looked = look_tagged(picture(), entry)
    return LookedAt(looked.entry, picture, looked.view, looked.markings, looked.remarks)


@dataclass(frozen=True)
class Looked:
    """What was seen in one photo.

    Attributes
    ----------
    entry : PhotoEntry
        With the tips of tags as one more marking (`photocheck.scale.tips.with_tips`).
    view : View
    markings : tuple of Marking
        The entry's, freed from a calibrated lens' distortion.
    remarks : tuple of str
    """

    entry: PhotoEntry
    view: View
    markings: tuple[Marking, ...]
    remarks: tuple[str, ...]


def look_at(photo: Photo, entry: PhotoEntry) -> tuple[View, tuple[Marking, ...], tuple[str, ...]]:
    """One photo's scale and marks, freed from a calibrated lens' distortion, with remarks.

    Raises
    ------
    CaseError
        When a needed landmark has neither mark nor tag, a mark lies outside the picture or two
        marks coincide.
    ScaleError
        When the reference cannot be found or fitted.
    """
    looked = look_tagged(photo, entry)
    return looked.view, looked.markings, looked.remarks


def look_tagged(photo: Photo, entry: PhotoEntry) -> Looked:
    """The same with the photo's entry, in which tags that were found are a marking.

    Raises
    ------
    CaseError, ScaleError
        As `look_at`.
    """
    for marking in entry.markings:
        check_marks(marking, entry.path, photo.size)
    unused = entry.tags == TAGS_UNUSED
    if unused and entry.reference.kind == DOG_TAGS:
        raise CaseError(
            tr("tags that are not used cannot tell how large things are"),
            where=entry.path,
            do=tr("Say what else in the photo is of known size"),
        )
    grey = as_grey(photo.rgb)
    found = NO_TAGS if unused else find_tags(grey, small=entry.tags == "small")
    tags = of_view(found, entry.view)
    require_marks(entry, tips(tags, entry.view))
    entry, elsewhere = with_tips(entry, tags, MARK_SPREAD_MM)
    if entry.reference.kind == DOG_TAGS:
        seen = tags_as_reference(tags, front=entry.view == "front")
    else:
        kind = REFERENCES.get(entry.reference.kind)
        # markers are found in grey: turning colours into it is a third of the search
        by_markers = kind is not None and kind.form == "markers"
        seen = see_reference(grey if by_markers else photo.rgb, entry.reference)
    markings = entry.markings
    if entry.distortion:
        seen, markings = straighten(seen, markings, entry.distortion, photo)
        tags = straighten_tags(tags, entry.distortion, photo)
    view = View(
        size_px=photo.size,
        camera=photo.camera,
        seen=seen,
        offset=offset_prior(entry.reference, entry.view),
        calibrated=bool(entry.distortion),
        tags=tags,
    )
    said = framing_said(photo.camera.framing, photo.size)
    return Looked(entry, view, markings, (*seen.remarks, *found.remarks, *elsewhere, *said))


def with_standing(photo: LookedAt, number: int, fused: Estimate, dog: DogFacts) -> LookedAt:
    """The same with how the dog stands, by the marks and, where those speak up, the outline.

    Parameters
    ----------
    photo : LookedAt
    number : int
        Its place among the photos of the estimate, from 0.  From the front nothing is told.
    fused : Estimate
    dog : DogFacts
    """
    if photo.view.from_front:
        return photo
    look = partial(
        standing_in,
        photo.markings,
        fused.to_pixels[number],
        half_flank_mm=fused.half_flank_mm,
        roll_deg=fused.cameras[number].roll_deg,
        place=photo.entry.reference.place,
        dog=dog,
        reference_px=[(float(x), float(y)) for x, y in photo.view.seen.used_px],
    )
    by_marks = look()
    # cutting out the dog takes as long as all the rest together
    stands = by_marks if by_marks.stance.square else look(rgb=photo.picture().rgb)
    return replace(photo, standing=stands)
