"""A report as the command line prints it: as wide as the terminal, its verdict in colour."""

from __future__ import annotations

from typing import TYPE_CHECKING

from photocheck.cli.say import COLOURS, columns, say

if TYPE_CHECKING:
    from photocheck.report.model import Report


def say_report(report: Report, *, err: bool = False) -> None:
    """Print the whole report."""
    from photocheck.shown.plain import plain_headline, plain_report, wrapped_to

    with wrapped_to(columns()):
        text, headline = plain_report(report), plain_headline(report)
    before, _, after = text.partition(headline)
    if before:
        say(before, nl=False, err=err)
    say(headline, colour=COLOURS[report.verdict], bold=True, nl=False, err=err)
    say(after, err=err)
