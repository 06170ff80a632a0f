"""What owners and learners are not to read: raw keys, probabilities, words of statistics."""

from __future__ import annotations

import re
from typing import Final

KEY: Final = re.compile(r"\b[a-z]+_[a-z_]+\b")
STATISTICS: Final = re.compile(
    r"\b(probabilit\w*|posterior|odds|varianc\w*|covarianc\w*|standard deviation\w*|sigma|"
    r"confidence|percentile\w*|quantile\w*|median|likelihood|residual\w*|estimator|bayes\w*|"
    r"wahrscheinlichkeit\w*|varianz\w*|kovarianz\w*|standardabweichung\w*|konfidenz\w*|"
    r"streuung\w*|residu\w*|schätzer\w*|quantil\w*)\b",
    re.IGNORECASE,
)


def not_plain(text: str) -> bool:
    """Whether a text holds something of that kind."""
    return bool(KEY.search(text) or STATISTICS.search(text))
