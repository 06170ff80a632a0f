"""The page of tags as printed: rendered by PDFium, judged by OpenCV's own detector and shapely."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pypdfium2
import pytest
from shapely import LineString, Point, Polygon, box

from photocheck.errors import PhotocheckError, ScaleError
from photocheck.scale.sheet import PAPER_MM, rulers, upright
from photocheck.scale.tag_layout import TAG_IDS, TAG_MM, WHITE, square_mm, tip_mm
from photocheck.shown.tag_page import (
    LINE_MM,
    RULERS_DOWN,
    UPRIGHT_DOWN,
    draw_tags_pdf,
    how_to,
)
from photocheck.shown.tag_places import PrintedTag, tag_places
from photocheck.speech import LANGUAGES, speaking, tr
from photocheck.words import FRONT_LANDMARKS, LANDMARK_TITLES

PX_PER_MM = 12.0
PAPERS = ("a4", "letter")
WAYS = [(paper, size) for paper in PAPERS for size in TAG_MM]


@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    folder = tmp_path_factory.mktemp("tags")

    @cache
    def draw(paper: str, size: str, language: str = "en") -> Path:
        with speaking(language):
            return draw_tags_pdf(folder / f"{paper}-{size}-{language}.pdf", paper, size)

    return draw


def rendered(path, number):
    page = pypdfium2.PdfDocument(path)[number]
    return np.asarray(page.render(scale=PX_PER_MM * 25.4 / 72).to_pil().convert("L"))


def on_page(points_px, paper):
    """From pixels of a rendered page, centres at integers, to mm from the middle of the page."""
    return (np.asarray(points_px) + 0.5) / PX_PER_MM - np.array(PAPER_MM[paper]) / 2


def seen_markers(grey):
    """(id, corners in px) of all that OpenCV finds by itself."""
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    found, ids, _ = cv2.aruco.ArucoDetector(dictionary, settings).detectMarkers(grey)
    return [(int(i), square[0]) for square, i in zip(found, np.ravel(ids), strict=True)]


@pytest.mark.parametrize(("paper", "size"), WAYS)
def test_opencv_finds_every_tag_where_the_layout_has_it(drawn, paper, size):
    for number, places in enumerate(tag_places(size)):
        grey = rendered(drawn(paper, size), number)
        seen = seen_markers(grey)
        assert sorted(i for i, _ in seen) == sorted(TAG_IDS[p.landmark] for p in places)
        for place in places:
            corners = next(on_page(c, paper) for i, c in seen if i == TAG_IDS[place.landmark])
            assert np.max(np.abs(corners - (square_mm(TAG_MM[size]) + place.middle))) < 0.1
            # The tip is drawn as a solid line's corner: its lowest ink, less half the line.
            tip = tip_mm(TAG_MM[size]) + place.middle
            x, y = (tip + np.array(PAPER_MM[paper]) / 2) * PX_PER_MM - 0.5
            near = grey[round(y) - 15 : round(y) + 16, round(x) - 15 : round(x) + 16] < 200
            rows, columns = np.nonzero(near)
            low = on_page((0, round(y) - 15 + rows.max() + 0.5), paper)[1] - LINE_MM / 2
            assert low == pytest.approx(tip[1], abs=0.1)
            middle = np.mean(columns[rows == rows.max()]) + round(x) - 15
            assert on_page((middle, 0), paper)[0] == pytest.approx(tip[0], abs=0.1)


@pytest.mark.parametrize(("paper", "size"), WAYS)
def test_the_wedge_points_to_the_tip(drawn, paper, size):
    (places, _) = tag_places(size)
    grey = rendered(drawn(paper, size), 0)
    for place in places:
        low, high = place.wedge.min(axis=0) - 0.3, place.wedge.max(axis=0) + 0.3
        corner = np.array(PAPER_MM[paper]) / 2
        left, top = np.round((low + corner) * PX_PER_MM).astype(int)
        right, bottom = np.round((high + corner) * PX_PER_MM).astype(int)
        ink = (grey[top:bottom, left:right] < 100).astype(np.uint8)
        (outline, *_) = sorted(
            cv2.findContours(ink, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0],
            key=cv2.contourArea,
            reverse=True,
        )
        _, triangle = cv2.minEnclosingTriangle(outline + np.array([left, top]))
        apex = on_page(triangle.reshape(-1, 2), paper)
        apex = apex[np.argmax(apex[:, 1])]
        assert np.hypot(*(apex - place.wedge[2])) < 0.2
        # Apex, tip and the middle of the square lie on one line.
        assert LineString([place.middle, place.tip]).distance(Point(apex)) < 0.1


def bars(paper):
    for down, boxes in ((RULERS_DOWN, rulers()), (UPRIGHT_DOWN, upright(paper))):
        for left, top, right, bottom in boxes:
            yield box(left, top + down, right, bottom + down)


def lines_of_text(path, number, paper):
    said = pypdfium2.PdfDocument(path)[number].get_textpage()
    width, height = PAPER_MM[paper]
    for index in range(said.count_rects()):
        left, bottom, right, top = (v * 25.4 / 72 for v in said.get_rect(index))
        yield box(left - width / 2, height / 2 - top, right - width / 2, height / 2 - bottom)


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize(("paper", "size"), WAYS)
def test_nothing_overlaps(drawn, paper, size, language):
    width, height = PAPER_MM[paper]
    printable = box(-width / 2 + 8, -height / 2 + 8, width / 2 - 8, height / 2 - 8)
    path = drawn(paper, size, language)
    for number, places in enumerate(tag_places(size)):
        cuts = [Polygon(place.cut) for place in places]
        hull = [cut.convex_hull for cut in cuts]
        texts = list(lines_of_text(path, number, paper))
        assert len(texts) > 30
        for i, cut in enumerate(cuts):
            assert printable.contains(cut)
            assert not any(hull[i].intersects(other) for other in hull[:i])
            assert not any(hull[i].intersects(bar) for bar in bars(paper))
        for i, text in enumerate(texts):
            assert printable.contains(text)
            assert not any(text.intersects(bar) for bar in bars(paper))
            assert not any(text.intersects(other) for other in texts[:i])
            for place, cut in zip(places, cuts, strict=True):
                # A name lies on its tag, all else beside: no line is cut through.
                assert not text.intersects(cut.exterior)
                for fold in place.folds:
                    assert not text.intersects(LineString(fold))
                half = WHITE * place.cell
                x, y = place.middle
                assert not text.intersects(box(x - half, y - half, x + half, y + half))
                assert not text.intersects(Polygon(place.wedge))


@pytest.mark.parametrize("size", TAG_MM)
def test_a_tag_has_white_round_it_two_legs_and_a_free_tip(size):
    for place in (place for page in tag_places(size) for place in page):
        paper = Polygon(place.cut)
        assert paper.is_valid
        half = WHITE * place.cell
        x, y = place.middle
        assert paper.buffer(1e-6).contains(box(x - half, y - half, x + half, y + half))
        assert paper.buffer(1e-6).contains(Polygon(place.taper))
        assert paper.exterior.distance(Point(place.tip)) < 1e-6
        # Folded, the feet are level with the tip and leave a cell free on either side of it.
        legs = [LineString(fold) for fold in place.folds]
        assert len(legs) == (0 if place.landmark == "last_rib" else 2)
        for leg in legs:
            assert leg.distance(Point(place.tip)) == pytest.approx(place.cell)
            assert [down for _, down in leg.coords] == pytest.approx([place.tip[1]] * 2)
            # Fingers and tape need about a centimetre (common practice, no source).
            assert leg.length > 14.0


def test_every_tag_is_there_and_two_are_spare():
    for size in TAG_MM:
        places = [place for page in tag_places(size) for place in page]
        usual = [place.landmark for place in places if not place.spare]
        assert sorted(usual) == sorted(TAG_IDS)
        assert {p.landmark for p in places if p.spare} == {"breastbone", "last_rib"}
        assert len(places) == len(TAG_IDS) + 2
        assert all(place.stands for place in places if place.landmark in FRONT_LANDMARKS)


def longest(line):
    """Px of the longest black run."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], line < 128, [0]]).astype(int)))
    return int(np.max(edges[1::2] - edges[::2]))


@pytest.mark.parametrize(("paper", "length"), [("a4", 50.0), ("letter", 50.8)])
def test_both_directions_are_proved_on_both_pages(drawn, paper, length):
    width, height = PAPER_MM[paper]
    for number in (0, 1):
        grey = rendered(drawn(paper, "usual"), number)
        row = round((height / 2 + RULERS_DOWN - 7.5) * PX_PER_MM)
        assert longest(grey[row]) / PX_PER_MM == pytest.approx(150.0, abs=0.2)
        row = round((height / 2 + RULERS_DOWN + 5.67) * PX_PER_MM)
        assert longest(grey[row]) / PX_PER_MM == pytest.approx(152.4, abs=0.2)
        column = round((width / 2 + 81.75) * PX_PER_MM)
        assert longest(grey[:, column]) / PX_PER_MM == pytest.approx(length, abs=0.2)


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("paper", PAPERS)
def test_it_speaks_the_language_and_brings_its_letters(drawn, language, paper):
    path = drawn(paper, "small", language)
    texts = [
        " ".join(page.get_textpage().get_text_bounded().split())
        for page in pypdfium2.PdfDocument(path)
    ]
    said = " ".join(texts)
    with speaking(language):
        for landmark in TAG_IDS:
            assert tr(LANDMARK_TITLES[landmark]) in said
        for sentence in how_to():
            assert sentence in texts[1]
        assert texts[1].count(tr("Spare: use it in place of, never beside, the other.")) == 2
        assert said.count(tr("small set")) == 12
    for text in texts:
        assert ("2 in" in text) == (paper == "letter")
        assert ("150 mm" in text) == (paper == "a4")
    file = path.read_bytes()
    fonts = {name.split(b"+")[-1] for name in re.findall(rb"/BaseFont\s*/([^\s/]+)", file)}
    assert len(fonts) == file.count(b"/FontFile2") == 2


def test_a_tag_turned_and_shrunk_is_still_read_as_its_own(drawn):
    """As far off as a phone may stand: 5 px a cell, blurred, in any turn."""
    grey = rendered(drawn("a4", "usual"), 0)
    for turn in range(4):
        small = cv2.resize(
            np.rot90(grey, turn), None, fx=1 / 16, fy=1 / 16, interpolation=cv2.INTER_AREA
        )
        assert {i for i, _ in seen_markers(small)} == {
            TAG_IDS[place.landmark] for place in tag_places("usual")[0]
        }


def test_what_cannot_be_drawn_is_told(tmp_path):
    with pytest.raises(ScaleError, match="a4 or letter"):
        draw_tags_pdf(tmp_path / "x.pdf", "a5")
    with pytest.raises(ScaleError, match="usual or small"):
        draw_tags_pdf(tmp_path / "x.pdf", "a4", "large")
    with pytest.raises(ScaleError, match="cannot be written"):
        draw_tags_pdf(tmp_path)
    with pytest.raises(PhotocheckError, match="cannot be written"):
        draw_tags_pdf(tmp_path / "missing" / "x.pdf")
    assert not list(tmp_path.iterdir())


def test_a_place_is_plain_data():
    place = PrintedTag("last_rib", 30.0, (1.0, 2.0))
    assert place.cell == 5.0
    assert place.tip == pytest.approx([1.0, 37.0])
