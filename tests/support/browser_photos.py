"""Our script that makes photos smaller, on a page with nothing else; and photos as phones save."""

from __future__ import annotations

import base64
import io
from collections.abc import Collection
from typing import Any

import cv2
import numpy as np
from PIL import Image, ImageOps
from playwright.sync_api import Page

from photocheck_app.doors import shell

SITE = "http://photos.test"

ORIENTATION, EXIF = 0x0112, 0x8769
MAKE, MODEL, FOCAL_35, PIXEL_X, PIXEL_Y = 0x010F, 0x0110, 0xA405, 0xA002, 0xA003

_TURNS = {1: 0, 3: 2, 6: 1, 8: 3}  # quarter turns counterclockwise from upright to stored


def address_of(script: str) -> str:
    """Where the page finds one of our scripts, by the name of its file."""
    (found,) = [each for each in shell.scripts() if f"/{script.removesuffix('.js')}." in each]
    return found


def maker(page: Page, without: Collection[str] = ()) -> Page:
    """The page; without some of the scripts, as where they cannot be had."""
    missing = {address_of(script) for script in without}

    def answer(route: Any) -> None:
        path = route.request.url.removeprefix(SITE)
        script = shell.scripts().get(path)
        if path in missing:
            route.abort()
        elif script:
            route.fulfill(body=script.decode(), content_type="text/javascript")
        else:
            route.fulfill(body="<!doctype html><title>photos</title>", content_type="text/html")

    page.route(f"{SITE}/**", answer)
    page.goto(f"{SITE}/")
    return page


def made_smaller(page: Page, content: bytes, kind: str = "image/jpeg") -> bytes:
    """A file's content as that page would send it."""
    text = page.evaluate(
        """async ([text, kind, script]) => {
            const { madeSmaller } = await import(script);
            const bytes = Uint8Array.from(atob(text), (one) => one.charCodeAt(0));
            const made = await madeSmaller(new File([bytes], "dog.jpg", { type: kind }));
            const given = new Uint8Array(await made.arrayBuffer());
            let said = "";
            for (let at = 0; at < given.length; at += 32768) {
                said += String.fromCharCode(...given.subarray(at, at + 32768));
            }
            return btoa(said);
        }""",
        [base64.b64encode(content).decode(), kind, address_of("smaller.js")],
    )
    return base64.b64decode(text)


def enlarged(content: bytes, size: tuple[int, int]) -> np.ndarray:
    """A sample's photo, upright, as one of more pixels with a sensor's grain; (H, W, 3) uint8."""
    upright = ImageOps.exif_transpose(Image.open(io.BytesIO(content))).convert("RGB")
    large = cv2.resize(np.asarray(upright), size, interpolation=cv2.INTER_CUBIC)
    grain = np.random.default_rng(4).normal(0.0, 2.5, (size[1], size[0], 1))
    return np.clip(large + grain, 0, 255).astype(np.uint8)


def as_phone(
    rgb: np.ndarray, *, orientation: int = 1, tags: dict[int, Any] | None = None, quality: int = 93
) -> bytes:
    """A file as a phone writes it: turned as its EXIF orientation says, its size told."""
    stored = Image.fromarray(np.rot90(rgb, _TURNS[orientation]).copy())
    exif = Image.Exif()
    exif[MAKE], exif[MODEL], exif[ORIENTATION] = "Fell", "F1", orientation
    if tags is None:
        tags = {FOCAL_35: 26, PIXEL_X: stored.width, PIXEL_Y: stored.height}
    exif[EXIF] = tags
    held = io.BytesIO()
    stored.save(held, "JPEG", quality=quality, subsampling=2, exif=exif)
    return held.getvalue()
