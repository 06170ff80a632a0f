"""What the tags in a photo say of its marks, and what of them is not used."""

from __future__ import annotations

import numpy as np
import pytest
from shapely import Polygon, box

from photocheck.orders import worn_tags as finding
from photocheck.orders.worn_tags import FoundTags, tags_found
from photocheck.photo.load import load_photo
from photocheck.scale.tags_seen import TagSeen, TagsSeen
from tests.support.tagged_photo import by_opencv, tagged


def test_tips_become_marks_and_each_tag_an_outline(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(finding, "find_tags", by_opencv)
    content, tips = tagged()
    found = tags_found(load_photo(content))
    assert list(found.marks) == list(tips)
    for (name, tip), outline in zip(tips.items(), found.outlines, strict=True):
        assert found.marks[name] == pytest.approx(tip, abs=1.0)
        # The square with its tip, in turn; drawn on the part of the photo that is shown.
        assert Polygon(outline).is_valid
        assert np.add(outline[3], found.frame[:2]) == pytest.approx(found.marks[name])
        assert len(outline) == 5
        left, top, right, bottom = found.frame
        assert box(0, 0, right - left, bottom - top).contains(Polygon(outline))
    assert 0 <= left < right <= 2000
    assert 0 <= top < bottom <= 1500
    # The dog's part of the picture, not all of it.
    assert (right - left) * (bottom - top) < 0.4 * 2000 * 1500


def test_only_points_of_the_photos_own_view_are_marked(monkeypatch: pytest.MonkeyPatch) -> None:
    square = np.array([[0.0, 0.0], [9.0, 0.0], [9.0, 9.0], [0.0, 9.0]])
    tags = tuple(
        TagSeen(name, 40.0, square, 0.2, np.array([4.0, 15.0]), np.eye(2), 1.0, 0.01)
        for name in ("breastbone", "neck_left")
    )
    seen = TagsSeen(tags, ("Two sets.",))
    monkeypatch.setattr(finding, "find_tags", lambda *_: seen)
    photo = load_photo(tagged(turns={})[0])
    assert list(tags_found(photo).marks) == ["breastbone"]
    assert list(tags_found(photo, "front").marks) == ["neck_left"]
    assert tags_found(photo).remarks == ("Two sets.",)
    monkeypatch.setattr(finding, "find_tags", lambda *_: TagsSeen())
    assert tags_found(photo) == FoundTags()
