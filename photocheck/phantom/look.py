"""How a phantom photo looks: coat colours, floor, wall, light and lens, all invented."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

Colour = tuple[float, float, float]


@dataclass(frozen=True)
class CoatColours:
    """Reflectances (linear RGB, 0 to 1) of back, sides, underside and dark parts.

    ``saddle`` is how far the back's colour comes down (fraction of the trunk's
    half-depth), ``mask`` whether muzzle and ears are dark, ``socks`` whether the
    lower legs are pale.
    """

    back: Colour
    side: Colour
    under: Colour
    saddle: float = 0.45
    mask: bool = False
    socks: bool = True


COATS: Final = {
    "fawn": CoatColours((0.42, 0.24, 0.11), (0.50, 0.30, 0.14), (0.66, 0.50, 0.33), 0.4, True),
    "grey": CoatColours((0.10, 0.10, 0.11), (0.30, 0.29, 0.28), (0.68, 0.66, 0.62), 0.35),
    "saddle": CoatColours(
        (0.035, 0.030, 0.028), (0.40, 0.22, 0.10), (0.50, 0.33, 0.18), 0.42, True
    ),
    "red": CoatColours((0.33, 0.13, 0.05), (0.40, 0.17, 0.07), (0.70, 0.60, 0.48), 0.5),
    "cream": CoatColours((0.62, 0.48, 0.31), (0.68, 0.55, 0.38), (0.74, 0.65, 0.52), 0.4),
    "brown": CoatColours(
        (0.11, 0.055, 0.03), (0.14, 0.07, 0.04), (0.22, 0.12, 0.07), 0.3, False, False
    ),
}
FLOORS: Final = ("gravel", "grass", "boards")
WALLS: Final = ("plaster", "planks", "hedge")


@dataclass(frozen=True)
class Look:
    """Everything about a picture that is not geometry.

    Attributes
    ----------
    seed : int
        Of all textures and of the sensor's noise.
    coat : str
        A key of `COATS`.
    floor, wall : str
        Of `FLOORS` and `WALLS`.
    sun : (float, float, float)
        Toward the light, world axes.
    sun_share : float
        How much of the light comes from there, 0 to 1 (the rest from the sky).
    exposure : float
        Factor on the light.
    blur_px, noise : float
        Blur (Gaussian standard deviation, px) and sensor noise (8-bit counts at
        mid grey).
    jpeg_quality : int
    orientation : int
        EXIF orientation the file is stored in: 1, 3, 6 or 8.
    """

    seed: int = 0
    coat: str = "fawn"
    floor: str = "gravel"
    wall: str = "plaster"
    sun: tuple[float, float, float] = (-0.4, 0.8, 0.55)
    sun_share: float = 0.5
    exposure: float = 1.0
    blur_px: float = 0.6
    noise: float = 2.0
    jpeg_quality: int = 90
    orientation: int = 1
