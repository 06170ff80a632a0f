"""What a phone and whoever sends on its pictures do to them."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float32]
Bytes = npt.NDArray[np.uint8]


def photographed(picture: Floats, rng: np.random.Generator) -> Bytes:
    """A clean picture (h, w, 3) 0 to 255 as a file would have it: blur, noise, tone, JPEG."""
    out: npt.NDArray[Any] = picture.astype(np.float32)
    if rng.random() < 0.5:
        out = cv2.GaussianBlur(out, (0, 0), rng.uniform(0.3, 1.1))
    if rng.random() < 0.08:  # moved
        length = int(rng.integers(3, 9))
        kernel = np.zeros((length, length), np.float32)
        c, s = np.cos(angle := rng.uniform(0, np.pi)), np.sin(angle)
        half = length / 2
        cv2.line(
            kernel,
            (int(half - c * half), int(half - s * half)),
            (int(half + c * half), int(half + s * half)),
            1.0,
        )
        out = cv2.filter2D(out, -1, kernel / max(float(kernel.sum()), 1e-6))
    if rng.random() < 0.25:  # sharpened, as phones do
        out = out + rng.uniform(0.3, 1.0) * (out - cv2.GaussianBlur(out, (0, 0), 1.0))
    out = 255 * np.clip(out / 255, 0, 1) ** float(np.exp(rng.normal(0.0, 0.15)))
    out = (out - 128) * float(np.exp(rng.normal(0.0, 0.12))) + 128 + rng.normal(0.0, 10.0)
    grey = out.mean(axis=2, keepdims=True)
    out = grey + (out - grey) * float(np.clip(rng.normal(1.0, 0.2), 0.0, 1.6))
    out = out * (1.0 + 0.04 * rng.normal(size=3))
    noise = rng.choice([0.0, 1.5, 4.0, 8.0])
    if noise:
        out = out + noise * rng.normal(size=out.shape)
    file: Bytes = np.clip(out, 0, 255).astype(np.uint8)
    if rng.random() < 0.7:
        quality = int(rng.uniform(35, 95))
        _, code = cv2.imencode(".jpg", file, [cv2.IMWRITE_JPEG_QUALITY, quality])
        file = np.asarray(cv2.imdecode(code, cv2.IMREAD_COLOR), np.uint8)
    return file
