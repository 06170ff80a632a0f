"""The published formats of files.

Heavy modules are imported inside the commands, so that ``--help`` answers at once.
"""

from __future__ import annotations

import click

from photocheck.cli.say import say_json


@click.command()
@click.argument(
    "which",
    type=click.Choice(["case", "report", "outcome", "ratios", "orders", "photographs"]),
    default="case",
)
def schema(which: str) -> None:
    """Print the JSON Schema of cases, reports, outcomes, ratios, orders or photographs."""
    from photocheck.schemas.published import schema_text

    say_json(schema_text(which), nl=False)
