"""What the photo stage hands on: an upright picture and the camera's facts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


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
    """

    focal_35mm: float | None
    focal_source: str
    make: str = ""
    model: str = ""
    focal_spread: float | None = None


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
