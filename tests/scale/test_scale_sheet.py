from __future__ import annotations

import re

import cv2
import numpy as np
import pytest

from photocheck.errors import PhotocheckError, ScaleError
from photocheck.scale.sheet import (
    LAYOUT,
    PAPER_MM,
    bitmap_px,
    draw_sheet_pdf,
    marker_squares,
    rulers,
    sheet_bitmap,
    sheet_points,
    upright,
)
from photocheck.speech import LANGUAGES, speaking, tr


def _rendered(path, px_per_mm):
    import pypdfium2

    document = pypdfium2.PdfDocument(path)
    assert len(document) == 1
    page = document[0]
    size_mm = np.array(page.get_size()) * 25.4 / 72
    return np.asarray(page.render(scale=px_per_mm * 25.4 / 72).to_pil().convert("L")), size_mm


def _opencv_corners(grey):
    """Corners by OpenCV alone: its own dictionary, its own detector."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    found, ids, _ = cv2.aruco.ArucoDetector(dictionary).detectMarkers(grey)
    return {int(i): square[0] for square, i in zip(found, np.ravel(ids), strict=True)}


def _longest(line):
    """Px of the longest black run: the upright bar crosses the rows of the level ones."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], line < 128, [0]]).astype(int)))
    return int(np.max(edges[1::2] - edges[::2]))


def test_papers_have_their_standard_sizes():
    # ISO 216:2007 A4; ANSI/ASME Y14.1 size A with the inch of exactly 25.4 mm.
    assert PAPER_MM["a4"] == (210.0, 297.0)
    assert PAPER_MM["letter"] == pytest.approx((215.9, 279.4), abs=1e-12)


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_quiet_zone_and_margins(paper):
    cell = LAYOUT.module_mm
    width, height = PAPER_MM[paper]
    squares = np.array(list(marker_squares()))
    # White of at least a cell out to the edge of the paper.
    assert width / 2 - np.max(np.abs(squares[:, [0, 2]])) >= cell
    assert height / 2 - np.max(np.abs(squares[:, [1, 3]])) >= cell
    others = [*map(tuple, squares), *rulers(), *upright(paper)]
    for i, (left, top, right, bottom) in enumerate(squares):
        for j, (a, b, c, d) in enumerate(others):
            if i != j:
                gap = max(a - right, left - c, b - bottom, top - d)
                assert gap >= cell


def test_markers_differ_as_said():
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    cells = [cv2.aruco.generateImageMarker(dictionary, i, 6)[1:5, 1:5] for i in LAYOUT.marker_ids]
    for i, one in enumerate(cells):
        assert min(np.sum(np.rot90(one, k) != one) for k in (1, 2, 3)) == 8
        for other in cells[:i]:
            assert min(np.sum(np.rot90(one, k) != other) for k in range(4)) >= 7


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_pdf_is_true_to_scale(tmp_path, paper):
    path = draw_sheet_pdf(tmp_path / "sheet.pdf", paper)
    px_per_mm = 5.0
    grey, size_mm = _rendered(path, px_per_mm)
    assert size_mm == pytest.approx(PAPER_MM[paper], abs=0.02)
    corners = _opencv_corners(grey)
    ids, points = sheet_points()
    assert set(corners) == set(ids)
    for i, marker in enumerate(ids):
        expected = bitmap_px(points[4 * i : 4 * i + 4], px_per_mm, paper)
        # OpenCV's corners are whole pixels, on the outermost black ones.
        assert np.max(np.abs(corners[marker] - expected)) < 1.3
    # The proof bar: the longest black run along a row through its middle.
    row = round(float(bitmap_px(np.array([[0.0, -7.5]]), px_per_mm, paper)[0, 1]))
    assert _longest(grey[row]) / px_per_mm == pytest.approx(150.0, abs=0.3)
    # The inch ruler: 6 in = 152.4 mm.
    row = round(float(bitmap_px(np.array([[0.0, 5.67]]), px_per_mm, paper)[0, 1]))
    assert _longest(grey[row]) / px_per_mm == pytest.approx(152.4, abs=0.5)


@pytest.mark.parametrize(("paper", "length"), [("a4", 50.0), ("letter", 50.8)])
def test_the_other_direction_is_proved_too(tmp_path, paper, length):
    grey, _ = _rendered(draw_sheet_pdf(tmp_path / "sheet.pdf", paper), 5.0)
    # the longest black run down a column through the middle of the upright bar; 2 in are 50.8 mm
    column = round(float(bitmap_px(np.array([[81.75, 0.0]]), 5.0, paper)[0, 0]))
    middle = slice(110 * 5, 187 * 5)
    assert _longest(grey[middle, column]) / 5.0 == pytest.approx(length, abs=0.3)
    level = [right - left for left, top, right, bottom in upright(paper) if bottom - top > 40]
    assert len(level) == 1
    whole, bare = sheet_bitmap(5.0, paper, whole=True), sheet_bitmap(5.0, paper)
    assert np.count_nonzero(whole[:, column] < 128) > np.count_nonzero(bare[:, column] < 128)


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_sheet_speaks_the_language_and_brings_its_letters(tmp_path, language, paper):
    import pypdfium2

    with speaking(language):
        path = draw_sheet_pdf(tmp_path / "sheet.pdf", paper)
        title = tr("photocheck marker sheet")
    (page,) = pypdfium2.PdfDocument(path)
    said = page.get_textpage()
    text = " ".join(said.get_text_bounded().split())
    assert title in text
    # inches where people measure in inches
    assert ("6 in" in text and "2 in" in text) == (paper == "letter")
    assert ("150 mm" in text) == (paper == "a4")
    assert ("5 29/32 in" in text) == (paper == "letter")
    assert pytest.approx(5 + 29 / 32, abs=1 / 128) == 150.0 / 25.4
    file = path.read_bytes()
    fonts = re.findall(rb"/BaseFont\s*/([^\s/]+)", file)
    assert len(fonts) == file.count(b"/FontFile2") == 1
    # nothing is printed over the upright bar, the markers or their margins
    for index in range(said.count_rects()):
        left, bottom, right, top = (v * 25.4 / 72 for v in said.get_rect(index))
        width, height = PAPER_MM[paper]
        assert 20 < left < right < width - 15
        assert height / 2 - 40 < bottom < top < height / 2 + 30.5


def test_pdf_and_bitmap_show_the_same(tmp_path):
    grey, _ = _rendered(draw_sheet_pdf(tmp_path / "sheet.pdf", "letter"), 4.0)
    bitmap = sheet_bitmap(4.0, "letter")
    assert grey.shape == bitmap.shape
    top = np.s_[: 110 * 4]  # the upper markers; the small print is not in the bitmap
    different = np.abs(grey[top].astype(int) - bitmap[top]) > 60
    # Renderers round edges to whole pixels: nothing thicker than two may differ.
    assert not np.any(cv2.erode(different.astype(np.uint8), np.ones((3, 3), np.uint8)))


def test_bitmap_area_is_exact():
    # Ink of the four outer squares less their white cells, from the codes themselves.
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    black = sum(
        int(np.sum(cv2.aruco.generateImageMarker(dictionary, i, 6) == 0)) for i in LAYOUT.marker_ids
    )
    bitmap = sheet_bitmap(1.7)  # cells end between pixels
    above, below = bitmap[: int(110 * 1.7)], bitmap[int(187 * 1.7) :]
    ink = np.sum(1 - above / 255.0) + np.sum(1 - below / 255.0)
    assert ink / 1.7**2 == pytest.approx(black * LAYOUT.module_mm**2, rel=2e-3)


def test_pdf_replaces_whole_files_only(tmp_path):
    path = tmp_path / "sheet.pdf"
    path.write_bytes(b"old")
    draw_sheet_pdf(path)
    assert path.read_bytes().startswith(b"%PDF")
    assert [item.name for item in tmp_path.iterdir()] == ["sheet.pdf"]


def test_errors_are_sentences(tmp_path):
    with pytest.raises(ScaleError, match="a4 or letter"):
        draw_sheet_pdf(tmp_path / "x.pdf", "a5")
    with pytest.raises(PhotocheckError, match="cannot be written"):
        draw_sheet_pdf(tmp_path / "missing" / "x.pdf")
    (tmp_path / "folder.pdf").mkdir()
    with pytest.raises(ScaleError, match="cannot be written"):
        draw_sheet_pdf(tmp_path / "folder.pdf")
    assert [item.name for item in tmp_path.iterdir()] == ["folder.pdf"]
    with pytest.raises(ScaleError, match="px per mm"):
        sheet_bitmap(0)
