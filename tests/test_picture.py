import dataclasses
import re

import cv2
import numpy as np
import pytest
from made_report import CORNERS, MARKS, made_report
from PIL import Image
from skimage.color import rgb2lab

from photocheck.case import Marking
from photocheck.desk import labels, picture
from photocheck.desk.labels import Wanted, overlap, place
from photocheck.desk.picture import (
    BANNER_COLOURS,
    DARK,
    FONT_SHARE,
    MAX_WIDTH,
    MIN_WIDTH,
    SPAN_COLOURS,
    WHITE,
    annotate,
    contrast,
    draw_located,
    write_picture,
)
from photocheck.errors import PhotocheckError, PhotoError
from photocheck.locating import Located
from photocheck.words import SPANS, VERDICTS


def photo(width: int = 1344, height: int = 1008, grey: int = 150) -> np.ndarray:
    return np.full((height, width, 3), grey, np.uint8)


def report_for(width: int, height: int, **options):
    """The hand-made report, its points moved to a photo of another size."""
    report = made_report(**options)
    fx, fy = width / 4032, height / 3024

    def at(xy):
        return xy[0] * fx, xy[1] * fy

    case = report.case
    entry = case.photos[0]
    marking = Marking(
        {name: at(xy) for name, xy in entry.markings[0].marks.items()},
        {span: tuple(map(at, line)) for span, line in entry.markings[0].bends.items()},
    )
    entry = dataclasses.replace(entry, markings=(marking,))
    result = dataclasses.replace(
        report.photos[0], reference_px=tuple(map(at, CORNERS)), px_per_mm=1.82 * fx
    )
    return dataclasses.replace(
        report, case=dataclasses.replace(case, photos=(entry,)), photos=(result,)
    )


# --- colours ---------------------------------------------------------------


def test_contrast_is_the_formula_of_wcag():
    assert contrast((0, 0, 0), (255, 255, 255)) == pytest.approx(21.0)
    assert contrast((119, 119, 119), (255, 255, 255)) == pytest.approx(4.478, abs=0.001)
    assert contrast((118, 118, 118), (255, 255, 255)) == pytest.approx(4.542, abs=0.001)
    assert contrast((255, 0, 0), (255, 0, 0)) == 1.0


def relative_luminance(colour):
    """WCAG 2.2, "relative luminance", written out a second time."""
    share = np.array(colour) / 255
    linear = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


@pytest.mark.parametrize(
    ("text", "ground"),
    [(WHITE, ground) for ground in BANNER_COLOURS.values()]
    + [(colour, DARK) for colour in (*SPAN_COLOURS.values(), WHITE)]
    + [(DARK, WHITE)],
)
def test_all_text_stands_out(text, ground):
    bright, dim = sorted((relative_luminance(text), relative_luminance(ground)), reverse=True)
    assert (bright + 0.05) / (dim + 0.05) >= 4.5
    assert contrast(text, ground) == pytest.approx((bright + 0.05) / (dim + 0.05))


# Machado, Oliveira and Fernandes, IEEE TVCG 15 (2009), severity 1.0; on linear RGB.
BLINDNESS = {
    "protan": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deutan": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
}


@pytest.mark.parametrize("kind", BLINDNESS)
def test_span_colours_differ_for_colour_blind_eyes(kind):
    share = np.array([SPAN_COLOURS[span] for span in SPANS]) / 255
    linear = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    seen = np.clip(linear @ np.array(BLINDNESS[kind]).T, 0, 1)
    srgb = np.where(seen <= 0.0031308, 12.92 * seen, 1.055 * seen ** (1 / 2.4) - 0.055)
    lab = rgb2lab(srgb[None])[0]
    for i in range(4):
        for j in range(i):
            assert np.linalg.norm(lab[i] - lab[j]) > 15  # far above a just noticeable difference


# --- the picture -----------------------------------------------------------


@pytest.mark.parametrize("verdict", VERDICTS)
def test_banner_says_the_verdict_in_its_colour(verdict):
    out = annotate(photo(), report_for(1344, 1008, verdict=verdict), 0)
    assert out.dtype == np.uint8
    assert tuple(out[2, 2]) == BANNER_COLOURS[verdict]
    assert out.shape[0] > 1008


@pytest.mark.parametrize(
    ("width", "height", "shown"),
    [(4032, 3024, MAX_WIDTH), (1200, 1600, 1200), (640, 480, MIN_WIDTH)],
)
def test_width(width, height, shown):
    out = annotate(photo(width, height), report_for(width, height), 0)
    assert out.shape[1] == shown


def test_the_photo_itself_is_left_alone():
    given = photo()
    before = given.copy()
    annotate(given, report_for(1344, 1008), 0)
    assert np.array_equal(given, before)


def drawn(monkeypatch, report, width, height):
    """What text was drawn where, and which boxes labels got."""
    boxes = {}
    texts = []
    real_place = labels.place

    def spy(wanted, field, taken, ink, gap):
        boxes.update(real_place(wanted, field, taken, ink, gap))
        boxes.update({f"taken {k}": box for k, box in enumerate(taken)})
        return {key: box for key, box in boxes.items() if not key.startswith("taken")}

    monkeypatch.setattr(picture, "place", spy)
    from PIL import ImageDraw

    real_text = ImageDraw.ImageDraw.text

    def text(self, xy, said, *args, **options):
        texts.append((xy, said, options["font"].size))
        return real_text(self, xy, said, *args, **options)

    monkeypatch.setattr(ImageDraw.ImageDraw, "text", text)
    out = annotate(photo(width, height), report, 0)
    return out, boxes, texts


@pytest.mark.parametrize(
    ("width", "height"),
    [(4032, 3024), (1512, 2016), (1200, 900), (640, 480), (4000, 1200), (400, 1600)],
)
@pytest.mark.parametrize("unit", ["cm", "in"])
def test_labels_do_not_overlap_and_lie_on_the_photo(monkeypatch, width, height, unit):
    report = report_for(width, height, unit=unit)
    out, boxes, texts = drawn(monkeypatch, report, width, height)
    assert set(SPANS) <= set(boxes) or any("full length" in said for _, said, _ in texts)
    named = list(boxes.items())
    shown_height = round(height * out.shape[1] / width)
    for i, (name, box) in enumerate(named):
        assert 0 <= box[0] < box[2] <= out.shape[1], name
        assert 0 <= box[1] < box[3] <= shown_height, name
        for other, its in named[:i]:
            assert overlap(box, its) == 0.0, (name, other)


def test_text_is_large_and_in_the_owners_unit(monkeypatch):
    for unit, shown in (
        ("in", ("tape 18 in", "photo 13 1/4 in", "4 in on the dog")),
        ("cm", ("tape 45.7 cm", "photo 33.8 cm", "10 cm on the dog")),
    ):
        report = report_for(4032, 3024, unit=unit)
        out, boxes, texts = drawn(monkeypatch, report, 4032, 3024)
        said = [text for _, text, _ in texts]
        assert set(shown) <= set(said)
        assert "rear length: measure again" in said
        assert all(size >= out.shape[1] / FONT_SHARE for _, _, size in texts)
        assert {*SPANS, *("breastbone", "shoulder_top", "last_rib", "tail_base")} <= set(boxes)


def test_text_stays_inside_its_box(monkeypatch):
    report = report_for(1344, 1008)
    _, boxes, texts = drawn(monkeypatch, report, 1344, 1008)
    from PIL import ImageFont

    for (x, y), said, size in texts:
        holding = [b for b in boxes.values() if b[0] <= x <= b[2] and b[1] <= y <= b[3]]
        if len(holding) == 1:
            _, _, right, bottom = ImageFont.load_default(size).getbbox(said)
            assert x + right <= holding[0][2] + 1, said
            assert y + bottom <= holding[0][3] + 1, said


def test_scale_bar_is_as_long_as_it_says():
    # White on dark: the longest run of white in the bar's lower rows.
    report = report_for(1344, 1008, unit="cm")
    bare = dataclasses.replace(
        report,
        spans=(),
        case=dataclasses.replace(
            report.case,
            photos=(dataclasses.replace(report.case.photos[0], markings=(Marking({}),)),),
        ),
        photos=(dataclasses.replace(report.photos[0], reference_px=(), px_per_mm=2.0),),
    )
    out = annotate(photo(), bare, 0)
    runs = []
    for row in out[-500:]:
        white = np.all(row > 200, axis=1).astype(int)
        edges = np.flatnonzero(np.diff(np.concatenate([[0], white, [0]])))
        runs += [b - a for a, b in zip(edges[::2], edges[1::2], strict=True)]
    assert max(runs) == pytest.approx(100 * 2.0, abs=8)


def test_marks_are_drawn_where_they_were_put():
    width, height = 1344, 1008
    out = annotate(photo(width, height), report_for(width, height), 0)
    banner = out.shape[0] - height
    x, y = MARKS["rear_foot"][0] / 3, MARKS["rear_foot"][1] / 3 + banner
    radius = out.shape[1] / FONT_SHARE * 0.30
    ring = [
        out[round(y + radius * np.sin(a)), round(x + radius * np.cos(a))]
        for a in np.arange(0, 6.2, 0.3)
    ]
    bright = np.mean([pixel.min() > 180 for pixel in ring])
    assert bright > 0.7
    assert abs(int(out[round(y), round(x), 0]) - 150) < 10  # the pixel marked stays visible


def test_several_markings_and_points_off_the_picture():
    report = report_for(1344, 1008)
    entry = report.case.photos[0]
    first = entry.markings[0]
    second = Marking({name: (x + 5, y - 4) for name, (x, y) in first.marks.items()}, by="staff")
    wild = Marking({name: (x - 4000, y + 4000) for name, (x, y) in first.marks.items()})
    for markings in ((first, second), (wild,)):
        case = dataclasses.replace(
            report.case, photos=(dataclasses.replace(entry, markings=markings),)
        )
        annotate(photo(), dataclasses.replace(report, case=case), 0)


def test_numbers_are_not_torn_from_their_units():
    from PIL import Image as PillowImage
    from PIL import ImageDraw, ImageFont

    draw = ImageDraw.Draw(PillowImage.new("RGB", (10, 10)))
    font = ImageFont.load_default(20)
    text = "Measure the rear length again: 18 in on the tape, about 13 1/4 in on the photo."
    for room in range(150, 600, 7):
        lines = picture._wrapped(draw, text, font, room)
        assert " ".join(lines) == text
        assert not any(re.match(r"\d+/\d|in\b on the tape", line) for line in lines[1:])
        assert all(draw.textlength(line, font=font) <= room for line in lines)


def test_located_picture():
    found = Located(
        "id_card", "marked", CORNERS, (4032, 3024), 2680.0, 3.0, -2.0, 0.5, 1.9, 26.0, "exif 35 mm"
    )
    plain = photo(4032, 3024)
    out = draw_located(plain, found)
    assert out.shape == (1200, 1600, 3)
    reduced = cv2.resize(plain, (1600, 1200))
    rows, columns = np.nonzero(np.any(out != reduced, axis=2))
    assert rows.min() >= 2250 * 1600 / 4032 - 10
    assert columns.max() < 1200


def test_markers_are_drawn_one_by_one():
    corners = np.array([[0, 0], [60, 0], [60, 60], [0, 60]])
    four = [corners + at for at in ([300, 300], [700, 300], [700, 700], [300, 700])]
    points = tuple((float(x), float(y)) for marker in four for x, y in marker)
    found = Located(
        "marker_sheet", "markers", points, (1200, 1000), 2e3, 0.0, 0.0, 0.0, 1.9, 26.0, "prior"
    )
    out = draw_located(photo(1200, 1000), found)
    assert np.all(out[320:340, 400:650] == 150)  # nothing joins one marker to the next
    assert out[300, 330].min() > 200  # a marker's upper edge


# --- placing labels --------------------------------------------------------


def test_place_leaves_out_what_has_no_room():
    wanted = [Wanted(str(k), (50.0, 50.0), (60.0, 40.0), (1.0, 0.0)) for k in range(4)]
    got = place(wanted, (0, 0, 100, 100), [], np.zeros((0, 3)), 4.0)
    assert 1 <= len(got) < 4
    assert place(wanted, (0, 0, 30, 30), [], np.zeros((0, 3)), 4.0) == {}


def test_place_keeps_off_ink_and_within_reach():
    ink = np.array([[x, y, 50.0] for x in range(200, 400, 10) for y in range(0, 400, 10)])
    label = Wanted("a", (200.0, 200.0), (80.0, 30.0), (1.0, 0.0))
    box = place([label], (0, 0, 400, 400), [], ink, 5.0)["a"]
    assert box[2] <= 200
    everywhere = [(0.0, 0.0, 400.0, 180.0), (0.0, 180.0, 300.0, 400.0)]
    far = dataclasses.replace(label, anchor=(20.0, 200.0), reach=100.0)
    assert place([far], (0, 0, 400, 400), everywhere, np.zeros((0, 3)), 5.0) == {}


# --- writing ---------------------------------------------------------------


def test_written_pictures(tmp_path):
    rgb = np.random.default_rng(0).integers(0, 255, (60, 80, 3), dtype=np.uint8)
    write_picture(tmp_path / "a.png", rgb)
    assert np.array_equal(np.asarray(Image.open(tmp_path / "a.png")), rgb)
    for name in ("a.jpg", "b.JPEG"):
        write_picture(tmp_path / name, rgb)
        assert Image.open(tmp_path / name).format == "JPEG"
    assert {p.name for p in tmp_path.iterdir()} == {"a.png", "a.jpg", "b.JPEG"}


@pytest.mark.parametrize("name", ["a.gif", "a", "a.jpg.txt"])
def test_other_endings(tmp_path, name):
    with pytest.raises(PhotoError, match=r"End the name in \.jpg or \.png"):
        write_picture(tmp_path / name, photo(10, 10))
    assert list(tmp_path.iterdir()) == []


def test_failed_writing_leaves_the_old_file(tmp_path, monkeypatch):
    target = tmp_path / "a.png"
    target.write_bytes(b"old")

    def fails(self, file, *args, **options):
        file.write(b"half")
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Image.Image, "save", fails)
    with pytest.raises(PhotocheckError, match="no space left"):
        write_picture(target, photo(10, 10))
    assert target.read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.png"]


def test_missing_folder(tmp_path):
    with pytest.raises(PhotocheckError, match="cannot be written"):
        write_picture(tmp_path / "none" / "a.png", photo(10, 10))
