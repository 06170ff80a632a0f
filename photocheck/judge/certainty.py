"""What of a reading's certainty comes from the tape, from the photo, and from other readings."""

from __future__ import annotations

from collections.abc import Mapping
from math import exp

import numpy as np
from numpy.typing import NDArray

from photocheck.case.model import Reading
from photocheck.judge import wording
from photocheck.judge.compare import expectation
from photocheck.judge.repeats import SUMS, TapeNoise
from photocheck.numerics import IN_95
from photocheck.report.model import Certainty
from photocheck.words import READINGS

Array = NDArray[np.float64]


def certainty_of(
    log_spans: Array,
    covariance: Array,
    readings: Mapping[str, Reading],
    noise: TapeNoise,
    unit: str,
) -> tuple[Certainty, ...]:
    """One entry for each reading given, in the order of `words.READINGS`.

    Parameters
    ----------
    log_spans : (4,)
        ln(mm) as the photo shows them.
    covariance : (4, 4)
        Theirs.
    readings : mapping of reading name to Reading
    noise : TapeNoise
        Of these readings.
    unit : str
        To answer in.
    """
    names = tuple(name for name in READINGS if name in readings)
    expected, rows = expectation(names, log_spans)
    photo = np.sqrt(np.diag(rows @ covariance @ rows.T))
    tape = np.sqrt(noise.variance(names, np.exp(expected)))
    absolute = {name: exp(expected[i]) * float(tape[i]) for i, name in enumerate(names)}
    lengths = np.exp(expected)
    # in mm, and what was led alike along one line with it
    together = noise.covariance(names, lengths) * np.outer(lengths, lengths)
    found = []
    for i, name in enumerate(names):
        length = exp(expected[i])
        others = None
        if all(part in readings and part not in noise.apart for part, _ in SUMS[name]):
            row = np.zeros(len(names))
            for part, times in SUMS[name]:
                row[names.index(part)] = times
            others = float(np.sqrt(row @ together @ row))
        reading = readings[name]
        aside = noise.aside.get(name, ())
        found.append(
            Certainty(
                reading=name,
                taken=len(reading.takes),
                aside=tuple(reading.takes[k].typed for k in aside),
                apart=name in noise.apart,
                tape_spread=float(tape[i]),
                photo_spread=float(photo[i]),
                others_spread=None if others is None else others / length,
                sentence=wording.certainty_sentence(
                    name,
                    len(reading.takes),
                    unit,
                    tape_mm=IN_95 * absolute[name],
                    # marks far from any dog can leave a length wholly open
                    photo_mm=IN_95 * length * min(float(photo[i]), 3.0),
                    others_mm=None if others is None else IN_95 * others,
                ),
            )
        )
    return tuple(found)


def takes_said(readings: Mapping[str, Reading], noise: TapeNoise, unit: str) -> tuple[str, ...]:
    """Sentences on takes that differ too much: which is to be taken again, which was set aside."""
    said = []
    for name in READINGS:
        if name in noise.apart:
            every = [take.mm for take in readings[name].takes]
            said.append(wording.takes_apart(name, every, unit))
        if name in noise.aside:
            outvoted = [readings[name].takes[k].mm for k in noise.aside[name]]
            said.append(wording.take_set_aside(name, outvoted, unit))
    return tuple(said)
