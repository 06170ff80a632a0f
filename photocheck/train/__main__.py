"""Command line of the training: ``python -m photocheck.train --help`` lists the steps.

In turn: ``bodies`` (once), ``synthesis``, ``fit``, ``export``.  Needs the extra ``[train]``;
every step runs on a processor too, ``fit`` then slowly.
"""

from __future__ import annotations

import json
from pathlib import Path

import click

_FOLDER = click.Path(file_okay=False, path_type=Path)
_THERE = click.Path(exists=True, file_okay=False, path_type=Path)


@click.group(help=__doc__)
def main() -> None:
    """Teach the network that proposes marks."""


@main.command()
@click.argument("packages", type=_THERE)
@click.argument("material", type=_FOLDER)
def bodies(packages: Path, material: Path) -> None:
    """Other makers' bodies from unpacked PACKAGES into MATERIAL."""
    from photocheck.train.other_bodies import write

    write(packages, material, click.echo)


@main.command()
@click.argument("material", type=_THERE)
@click.argument("out", type=_FOLDER)
@click.option("--seed", default=17, show_default=True)
@click.option("--blocks", default=2505, show_default=True, help="Of 24 looks each.")
@click.option("--held-out", default=40, show_default=True, help="Blocks never trained with.")
@click.option("--processes", default=0, help="None given: as many as there are processors.")
@click.option("--seconds", default=float("inf"), help="After which no more are made.")
def synthesis(
    material: Path, out: Path, seed: int, blocks: int, held_out: int, processes: int, seconds: float
) -> None:
    """Make looks with the scenery and bodies of MATERIAL, and keep them in OUT."""
    from photocheck.train.material import Synthesis, synthesise

    counts = synthesise(material, out, Synthesis(seed, blocks, held_out, processes, seconds))
    click.echo(json.dumps(counts))


@main.command()
@click.argument("looks", type=_THERE)
@click.argument("out", type=_FOLDER)
@click.option("--seed", default=17, show_default=True)
@click.option("--steps", default=2300, show_default=True)
@click.option("--batch", default=192, show_default=True)
@click.option("--seconds", default=float("inf"), help="After which it ends.")
@click.option("--device", default="", help="As PyTorch names it; none given: the best there is.")
def fit(
    looks: Path, out: Path, seed: int, steps: int, batch: int, seconds: float, device: str
) -> None:
    """Fit the network to LOOKS; its parameters go to OUT."""
    import torch

    from photocheck.train.network_fit import Fitting, measured
    from photocheck.train.network_fit import fit as fitted

    where = torch.device(device or ("cuda" if torch.cuda.is_available() else "cpu"))
    wish = Fitting(seed=seed, steps=steps, batch=batch, seconds=seconds)
    network = fitted(looks, wish, where, click.echo)
    out.mkdir(parents=True, exist_ok=True)
    torch.save(network.state_dict(), out / "net.pt")
    click.echo(json.dumps(measured(network, looks, where)))


@main.command()
@click.argument("fitted", type=_THERE)
@click.argument("material", type=_THERE)
@click.argument("out", type=_FOLDER)
@click.option("--seed", default=17, show_default=True)
@click.option("--blocks", default=20, show_default=True, help="To calibrate confidence on.")
def export(fitted: Path, material: Path, out: Path, seed: int, blocks: int) -> None:
    """Write weights.onnx and weights.json of a FITTED network into OUT."""
    from photocheck.train.exporting import export_all

    export_all(fitted, material, out, seed, blocks, click.echo)


if __name__ == "__main__":
    main()
