import io
from math import hypot, sqrt

import numpy as np
import pytest
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from photocheck.photo.camera import (
    FOCAL_SPREADS,
    FRAME_DIAGONAL_MM,
    camera_facts,
    focal_35mm_from_px,
    focal_px,
)
from photocheck.photo.load import load_photo
from photocheck.photo.whole import NAMED_FROM

SIZE = (4032, 3024)
FOCAL, X, Y = 0x920A, 0xA002, 0xA003
PLANE_X, PLANE_Y, PLANE_UNIT, ZOOM, F35 = 0xA20E, 0xA20F, 0xA210, 0xA404, 0xA405


def facts(exif, make="Maker", size=SIZE, **given):
    return camera_facts({0x010F: make, 0x0110: "Model"}, exif, size, **given)


def test_diagonal_convention_by_hand():
    assert pytest.approx(43.2666, abs=1e-4) == FRAME_DIAGONAL_MM
    # A 36 x 24 picture of 3600 x 2400 px at 50 mm: 100 px per mm.
    assert focal_px(50.0, 3600, 2400) == pytest.approx(5000.0)
    # A 4:3 sensor of 8 x 6 mm (diagonal 10 mm) with a 6 mm lens and 500 px per mm.
    equivalent = 6.0 * FRAME_DIAGONAL_MM / 10.0
    assert focal_px(equivalent, 4000, 3000) == pytest.approx(3000.0)
    assert focal_px(equivalent, 3000, 4000) == pytest.approx(3000.0)
    assert focal_35mm_from_px(focal_px(26.0, 4032, 3024), 4032, 3024) == pytest.approx(26.0)


def test_given_wins_over_the_file():
    got = facts({F35: 26}, given_35mm=52.0)
    assert (got.focal_35mm, got.focal_source) == (52.0, "given")


def test_35_mm_as_written():
    got = facts({F35: 26, FOCAL: IFDRational(425, 100), X: 4032, Y: 3024})
    assert got == type(got)(26.0, "exif 35 mm", "Maker", "Model", FOCAL_SPREADS["exif 35 mm"])


@pytest.mark.parametrize("exif", [{}, {F35: 0}, {F35: 3}, {F35: 5000}, {F35: "x"}, {FOCAL: 4.2}])
def test_nothing_usable_leaves_the_prior(exif):
    got = facts(exif)
    assert (got.focal_35mm, got.focal_source, got.focal_spread) == (None, "prior", None)


def test_a_35_mm_figure_that_contradicts_the_lens_is_dropped():
    # A 3.99 mm lens at "177 mm" would need a sensor of 1 mm.
    assert facts({F35: 177, FOCAL: 3.99}).focal_35mm is None


def test_sensor_resolution():
    # 4032 px on 7.05 mm: 5719 px per cm, so the diagonal is 8.81 mm.
    per_cm = 4032 / 0.705
    got = facts({FOCAL: 5.7, PLANE_X: per_cm, PLANE_Y: per_cm, PLANE_UNIT: 3, X: 4032, Y: 3024})
    assert got.focal_35mm == pytest.approx(5.7 * FRAME_DIAGONAL_MM / hypot(7.05, 7.05 * 0.75))
    assert got.focal_source == "exif focal length and sensor"
    zoomed = facts({FOCAL: 5.7, PLANE_X: per_cm, PLANE_UNIT: 3, ZOOM: 2.0})
    assert zoomed.focal_35mm == pytest.approx(2 * got.focal_35mm)
    inch = facts({FOCAL: 5.7, PLANE_X: per_cm * 2.54, PLANE_UNIT: 2})
    assert inch.focal_35mm == pytest.approx(got.focal_35mm)


def test_sensor_resolution_of_an_evenly_resized_copy():
    per_cm = 4032 / 0.705
    exif = {FOCAL: 5.7, PLANE_X: per_cm, PLANE_UNIT: 3, X: 4032, Y: 3024}
    assert facts(exif, size=(1600, 1200)).focal_35mm == pytest.approx(facts(exif).focal_35mm)


def test_digital_zoom():
    # a bug report of a panorama program: 55 mm at a zoom of 1.951 is a 28 mm lens
    included = facts({F35: 55, FOCAL: 3.99, ZOOM: 1.951})
    assert (included.focal_35mm, included.focal_source) == (55.0, "exif 35 mm")
    # 26 mm at a zoom of 2 would be a 13 mm lens if the zoom were included
    left_out = facts({F35: 26, FOCAL: 5.4, ZOOM: 2.0})
    assert (left_out.focal_35mm, left_out.focal_source) == (52.0, "exif 35 mm")
    unclear = facts({F35: 35, FOCAL: 5.4, ZOOM: 1.8})
    assert unclear.focal_35mm == pytest.approx(35 * sqrt(1.8))
    assert unclear.focal_source == "exif 35 mm, zoom unclear"
    # Both readings, 35 and 63 mm, lie within about one standard deviation.
    assert abs(np.log(35 / unclear.focal_35mm)) == pytest.approx(unclear.focal_spread, rel=0.02)
    for unused in (0, 1, IFDRational(65536, 65535), IFDRational(0, 1), IFDRational(0, 0)):
        assert facts({F35: 26, FOCAL: 5.4, ZOOM: unused}).focal_source == "exif 35 mm"


def test_the_focal_length_belongs_to_the_frame_that_the_file_tells():
    cut = facts({F35: 26, X: 4032, Y: 3024}, size=(3000, 2900))
    assert cut.focal_35mm == 26.0
    assert (cut.framing.why, cut.framing.frame_px) == ("recorded", (4032.0, 3024.0))
    for size in ((3024, 4032), (2048, 1536)):
        whole = facts({F35: 26, X: 4032, Y: 3024}, size=size)
        assert whole.focal_35mm == 26.0
        assert whole.framing.cut < NAMED_FROM
    # a size that programs do not ask for may be either
    assert facts({F35: 26, X: 4032, Y: 3024}, size=(2016, 1512)).framing.why == "smaller"


def with_exif(kind: str) -> bytes:
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Maker\0", b"Model"
    exif.get_ifd(0x8769).update({F35: 26, FOCAL: IFDRational(54, 10)})
    exif.get_ifd(0x8825).update({1: "N", 2: (47.0, 30.0, 12.0)})
    held = io.BytesIO()
    Image.new("RGB", (400, 300), "red").save(held, kind, exif=exif)
    return held.getvalue()


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_read_from_a_file_and_nothing_else_kept(kind):
    photo = load_photo(with_exif(kind))
    assert photo.camera.focal_35mm == 26.0
    assert photo.camera.make == "Maker"
    held = {*vars(photo), *vars(photo.camera)}
    assert held == {
        "rgb", "camera", "sha256", "file_format",
        "focal_35mm", "focal_source", "make", "model", "focal_spread", "framing",
    }  # fmt: skip


def test_broken_exif_is_no_reason_to_refuse():
    data = bytearray(with_exif("JPEG"))
    at = data.index(b"Exif\0\0") + 6
    data[at + 8 : at + 60] = b"\xff" * 52
    photo = load_photo(bytes(data))
    assert photo.size == (400, 300)


# Focal length and 35 mm equivalent as in files of the collection ianare/exif-samples; the sensors'
# sizes, mm, by makers' specifications (from memory; phones' by the pixel's pitch).
WRITTEN = {
    "iPhone 11 Pro Max": (4.25, 26, (4032 * 1.4e-3, 3024 * 1.4e-3)),
    "iPhone 13 Pro Max": (5.7, 26, (4032 * 1.9e-3, 3024 * 1.9e-3)),
    "Coolpix P6000, wide": (6.0, 28, (7.44, 5.58)),
    "Coolpix P6000, long": (24.0, 112, (7.44, 5.58)),
    "D300": (105.0, 157, (23.6, 15.8)),
    "D70s": (60.0, 90, (23.7, 15.6)),
    "EX-Z750": (7.9, 38, (7.18, 5.32)),
}


def test_what_makers_write_is_as_near_as_is_believed():
    off = np.array(
        [np.log(f35 * hypot(*mm) / FRAME_DIAGONAL_MM / f) for f, f35, mm in WRITTEN.values()]
    )
    spread = FOCAL_SPREADS["exif 35 mm"]
    assert np.abs(off).max() < 2.0 * spread
    assert 0.1 * spread < np.sqrt(np.mean(off**2)) < spread


def test_a_sensors_resolution_in_a_picture_made_smaller_is_believed_less():
    told = {FOCAL: 7.4, PLANE_X: 13745.7, PLANE_UNIT: 2}
    whole = facts({**told, X: 4000, Y: 3000}, size=(4000, 3000))
    assert whole.focal_spread == FOCAL_SPREADS["exif focal length and sensor"]
    # a G9's file whose tags were made to go with the smaller picture: 57 mm, truly 35
    smaller = facts({**told, X: 2560, Y: 1600}, size=(2560, 1600))
    assert smaller.focal_35mm == pytest.approx(57.3, abs=0.3)
    assert np.log(57.3 / 35.0) < 2.0 * smaller.focal_spread
    kept = facts({**told, X: 4000, Y: 3000}, size=(1600, 1200))
    assert kept.focal_spread == FOCAL_SPREADS["exif focal length and sensor"]
