"""Rendered phantoms: what is drawn lies where the camera's projection says."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from PIL import Image, ImageOps

from photocheck.phantom.look import COATS, Look
from photocheck.phantom.phone import bend, decode, encode, save_photo
from photocheck.phantom.placed import PlacedReference
from photocheck.phantom.render import render
from photocheck.phantom.scene import Scene
from photocheck.phantom.solid import Dog, DogPlan, make_dog
from photocheck.phantom.true_camera import Camera
from photocheck.scale.sheet import sheet_points

CLEAN = Look(seed=5, blur_px=0.5, noise=0.5)


@pytest.fixture(scope="module")
def dog() -> Dog:
    return make_dog(DogPlan(), 90)


def scene_with(dog: Dog, placed: PlacedReference, **changes: Any) -> Scene:
    camera = Camera(
        (450.0, 800.0, 2300.0),
        (380.0, 330.0, 0.0),
        26.0,
        (1600, 1200),
        roll_deg=1.0,
        distortion=(0.03, -0.01, 0.0, 0.0),
    )
    return Scene(dog, replace(camera, **changes), placed, dog_yaw_deg=4.0)


def misses(picture: np.ndarray, ring: np.ndarray) -> np.ndarray:
    """How far outside each projected side of a quadrilateral its edge is seen, (4, 40) px."""
    grey = decode(picture.astype(float).mean(axis=2) / 255.0).astype(np.float32)
    reach = np.linspace(-5, 5, 101)
    found = np.zeros((4, 40))
    for k, (a, b) in enumerate(zip(ring, np.roll(ring, -1, axis=0), strict=True)):
        along = (b - a) / np.linalg.norm(b - a)
        out = np.array([along[1], -along[0]])
        for n, t in enumerate(np.linspace(0.15, 0.85, 40)):
            spots = (a + t * (b - a) + reach[:, None] * out).astype(np.float32)
            light = cv2.remap(grey, spots[None, :, 0], spots[None, :, 1], cv2.INTER_LINEAR)[0]
            level = 0.5 * (np.median(light[:25]) + np.median(light[-25:]))
            at = np.flatnonzero(np.diff(np.sign(light - level)))[0]
            found[k, n] = reach[at] + 0.1 * (level - light[at]) / (light[at + 1] - light[at])
    return found


@pytest.mark.slow
def test_markers_lie_where_they_are_projected(dog: Dog):
    placed = PlacedReference(
        "marker_sheet", "middle", 0.0, (-200.0, 160.0, 0.0), 3.0, 5.0, 6.0, size_factor=1.01
    )
    scene = scene_with(dog, placed)
    picture = render(scene, CLEAN)
    assert picture.shape == (1200, 1600, 3)
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    finder = cv2.aruco.ArucoDetector(dictionary, settings)
    corners, found, _ = finder.detectMarkers(cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY))
    ids, nominal = sheet_points()
    true = scene.camera.project(placed.points()).reshape(4, 4, 2)
    assert nominal.shape == (16, 2)
    assert set(np.ravel(found)) == set(ids)
    gaps = np.concatenate(
        [s[0] - true[ids.index(int(k))] for k, s in zip(np.ravel(found), corners, strict=True)]
    )
    # OpenCV's own refinement rounds the corners of blurred squares a little.
    assert np.abs(gaps.mean(axis=0)).max() < 0.25
    assert np.sqrt((gaps**2).sum(axis=1).mean()) < 0.8
    edges = np.median([misses(picture, square) for square in true], axis=(0, 2))
    assert np.abs(edges).max() < 0.12
    assert np.ptp(edges) < 0.08


@pytest.mark.slow
def test_edges_of_a_sheet_lie_where_they_are_projected(dog: Dog):
    placed = PlacedReference("a4", "wall", -600.0, (300.0, 800.0, -600.0), 2.0)
    scene = scene_with(dog, placed)
    picture = render(scene, replace(CLEAN, wall="plaster"))
    edges = misses(picture, scene.camera.project(placed.outer_corners()))
    assert np.abs(np.median(edges, axis=1)).max() < 0.15
    assert edges.std(axis=1).max() < 0.35


@pytest.mark.slow
def test_the_dog_is_where_its_landmarks_are(dog: Dog):
    placed = PlacedReference("a4", "middle", 0.0, (-300.0, 150.0, 0.0))
    scene = scene_with(dog, placed)
    red = render(scene, replace(CLEAN, coat="red", floor="gravel", wall="plaster")).astype(float)
    warm = red[..., 0] - red[..., 2]
    x, y = scene.landmarks_px["shoulder_top"]
    column = warm[int(y) - 40 : int(y) + 40, round(x)]
    assert column[60:].mean() > column[:25].mean() + 30
    edge = int(np.argmax(column > 0.5 * (column[60:].mean() + column[:25].mean()))) - 40
    assert abs(edge) <= 6


def reference(kind: str, x: float) -> PlacedReference:
    return PlacedReference(kind, "middle", 0.0, (x, 120.0, 0.0), length_mm=200.0, diameter_mm=180.0)


@pytest.fixture(scope="module")
def bare(dog: Dog) -> np.ndarray:
    """The scene with nothing beside the dog in its left half."""
    return render(scene_with(dog, reference("id_card", 1400.0)), CLEAN).astype(float)


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["id_card", "two_points", "disc", "ball"])
def test_every_reference_is_drawn_at_its_place(dog: Dog, bare: np.ndarray, kind: str):
    placed = reference(kind, -250.0)
    scene = scene_with(dog, placed)
    changed = np.abs(render(scene, CLEAN) - bare).max(axis=2) > 25
    changed[:, 800:] = False
    rows, columns = np.nonzero(changed)
    centre = scene.camera.project(np.array([placed.centre]))[0]
    assert columns.size > 50
    assert (
        np.hypot(np.mean(columns) - centre[0], np.mean(rows) - centre[1]) < 18
    )  # its shadow counts too


@pytest.mark.slow
def test_same_seed_same_picture(dog: Dog):
    placed = PlacedReference("a4", "middle", 0.0, (-300.0, 150.0, 0.0))
    scene = scene_with(dog, placed, size_px=(640, 480))
    first, second = render(scene, CLEAN), render(scene, CLEAN)
    np.testing.assert_array_equal(first, second)
    assert len(np.unique(render(scene, replace(CLEAN, seed=6)) != first)) == 2


def test_bend_agrees_with_projection():
    camera = Camera(
        (0.0, 0.0, 1000.0), (0.0, 0.0, 0.0), size_px=(800, 600), distortion=(0.05, 0.0, 0.0, 0.0)
    )
    spot = np.array([[260.0, 180.0, 0.0]])
    straight = replace(camera, distortion=()).project(spot)[0]
    margin = 40
    picture = np.zeros((600 + 2 * margin, 800 + 2 * margin, 3), np.float32)
    y, x = np.mgrid[0 : picture.shape[0], 0 : picture.shape[1]]
    far = (x - margin - straight[0]) ** 2 + (y - margin - straight[1]) ** 2
    picture += np.exp(-far / 18.0)[..., None].astype(np.float32)
    bent = bend(picture, camera, margin)[..., 0]
    y, x = np.mgrid[0:600, 0:800]
    seen = np.array([(x * bent).sum(), (y * bent).sum()]) / bent.sum()
    np.testing.assert_allclose(seen, camera.project(spot)[0], atol=0.05)


def test_encoding_is_its_own_inverse():
    light = np.linspace(0.0, 1.0, 50)
    np.testing.assert_allclose(decode(encode(light)), light, atol=1e-9)
    assert encode(np.array([0.2140]))[0] == pytest.approx(0.5, abs=1e-3)


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_saved_photo_stands_upright_again(tmp_path: Path, orientation: int):
    picture = np.zeros((60, 80, 3), np.uint8)
    picture[:20, :30] = (250, 40, 40)
    path = tmp_path / "photo.jpg"
    save_photo(path, picture, Look(orientation=orientation, jpeg_quality=95), 26.0, made="invented")
    with Image.open(path) as stored:
        exif = stored.getexif()
        assert exif[0x0112] == orientation
        assert exif[0x010F] == "Phantom"
        assert exif.get_ifd(0x8769)[0xA405] == 26
        upright = np.asarray(ImageOps.exif_transpose(stored))
    assert upright.shape == picture.shape
    assert np.abs(upright.astype(int) - picture).mean() < 6
    assert np.asarray(cv2.imread(str(path))).shape == picture.shape


def test_no_exif_no_focal_length(tmp_path: Path):
    path = tmp_path / "photo.jpg"
    save_photo(path, np.zeros((20, 30, 3), np.uint8), Look(), None)
    with Image.open(path) as stored:
        assert 0xA405 not in stored.getexif().get_ifd(0x8769)


def test_all_coats_are_reflectances():
    for colours in COATS.values():
        for part in (colours.back, colours.side, colours.under):
            assert all(0.0 < value < 0.9 for value in part)
