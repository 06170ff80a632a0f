"""Command line of the benchmark: ``python -m photocheck.benchmark --help`` lists the tables."""

from __future__ import annotations

import sys
from pathlib import Path

import click


@click.group(help=__doc__)
@click.option("--publish", is_flag=True, help="Write what is printed into FIGURES.md as well.")
def main(publish: bool) -> None:
    """Run a benchmark and print its tables as Markdown."""  # `publish`: see `_tell`


def _tell(printed: str, section: str = "") -> None:
    """Print a report, and write it into its section of the published figures if asked."""
    click.echo(printed)
    context = click.get_current_context()
    if context.parent is not None and context.parent.params["publish"]:
        from photocheck.benchmark.publishing import publish

        given = [word for word in sys.argv[1:] if word != "--publish"]
        command = ["python", "-m", "photocheck.benchmark", *given]
        publish(section or str(context.info_name), command, printed)


@main.command()
@click.option("--dogs", default=300, show_default=True, help="How many phantoms.")
@click.option("--seed", default=1, show_default=True)
@click.option("--jobs", default=2, show_default=True, help="Processes.")
def accuracy(dogs: int, seed: int, jobs: int) -> None:
    """Bias, RMSE, coverage, naive ruler and bound per span."""
    from photocheck.benchmark.accuracy import report

    _tell(report(dogs, seed, jobs))


@main.command()
@click.option("--dogs", default=200, show_default=True, help="How many phantoms.")
@click.option("--seed", default=1, show_default=True)
@click.option("--jobs", default=2, show_default=True, help="Processes.")
def anchoring(dogs: int, seed: int, jobs: int) -> None:
    """Slips caught with marks by hand, and with marks that wrong proposals drew after them."""
    from photocheck.benchmark.anchoring import report

    _tell(report(dogs, seed, jobs))


@main.command(name="proposing")
@click.option("--runs", default=9, show_default=True, help="Rounds, each timing both in turn.")
def proposing_speed(runs: int) -> None:
    """What a proposal costs over a plain decode of the same 12 MP JPEG, and its memory."""
    from photocheck.benchmark.proposing_speed import report

    _tell(report(runs))


@main.command(name="makers")
@click.option("--seed", default=1, show_default=True)
@click.option("--jobs", default=2, show_default=True, help="Processes.")
def other_makers(seed: int, jobs: int) -> None:
    """Measured bodies, by constants that their maker had no part in."""
    from photocheck.benchmark.other_makers import report

    _tell(report(seed, jobs))


@main.command()
@click.option("--orders", default=200, show_default=True, help="With each number of processes.")
@click.option("--rounds", default=5, show_default=True, help="In which both take turns.")
@click.option("--jobs", default=2, show_default=True, help="Processes.")
def batch(orders: int, rounds: int, jobs: int) -> None:
    """Orders with 12 MP photos: all processes over one, and the memory over time."""
    from photocheck.benchmark.batch_rate import report

    _tell(report(orders, rounds, jobs))


@main.command()
@click.option("--dogs", default=240, show_default=True, help="How many phantoms.")
@click.option("--shops", default=100, show_default=True, help="How many simulated shops.")
@click.option("--seed", default=1, show_default=True)
@click.option("--jobs", default=2, show_default=True, help="Processes.")
def learning(dogs: int, shops: int, seed: int, jobs: int) -> None:
    """How the error of a shop that learns falls with its orders."""
    from photocheck.benchmark.learning_shop import report

    _tell(report(dogs, shops, seed, jobs))


@main.command(name="taught")
@click.option("--dogs", default=80, show_default=True, help="How many phantoms.")
@click.option("--shops", default=40, show_default=True, help="How many simulated shops.")
@click.option("--seed", default=1, show_default=True)
@click.option("--jobs", default=2, show_default=True, help="Processes.")
def learning_tags(dogs: int, shops: int, seed: int, jobs: int) -> None:
    """What a shop learns from orders with tags beside orders marked by hand."""
    from photocheck.benchmark.learning_tags import report

    _tell(report(dogs, shops, seed, jobs))


@main.command(name="tags")
@click.option("--dogs", default=40, show_default=True, help="How many phantoms.")
@click.option("--without", default=0, show_default=True, help="How many pictures without tags.")
@click.option(
    "--pictures",
    type=click.Path(exists=True, file_okay=False),
    default=None,
    help="A folder with more photographs to cut those from.",
)
@click.option("--seed", default=1, show_default=True)
@click.option("--jobs", default=2, show_default=True, help="Processes.")
def tags_found(dogs: int, without: int, pictures: str | None, seed: int, jobs: int) -> None:
    """Tags on rendered dogs: how many are found, and where their tips are; and where none are."""
    from photocheck.benchmark import tagless
    from photocheck.benchmark.tags_found import report

    if dogs:
        _tell(report(dogs, seed, jobs))
    if without:
        _tell(tagless.report(without, seed, jobs, pictures or ""), "tagless")


@main.command(name="worn")
@click.option("--dogs", default=100, show_default=True, help="How many phantoms.")
@click.option("--seed", default=1, show_default=True)
@click.option("--jobs", default=2, show_default=True, help="Processes.")
def tagged_ways(dogs: int, seed: int, jobs: int) -> None:
    """What tags on the dog buy: lengths, coverage, the smallest slip, with and without a sheet."""
    from photocheck.benchmark.tagged_ways import report

    _tell(report(dogs, seed, jobs))


@main.command(name="sheets")
@click.option("--sheets", default=60, show_default=True, help="Of each bend; five times flat.")
@click.option("--seed", default=1, show_default=True)
@click.option("--jobs", default=2, show_default=True, help="Processes.")
def bent_sheets(sheets: int, seed: int, jobs: int) -> None:
    """From which bend on a marker sheet is told not to lie flat."""
    from photocheck.benchmark.bent_sheets import report

    _tell(report(sheets, seed, jobs))


@main.command()
def bodies() -> None:
    """How measured quadruped bodies differ: what the shape constants are held against."""
    from photocheck.benchmark.body_study import report

    _tell(report())


@main.command()
@click.argument(
    "folder", required=False, type=click.Path(exists=True, file_okay=False, path_type=Path)
)
@click.option("--looks", default=240, show_default=True, help="How many, without a folder.")
@click.option("--seed", default=17, show_default=True)
@click.option(
    "--material",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    help="Scenery and other makers' bodies for them, as the training had.",
)
def proposals(folder: Path | None, looks: int, seed: int, material: Path | None) -> None:
    """Marks proposed for photographs with a truth, or for simulated ones nobody trained with."""
    from photocheck.benchmark.proposals_held import report, report_simulated

    _tell(report(folder) if folder else report_simulated(looks, seed, material))


@main.command()
@click.option("--pictures", default=30, show_default=True, help="Composites of each kind.")
@click.option("--jobs", default=2, show_default=True, help="Processes.")
def sighted(pictures: int, jobs: int) -> None:
    """Cards and sheets that nobody pointed at, in composites: shown rightly and wrongly."""
    from photocheck.benchmark.sighted import report

    _tell(report(pictures, jobs))


@main.command()
@click.argument("folder", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option("--seed", default=1, show_default=True)
def photographs(folder: Path, seed: int) -> None:
    """Real photographs with truths marked by eye: finders, stance and outlines."""
    from photocheck.benchmark.photographs import report

    _tell(report(folder, seed))


@main.command()
@click.option("--dogs", default=300, show_default=True, help="How many phantoms.")
@click.option("--seed", default=1, show_default=True)
@click.option("--jobs", default=2, show_default=True, help="Processes.")
def crops(dogs: int, seed: int, jobs: int) -> None:
    """Photos cut off-centre with their file's data kept: coverage, accusations, named as cut."""
    from photocheck.benchmark.crops import report

    _tell(report(dogs, seed, jobs))


@main.command()
@click.option("--good", default=6000, show_default=True, help="Good orders.")
@click.option("--each", default=150, show_default=True, help="Orders with each fault.")
@click.option("--seed", default=1, show_default=True)
@click.option("--jobs", default=2, show_default=True, help="Processes.")
def orders(good: int, each: int, seed: int, jobs: int) -> None:
    """False alarms, power against the best possible test, and explanations named rightly."""
    from photocheck.benchmark.order_tables import report

    _tell(report(good, each, seed, jobs))


@main.command()
@click.argument("folder", required=False, type=click.Path(exists=True, file_okay=False))
@click.option("--photos", default=30, show_default=True, help="Composites, without a folder.")
@click.option("--seed", default=1, show_default=True)
def outlines(folder: str | None, photos: int, seed: int) -> None:
    """Outlines against the truth, and whether their trust tells: a FOLDER, or composites."""
    from photocheck.benchmark.outlines import report

    _tell(report(Path(folder) if folder else None, photos, seed))


@main.command()
@click.option("--orders", default=5000, show_default=True, help="At most.")
def shop(orders: int) -> None:
    """A shop's own figures and its learning among few orders and among many."""
    from photocheck.benchmark.shop_scale import report

    _tell(report(orders))


@main.command()
@click.option("--runs", default=9, show_default=True, help="Rounds, each timing both in turn.")
def speed(runs: int) -> None:
    """The whole check of a 12 MP JPEG over a plain decode of that file."""
    from photocheck.benchmark.speed import report

    _tell(report(runs))


@main.command()
@click.option("--runs", default=15, show_default=True, help="Processes of each, in turn.")
def start(runs: int) -> None:
    """A cold check of a sample over bare imports of numpy, OpenCV and Pillow."""
    from photocheck.benchmark.cold_start import report

    _tell(report(runs))


@main.command()
@click.option("--dogs", default=200, show_default=True, help="Phantoms per posture.")
@click.option("--seed", default=1, show_default=True)
@click.option("--jobs", default=2, show_default=True, help="Processes.")
@click.option("--photos", default=0, show_default=True, help="Rendered photos besides.")
def stances(dogs: int, seed: int, jobs: int, photos: int) -> None:
    """Square, crouching, stretched, arched, lowered, turned: what is named as what."""
    from photocheck.benchmark.stances import report

    _tell(report(dogs, seed, jobs, photos))


@main.command()
@click.option("--dogs", default=200, show_default=True, help="How many phantoms.")
@click.option("--seed", default=1, show_default=True)
@click.option("--jobs", default=2, show_default=True, help="Processes.")
def ways(dogs: int, seed: int, jobs: int) -> None:
    """What each way of measuring buys: false alarms, coverage, the smallest error caught."""
    from photocheck.benchmark.ways import report

    _tell(report(dogs, seed, jobs))


@main.command()
@click.option("--dogs", default=120, show_default=True, help="Phantoms of each population.")
@click.option("--seed", default=1, show_default=True)
@click.option("--jobs", default=2, show_default=True, help="Processes.")
def widths(dogs: int, seed: int, jobs: int) -> None:
    """The half neck by the side alone, with its width measured, with a photo from the front."""
    from photocheck.benchmark.width_gain import report

    _tell(report(dogs, seed, jobs))


if __name__ == "__main__":
    main()
