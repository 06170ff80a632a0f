"""The published formats of files.

Heavy modules are imported inside the commands, so that ``--help`` answers at once.
"""

from __future__ import annotations

import click


def add_to(commands: click.Group) -> None:
    """Add it to the command line."""
    commands.add_command(schema)


@click.command()
@click.argument(
    "which", type=click.Choice(["case", "report", "outcome", "ratios", "orders"]), default="case"
)
def schema(which: str) -> None:
    """Print the JSON Schema of cases, reports, outcomes, learnt ratios or exported orders."""
    from photocheck.schemas.published import schema_text

    click.echo(schema_text(which), nl=False)
