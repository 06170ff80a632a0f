"""Plane sections of a mesh and the taut ring around them."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
import trimesh

from photocheck.phantom.field import Array


def section_hull(mesh: trimesh.Trimesh, start: Array, end: Array) -> shapely.Polygon:
    """Convex hull of the section by the plane through two points across the mirror plane.

    Parameters
    ----------
    mesh : closed mesh, mm
    start, end : (3,) mm, both in the mirror plane z = 0.

    Returns
    -------
    shapely.Polygon
        In section coordinates (along start to end, across), mm, origin at start.

    Raises
    ------
    ValueError
        When the plane misses the mesh between the two points.
    """
    chord = end - start
    along = chord / np.linalg.norm(chord)
    across = np.array([0.0, 0.0, 1.0])
    normal = np.cross(along, across)
    cut: Any = trimesh.intersections.mesh_plane
    lines = cut(mesh, normal, start)
    flat = np.stack([(lines - start) @ along, (lines - start) @ across], axis=-1)
    rings = shapely.polygonize([shapely.LineString(pair) for pair in np.round(flat, 6)])
    middle = shapely.Point(0.5 * float(np.linalg.norm(chord)), 0.0)
    for ring in rings.geoms:
        if ring.contains(middle):
            return shapely.convex_hull(ring)
    raise ValueError("no section of the mesh between the two points")


def hull_perimeter(mesh: trimesh.Trimesh, start: Array, end: Array) -> float:
    """Length of a taut closed tape in the plane of `section_hull`, mm."""
    return float(section_hull(mesh, start, end).length)
