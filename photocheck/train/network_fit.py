"""Fitting the network to looks: the head first, then the backbone's upper blocks with it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from time import monotonic
from typing import Any, Final

import numpy as np
import torch
from torch import Tensor, nn
from torch.nn import functional

from photocheck.phantom.teaching.drawn_look import KINDS, SIDE
from photocheck.phantom.teaching.teaching_bodies import POINTS
from photocheck.train.material import read_part
from photocheck.train.net import Teachable, new_network

STRIDE: Final = 4
CELLS: Final = SIDE // STRIDE
SPREAD_CELLS: Final = 1.3
"""Standard deviation of what a heat map should show, cells."""
TRUSTED: Final = (2.0, 2.0, 2.0, 2.0, 1.0, 1.0, 0.7, 0.7, 1.0, 1.0, 1.0)
"""Weight of each point's loss: the four marks twice."""

OTHER_POSES: Final = 0.3
"""Weight of points of dogs that sit, lie, bow or are turned: they tell the kind."""


STRETCHED: Final = 0.12
"""How much wider or narrower a look is made while fitting, logarithm: builds beyond the bodies'."""


@dataclass(frozen=True)
class Fitting:
    """How it is taught.

    Attributes
    ----------
    seed : int
    steps, batch : int
    head_steps : int
        Of them with the backbone as it is.
    first_block : int
        From which block on the backbone learns.
    rate_head, rate_body : float
        AdamW's rates at their highest.
    seconds : float
        After which it ends whatever the steps; the rates fall by whichever comes first.
    """

    seed: int = 17
    steps: int = 2300
    batch: int = 192
    head_steps: int = 300
    first_block: int = 5
    rate_head: float = 1.5e-3
    rate_body: float = 2.5e-4
    seconds: float = float("inf")
    average: float = 0.9995


@dataclass(eq=False)
class Batch:
    """Looks on a device, with labels."""

    look: Tensor
    points: Tensor
    kind: Tensor
    facing: Tensor
    frame: Tensor


def _rows(part: dict[str, Any], device: torch.device) -> dict[str, Tensor]:
    names = ("pictures", "points", "kinds", "facing", "frames")
    return {name: torch.from_numpy(np.array(part[name])).to(device) for name in names}


def moved(batch: Batch, generator: torch.Generator, strength: float = 1.0) -> Batch:
    """Mirrored, shifted, turned, stretched and scaled a little at random, labels too."""
    n, device = len(batch.look), batch.look.device

    def draw(low: float, high: float) -> Tensor:
        u = torch.rand(n, generator=generator, device=device)
        return low + (high - low) * u

    flip = torch.where(draw(0, 1) < 0.5, -1.0, 1.0)
    scale = torch.exp(draw(-0.13, 0.10) * strength)
    wide = torch.exp(draw(-STRETCHED, STRETCHED) * strength)  # dogs are longer or taller than any
    turn = draw(-0.07, 0.07) * strength
    dx, dy = draw(-0.04, 0.04) * strength, draw(-0.04, 0.04) * strength
    # picture places -1 to 1: there = scale * turn * flip * here + shift
    c, s = torch.cos(turn), torch.sin(turn)
    forward = torch.stack(
        [
            torch.stack([wide * scale * c * flip, -wide * scale * s, dx], dim=1),
            torch.stack([scale * s * flip, scale * c, dy], dim=1),
        ],
        dim=1,
    )
    linear = torch.linalg.inv(forward[:, :, :2])
    back = torch.cat([linear, -linear @ forward[:, :, 2:]], dim=2)
    grid = functional.affine_grid(back, [n, 3, SIDE, SIDE], align_corners=False)
    look = functional.grid_sample(
        batch.look, grid, mode="bilinear", padding_mode="border", align_corners=False
    )

    def places(xy: Tensor) -> Tensor:
        unit = (xy + 0.5) * 2 / SIDE - 1
        out = torch.einsum("nij,nkj->nki", forward[:, :, :2], unit) + forward[:, None, :, 2]
        return (out + 1) * SIDE / 2 - 0.5

    points = places(batch.points)
    points = torch.where(
        ((points > 0) & (points < SIDE - 1)).all(-1, keepdim=True), points, torch.nan
    )
    x0, y0, x1, y1 = (batch.frame * SIDE - 0.5).unbind(1)
    corners = torch.stack([torch.stack([x, y], dim=1) for x in (x0, x1) for y in (y0, y1)], dim=1)
    corners = ((places(corners) + 0.5) / SIDE).clamp(0, 1)
    frame = torch.cat([corners.amin(1), corners.amax(1)], dim=1)
    facing = torch.where(flip < 0, 1.0 - batch.facing, batch.facing)
    return Batch(look, points, batch.kind, facing, frame)


def target_heat(points: Tensor) -> Tensor:
    """What heat maps should show, (n, k, 64 * 64), each summing to 1; zeros where not taught."""
    cell = (points + 0.5) / STRIDE - 0.5
    axis = torch.arange(CELLS, device=points.device)
    falls = torch.exp(-0.5 * ((axis - cell.nan_to_num(-99.0)[..., None]) / SPREAD_CELLS) ** 2)
    across, down = falls[:, :, 0], falls[:, :, 1]
    heat = (down[..., :, None] * across[..., None, :]).flatten(2)
    return heat / heat.sum(-1, keepdim=True).clamp_min(1e-6)


def losses(network: Teachable, batch: Batch) -> dict[str, Tensor]:
    """Each part of the loss, means over what is taught."""
    heat, kind, facing, frame = network(batch.look)
    taught = torch.isfinite(batch.points).all(-1).float()
    side = (batch.kind == KINDS.index("side_on")) | (batch.kind == KINDS.index("cut_off"))
    weight = torch.where(side, 1.0, OTHER_POSES)[:, None]
    trusted = torch.tensor(TRUSTED, device=heat.device) * taught * weight
    logs = functional.log_softmax(heat.float().flatten(2), dim=-1)
    crossed = -(target_heat(batch.points) * logs).sum(-1)
    shows = torch.isfinite(batch.frame).all(-1)
    frames = (frame.float() - batch.frame.nan_to_num(0.0)).abs().sum(-1)
    ways = functional.binary_cross_entropy_with_logits(
        facing.float()[:, 0], batch.facing, reduction="none"
    )
    return {
        "heat": (trusted * crossed).sum() / trusted.sum().clamp_min(1.0),
        "kind": functional.cross_entropy(kind.float(), batch.kind, label_smoothing=0.03),
        "facing": (ways * side).sum() / side.sum().clamp_min(1),
        "frame": (frames * shows).sum() / shows.sum().clamp_min(1),
    }


WEIGHTS: Final = {"heat": 1.0, "kind": 0.5, "facing": 0.25, "frame": 1.5}


def _batches(rows: dict[str, Tensor], size: int, generator: torch.Generator) -> Iterator[Batch]:
    count = len(rows["kinds"])
    while True:
        order = torch.randperm(count, generator=generator, device=rows["kinds"].device)
        for start in range(0, count - size + 1, size):
            some = order[start : start + size]
            yield Batch(
                rows["pictures"][some].permute(0, 3, 1, 2).float() / 255,
                rows["points"][some],
                rows["kinds"][some].long(),
                rows["facing"][some].float(),
                rows["frames"][some],
            )


def fit(
    folder: Path,
    wish: Fitting,
    device: torch.device,
    say: Callable[[str], object] = print,
    start: Path | None = None,
) -> Teachable:
    """The network fitted to the looks of a folder; its running average is what comes back."""
    torch.manual_seed(wish.seed)
    generator = torch.Generator(device=device).manual_seed(wish.seed)
    rows = _rows(read_part(folder, "train"), device)
    network = new_network().to(device)
    if start is not None:
        network.load_state_dict(torch.load(start, map_location=device))
    averaged = new_network().to(device)
    averaged.load_state_dict(network.state_dict())
    backbone: Any = network.backbone
    body = [p for block in backbone._blocks[wish.first_block :] for p in block.parameters()]
    for p in network.backbone.parameters():
        p.requires_grad_(False)
    known = {id(p) for p in network.backbone.parameters()}
    head = [p for p in network.parameters() if id(p) not in known]
    groups = [
        {"params": head, "lr": wish.rate_head, "peak": wish.rate_head},
        {"params": body, "lr": 0.0, "peak": wish.rate_body},
    ]
    chooser = torch.optim.AdamW(groups, weight_decay=1e-2)
    # what does not float counts batches, which nothing reads
    pairs = zip(averaged.state_dict().values(), network.state_dict().values(), strict=True)
    floating = [(old, new) for old, new in pairs if old.dtype.is_floating_point]
    kept, now = [old for old, _ in floating], [new for _, new in floating]
    began = monotonic()
    mixed = device.type == "cuda"
    heard: dict[str, float] = {}
    for step, batch in enumerate(_batches(rows, wish.batch, generator)):
        done = max(step / wish.steps, (monotonic() - began) / wish.seconds)
        if done >= 1:
            break
        if step == wish.head_steps:
            for p in body:
                p.requires_grad_(True)
        network.train()
        network.backbone.eval()  # the batch statistics of ImageNet are kept
        rise = min(1.0, (step + 1) / 100)
        late = min(1.0, max(0, step - wish.head_steps) / 200)
        fall = 0.5 * (1 + math.cos(math.pi * done))
        for number, group in enumerate(chooser.param_groups):
            group["lr"] = group["peak"] * fall * (late if number else rise)
        with torch.autocast(device.type, torch.bfloat16, enabled=mixed):
            parts = losses(network, moved(batch, generator))
        total = sum(
            (WEIGHTS[name] * part for name, part in parts.items()), torch.zeros((), device=device)
        )
        chooser.zero_grad(set_to_none=True)
        total.backward()
        nn.utils.clip_grad_norm_([*head, *body], 5.0)
        chooser.step()
        share = min(wish.average, (step + 1) / (step + 10))
        with torch.no_grad():
            torch._foreach_lerp_(kept, now, 1 - share)
        if step % 100 == 0:
            heard = {name: round(part.item(), 4) for name, part in parts.items()}
            say(f"{step} {monotonic() - began:.0f} s {heard}")
    say(f"ended after {step} steps, {monotonic() - began:.0f} s {heard}")
    averaged.eval()
    return averaged


@torch.no_grad()
def measured(network: Teachable, folder: Path, device: torch.device) -> dict[str, Any]:
    """Errors on the held-out looks: plain peaks of single looks, per cent of the trunk."""
    part = read_part(folder, "held_out")
    rows = _rows(part, device)
    network.eval()
    places, kinds, ways, frames = [], [], [], []
    for start in range(0, len(rows["kinds"]), 128):
        look = rows["pictures"][start : start + 128].permute(0, 3, 1, 2).float() / 255
        heat, kind, facing, frame = network(look)
        chance = heat.float().flatten(2).softmax(-1).view(*heat.shape)
        peak = chance.flatten(2).argmax(-1)
        at = torch.stack([peak % CELLS, peak // CELLS], dim=-1).float()
        axis = torch.arange(CELLS, device=device).float()
        near = (
            (
                (axis[None, None, None, :] - at[..., 0, None, None]) ** 2
                + (axis[None, None, :, None] - at[..., 1, None, None]) ** 2
            )
            <= 9.0
        ) * chance
        mass = near.sum((-1, -2)).clamp_min(1e-9)
        x = (near * axis).sum((-1, -2)) / mass
        y = (near * axis[:, None]).sum((-1, -2)) / mass
        places.append((torch.stack([x, y, mass], dim=-1)).cpu())
        kinds.append(kind.float().softmax(-1).cpu())
        ways.append(facing.float().sigmoid()[:, 0].cpu())
        frames.append(frame.float().cpu())
    place = torch.cat(places).numpy()
    kind = torch.cat(kinds).numpy()
    truth = np.asarray(part["kinds"])
    side = truth == KINDS.index("side_on")
    gap = ((place[..., :2] + 0.5) * STRIDE - 0.5) - part["points"]
    error = 100 * np.hypot(gap[..., 0], gap[..., 1]) / part["trunks"][:, None]
    four = error[side, :4]
    told: dict[str, Any] = {
        "four_median": round(float(np.nanmedian(four)), 2),
        "four_80th": round(float(np.nanpercentile(four, 80)), 2),
        "within_10": round(float(np.nanmean(four < 10) * 100), 1),
        "beyond_20": round(float(np.nanmean(four > 20) * 100), 2),
        "medians": {
            name: round(float(np.nanmedian(error[side, k])), 2) for k, name in enumerate(POINTS)
        },
        "facing": round(
            float(np.mean((torch.cat(ways).numpy()[side] > 0.5) == part["facing"][side])), 4
        ),
        "frame": round(
            float(np.mean(np.abs(torch.cat(frames).numpy()[side] - part["frames"][side]))), 4
        ),
        "proposed_side_on": round(float(np.mean(kind[side, 0] > 0.5)), 3),
        "bodies": {
            str(body): round(float(np.nanmedian(error[side & (part["bodies"] == body), :4])), 2)
            for body in sorted(set(part["bodies"][side].tolist()))
        },
    }
    for number, name in enumerate(KINDS[1:], start=1):
        some = truth == number
        told[f"proposed_{name}"] = round(float(np.mean(kind[some, 0] > 0.5)), 3)
        told[f"right_{name}"] = round(float(np.mean(kind[some].argmax(-1) == number)), 3)
    return told
