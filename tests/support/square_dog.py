"""A dog of the proportions that the standards name, standing square."""

from __future__ import annotations

SQUARE = {
    "breastbone": (0.00, 0.64),
    "shoulder_top": (0.26, 1.00),
    "last_rib": (0.61, 0.70),
    "tail_base": (1.00, 0.915),
    "back_top": (0.33, 0.985),
    "chest_bottom": (0.36, 0.51),
    "front_foot": (0.24, 0.0),
    "rear_foot": (1.06, 0.0),
}
"""Fractions of its height, y up: length 1.07, chest half the height, rump level, forelegs upright,
hind foot below the buttock."""
