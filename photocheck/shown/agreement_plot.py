"""Differences against means as a drawing: what two takes of one reading differ by.

After Bland & Altman 1986, Lancet 327:307: each pair a point, the mean difference as a whole line,
the limits of agreement broken.  Plain SVG on a ground of its own, so that it reads the same by day
and by night and in print.
"""

from __future__ import annotations

from html import escape
from typing import Final

from photocheck.numerics import round_step
from photocheck.orders.own_figures import MOST_PAIRS
from photocheck.orders.precision import Agreement
from photocheck.scale.catalogue import MM_PER_INCH
from photocheck.speech import number, tr

WIDE, HIGH = 560, 300
_LEFT, _RIGHT, _TOP, _BOTTOM = 52, 12, 12, 44
_TICKS: Final = 6


def agreement_svg(found: Agreement, unit: str = "cm") -> str:
    """The drawing.

    Parameters
    ----------
    found : Agreement
        In mm; of more than `MOST_PAIRS` every so-manyth is drawn.
    unit : str
        "cm" or "in": of the axes.
    """
    one = MM_PER_INCH if unit == "in" else 10.0
    step = -(-len(found.means) // MOST_PAIRS)
    xs = [mm / one for mm in found.means[::step]]
    ys = [mm / one for mm in found.differences[::step]]
    lines = [
        (v / one, dash) for v, dash in ((found.bias, ""), (found.low, "6 4"), (found.high, "6 4"))
    ]
    x0, x1 = _ends(xs)
    y0, y1 = _ends([*ys, *(v for v, _ in lines), 0.0])

    def across(x: float) -> float:
        return _LEFT + (x - x0) / (x1 - x0) * (WIDE - _LEFT - _RIGHT)

    def up(y: float) -> float:
        return HIGH - _BOTTOM - (y - y0) / (y1 - y0) * (HIGH - _TOP - _BOTTOM)

    parts = [f'<rect width="{WIDE}" height="{HIGH}" fill="#fff"/>']
    for x in _ticks(x0, x1):
        parts.append(_text(across(x), HIGH - _BOTTOM + 16, number(f"{x:g}"), "middle"))
    for y in _ticks(y0, y1):
        at = up(y)
        parts.append(
            f'<path d="M{_LEFT} {at:.1f}H{WIDE - _RIGHT}" stroke="#dde2e5" stroke-width="1"/>'
        )
        parts.append(_text(_LEFT - 6, at + 4, number(f"{y:g}"), "end"))
    for x, y in zip(xs, ys, strict=True):
        parts.append(
            f'<circle cx="{across(x):.1f}" cy="{up(y):.1f}" r="3" fill="#1f4e5f" '
            'fill-opacity=".55"/>'
        )
    for value, dash in lines:
        broken = f' stroke-dasharray="{dash}"' if dash else ""
        parts.append(
            f'<path d="M{_LEFT} {up(value):.1f}H{WIDE - _RIGHT}" stroke="#a03e00" '
            f'stroke-width="1.5"{broken}/>'
        )
    below = tr("mean of both takes, {unit}", unit=unit)
    beside = tr("second less first, {unit}", unit=unit)
    parts.append(_text((WIDE + _LEFT) / 2, HIGH - 8, below, "middle"))
    middle = (HIGH - _BOTTOM + _TOP) / 2
    parts.append(
        f'<text x="14" y="{middle:.1f}" text-anchor="middle" '
        f'transform="rotate(-90 14 {middle:.1f})">{escape(beside)}</text>'
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDE} {HIGH}" '
        'font-family="system-ui, sans-serif" font-size="12" fill="#222">'
        f"{''.join(parts)}</svg>"
    )


def _text(x: float, y: float, said: str, anchor: str) -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(said)}</text>'


def _ends(values: list[float]) -> tuple[float, float]:
    low, high = min(values), max(values)
    room = 0.06 * (high - low) or max(abs(high), 1.0) * 0.06
    return low - room, high + room


def _ticks(low: float, high: float) -> list[float]:
    step = round_step((high - low) / _TICKS)
    first = int(low // step)
    found = [round(k * step, 10) for k in range(first, first + 3 * _TICKS)]
    return [value for value in found if low <= value <= high]
