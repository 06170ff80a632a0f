"""Cross-section lengths against mpmath's elliptic integrals and shapely's polygons."""

import mpmath
import numpy as np
import pytest
import shapely

from photocheck.body.sections import half_superellipse, quarter_ellipse, superellipse_area


def superellipse_polygon(chord: float, width: float, exponent: float) -> shapely.Polygon:
    t = np.linspace(0.0, 2.0 * np.pi, 40001)
    c, s = np.cos(t), np.sin(t)
    power = 2.0 / exponent
    x = chord / 2 * np.sign(c) * np.abs(c) ** power
    y = width / 2 * np.sign(s) * np.abs(s) ** power
    return shapely.Polygon(np.column_stack([x, y]))


@pytest.mark.parametrize(("a", "b"), [(1.0, 1.0), (3.0, 1.0), (1.0, 3.0), (2.0, 1.9), (5.0, 1e-6)])
def test_quarter_ellipse_is_mpmath_ellipe(a: float, b: float) -> None:
    mpmath.mp.dps = 30
    longer, shorter = max(a, b), min(a, b)
    exact = longer * mpmath.ellipe(1 - (mpmath.mpf(shorter) / longer) ** 2)
    assert quarter_ellipse(a, b) == pytest.approx(float(exact), rel=1e-11)


def test_quarter_ellipse_of_a_flat_section_is_the_straight_way() -> None:
    assert quarter_ellipse(0.0, 7.0) == pytest.approx(7.0, rel=1e-9)


@pytest.mark.parametrize("exponent", [1.6, 2.0, 2.25, 3.0, 5.0])
@pytest.mark.parametrize("width", [0.5, 0.8, 1.0])
def test_half_superellipse_is_half_a_shapely_outline(exponent: float, width: float) -> None:
    outline = superellipse_polygon(1.0, width, exponent).length
    found = half_superellipse(np.array(1.0), np.array(width), np.array(exponent))
    assert found == pytest.approx(outline / 2, rel=2e-4)


def test_half_superellipse_of_exponent_two_is_half_an_ellipse() -> None:
    found = half_superellipse(np.array(2.0), np.array(1.4), np.array(2.0))
    assert found == pytest.approx(2 * quarter_ellipse(1.0, 0.7), rel=1e-6)


@pytest.mark.parametrize("exponent", [1.6, 2.0, 3.0])
def test_superellipse_area_is_shapely_area(exponent: float) -> None:
    area = superellipse_polygon(3.0, 2.0, exponent).area
    assert superellipse_area(np.array(1.5), np.array(1.0), exponent) == pytest.approx(
        area, rel=1e-4
    )
