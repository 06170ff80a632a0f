"""The marker sheet, as a file to print.

Heavy modules are imported inside the commands, so that ``--help`` answers at once.
"""

from __future__ import annotations

import click

from photocheck.cli.streams import target, tell
from photocheck.speech import tr


@click.command()
@click.option("--paper", type=click.Choice(["a4", "letter"]), required=True)
@click.option("-o", "--out", metavar="FILE", help="Where to write it; marker-sheet-PAPER.pdf.")
def sheet(paper: str, out: str | None) -> None:
    """Write the marker sheet as a PDF to print at true size."""
    from photocheck.scale.sheet import draw_sheet_pdf

    file = out or f"marker-sheet-{paper}.pdf"
    with target(file, ".pdf") as path:
        draw_sheet_pdf(path, paper)
    tell(tr("{file}: print it at 100 % and measure the proof bar with a ruler.", file=file), file)
