import dataclasses
import re
from functools import cache
from itertools import product

import cv2
import numpy as np
import pytest
from babel.messages.catalog import Message
from PIL import Image, ImageDraw, ImageFont
from skimage.color import rgb2lab

from photocheck.body.shape import FRONT_TURN_BELOW
from photocheck.case.lengths import format_length
from photocheck.case.model import Marking
from photocheck.errors import PhotocheckError, PhotoError
from photocheck.judge.wording import headline
from photocheck.locating import Located
from photocheck.scale.catalogue import REFERENCES
from photocheck.shown import crop, labels, lettering, naming
from photocheck.shown.colours import BANNER_COLOURS, DARK, SPAN_COLOURS, WHITE, contrast
from photocheck.shown.crop import FONT_SHARE, MAX_WIDTH, MIN_WIDTH
from photocheck.shown.labels import Sought, place
from photocheck.shown.naming import SHORT_REFERENCES
from photocheck.shown.picture import annotate, draw_located
from photocheck.shown.picture_file import write_picture
from photocheck.shown.strokes import harness_lines
from photocheck.speech import LANGUAGES, speaking, tr
from photocheck.words import (
    HELPER_LANDMARKS,
    LANDMARKS,
    SPAN_ENDS,
    SPAN_TITLES,
    SPANS,
    VERDICT_TITLES,
    VERDICTS,
)
from tests.support.catalogues import written as catalogue
from tests.support.made_report import CORNERS, MARKS, made_report


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


@pytest.mark.parametrize(("width", "height"), [(4032, 3024), (1200, 1600), (640, 480), (90, 60)])
def test_width(width, height):
    out = annotate(photo(width, height), report_for(width, height), 0)
    left, _, right, _ = frame_of(report_for(width, height), width, height)
    assert out.shape[1] == min(max(right - left, MIN_WIDTH), MAX_WIDTH)
    assert out.shape[1] <= 2 * (right - left) or right - left == width


def test_the_photo_itself_is_left_alone():
    given = photo()
    before = given.copy()
    annotate(given, report_for(1344, 1008), 0)
    assert np.array_equal(given, before)


class Drawn:
    """An annotated picture, with what was written where and which boxes labels got."""

    def __init__(self, monkeypatch, rgb, report):
        self.boxes, self.bars, self.texts = {}, [], []
        real_place, real_text = labels.place, ImageDraw.ImageDraw.text

        def spy(wanted, field, taken, ink, gap):
            self.boxes.update(real_place(wanted, field, taken, ink, gap))
            self.bars.extend(taken)
            return dict(self.boxes)

        def text(draw, xy, said, *args, **options):
            left, top, right, bottom = options["font"].getbbox(said)
            box = (xy[0] + left, xy[1] + top, xy[0] + right, xy[1] + bottom)
            self.texts.append(Text(said, xy, box, options["font"], options["fill"], draw._image))
            return real_text(draw, xy, said, *args, **options)

        with monkeypatch.context() as patch:
            patch.setattr(naming, "place", spy)
            patch.setattr(ImageDraw.ImageDraw, "text", text)
            self.out = annotate(rgb, report, 0)
        self.width = self.out.shape[1]
        self.size_px = self.width / FONT_SHARE
        self.strip = [t for t in self.texts if t.image is self.image_of(tr("tape"))]
        on_photo = self.image_of(tr("{length} on the dog", length="").strip())
        self.photo = [t for t in self.texts if t.image is on_photo]
        self.shown = np.asarray(on_photo)
        self.banner = self.out.shape[0] - self.shown.shape[0] - self.strip[0].image.height

    def image_of(self, word):
        return next(t.image for t in self.texts if word in t.said)

    def rows(self):
        """The strip's texts, line by line from the top, each from the left."""
        lines = {}
        for text in sorted(self.strip, key=lambda t: (t.xy[1], t.xy[0])):
            lines.setdefault(round(text.xy[1]), []).append(text)
        return list(lines.values())


@dataclasses.dataclass
class Text:
    said: str
    xy: tuple
    box: tuple
    font: ImageFont.FreeTypeFont
    fill: tuple
    image: Image.Image

    @property
    def size(self):
        return self.font.size

    def ground(self):
        """The commonest colour behind it."""
        left, top, right, bottom = (round(v) for v in self.box)
        part = np.asarray(self.image)[top:bottom, left:right].reshape(-1, 3)
        numbers, counts = np.unique(part @ np.array([65536, 256, 1]), return_counts=True)
        return tuple(int(numbers[counts.argmax()]).to_bytes(3, "big"))


SHAPES = [
    (4032, 3024),
    (1512, 2016),
    (1200, 900),
    (640, 480),
    (160, 120),
    (4000, 1200),
    (400, 1600),
]
NAMES = {*LANDMARKS, *HELPER_LANDMARKS, "reference"}


def some_at_once(first, *others):
    """Every combination, of which those that show each value at least once are quick tests."""
    ways = list(product(first, *others))
    count = max(len(first), *map(len, others))
    quick = {tuple(each[k % len(each)] for each in (first, *others)) for k in range(count)}
    return [
        pytest.param(
            *(way[0] if isinstance(way[0], tuple) else way[:1]),
            *way[1:],
            marks=() if way in quick else pytest.mark.slow,
        )
        for way in ways
    ]


def overlap(a, b):
    """Area two boxes share, px²."""
    width = min(a[2], b[2]) - max(a[0], b[0])
    height = min(a[3], b[3]) - max(a[1], b[1])
    return max(width, 0.0) * max(height, 0.0)


def with_verdicts(report, *verdicts):
    spans = tuple(
        dataclasses.replace(span, verdict=verdict)
        for span, verdict in zip(report.spans, verdicts, strict=True)
    )
    return dataclasses.replace(report, spans=spans)


def with_markings(report, *markings):
    case = report.case
    photos = (dataclasses.replace(case.photos[0], markings=markings),)
    return dataclasses.replace(report, case=dataclasses.replace(case, photos=photos))


@cache
def drawn(width: int, height: int, unit: str = "in", verdicts: tuple[str, ...] = ()) -> Drawn:
    """The hand-made report on a plain photo of a size, drawn once for all that look at it."""
    report = report_for(width, height, unit=unit)
    with pytest.MonkeyPatch.context() as patch:
        return Drawn(
            patch, photo(width, height), with_verdicts(report, *verdicts) if verdicts else report
        )


@pytest.mark.parametrize(("width", "height"), SHAPES)
@pytest.mark.parametrize("unit", ["cm", "in"])
def test_labels_do_not_overlap_and_lie_on_the_photo(width, height, unit):
    got = drawn(width, height, unit)
    assert set(got.boxes) == NAMES
    named = [*got.boxes.items(), *(("bar", bar) for bar in got.bars)]
    assert len(named) == 10
    for i, (name, box) in enumerate(named):
        assert 0 <= box[0] < box[2] <= got.shown.shape[1], name
        assert 0 <= box[1] < box[3] <= got.shown.shape[0], name
        for other, its in named[:i]:
            assert overlap(box, its) == 0.0, (name, other)


@pytest.mark.parametrize(("width", "height"), SHAPES)
def test_labels_cover_no_mark_and_no_reference(width, height):
    report = report_for(width, height)
    got = drawn(width, height)
    left, top, right, _ = frame_of(report, width, height)
    scale = got.width / (right - left)
    ring = 0.3 * got.size_px
    marks = report.case.photos[0].markings[0].marks.values()
    things = [
        ((x - left) * scale + dx, (y - top) * scale + dy)
        for x, y in marks
        for dx in (-ring, ring)
        for dy in (-ring, ring)
    ]
    things += [((x - left) * scale, (y - top) * scale) for x, y in report.photos[0].reference_px]
    for box in (*got.boxes.values(), *got.bars):
        for x, y in things:
            assert not (box[0] < x < box[2] and box[1] < y < box[3])


def test_all_eight_marks_and_the_reference_are_named_on_the_photo(monkeypatch):
    got = Drawn(monkeypatch, photo(), report_for(1344, 1008))
    assert sorted(t.said for t in got.photo) == [
        "4 in on the dog",
        "back",
        "breastbone",
        "card",
        "chest bottom",
        "front foot",
        "last rib",
        "rear foot",
        "shoulder top",
        "tail base",
    ]


@pytest.mark.parametrize(("width", "height"), SHAPES)
def test_leaders_reach_their_mark(monkeypatch, width, height):
    """From the label's edge to the ring, and no line ends beside it."""
    lines = []
    real = naming._leader

    def leader(draw, label, box, size_px):
        lines.append((label, box, naming.leader_of(label, box), size_px))
        real(draw, label, box, size_px)

    monkeypatch.setattr(naming, "_leader", leader)
    annotate(photo(width, height), report_for(width, height), 0)
    assert len(lines) == 9
    for label, box, (near, end), _ in lines:
        if not label.round:
            continue
        radius = (label.shape[2] - label.shape[0]) / 2
        x, y = label.anchor
        assert np.hypot(end[0] - x, end[1] - y) <= radius + 1e-6
        on_edge = np.hypot(near[0] - x, near[1] - y) <= radius
        assert on_edge or np.hypot(end[0] - x, end[1] - y) == pytest.approx(radius)
        assert box[0] <= near[0] <= box[2]
        assert box[1] <= near[1] <= box[3]


def test_whose_picture_it_is_and_what_would_fit(monkeypatch):
    report = made_report(photos=3)
    moved = report_for(1344, 1008)
    entries = moved.case.photos * 3
    case = dataclasses.replace(moved.case, photos=entries)
    report = dataclasses.replace(report, case=case, photos=moved.photos * 3)
    said = []
    real = ImageDraw.ImageDraw.text
    monkeypatch.setattr(
        ImageDraw.ImageDraw,
        "text",
        lambda draw, xy, text, *a, **k: (said.append(text), real(draw, xy, text, *a, **k))[1],
    )
    annotate(photo(), report, 1, told=("2026-17", "2026-03-29", "\u202ebad"))
    whole = " ".join(said)
    assert "Order 1042 · Juno · 2026-17 · 2026-03-29 · bad" in whole
    assert "Photo 2 of 3; the lengths below are from all 3 together." in whole
    name, value, _ = report.explanations[0].candidates[0]
    assert name == "rear_length"
    assert f"This would fit: rear length {value}." in whole
    said.clear()
    annotate(photo(), moved, 0)
    assert "Photo" not in " ".join(said)


def test_every_reference_has_a_short_name():
    assert set(SHORT_REFERENCES) == set(REFERENCES)
    for code in LANGUAGES:
        with speaking(code):
            assert all(len(tr(short)) <= 14 for short in SHORT_REFERENCES.values())


def german(width: int, height: int, unit: str = "cm") -> Drawn:
    """The hand-made report on a plain photo, drawn for somebody who reads German."""
    with speaking("de"), pytest.MonkeyPatch.context() as patch:
        report = report_for(width, height, unit=unit)
        said = headline("measure_again", ("rear_length",), "")
        return Drawn(patch, photo(width, height), dataclasses.replace(report, headline=said))


def test_every_word_of_a_german_picture_is_german() -> None:
    got = german(1344, 1008)
    assert sorted(t.said for t in got.photo) == [
        "10 cm am Hund",
        "Brust unten",
        "Brustbein",
        "Hinterfuß",
        "Karte",
        "Rücken",
        "Schwanzansatz",
        "Vorderfuß",
        "Widerrist",
        "letzte Rippe",
    ]
    written = [t.said for t in got.texts if t not in got.photo]
    figures = [
        said for said in written if re.fullmatch("[0-9]+,[0-9]( bis [0-9]+,[0-9])? cm", said)
    ]
    assert len(figures) == 3 * len(SPANS)
    assert sorted(set(written) - set(figures)) == sorted(
        [
            *("Neu messen", "Messen Sie neu: hintere Länge."),
            # the order's own name, and a value in its own unit
            *("Order 1042 · Juno", "Das würde passen: hintere Länge 13 1/4 Zoll."),
            *("Länge", "Maßband", "Foto, 95-%-Bereich"),
            *("halber Hals", "vordere Länge", "hintere Länge", "neu messen", "ganze Länge"),
        ]
    )


def said(message: Message, code: str) -> list[str]:
    """An entry's texts: as written in English, or translated."""
    held = message.id if code == "en" else message.string
    return [held] if isinstance(held, str) else list(held or ())


def missing(font: ImageFont.FreeTypeFont | ImageFont.ImageFont, letters: set[str]) -> set[str]:
    """Letters for which a font draws what it draws for a sign that it does not have."""
    none = bytes(font.getmask("\uffff"))
    return {letter for letter in letters if bytes(font.getmask(letter)) == none}


@pytest.mark.parametrize("code", LANGUAGES)
def test_every_letter_of_a_language_is_drawn(code: str) -> None:
    texts = [
        text
        for message in catalogue("de" if code == "en" else code)
        for text in said(message, code)
    ]
    letters = {letter for text in texts for letter in text if letter.isalpha()}
    assert len(letters) > 50
    with speaking(code):
        assert missing(lettering.font_for(40.0), letters) == set()


def test_a_report_made_in_another_language_is_drawn_with_its_letters() -> None:
    assert missing(lettering.font_for(40.0), set("äß")) == set("äß")
    assert missing(lettering.font_for(40.0, ["Maßband", "Länge"]), set("äß")) == set()


@pytest.mark.parametrize(("width", "height", "unit"), some_at_once(SHAPES, ["cm", "in"]))
def test_nothing_overlaps_on_a_german_picture(width: int, height: int, unit: str) -> None:
    got = german(width, height, unit)
    assert set(got.boxes) == NAMES
    boxes = [*got.boxes.values(), *got.bars]
    assert len(boxes) == 10
    for box in boxes:
        assert 0 <= box[0] < box[2] <= got.shown.shape[1]
        assert 0 <= box[1] < box[3] <= got.shown.shape[0]
    written = [text.box for text in got.strip]
    for group in (boxes, written):
        for i, box in enumerate(group):
            assert [overlap(box, other) for other in group[:i]] == [0.0] * i
    for text in got.photo:
        left, top, right, bottom = text.box
        inside = [
            b
            for b in boxes
            if b[0] <= left and b[1] <= top and right <= b[2] + 1 and bottom <= b[3] + 1
        ]
        assert len(inside) == 1, text.said
    for text in got.texts:
        assert 0 <= text.box[0] < text.box[2] <= text.image.width, text.said
        assert 0 <= text.box[1] < text.box[3] <= text.image.height, text.said
        assert text.size >= got.width / 36


VERDICT_SETS = [
    ("agrees",) * 4,
    ("agrees", "agrees", "measure_again", "agrees"),
    ("measure_again", "cannot_tell", "retake", "cannot_tell"),
    ("", "agrees", "retake", ""),
]


@pytest.mark.parametrize(
    ("width", "height", "unit", "verdicts"),
    some_at_once(SHAPES, ["cm", "in"], VERDICT_SETS),
)
def test_strip_is_a_table(width, height, unit, verdicts):
    report = report_for(width, height, unit=unit)
    got = drawn(width, height, unit, verdicts)
    strip = got.strip[0].image
    for i, text in enumerate(got.strip):
        assert 0 <= text.box[0] < text.box[2] <= strip.width, text.said
        assert 0 <= text.box[1] < text.box[3] <= strip.height, text.said
        for other in got.strip[:i]:
            assert overlap(text.box, other.box) == 0.0, (text.said, other.said)
    # Everything starts at a column's left edge, the tape values under "tape".
    columns = {t.xy[0] for t in got.rows()[0]}
    beyond = {t.xy[0] for t in got.strip} - columns
    assert len(columns) in (3, 4)
    assert len(beyond) <= 1  # the verdicts, on one line with the rest
    assert all(t.said in VERDICT_TITLES.values() for t in got.strip if t.xy[0] in beyond)
    tape = next(t.xy[0] for t in got.strip if t.said == "tape")
    readings = [format_length(span.reading_mm, unit) for span in report.spans]
    assert [t.said for t in got.strip if t.xy[0] == tape] == ["tape", *readings]
    said = [t.said for t in got.strip]
    assert [s for s in said if s in SPAN_TITLES.values()] == list(SPAN_TITLES.values())
    for span in report.spans:
        low = format_length(span.low_mm, unit).removesuffix(f" {unit}")
        assert format_length(span.photo_mm, unit) in said
        assert f"{low} to {format_length(span.high_mm, unit)}" in said
    words = " ".join(said)
    for verdict, title in VERDICT_TITLES.items():
        flagged = 0 if verdict == "agrees" else verdicts.count(verdict)
        assert words.count(title) == flagged


def test_strip_takes_two_lines_a_row_only_when_one_is_too_narrow(monkeypatch):
    short = with_verdicts(report_for(1344, 1008, unit="cm"), *VERDICT_SETS[0])
    assert len(Drawn(monkeypatch, photo(), short).rows()) == 1 + 4
    long = report_for(1344, 1008, unit="in")
    rows = Drawn(monkeypatch, photo(), long).rows()
    assert len(rows) == 1 + 2 * 4
    assert rows[5][0].said == "rear length"
    assert [t.said for t in rows[6]] == ["measure again", "12 1/8 to 14 1/2 in"]


def test_a_reading_not_given_is_said_so(monkeypatch):
    report = report_for(1344, 1008)
    spans = tuple(dataclasses.replace(s, reading_mm=None, verdict="") for s in report.spans)
    got = Drawn(monkeypatch, photo(), dataclasses.replace(report, spans=spans))
    assert [t.said for t in got.strip].count("not given") == 4
    assert {t.ground() for t in got.strip} == {DARK}


@pytest.mark.parametrize(("verdict", "verdicts"), some_at_once(VERDICTS, VERDICT_SETS))
def test_text_stands_out_where_it_is(monkeypatch, verdict, verdicts):
    rgb = np.random.default_rng(1).integers(0, 255, (1008, 1344, 3), dtype=np.uint8)
    report = with_verdicts(report_for(1344, 1008, verdict=verdict), *verdicts)
    got = Drawn(monkeypatch, rgb, report)
    for text in got.texts:
        one, two = relative_luminance(text.fill), relative_luminance(text.ground())
        assert (max(one, two) + 0.05) / (min(one, two) + 0.05) >= 4.5, text.said


def test_flagged_rows_stand_out(monkeypatch):
    got = Drawn(monkeypatch, photo(), report_for(1344, 1008))
    lines = got.rows()
    for number, line in enumerate(lines):
        ground = WHITE if number in (5, 6) else DARK
        assert {t.ground() for t in line} == {ground}


@pytest.mark.parametrize("unit", ["cm", "in"])
def test_text_is_large_and_in_the_owners_unit(unit):
    shown = {
        "in": ("18 in", "13 1/4 in", "4 in on the dog"),
        "cm": ("45.7 cm", "33.8 cm", "10 cm on the dog"),
    }[unit]
    for width, height in SHAPES:
        got = drawn(width, height, unit)
        assert set(shown) <= {t.said for t in got.texts}
        assert all(t.size >= got.width / 36 for t in got.texts)


@pytest.mark.parametrize(("width", "height"), SHAPES)
def test_text_stays_inside_its_box(width, height):
    got = drawn(width, height)
    holders = [*got.boxes.values(), *got.bars]
    assert len(got.photo) == len(holders)
    for text in got.photo:
        left, top, right, bottom = text.box
        holding = [
            b
            for b in holders
            if b[0] <= left and b[1] <= top and right <= b[2] + 1 and bottom <= b[3] + 1
        ]
        assert len(holding) == 1, text.said
    for text in got.texts:
        assert 0 <= text.box[0] < text.box[2] + 1 <= got.width + 1, text.said


# --- what is shown of the photo --------------------------------------------


def frame_of(report, width, height):
    markings = report.case.photos[0].markings
    return crop.frame_of(width, height, markings, report.photos[0].reference_px)


def test_frame_keeps_every_mark_and_the_reference_and_is_of_use():
    random = np.random.default_rng(7)
    for _ in range(500):
        width, height = (int(v) for v in random.integers(40, 5000, 2))
        size = np.array([width, height])
        centre, spread = random.uniform(0, 1, 2) * size, random.uniform(0.01, 0.6) * size
        names = random.permutation(list(MARKS))[: random.integers(0, 9)]
        markings = tuple(
            Marking({n: tuple(centre + spread * random.uniform(-1, 1, 2)) for n in names})
            for _ in range(random.integers(1, 4))
        )
        at = random.uniform(-0.2, 1.2, 2) * size
        reference = tuple(tuple(at + d) for d in ((0, 0), (30, 0), (30, 20), (0, 20)))
        if random.random() < 0.2:
            reference = ()
        frame = left, top, right, bottom = crop.frame_of(width, height, markings, reference)
        assert all(isinstance(edge, int) for edge in frame)
        assert 0 <= left < right <= width
        assert 0 <= top < bottom <= height
        for x, y in (*(xy for m in markings for xy in m.marks.values()), *reference):
            assert left <= min(max(x, 0), width) <= right
            assert top <= min(max(y, 0), height) <= bottom
        wide, tall = right - left, bottom - top
        assert wide >= min(width, MIN_WIDTH / 2)
        assert wide >= min(width, 0.75 * (tall - 2))
        assert tall >= min(height, (wide - 2) / 1.5)


def test_frame_goes_to_the_dog_with_room_for_its_head():
    report = report_for(4032, 3024)
    left, top, right, bottom = frame_of(report, 4032, 3024)
    assert (right - left) * (bottom - top) < 0.8 * 4032 * 3024
    trunk = MARKS["tail_base"][0] - MARKS["breastbone"][0]
    assert left <= MARKS["breastbone"][0] - 0.45 * trunk
    assert top <= MARKS["shoulder_top"][1] - 0.4 * trunk
    # A dog that looks the other way has the same room.
    turned = {name: (4032 - x, y) for name, (x, y) in MARKS.items()}
    ours, its = (crop.frame_of(4032, 3024, (Marking(m),), ()) for m in (MARKS, turned))
    assert (4032 - its[2], its[1], 4032 - its[0], its[3]) == pytest.approx(ours, abs=1)
    # Without feet the legs are still kept.
    trunk_only = {n: xy for n, xy in MARKS.items() if "foot" not in n}
    bare = crop.frame_of(4032, 3024, (Marking(trunk_only),), ())
    assert bare[3] >= MARKS["rear_foot"][1]


def test_frame_is_the_whole_photo_when_nothing_says_where_the_dog_is():
    for marks in ({}, {"last_rib": (50.0, 60.0)}):
        assert crop.frame_of(4000, 3000, (Marking(marks),), CORNERS) == (0, 0, 4000, 3000)


def spotted(width, height):
    """A photo with a red spot under each mark, and where they are; the report for it."""
    report = report_for(width, height)
    marks = {
        name: (float(round(x)), float(round(y)))
        for name, (x, y) in report.case.photos[0].markings[0].marks.items()
    }
    rgb = photo(width, height)
    radius = max(1, round(4 * width / 1344))
    for x, y in marks.values():
        cv2.circle(rgb, (int(x), int(y)), radius, (255, 0, 0), -1)
    return rgb, with_markings(report, Marking(marks)), marks


def spots(rgb):
    """Centres of the red spots, px."""
    red = (rgb[..., 0] > 180) & (rgb[..., 1] < 70) & (rgb[..., 2] < 70)
    _, _, stats, centres = cv2.connectedComponentsWithStats(red.astype(np.uint8))
    return centres[1:][stats[1:, cv2.CC_STAT_AREA] > 8]


@pytest.mark.parametrize(("width", "height"), [(1344, 1008), (4032, 3024), (640, 480)])
def test_marks_are_drawn_where_they_were_put(width, height):
    rgb, report, marks = spotted(width, height)
    out = annotate(rgb, report, 0)
    size = out.shape[1] / FONT_SHARE
    seen = spots(out)
    assert len(seen) == len(marks)  # every marked pixel stays visible, inside its ring
    angles = np.arange(0, 2 * np.pi, 0.05)
    for x, y in seen:
        shares = []
        for radius in (0.40 * size - size / 16, 0.30 * size - size / 16):
            columns = np.round(x + radius * np.cos(angles)).astype(int)
            lines = np.round(y + radius * np.sin(angles)).astype(int)
            shares.append((out[lines, columns].min(axis=1) > 180).mean())
        assert max(shares) > 0.95, (x, y)


@pytest.mark.parametrize(("width", "height"), [(1344, 1008), (4032, 3024), (640, 480)])
def test_reference_is_outlined_where_it_is(width, height):
    rgb, report, marks = spotted(width, height)
    out = annotate(rgb, report, 0)
    # The way from the photo to the picture, from the spots alone.
    seen = spots(out)
    put = np.array(list(marks.values()))
    scale = np.ptp(seen[:, 0]) / np.ptp(put[:, 0])
    shift = seen.min(axis=0) - scale * put.min(axis=0)
    corners = np.array(report.photos[0].reference_px) * scale + shift
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        for t in (0.2, 0.5, 0.8):
            x, y = np.round(a + t * (b - a)).astype(int)
            assert out[y - 1 : y + 2, x - 1 : x + 2].min(axis=2).max() > 200


@pytest.mark.parametrize(("width", "height"), [(1344, 1008), (4032, 3024), (640, 480)])
@pytest.mark.parametrize(("unit", "mm"), [("cm", 100.0), ("in", 101.6)])
def test_scale_bar_is_as_long_as_it_says(monkeypatch, width, height, unit, mm):
    rgb, report, marks = spotted(width, height)
    # A fine scale, so that a per cent is more than the pen's width.
    fine = dataclasses.replace(report.photos[0], px_per_mm=5.0 * width / 1344)
    case = dataclasses.replace(report.case, unit=unit)
    report = dataclasses.replace(report, case=case, photos=(fine,))
    got = Drawn(monkeypatch, rgb, report)
    # The picture's scale, from spots a known way apart on the photo.
    apart = np.ptp([x for x, _ in marks.values()])
    scale = np.ptp(spots(got.out)[:, 0]) / apart
    (bar,) = got.bars
    left, top, right, bottom = (round(v) for v in bar)
    runs = []
    for row in got.shown[top:bottom, left:right]:
        white = np.all(row > 200, axis=1).astype(int)
        edges = np.flatnonzero(np.diff(np.concatenate([[0], white, [0]])))
        runs += [b - a for a, b in zip(edges[::2], edges[1::2], strict=True)]
    pen = round(got.size_px / 10)
    assert max(runs) == pytest.approx(mm * report.photos[0].px_per_mm * scale + pen, abs=2.5)


def along(report, width, height, out, banner, span, share, aside=0.0):
    """The pixel at a share of the way along a straight span, so far to its side."""
    left, top, right, _ = frame_of(report, width, height)
    scale = out.shape[1] / (right - left)
    marks = report.case.photos[0].markings[0].marks
    a, b = (np.array(marks[end]) for end in SPAN_ENDS[span])
    way = (b - a) / np.hypot(*(b - a))
    at = ((a + share * (b - a)) - (left, top)) * scale + aside * np.array([-way[1], way[0]])
    return out[round(at[1]) + banner, round(at[0])].astype(int)


def close(pixel, colour):
    return np.abs(pixel - np.array(colour)).max() < 12


@pytest.mark.parametrize("flagged", ["", "half_neck", "rear_length", "full_length"])
def test_flagged_lines_are_dashed_and_thicker(monkeypatch, flagged):
    report = report_for(1344, 1008)
    verdicts = ["measure_again" if span == flagged else "agrees" for span in SPANS]
    report = with_verdicts(report, *verdicts)
    got = Drawn(monkeypatch, photo(), report)
    shares = np.linspace(0.2, 0.8, 200)
    thin = got.size_px / 8

    def pixels(span, aside):
        return [along(report, 1344, 1008, got.out, got.banner, span, s, aside) for s in shares]

    for span in ("half_neck", "rear_length"):
        colours = [close(p, SPAN_COLOURS[span]) for p in pixels(span, 0)]
        whites = [close(p, WHITE) for p in pixels(span, 0)]
        if span == flagged:
            assert 0.3 < np.mean(colours) < 0.7
            assert 0.2 < np.mean(whites) < 0.6
            assert any(close(p, SPAN_COLOURS[span]) for p in pixels(span, 1.1 * thin))
        else:
            assert np.mean(colours) == 1.0
            assert not any(close(p, SPAN_COLOURS[span]) for p in pixels(span, 1.1 * thin))
    # The full length shows on both sides of the line that lies on it.
    for aside in (-2.3 * thin, 2.3 * thin):
        band = pixels("rear_length", aside)
        colours = np.mean([close(p, SPAN_COLOURS["full_length"]) for p in band])
        if flagged == "full_length":
            assert 0.3 < colours < 0.7
            assert any(close(p, WHITE) for p in band)
        else:
            assert colours == 1.0


def test_swatches_have_the_colours_of_the_lines(monkeypatch):
    got = Drawn(monkeypatch, photo(), report_for(1344, 1008))
    strip = np.asarray(got.strip[0].image).astype(int)
    edge = min(t.xy[0] for t in got.strip if t.said in SPAN_TITLES.values())
    titles = {t.said: t for t in got.strip}
    for span, title in SPAN_TITLES.items():
        text = titles[title]
        part = strip[round(text.box[1]) : round(text.box[3]), : int(edge)].reshape(-1, 3)
        counts = {s: sum(close(p, SPAN_COLOURS[s]) for p in part) for s in SPANS}
        assert counts[span] > 2 * got.size_px * got.size_px / 8
        assert sum(counts.values()) == counts[span]


@pytest.mark.slow
def test_several_markings_and_points_off_the_picture():
    report = report_for(1344, 1008)
    first = report.case.photos[0].markings[0]

    def moved(dx, dy, names=MARKS):
        return Marking(
            {n: (x + dx, y + dy) if n in names else (x, y) for n, (x, y) in first.marks.items()}
        )

    for markings in (
        (first, moved(5, -4)),
        (moved(-4000, 4000),),
        (moved(-600, 0, ("breastbone",)),),
        (first, Marking({})),
        (Marking({}), first),
        (Marking(dict.fromkeys(first.marks, (600.0, 400.0))),),
    ):
        flagged = with_verdicts(with_markings(report, *markings), *VERDICT_SETS[2])
        out = annotate(photo(), flagged, 0)
        assert MIN_WIDTH <= out.shape[1] <= MAX_WIDTH


def test_no_lengths_no_strip():
    report = dataclasses.replace(report_for(1344, 1008), spans=())
    assert (
        annotate(photo(), report, 0).shape[0]
        < annotate(photo(), report_for(1344, 1008), 0).shape[0] - 4 * 1000 / FONT_SHARE
    )


def test_numbers_are_not_torn_from_their_units():
    draw = ImageDraw.Draw(Image.new("RGB", (10, 10)))
    font = ImageFont.load_default(20)
    text = "Measure the rear length again: 18 in on the tape, about 13 1/4 in on the photo."
    for room in range(150, 600, 7):
        lines = lettering.wrapped(draw, text, font, room)
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
    wanted = [Sought(str(k), (50.0, 50.0), (60.0, 40.0), (1.0, 0.0)) for k in range(4)]
    got = place(wanted, (0, 0, 100, 100), [], np.zeros((0, 3)), 4.0)
    assert 1 <= len(got) < 4
    assert place(wanted, (0, 0, 30, 30), [], np.zeros((0, 3)), 4.0) == {}


def test_place_keeps_off_ink():
    ink = np.array([[x, y, 50.0] for x in range(200, 400, 10) for y in range(0, 400, 10)])
    label = Sought("a", (200.0, 200.0), (80.0, 30.0), (1.0, 0.0))
    box = place([label], (0, 0, 400, 400), [], ink, 5.0)["a"]
    assert box[2] <= 200


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
    with pytest.raises(PhotocheckError, match="disk is full"):
        write_picture(target, photo(10, 10))
    assert target.read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.png"]


def test_missing_folder(tmp_path):
    with pytest.raises(PhotocheckError, match="cannot be written"):
        write_picture(tmp_path / "none" / "a.png", photo(10, 10))


def test_a_stance_is_said_and_drawn():
    from photocheck.report.model import StanceFinding

    report = report_for(1344, 1008)
    line = ((300.0, 500.0), (900.0, 520.0))
    finding = StanceFinding("crouching", "The dog seems to crouch.", "Wait.", 4.0, (line,))
    result = dataclasses.replace(report.photos[0], stance=(finding,))
    spoken = dataclasses.replace(report, photos=(result,))
    without, with_it = annotate(photo(), report, 0), annotate(photo(), spoken, 0)
    assert with_it.shape[0] > without.shape[0]  # one line more in the banner
    grown = with_it.shape[0] - without.shape[0]
    assert np.any(with_it[grown:] != without, axis=2).sum() > 200  # and the evidence drawn


def test_the_front_is_drawn_as_the_tape_runs_and_not_straight_through_the_foreleg():
    """Through the turn that the body's model expects; towards the ground for either way round."""
    marks = dict.fromkeys(LANDMARKS, (0.0, 0.0)) | {"breastbone": (100.0, 50.0)}
    for last_rib in ((300.0, 50.0), (-100.0, 50.0)):
        lines = harness_lines(marks | {"last_rib": last_rib}, [], Unmoved())
        drawn = np.array(lines["front_length"])
        assert tuple(drawn[0]) == (100.0, 50.0)
        assert tuple(drawn[-1]) == last_rib
        lowest = drawn[drawn[:, 1].argmax()]
        assert lowest[1] == pytest.approx(50.0 + FRONT_TURN_BELOW.median * 200.0, abs=1.0)
        assert lowest[0] == pytest.approx((100.0 + last_rib[0]) / 2, abs=15.0)
    # where somebody marked its bends, that is its way
    bent = Marking({}, {"front_length": ((150.0, 90.0),)})
    assert len(harness_lines(marks, [bent], Unmoved())["front_length"]) == 3


class Unmoved:
    """A view that is the whole photo."""

    def at(self, xy):
        return xy
