"""The whole system as one GLB file: a node a part, and an animation an input over its travel.

After the glTF 2.0 specification (Khronos Group): metres, y up, binary container of two chunks.
"""

from __future__ import annotations

import json
import struct
from typing import TYPE_CHECKING

import numpy as np

from ..clearances import scene_of
from ..errors import LinkageError
from ..geometry.triangles import welded
from ..model import AIRFRAME
from ..motion import body_of
from ..rigging.carried_solids import Frames
from .facets import tessellated
from .stl_file import least_turn, part_names

if TYPE_CHECKING:
    from ..motion import Motion, System

STEPS = 49  # stick positions of an animation from one end of the travel to the other
SECONDS = 4.0  # that it takes
FLOAT, UINT, ARRAY, ELEMENTS = 5126, 5125, 34962, 34963
COLOURS = {AIRFRAME: (0.72, 0.74, 0.76, 1.0), "rod": (0.35, 0.38, 0.42, 1.0),
           "body": (0.20, 0.42, 0.62, 1.0)}  # of what stands still, rods, and what moves
ROOT = (0.7071067811865476, 0.0, 0.0, -0.7071067811865476)  # x, y, z, w: WL up becomes y


def glb(system: System, **inputs: float) -> bytes:
    """A GLB file of a system.

    Parameters
    ----------
    system : System
    **inputs : float
        Stick position at which it stands, degrees (mm); an input left out is at 0.

    Returns
    -------
    bytes
        Nodes named as the parts, their meshes as the solids; each input has an animation over the
        wanted travel, the others as given, of as much as every part reaches.
    """
    rest = {name: float(inputs.get(name, 0.0)) for name in system.inputs}
    still = system.sweep(**{name: [value] for name, value in rest.items()})
    if not still.reachable.all():
        raise LinkageError("a rod does not reach at that stick position; choose another")
    made = _File(system)
    made.scene(still)
    for name, (low, high) in system.travel_box().items():
        made.animation(name, low, high, rest)
    return made.bytes()


class _File:
    def __init__(self, system: System):
        self.system, self.data, self.size = system, [], 0
        self.json = {"asset": {"version": "2.0", "copyright":
                               "invented or unproven geometry: to look at, not to build by"},
                     "scene": 0, "scenes": [{"nodes": [0]}],
                     "nodes": [{"name": system.model.title or "system", "rotation": list(ROOT),
                                "scale": [0.001] * 3, "children": []}],
                     "meshes": [], "accessors": [], "bufferViews": [],
                     "materials": [{"name": name, "doubleSided": True, "pbrMetallicRoughness": {
                         "baseColorFactor": list(colour), "metallicFactor": 0.1,
                         "roughnessFactor": 0.7}} for name, colour in COLOURS.items()]}
        self.parts, self._node = part_names(system), {}

    def scene(self, motion: Motion) -> None:
        """Every part with its solids, where it stands."""
        scene, model = scene_of(self.system), self.system.model
        for part in self.parts:
            shift, turn = self._poses(motion, part)
            kind = part if part == AIRFRAME else "rod" if part in model.rods else "body"
            self._node[part] = self._add_node({"name": part, "translation": shift[0].tolist(),
                                               "rotation": turn[0].tolist(), "children": []}, 0)
            for name in model.solids:
                if body_of(name) == part:
                    corners = tessellated(scene.placed(name)) - self._zero(part)
                    mesh = self._mesh(name, corners, list(COLOURS).index(kind))
                    self._add_node({"name": name, "mesh": mesh}, self._node[part])

    def _add_node(self, node, parent) -> int:
        self.json["nodes"].append(node)
        self.json["nodes"][parent]["children"].append(len(self.json["nodes"]) - 1)
        return len(self.json["nodes"]) - 1

    def _zero(self, part) -> np.ndarray:
        """Where a part's own zero is at neutral, mm."""
        if part in self.system.model.rods:
            return scene_of(self.system).solid(f"{part}/tube").ends[0]
        return np.zeros(3) if part == AIRFRAME else np.array(
            self.system.model.bodies[part].centre)

    def _poses(self, motion, part) -> tuple[np.ndarray, np.ndarray]:
        """Where a part's zero is at every position of a motion, mm, and how it is turned."""
        from scipy.spatial.transform import Rotation

        frames, model = Frames(motion), self.system.model
        if part in model.rods:
            ends = np.stack([motion.point(end) for end in model.rods[part].ends], axis=1)
            drawn = scene_of(self.system).solid(f"{part}/tube").ends
            return ends[:, 0], least_turn(drawn[1] - drawn[0], ends[:, 1] - ends[:, 0])
        if part == AIRFRAME:
            return np.zeros((motion.shape[0], 3)), np.tile([0.0, 0, 0, 1], (motion.shape[0], 1))
        origin, axes = frames.of(part)
        turn = Rotation.from_matrix(np.broadcast_to(axes, (len(origin), 3, 3)).transpose(
            0, 2, 1)).as_quat()
        return origin + self._zero(part) @ axes, turn

    def _mesh(self, name, corners, material) -> int:
        numbers = welded(np.round(corners, 6))
        _, first = np.unique(numbers, return_index=True)
        spots = corners.reshape(-1, 3)[first].astype("<f4")
        at = self._accessor(spots, "VEC3", FLOAT, ARRAY)
        self.json["accessors"][at] |= {"min": spots.min(axis=0).tolist(),
                                       "max": spots.max(axis=0).tolist()}
        faces = self._accessor(numbers.reshape(-1, 1).astype("<u4"), "SCALAR", UINT, ELEMENTS)
        self.json["meshes"].append({"name": name, "primitives": [
            {"attributes": {"POSITION": at}, "indices": faces, "material": material}]})
        return len(self.json["meshes"]) - 1

    def animation(self, name: str, low: float, high: float, rest: dict) -> None:
        """From one end of an input's travel to the other and back."""
        way = np.linspace(low, high, STEPS)
        way = way[np.flatnonzero(self._sweep(name, way, rest).reachable)]
        if len(way) < 2:
            return
        reached = self._sweep(name, way, rest)
        order = np.concatenate([np.arange(len(way)), np.arange(len(way))[-2::-1]])
        clock = self._clock(way[order])
        channels, samplers = [], []
        for part in self.parts:
            shift, turn = (k[order] for k in self._poses(reached, part))
            if np.ptp(shift, axis=0).max() < 1e-9 and np.ptp(turn, axis=0).max() < 1e-12:
                continue
            for path, values in (("translation", shift), ("rotation", _unflipped(turn))):
                samplers.append({"input": clock, "interpolation": "LINEAR",
                                 "output": self._accessor(
                                     values.astype("<f4"), f"VEC{values.shape[1]}", FLOAT)})
                channels.append({"sampler": len(samplers) - 1, "target": {
                    "node": self._node[part], "path": path}})
        if channels:
            self.json.setdefault("animations", []).append(
                {"name": name, "channels": channels, "samplers": samplers})

    def _sweep(self, name, way, rest):
        """Along one input, the others at rest."""
        return self.system.sweep(**{n: way if n == name else np.full(len(way), value)
                                    for n, value in rest.items()})

    def _clock(self, way) -> int:
        """When each position is passed, at an even pace of the input."""
        time = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(way)))])
        time = (2 * SECONDS * time / time[-1]).astype("<f4")[:, None]
        at = self._accessor(time, "SCALAR", FLOAT)
        self.json["accessors"][at] |= {"min": [float(time.min())], "max": [float(time.max())]}
        return at

    def _accessor(self, values, kind, component, target=None) -> int:
        raw = np.ascontiguousarray(values).tobytes()
        view = {"buffer": 0, "byteOffset": self.size, "byteLength": len(raw)}
        self.json["bufferViews"].append(view | ({} if target is None else {"target": target}))
        self.data.append(raw)
        self.size += len(raw)
        self.json["accessors"].append({"bufferView": len(self.json["bufferViews"]) - 1,
                                       "componentType": component, "count": len(values),
                                       "type": kind})
        return len(self.json["accessors"]) - 1

    def bytes(self) -> bytes:
        """The file."""
        self.json["buffers"] = [{"byteLength": self.size}]
        head = json.dumps(self.json, ensure_ascii=False, separators=(",", ":")).encode()
        head += b" " * (-len(head) % 4)
        data = b"".join(self.data)
        data += bytes(-len(data) % 4)
        return b"".join([struct.pack("<4sII", b"glTF", 2, 12 + 8 + len(head) + 8 + len(data)),
                         struct.pack("<I4s", len(head), b"JSON"), head,
                         struct.pack("<I4s", len(data), b"BIN\0"), data])


def _unflipped(turn) -> np.ndarray:
    """Quaternions (n, 4), the sign of each so that they go on from the one before."""
    flip = np.cumprod(np.concatenate([[1.0], np.where(
        (turn[1:] * turn[:-1]).sum(axis=1) < 0, -1.0, 1.0)]))
    return turn * flip[:, None]
