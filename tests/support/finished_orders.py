"""Finished orders drawn from the model that learning assumes."""

import numpy as np

from photocheck.body import shape
from photocheck.judge.evidence import FinishedOrder, order_of
from photocheck.judge.repeats import TapeNoise, left_at_tags
from photocheck.words import SPANS

OWN = np.array([shape.WAY_LOG_SPREAD[span] for span in shape.WAY_TERMS]) ** 2


def made(
    rng,
    shift=(0.0, 0.0, 0.0),
    group="husky",
    outcome="fitted",
    slip=0.0,
    dogs=0.6,
    tags=False,
    told=True,
) -> FinishedOrder:
    """An order drawn from the model: photo 3 %, tape, dogs `dogs` times the shipped spread.

    With tags the photo is half as noisy, and the tape as the program takes it to be; not `told`
    of them, the order counts as one by hand.
    """
    exact = 0.5 if tags else 1.0
    truth = np.log([380.0, 520.0, 360.0])
    ratio = np.array(shift) + dogs * np.sqrt(OWN) * rng.normal(size=3)
    photo = truth - ratio - exact * (0.02 * rng.normal() + 0.02 * rng.normal(size=3))
    full = np.append(photo, np.log(np.exp(photo[1:]).sum()))
    tape = np.append(truth, np.log(np.exp(truth[1:]).sum()))
    tape = tape + 0.025 * left_at_tags(tags) ** 0.5 * rng.normal(size=4)
    tape[0] += slip
    moves = np.eye(4)[:, :3]
    moves[3, 1:] = np.exp(photo[1:] - full[3])
    rest = (exact * 0.02) ** 2 * (np.ones((4, 4)) + moves @ moves.T)
    return order_of(
        full,
        rest + moves @ np.diag(OWN) @ moves.T,
        OWN,
        (False, False, False),
        dict(zip(SPANS, np.exp(tape), strict=True)),
        name=f"order {rng.integers(10**6)}",
        key=f"{rng.integers(2**60):016x}",
        outcome=outcome,
        group=group,
        noise=TapeNoise(at_tags=frozenset(SPANS if tags and told else ())),
    )


def orders_of(seed: int, count: int = 30, **told) -> list[FinishedOrder]:
    """So many orders of one group; `told` may have `shift`, and `more` for `made`."""
    rng = np.random.default_rng(seed)
    shift = told.get("shift", (0.08, 0.0, -0.05))
    return [made(rng, shift, **told.get("more", {})) for _ in range(count)]
