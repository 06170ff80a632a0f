"""What may have been in the picture in place of the reference that was named."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from photocheck.case.model import Reference
from photocheck.scale.catalogue import CM_PER_INCH, REFERENCES
from photocheck.speech import later, tr

FITTED_PRINT: Final = (0.955, 0.012)
"""A sheet printed to fit the page comes out 3 to 6 % small (common practice, no source)."""
SIZE_SLIPS: Final = {
    2.0: later("It would fit if the radius was given in place of the diameter."),
    CM_PER_INCH: later("It would fit if its size was given in inches and taken as centimetres."),
    1.0 / CM_PER_INCH: later(
        "It would fit if its size was given in centimetres and taken as inches."
    ),
}
"""True size over the size given."""


def known_factors(references: tuple[Reference, ...]) -> Iterator[tuple[float, float, str]]:
    """True size over the size used, the spread of its logarithm, what to say; one by one.

    None where the photos name several references: they would not all be off alike.
    """
    if len({(r.kind, r.bar_mm, r.length_mm, r.diameter_mm) for r in references}) != 1:
        return
    named = REFERENCES[references[0].kind]
    if named.form == "markers" and references[0].bar_mm is None:
        yield (*FITTED_PRINT, tr("A marker sheet printed to fit the page would do that."))
    if named.form == "rectangle":
        for other in REFERENCES.values():
            if other.form == "rectangle" and other is not named:
                factor = float(np.sqrt(np.prod(other.size_mm) / np.prod(named.size_mm)))
                yield (
                    factor,
                    other.size_spread,
                    tr(
                        "The object may have been the {other}, not the {named}.",
                        other=tr(other.title),
                        named=tr(named.title),
                    ),
                )
    if named.form in ("points", "disc", "ball"):
        for factor, slip in SIZE_SLIPS.items():
            if named.form != "points" or factor != 2.0:
                yield factor, named.size_spread, tr(slip)
