"""A learner's marks about the true one, as a small picture (SVG)."""

from __future__ import annotations

from typing import Final

from photocheck.case.lengths import format_length
from photocheck.practice.pattern import Pattern
from photocheck.practice.sentences import mark_title
from photocheck.speech import tr

SIZE: Final = 240
REACH: Final = 100.0
"""From the middle to the outermost ring's edge, drawing units."""
CLOSE: Final = 30.0

_RINGS_MM: Final = {"cm": (10.0, 20.0, 40.0), "in": (12.7, 25.4, 50.8)}
"""Rings about the true mark; the outermost that is needed sets the scale."""

_INK, _FAINT, _DOT, _MEAN = "#000000", "#6b7780", "#1f4e5f", "#b3400a"


def pattern_svg(pattern: Pattern, unit: str) -> str:
    """The marks of all attempts about the true one, the dog's head to the left.

    Dots are single attempts, a hollow one lies beyond the drawing; the cross is the leaning
    with its 95 % intervals, drawn once there are attempts enough.
    """
    rings = _RINGS_MM[unit]
    farthest = max(miss.distance_mm for miss in pattern.misses)
    shown = next((k for k, ring in enumerate(rings) if farthest <= ring), len(rings) - 1)
    shown = max(shown, 1)
    scale = REACH / rings[shown]
    middle = SIZE / 2
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {SIZE} {SIZE}" width="{SIZE}" '
        f'height="{SIZE}" font-family="sans-serif" font-size="15">',
        f'<rect width="{SIZE}" height="{SIZE}" fill="#ffffff"/>',
    ]
    for ring in rings[: shown + 1]:
        r = ring * scale
        parts.append(
            f'<circle cx="{middle}" cy="{middle}" r="{r:.1f}" fill="none" stroke="#c9d1d6"/>'
        )
        if r > CLOSE:  # smaller rings have no room for a word
            parts.append(
                f'<text x="{middle + 3}" y="{middle - r + 15:.1f}" fill="{_FAINT}">'
                f"{format_length(ring, unit)}</text>"
            )
    head, tail = tr("head"), tr("tail")
    parts += [
        f'<path d="M{middle - 6} {middle}H{middle + 6}M{middle} {middle - 6}V{middle + 6}" '
        f'stroke="{_INK}" stroke-width="1.5"/>',
        f'<text x="6" y="{SIZE - 8}" fill="{_FAINT}">← {head}</text>',
        f'<text x="{SIZE - 6}" y="{SIZE - 8}" fill="{_FAINT}" text-anchor="end">{tail} →</text>',
    ]
    for miss in pattern.misses:
        x, y = -miss.forward_mm * scale, -miss.up_mm * scale
        far = (x * x + y * y) ** 0.5 / (REACH + 8.0)
        fill = "none" if far > 1.0 else _DOT
        x, y = (x / far, y / far) if far > 1.0 else (x, y)
        parts.append(
            f'<circle cx="{middle + x:.1f}" cy="{middle + y:.1f}" r="4.5" fill="{fill}" '
            f'stroke="{_DOT}" stroke-width="1.5" fill-opacity="0.65"/>'
        )
    if pattern.enough:
        parts.append(_leaning(pattern, scale, middle))
    return "".join(parts) + "</svg>"


def _leaning(pattern: Pattern, scale: float, middle: float) -> str:
    def at(value: float) -> float:
        return middle - min(max(value * scale, -REACH - 10.0), REACH + 10.0)

    along, up = pattern.forward, pattern.up
    x, y = at(along.mean_mm), at(up.mean_mm)
    return (
        f'<path d="M{at(along.high_mm):.1f} {y:.1f}H{at(along.low_mm):.1f}'
        f'M{x:.1f} {at(up.high_mm):.1f}V{at(up.low_mm):.1f}" '
        f'stroke="{_MEAN}" stroke-width="3" stroke-linecap="round"/>'
    )


def pattern_alt(pattern: Pattern) -> str:
    """What the drawing shows, for those who cannot see it."""
    return tr(
        "{mark}: {count} marks drawn about the true one",
        mark=mark_title(pattern.landmark),
        count=len(pattern.misses),
    )
