"""What the desk draws of a report's doubt: how large it is, and where it comes from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from photocheck.numerics import IN_95
from photocheck.report.model import Report
from photocheck.shown.colours import REST_COLOUR, Colour, source_colour
from photocheck.shown.plain import BUDGET_LINES
from photocheck.speech import tr
from photocheck.words import SPAN_TITLES


@dataclass(frozen=True)
class DoubtRow:
    """The doubt of one span.

    Attributes
    ----------
    span, title : str
    extent : str
        Half its 95 % interval in per cent, "± 9 %".
    parts : tuple of (float, str)
        For each of `DoubtBars.titles`: the share of the variance, and the same as text.
        They sum to 1.
    """

    span: str
    title: str
    extent: str
    parts: tuple[tuple[float, str], ...]


@dataclass(frozen=True)
class DoubtBars:
    """Where the doubt of each span comes from.

    Attributes
    ----------
    titles : tuple of str
        The largest sources, largest first, and last all others together.
    colours : tuple of (int, int, int)
        Of each of them: a source has the same in every order.
    actions : tuple of str
        What would cut each; may be empty.
    rows : tuple of DoubtRow
    """

    titles: tuple[str, ...]
    colours: tuple[Colour, ...]
    actions: tuple[str, ...]
    rows: tuple[DoubtRow, ...]


def doubt_bars(report: Report, most: int = BUDGET_LINES) -> DoubtBars:
    """The doubt budget as one bar a span."""
    shown, others = report.budget[:most], report.budget[most:]
    titles = [source.title for source in shown]
    actions = [source.action for source in shown]
    colours = [source_colour(source.source) for source in shown]
    if others:
        titles.append(tr("all else together"))
        actions.append("")
        colours.append(REST_COLOUR)

    def shares(span: str) -> list[float]:
        found = [_share(source.shares, span) for source in shown]
        rest = [sum(_share(source.shares, span) for source in others)] if others else []
        return found + rest

    rows = tuple(
        DoubtRow(
            span.span,
            tr(SPAN_TITLES[span.span]),
            _extent(span.log_spread),
            tuple((share, f"{100 * share:.0f} %") for share in shares(span.span)),
        )
        for span in report.spans
    )
    return DoubtBars(tuple(titles), tuple(colours), tuple(actions), rows)


def _share(shares: Mapping[str, float], span: str) -> float:
    return max(shares.get(span, 0.0), 0.0)


def _extent(log_spread: float) -> str:
    percent = 100 * IN_95 * log_spread
    return tr("over ± 100 %") if percent > 100 else f"± {percent:.0f} %"
