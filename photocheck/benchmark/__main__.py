"""Command line of the benchmark: ``python -m photocheck.benchmark [accuracy|speed]``."""

from __future__ import annotations

import click


@click.group(help=__doc__)
def main() -> None:
    """Run a benchmark and print its tables as Markdown."""


@main.command()
@click.option("--dogs", default=300, show_default=True, help="How many phantoms.")
@click.option("--seed", default=1, show_default=True)
@click.option("--jobs", default=2, show_default=True, help="Processes.")
def accuracy(dogs: int, seed: int, jobs: int) -> None:
    """Bias, RMSE, coverage, naive ruler and bound per span."""
    from photocheck.benchmark.accuracy import report

    click.echo(report(dogs, seed, jobs))


@main.command()
@click.option("--runs", default=9, show_default=True, help="Rounds, each timing both in turn.")
def speed(runs: int) -> None:
    """The whole check of a 12 MP JPEG over a plain decode of that file."""
    from photocheck.benchmark.speed import report

    click.echo(report(runs))


if __name__ == "__main__":
    main()
