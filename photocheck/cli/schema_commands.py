"""The published formats of files.

Heavy modules are imported inside the commands, so that ``--help`` answers at once.
"""

from __future__ import annotations

import click

from photocheck.cli.say import say_json
from photocheck.schemas.published import NAMES, schema_text


@click.command()
@click.argument(
    "which",
    type=click.Choice([*NAMES, "interface"]),
    default="case",
)
def schema(which: str) -> None:
    """Print the JSON Schema of cases, drafts, reports, outcomes, ratios, orders or photographs.

    "interface" prints the OpenAPI document of what other programs may ask of "photocheck serve".
    """
    if which == "interface":
        from photocheck.server.interface.openapi import openapi_text

        say_json(openapi_text(), nl=False)
        return
    say_json(schema_text(which), nl=False)
