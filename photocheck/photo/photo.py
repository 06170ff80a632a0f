"""What the photo stage hands on: an upright picture and the camera's facts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Framing:
    """How much of what the camera took the picture shows, as far as can be told.

    Attributes
    ----------
    cut : float
        Probability that the picture was cut out of a larger one.
    why : str
        What speaks for that most, a key of `photocheck.photo.whole.REASONS`; empty for nothing.
    frame_px : (float, float) or None
        Width and height of all that the camera took, counted in this picture's pixels, where the
        file tells.
    corner_px : (float, float) or None
        Where this picture's top left corner lies in that frame, px, where the file tells.
    photo_px : (int, int, int, int) or None
        Left, top, right and bottom of the part that is photo, where bars lie around it.
    """

    cut: float = 0.0
    why: str = ""
    frame_px: tuple[float, float] | None = None
    corner_px: tuple[float, float] | None = None
    photo_px: tuple[int, int, int, int] | None = None


WHOLE: Final = Framing()
"""Of a picture that is all that the camera took."""


@dataclass(frozen=True)
class CameraFacts:
    """What is known of the camera.

    Attributes
    ----------
    focal_35mm : float or None
        35 mm equivalent focal length of the *picture as it is* (digital zoom
        applied), mm; None when the file does not tell.
    focal_source : str
        "exif 35 mm", "exif 35 mm, zoom unclear", "exif focal length and sensor",
        "given" or "prior".
    make, model : str
        From EXIF, empty when absent.
    focal_spread : float or None
        Standard deviation of ln(focal_35mm) as far as its source tells; None with
        the source "prior".
    framing : Framing
    """

    focal_35mm: float | None
    focal_source: str
    make: str = ""
    model: str = ""
    focal_spread: float | None = None
    framing: Framing = WHOLE


@dataclass(frozen=True)
class Photo:
    """An upright 8-bit RGB picture.

    Attributes
    ----------
    rgb : (H, W, 3) uint8
    camera : CameraFacts
    sha256 : str
        Of the file's bytes.
    file_format : str
        "JPEG", "PNG", "WEBP" or "HEIF".
    """

    rgb: NDArray[np.uint8]
    camera: CameraFacts
    sha256: str
    file_format: str

    @property
    def size(self) -> tuple[int, int]:
        """(width, height) in pixels."""
        return self.rgb.shape[1], self.rgb.shape[0]
