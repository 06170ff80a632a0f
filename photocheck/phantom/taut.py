"""Taut strings: the shortest way outside a body, pulled from a first guess.

A tape held at both ends touches the body where it bulges and spans its hollows.
That is a string with no stiffness outside the implicit body: points are drawn
toward the middle of their neighbours (which shortens the string) and pushed out
again where they would enter the body, from few points to many.
"""

from __future__ import annotations

import numpy as np

from photocheck.phantom.field import Array, Field


def resample(path: Array, count: int) -> Array:
    """``count`` points evenly spaced along a polyline (n, 3), mm."""
    steps = np.linalg.norm(np.diff(path, axis=0), axis=1)
    at = np.concatenate([[0.0], np.cumsum(steps)])
    want = np.linspace(0.0, at[-1], count)
    return np.stack([np.interp(want, at, path[:, i]) for i in range(path.shape[1])], axis=1)


def length(path: Array) -> float:
    """Length of a polyline (n, 3), mm."""
    return float(np.linalg.norm(np.diff(path, axis=0), axis=1).sum())


def push_out(body: Field, points: Array, *, onto: bool = False, rounds: int = 3) -> Array:
    """Move points that are inside the body out along its gradient.

    Parameters
    ----------
    body : Field
    points : (n, 3) mm
    onto : bool
        Also pull points that are outside in to the surface.
    rounds : int
        Newton steps.

    Returns
    -------
    (n, 3) mm
    """
    limit = 4.0 * body.step
    for _ in range(rounds):
        value, slope = body.sample(points)
        if not onto:
            value = np.minimum(value, 0.0)
        square = (slope**2).sum(axis=1)
        move = np.clip(value, -limit, limit) / np.maximum(square, 0.05)
        points = points - move[:, None] * slope
    return points


def pull_taut(
    body: Field,
    guess: Array,
    *,
    levels: tuple[int, ...] = (9, 17, 33, 65),
    rounds: int = 160,
) -> Array:
    """The taut string between the ends of a first guess.

    Parameters
    ----------
    body : Field
        The body it may not enter, mm.
    guess : (n, 3) mm
        A polyline; the answer passes the same side of limbs as it does.
    levels : tuple of int
        How many points the string has, coarse to fine.
    rounds : int
        Shortening steps per level.

    Returns
    -------
    (levels[-1], 3) mm
    """
    path = resample(np.asarray(guess, dtype=np.float64), levels[0])
    for count in levels:
        path = resample(path, count)
        path[1:-1] = push_out(body, path[1:-1], rounds=4)
        for k in range(rounds):
            middle = 0.5 * (path[:-2] + path[2:])
            # Long and short steps in turn converge faster than even ones and stay stable.
            path[1:-1] += (0.95 if k % 2 else 0.5) * (middle - path[1:-1])
            path[1:-1] = push_out(body, path[1:-1], rounds=1)
        path[1:-1] = push_out(body, path[1:-1], rounds=3)
    return path
