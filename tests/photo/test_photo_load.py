import hashlib
import io
import struct
import sys
import warnings
import zlib
from contextlib import suppress

import cv2
import numpy as np
import pillow_heif
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageFile, ImageOps

from photocheck.errors import PhotoError
from photocheck.photo import clean as clean_module
from photocheck.photo import kind as kind_module
from photocheck.photo import load as load_module
from photocheck.photo.load import MAX_BYTES, load_photo, turned
from tests.support.memory import most_room
from tests.support.pictures import UNDOING, encoded, exif_of, near, quarters

# --- orientation -----------------------------------------------------------


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_orientation_gives_the_upright_picture(orientation, kind):
    upright = quarters()
    stored = np.ascontiguousarray(UNDOING[orientation](upright))
    photo = load_photo(encoded(stored, kind, exif=exif_of(orientation)))
    assert photo.size == (320, 200)
    assert near(photo.rgb, upright)
    assert photo.rgb.flags.c_contiguous
    assert photo.rgb.dtype == np.uint8


@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientation_agrees_with_opencv_and_pillow(orientation, tmp_path):
    stored = np.ascontiguousarray(UNDOING[orientation](quarters()))
    path = tmp_path / "photo.jpg"
    path.write_bytes(encoded(stored, exif=exif_of(orientation), quality=95))
    rgb = load_photo(path).rgb
    by_opencv = cv2.cvtColor(cv2.imread(str(path), cv2.IMREAD_COLOR), cv2.COLOR_BGR2RGB)
    assert np.array_equal(rgb, by_opencv)
    by_pillow = np.asarray(ImageOps.exif_transpose(Image.open(path)).convert("RGB"))
    assert np.array_equal(rgb, by_pillow)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_turned_is_a_permutation_of_pixels(orientation):
    rgb = np.arange(2 * 3 * 3, dtype=np.uint8).reshape(2, 3, 3)
    out = turned(rgb, orientation)
    assert sorted(out.ravel()) == sorted(rgb.ravel())
    assert np.array_equal(np.ascontiguousarray(UNDOING[orientation](out)), rgb)


@pytest.mark.parametrize("wrong", [0, 9, 77])
def test_senseless_orientation_is_ignored(wrong):
    assert near(load_photo(encoded(quarters(), exif=exif_of(wrong))).rgb, quarters())


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_heif_is_turned_once(orientation):
    upright = quarters()
    stored = np.ascontiguousarray(UNDOING[orientation](upright))
    size = (stored.shape[1], stored.shape[0])
    held = io.BytesIO()
    # Writes the turn into the container as well as into EXIF, as phones do.
    exif = exif_of(orientation).tobytes()
    pillow_heif.encode("RGB", size, stored.tobytes(), held, exif=exif, quality=90)
    photo = load_photo(held.getvalue())
    assert photo.file_format == "HEIF"
    assert photo.size == (320, 200)
    assert near(photo.rgb, upright)


# --- kinds of picture ------------------------------------------------------


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_kind_is_told_by_content_not_by_name(kind, tmp_path):
    data = encoded(quarters(), kind)
    path = tmp_path / "photo.txt"
    path.write_bytes(data)
    photo = load_photo(path)
    assert photo.file_format == kind
    assert photo.sha256 == hashlib.sha256(data).hexdigest()
    assert near(photo.rgb, quarters())
    assert near(load_photo(data).rgb, photo.rgb, 1)


def test_cmyk_grey_and_palette():
    assert near(load_photo(encoded(Image.fromarray(quarters()).convert("CMYK"))).rgb, quarters())
    grey = Image.fromarray(quarters()).convert("L")
    for kind in ("JPEG", "PNG"):
        rgb = load_photo(encoded(grey, kind)).rgb
        assert near(rgb, np.repeat(np.asarray(grey)[:, :, None], 3, axis=2))
    palette = Image.fromarray(quarters()).convert("P", palette=Image.Palette.ADAPTIVE)
    assert near(load_photo(encoded(palette, "PNG")).rgb, quarters())


def test_sixteen_bit_grey_is_scaled_not_clipped():
    ramp = np.linspace(0, 65535, 320).astype(np.uint16)[None, :].repeat(200, axis=0)
    done, data = cv2.imencode(".png", ramp)
    assert done
    rgb = load_photo(data.tobytes()).rgb
    assert rgb[0, 0].tolist() == [0, 0, 0]
    assert rgb[0, -1].tolist() == [255, 255, 255]
    assert abs(int(rgb[0, 160, 0]) - 128) <= 1


def test_sixteen_bit_colour():
    wide = quarters()[:, :, ::-1].astype(np.uint16) * 257
    done, data = cv2.imencode(".png", wide)
    assert done
    assert near(load_photo(data.tobytes()).rgb, quarters(), 2)


@pytest.mark.parametrize("kind", ["PNG", "WEBP"])
def test_transparency_lies_over_white(kind):
    rgba = np.dstack([quarters(), np.full((200, 320), 255, np.uint8)])
    rgba[:100, :160, 3] = 0
    options = {"lossless": True} if kind == "WEBP" else {}
    rgb = load_photo(encoded(Image.fromarray(rgba), kind, **options)).rgb
    assert rgb[10, 10].tolist() == [255, 255, 255]
    assert near(rgb[100:], quarters()[100:], 2)


def test_second_picture_behind_a_jpeg_is_ignored():
    first, second = Image.fromarray(quarters()), Image.fromarray(np.zeros((200, 320, 3), np.uint8))
    held = io.BytesIO()
    first.save(held, "MPO", save_all=True, append_images=[second])
    photo = load_photo(held.getvalue())
    assert photo.file_format == "JPEG"
    assert near(photo.rgb, quarters())


def test_progressive_jpeg_and_bytes_behind_it():
    data = encoded(quarters(), progressive=True) + b"moving part" * 100
    assert near(load_photo(data).rgb, quarters())


def test_fast_and_slow_ways_decode_alike(monkeypatch):
    noise = np.random.default_rng(1).integers(0, 255, (301, 403, 3), dtype=np.uint8)
    data = encoded(noise, quality=85)
    fast = load_photo(data).rgb
    monkeypatch.setattr(load_module, "_fast_jpeg", lambda data: None)
    assert np.array_equal(load_photo(data).rgb, fast)


# --- what is refused -------------------------------------------------------


def refused(data, match: str) -> PhotoError:
    with pytest.raises(PhotoError, match=match) as caught:
        load_photo(data)
    assert caught.value.do
    assert "\n" not in str(caught.value)
    return caught.value


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "HEIF"])
@pytest.mark.parametrize("share", [0.3, 0.6, 0.95])
def test_truncated_files(kind, share):
    noise = Image.fromarray(
        np.random.default_rng(2).integers(0, 255, (200, 320, 3), dtype=np.uint8)
    )
    if kind == "HEIF":
        held = io.BytesIO()
        pillow_heif.from_pillow(noise).save(held)
        data = held.getvalue()
    else:
        data = encoded(noise, kind)
    load_photo(data)
    refused(data[: int(len(data) * share)], "damaged or cut short")


def test_jpeg_missing_its_last_lines():
    noise = np.random.default_rng(3).integers(0, 255, (400, 320, 3), dtype=np.uint8)
    data = encoded(noise, quality=95)
    refused(data[:-2000], "damaged or cut short")


@pytest.mark.parametrize("kind", ["PNG", "WEBP"])
def test_moving_pictures(kind):
    frames = [Image.fromarray(np.roll(quarters(), k, axis=0)) for k in (0, 30, 60)]
    held = io.BytesIO()
    frames[0].save(held, kind, save_all=True, append_images=frames[1:])
    refused(held.getvalue(), "moving pictures")


def test_heif_sequence():
    refused(b"\0\0\0\x18ftyphevc\0\0\0\0hevcmsf1" + bytes(100), "moving pictures")


@pytest.mark.parametrize(
    ("data", "match"),
    [
        (b"", "empty"),
        (b"hello, this is no picture", "not a picture"),
        (b"GIF89a" + bytes(50), "GIF"),
        (b"BM" + bytes(50), "BMP"),
        (b"%PDF-1.7", "PDF"),
        (b"II*\0" + bytes(50), "TIFF"),
        (b"\0\0\0\x18ftypavif\0\0\0\0avifmif1" + bytes(50), "AVIF"),
        (b"\0\0\0\x18ftypisom\0\0\0\0isommp42" + bytes(50), "video"),
        (b"\xff\xd8\xff", "damaged"),
        (b"\x89PNG\r\n\x1a\n", "damaged"),
        (b"RIFF\0\0\0\0WEBP", "damaged"),
        (b"\0\0\0\x18ftypheic\0\0\0\0mif1heic", "damaged"),
    ],
)
def test_other_files(data, match):
    refused(data, match)


def png_claiming(width: int, height: int) -> bytes:
    def chunk(kind: bytes, body: bytes) -> bytes:
        return (
            struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        )

    head = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
    return (
        b"\x89PNG\r\n\x1a\n"
        + head
        + chunk(b"IDAT", zlib.compress(b"\0" * 100))
        + chunk(b"IEND", b"")
    )


@pytest.mark.parametrize(("width", "height"), [(10_000, 9_000), (12_000, 12_000), (40_000, 40_000)])
def test_bombs_are_refused_before_any_room_is_made_for_them(width, height):
    content = png_claiming(width, height)
    with warnings.catch_warnings(), most_room() as room:
        warnings.simplefilter("error")
        refused(content, "million")
    assert room.most < 1_000_000


def test_a_webp_that_claims_too_much_is_refused_before_it_is_opened(monkeypatch):
    # RFC 9649, 2.7: width and height less one, 24 bits each, from the 25th byte on.
    data = bytearray(encoded(quarters(), "WEBP", exif=exif_of(1)))
    assert data[12:16] == b"VP8X"
    data[24:30] = b"\x00\x40\x00\x00\x40\x00"
    monkeypatch.setattr(Image, "open", None)
    refused(bytes(data), "16385 x 16385")
    for options in ({}, {"lossless": True}):
        monkeypatch.setattr(load_module, "MAX_PIXELS", 63_999)
        refused(encoded(quarters(), "WEBP", **options), "320 x 200")


def test_too_long_too_small_and_too_heavy(tmp_path):
    refused(png_claiming(30_001, 120), "30001 x 120")
    refused(encoded(quarters(60, 40)), "only 60 x 40")
    refused(bytes(MAX_BYTES + 1), "MB")
    path = tmp_path / "big.jpg"
    with path.open("wb") as file:
        file.truncate(MAX_BYTES + 1)
    refused(path, "MB")


def test_what_is_just_as_heavy_as_may_be_is_read_and_written(monkeypatch):
    """A limit is the most that passes: a byte more is refused, or written coarser."""
    data = encoded(quarters(), "JPEG")
    written = clean_module.clean(data).content
    monkeypatch.setattr(kind_module, "MAX_BYTES", len(data))
    assert kind_module.kind_of(data) == "JPEG"
    monkeypatch.setattr(kind_module, "MAX_BYTES", len(data) - 1)
    with pytest.raises(PhotoError, match="MB are read"):
        kind_module.kind_of(data)
    monkeypatch.undo()
    monkeypatch.setattr(clean_module, "MAX_BYTES", len(written))
    assert clean_module.clean(data).content == written
    monkeypatch.setattr(clean_module, "MAX_BYTES", len(written) - 1)
    assert len(clean_module.clean(data).content) < len(written)


def test_missing_file_folder_and_bad_name(tmp_path):
    assert str(tmp_path / "none.jpg") in str(refused(tmp_path / "none.jpg", "no such photo"))
    refused(tmp_path, "folder")
    refused("a\0b", "cannot be opened")


@pytest.mark.parametrize("focal", [0.0, -3.0, 5.0, 2000.0, float("nan")])
def test_senseless_focal_length(focal):
    with pytest.raises(PhotoError, match="focal length"):
        load_photo(encoded(quarters()), focal_35mm=focal)


@settings(max_examples=60, deadline=None)
@given(
    st.integers(0, 10**6),
    st.binary(min_size=1, max_size=40),
    st.sampled_from(["JPEG", "PNG", "WEBP"]),
)
def test_damaged_bytes_never_give_another_error(at, garbage, kind):
    data = bytearray(encoded(quarters(120, 100), kind))
    at %= len(data)
    data[at : at + len(garbage)] = garbage
    try:
        photo = load_photo(bytes(data))
    except PhotoError:
        return
    assert photo.rgb.ndim == 3
    assert photo.rgb.shape[2] == 3


def test_a_missing_library_is_not_a_damaged_photo(monkeypatch):
    for module, data in (("cv2", encoded(quarters())), ("PIL", encoded(quarters(), "PNG"))):
        with monkeypatch.context() as without:
            without.setitem(sys.modules, module, None)
            with pytest.raises(ImportError):
                load_photo(data)


@pytest.mark.parametrize("kind", [AttributeError, TypeError, NameError, AssertionError, KeyError])
@pytest.mark.parametrize("name", ["_open", "_fast_jpeg", "_rgb", "turned"])
def test_a_failure_of_the_program_is_not_a_damaged_photo(monkeypatch, kind, name):
    def fail(*_):
        raise kind("planted inside")

    monkeypatch.setattr(load_module, name, fail)
    with pytest.raises(kind, match="planted"):
        load_photo(encoded(quarters(), "PNG" if name == "_rgb" else "JPEG"))


def test_a_jpeg_that_finds_no_memory_is_not_a_damaged_photo(monkeypatch):
    def nothing_left(*_):
        raise MemoryError

    monkeypatch.setattr(load_module.np, "empty", nothing_left)
    with pytest.raises(MemoryError):
        load_photo(encoded(Image.fromarray(quarters()).convert("CMYK")))


def test_a_broken_exif_block_says_nothing_and_a_failure_there_is_told(monkeypatch):
    def fail(error):
        def getexif(_):
            raise error

        return getexif

    data = encoded(quarters(), "PNG", exif=exif_of(6))
    for damage in (struct.error(), SyntaxError(), KeyError(), OverflowError(), EOFError()):
        monkeypatch.setattr(Image.Image, "getexif", fail(damage))
        assert load_photo(data).size == (320, 200)
    for failure in (AttributeError(), TypeError(), NameError(), AssertionError()):
        monkeypatch.setattr(Image.Image, "getexif", fail(failure))
        with pytest.raises(type(failure)):
            load_photo(data)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
@pytest.mark.parametrize("at", [2**62, 2**63, 2**64 - 1])
def test_an_exif_block_that_points_beyond_all_files_is_no_failure(kind, at):
    # BigTIFF (Aware Systems, "BigTIFF"): 8-byte places, of the directory and of a value in it.
    head = b"II+\0\x08\0\0\0"
    entry = struct.pack("<HHQQ", 0x8769, 4, 1, at) + struct.pack("<HHQQ", 0x010F, 2, 90, at)
    for block in (
        head + struct.pack("<Q", at),
        head + struct.pack("<QQ", 16, 2) + entry + bytes(8),
    ):
        data = encoded(quarters(), kind, exif=b"Exif\0\0" + block)
        with suppress(PhotoError):
            assert load_photo(data).size == (320, 200)


def test_an_exif_pointer_that_leads_nowhere_says_nothing():
    # Tag 0x8769 as a text instead of a place in the block (TIFF 6.0, section 2, type 2).
    block = b"Exif\0\0II*\0\x08\0\0\0\x01\0" + struct.pack("<HHI4sI", 0x8769, 2, 4, b"abc\0", 0)
    photo = load_photo(encoded(quarters(), exif=block))
    assert photo.size == (320, 200)


def test_names_the_photo_as_asked():
    with pytest.raises(PhotoError, match=r"^the side photo: "):
        load_photo(b"x", name="the side photo")


@pytest.mark.slow
@pytest.mark.parametrize(("orientation", "pictures"), [(1, 1), (6, 2)])
def test_twelve_megapixels_are_decoded_once_and_copied_only_to_be_turned(
    monkeypatch, orientation, pictures
):
    # What that costs beside a plain decode is in the benchmark `speed`.
    small = np.random.default_rng(0).integers(0, 255, (300, 400, 3), dtype=np.uint8)
    big = Image.fromarray(small).resize((4032, 3024), Image.Resampling.BICUBIC)
    data = encoded(big, quality=90, exif=exif_of(orientation))
    decodes = []
    once = cv2.imdecode
    monkeypatch.setattr(cv2, "imdecode", lambda *a: decodes.append(a) or once(*a))
    monkeypatch.setattr(ImageFile.ImageFile, "load", lambda _: pytest.fail("decoded by Pillow"))
    with most_room() as room:
        photo = load_photo(data)
    assert len(decodes) == 1
    assert photo.rgb.nbytes == 4032 * 3024 * 3
    # Beside the pictures: the file's own bytes once more, and little things.
    assert room.most < pictures * photo.rgb.nbytes + len(data) + 2_000_000
