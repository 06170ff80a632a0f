"""The marker sheet, as a file to print.

Heavy modules are imported inside the commands, so that ``--help`` answers at once.
"""

from __future__ import annotations

import click

from photocheck.cli.streams import target, tell
from photocheck.errors import CaseError
from photocheck.speech import tr


@click.command()
@click.option("--paper", type=click.Choice(["a4", "letter"]), required=True)
@click.option("--tags", is_flag=True, help="The tags for the dog instead, two pages.")
@click.option("--small", is_flag=True, help="With --tags: the set for small dogs.")
@click.option("-o", "--out", metavar="FILE", help="Where to write it; marker-sheet-PAPER.pdf.")
def sheet(paper: str, tags: bool, small: bool, out: str | None) -> None:
    """Write the marker sheet, or tags for the dog, as a PDF to print at true size."""
    from photocheck.scale.sheet import draw_sheet_pdf
    from photocheck.shown.tag_page import draw_tags_pdf

    if small and not tags:
        raise CaseError(
            tr("the small set is one of tags"), where="--small", do=tr("Give --tags as well")
        )
    usual = f"tags-small-{paper}.pdf" if small else f"tags-{paper}.pdf"
    file = out or (usual if tags else f"marker-sheet-{paper}.pdf")
    with target(file, ".pdf") as path:
        if tags:
            draw_tags_pdf(path, paper, "small" if small else "usual")
        else:
            draw_sheet_pdf(path, paper)
    tell(tr("{file}: print it at 100 % and measure the proof bar with a ruler.", file=file), file)
