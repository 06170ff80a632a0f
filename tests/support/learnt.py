"""Ratios as a shop would have learnt them."""

from __future__ import annotations

from photocheck.body.shape import BASE_WAYS, SHIPPED
from photocheck.judge.ratios import GroupRatios, HeldOut, Ratios, Version, WayRatio


def learnt() -> Ratios:
    ways = dict.fromkeys(BASE_WAYS, WayRatio(0.02, 0.01, 0.8))
    spread = dict.fromkeys(BASE_WAYS, 0.03)
    held = HeldOut(9, 3, 0.2, 0.05, True, {"half_neck": 0.05}, {"half_neck": 0.04})
    groups = {"mix": GroupRatios(9, ways)}
    version = Version("", 1, SHIPPED.version, 9, 0, spread, spread, ways, groups, held, ("a",))
    return Ratios().adding(version.named())
