"""Mesh files that must be refused, each with a word of its refusal: made here byte by byte."""

import io
import json
import struct
import zipfile

import numpy as np
from meshes import ball, box

DICE = box((0, 0, 0), (10, 10, 10))


def stl(corners, count=None):
    rows = np.zeros(len(corners), np.dtype([("n", "<f4", 3), ("c", "<f4", (3, 3)), ("r", "<u2")]))
    rows["c"] = corners
    return bytes(80) + struct.pack("<I", len(corners) if count is None else count) + rows.tobytes()


def text_stl(corners):
    facets = "".join("facet normal 0 0 0\nouter loop\n" + "".join(
        f"vertex {x} {y} {z}\n" for x, y, z in each) + "endloop\nendfacet\n" for each in corners)
    return f"solid dice\n{facets}endsolid dice\n".encode()


def obj(corners, faces=None):
    spots = "".join(f"v {x} {y} {z}\n" for x, y, z in corners.reshape(-1, 3))
    faces = np.arange(3 * len(corners)).reshape(-1, 3) + 1 if faces is None else faces
    return (spots + "".join(f"f {a} {b} {c}\n" for a, b, c in faces)).encode()


def ply(corners, count=None, faces=None):
    flat = corners.reshape(-1, 3)
    head = (f"ply\nformat ascii 1.0\nelement vertex {len(flat) if count is None else count}\n"
            f"property float x\nproperty float y\nproperty float z\nelement face {len(corners)}\n"
            f"property list uchar int vertex_indices\nend_header\n")
    faces = np.arange(len(flat)).reshape(-1, 3) if faces is None else faces
    return (head + "".join(f"{x} {y} {z}\n" for x, y, z in flat)
            + "".join(f"3 {a} {b} {c}\n" for a, b, c in faces)).encode()


def glb(corners, indices=None, mode=4, head=b"glTF"):
    spots = corners.reshape(-1, 3).astype("<f4")
    numbers = (np.arange(len(spots)) if indices is None else np.array(indices)).astype("<u4")
    data = spots.tobytes() + numbers.tobytes()
    told = {"asset": {"version": "2.0"}, "scene": 0, "scenes": [{"nodes": [0]}],
            "nodes": [{"mesh": 0}], "buffers": [{"byteLength": len(data)}],
            "meshes": [{"primitives": [{"attributes": {"POSITION": 0}, "indices": 1,
                                        "mode": mode}]}],
            "accessors": [{"bufferView": 0, "componentType": 5126, "count": len(spots),
                           "type": "VEC3"}, {"bufferView": 1, "componentType": 5125,
                                             "count": len(numbers), "type": "SCALAR"}],
            "bufferViews": [{"buffer": 0, "byteOffset": 0, "byteLength": spots.nbytes},
                            {"buffer": 0, "byteOffset": spots.nbytes,
                             "byteLength": numbers.nbytes}]}
    text = json.dumps(told).encode()
    text += b" " * (-len(text) % 4)
    return b"".join([head, struct.pack("<II", 2, 28 + len(text) + len(data)),
                     struct.pack("<I4s", len(text), b"JSON"), text,
                     struct.pack("<I4s", len(data), b"BIN\0"), data])


def threemf(corners, unit="millimeter", name="3D/3dmodel.model", more=b""):
    flat = corners.reshape(-1, 3)
    model = (f'<?xml version="1.0"?><model unit="{unit}" xmlns="http://schemas.microsoft.com/'
             f'3dmanufacturing/core/2015/02"><resources><object id="1" type="model"><mesh>'
             f"<vertices>" + "".join(f'<vertex x="{x}" y="{y}" z="{z}"/>' for x, y, z in flat)
             + "</vertices><triangles>" + "".join(
                 f'<triangle v1="{3 * k}" v2="{3 * k + 1}" v3="{3 * k + 2}"/>'
                 for k in range(len(corners))) + "</triangles></mesh></object></resources>"
             '<build><item objectid="1"/></build></model>').encode()
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr(name, model)
        if more:
            packed.writestr("3D/more", more)
    return made.getvalue()


def _changed(corners, change):
    corners = corners.copy()
    change(corners)
    return corners


def _band():
    """A band with half a twist, grown shut at no edge: one side only."""
    turn = np.linspace(0, 2 * np.pi, 25)[:-1]
    rim = []
    for side in (-1, 1):
        off = side * 3 * np.stack([np.cos(turn / 2) * np.cos(turn),
                                   np.cos(turn / 2) * np.sin(turn), np.sin(turn / 2)], axis=1)
        rim.append(20 * np.stack([np.cos(turn), np.sin(turn), 0 * turn], axis=1) + off)
    low, high = rim
    after, above = np.concatenate([low[1:], high[:1]]), np.concatenate([high[1:], low[:1]])
    return np.concatenate([np.stack([low, after, above], 1), np.stack([low, above, high], 1)])


def _nan(corners):
    corners[3, 1, 2] = np.nan


def _inf(corners):
    corners[3, 1, 2] = np.inf


FIN = np.array([[[0, 0, 0], [10, 0, 0], [5, -5, 5]]], float)
STEP = b"ISO-10303-21;\nHEADER;\nENDSEC;\nDATA;\nENDSEC;\nEND-ISO-10303-21;\n"
# name: (bytes, keys beside file, a word of the refusal)
UNIT = 'unit = "mm"'
BAD = {
    "empty.stl": (b"", UNIT, "is empty"),
    "no unit.stl": (stl(DICE), "", "says no unit"),
    "no unit.obj": (obj(DICE), "", "says no unit"),
    "no unit.ply": (ply(DICE), "", "says no unit"),
    "unknown unit.stl": (stl(DICE), 'unit = "furlong"', "needs one of"),
    "number as unit.stl": (stl(DICE), "unit = 25.4", "needs one of"),
    "truncated.stl": (stl(DICE)[:300], UNIT, "last triangle"),
    "head alone.stl": (stl(DICE)[:84], UNIT, "last triangle"),
    "short.stl": (b"solid", UNIT, "mesh"),
    "none.stl": (stl(DICE[:0]), UNIT, "no triangles"),
    "count lies.stl": (stl(DICE, 4_000_000_000), UNIT, "mesh"),
    "text called.stl": (b"Dear builder, the mesh is on the other disk.\n" * 9, UNIT, "mesh"),
    "picture.stl": (b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 4, UNIT, "mesh"),
    "not a number.stl": (stl(_changed(DICE, _nan)), UNIT, "no number"),
    "infinite.stl": (stl(_changed(DICE, _inf)), UNIT, "no number"),
    "not a number.obj": (obj(_changed(DICE, _nan)), UNIT, "no number"),
    "words for numbers.stl": (text_stl(DICE).replace(b"10.0", b"ten"), UNIT, "mesh"),
    "cut text.stl": (text_stl(DICE)[:700], UNIT, "a"),
    "hole.stl": (stl(DICE[1:]), UNIT, "hole"),
    "two holes.stl": (stl(np.delete(DICE, [0, 7], axis=0)), UNIT, "hole"),
    "one triangle.stl": (stl(DICE[:1]), UNIT, "hole"),
    "flat triangle.stl": (stl(np.array([[[0, 0, 0], [1, 1, 1], [3, 3, 3]]], float)),
                          UNIT, "without area"),
    "a point.stl": (stl(np.zeros((4, 3, 3))), UNIT, "area"),
    "fin.stl": (stl(np.concatenate([DICE, FIN])), UNIT, "hole"),
    "three at an edge.stl": (stl(np.concatenate([
        DICE, box((10, 10, 0), (20, 20, 10))[:, ::-1][1:]])), UNIT, "hole"),
    "twisted band.stl": (stl(_band()), UNIT, "hole"),
    "kilometres.stl": (stl(DICE * 1e6), UNIT, "check its unit"),
    "kilometres in feet.stl": (stl(DICE * 1e4), 'unit = "ft"', "check its unit"),
    "no such corner.obj": (obj(DICE, [[1, 2, 99], [1, 2, 3]]), UNIT, "a"),
    "corners alone.obj": (b"v 0 0 0\nv 1 0 0\nv 0 1 0\n", UNIT, "mesh"),
    "words.obj": (b"v a b c\nf 1 2 3\n", UNIT, "mesh"),
    "no head.ply": (ply(DICE)[60:], UNIT, "mesh"),
    "count lies.ply": (ply(DICE, 9), UNIT, "a"),
    "no such corner.ply": (ply(DICE, faces=[[0, 1, 999]] * len(DICE)), UNIT, "corners"),
    "no zip.3mf": (b"PK\x03\x04 but no more", "", "3MF"),
    "no model.3mf": (threemf(DICE, name="readme.txt"), "", "3MF"),
    "odd unit.3mf": (threemf(DICE, unit="cubit"), "", "cubit"),
    "two units.3mf": (threemf(DICE), 'unit = "in"', "take unit out"),
    "hole.3mf": (threemf(DICE[1:]), "", "hole"),
    "bomb.3mf": (threemf(DICE, more=bytes(410_000_000)), "", "unpacks"),
    "wrong head.glb": (glb(DICE, head=b"glTX"), "", "GLB"),
    "truncated.glb": (glb(DICE)[:200], "", "GLB"),
    "points alone.glb": (glb(DICE, mode=0), "", "no triangles"),
    "no such corner.glb": (glb(DICE, [0, 1, 9999] * 12), "", "corners"),
    "not a number.glb": (glb(_changed(DICE, _nan)), "", "no number"),
    "text called.glb": (b"{}" * 40, "", "GLB"),
    "no step.step": (b"ISO 9001 certificate\n", "", "ISO-10303-21"),
    "empty step.step": (STEP, "", "STEP"),
    "step in inches.step": (STEP, 'unit = "in"', "a"),
    "no ending": (stl(DICE), UNIT, "ends in"),
    "drawing.dxf": (b"0\nEOF\n", UNIT, "ends in"),
    "minus thick.stl": (stl(DICE), UNIT + ", thickness = -1", "thickness"),
    "minus within.stl": (stl(DICE), UNIT + ", within = -1", "within"),
    "two points.stl": (stl(DICE), UNIT + ', match = [{ point = "a", place = [0, 0, 0] }, '
                       '{ point = "b", place = [1, 0, 0] }]', "match"),
    "no such point.stl": (stl(DICE), UNIT + ', match = [{ point = "a", place = [0, 0, 0] }, '
                          '{ point = "b", place = [1, 0, 0] }, { point = "z", place = [0, 1, 0] }]',
                          "z"),
    "in one line.stl": (stl(DICE), UNIT + ', match = [{ point = "a", place = [0, 0, 0] }, '
                        '{ point = "b", place = [1, 0, 0] }, { point = "c", place = [2, 0, 0] }]',
                        "line"),
    "other size.stl": (stl(DICE), UNIT + ', match = [{ point = "a", place = [0, 0, 0] }, '
                       '{ point = "b", place = [80, 0, 0] }, { point = "c", place = [0, 40, 0] }]',
                       "times the size"),
    "both ways.stl": (stl(DICE), UNIT + ', at = [1, 2, 3], match = [{ point = "a", place = '
                      '[0, 0, 0] }, { point = "b", place = [40, 0, 0] }, { point = "c", place = '
                      '[0, 20, 0] }]', "leave one out"),
}
# what is mended, and a word of what is told of it
MENDED = {
    "twice.stl": (stl(np.concatenate([DICE, DICE[2:4]])), "stood twice"),
    "flat ones.stl": (stl(np.concatenate([DICE, DICE[:1, [0, 0, 1]]])), "without area"),
    "turned.stl": (stl(_changed(DICE, lambda c: c.__setitem__(4, c[4, ::-1].copy()))), "turned"),
    "inside out.stl": (stl(DICE[:, ::-1]), "inwards"),
    "apart by a hair.stl": (stl(_changed(DICE, lambda c: c.__setitem__(0, c[0] + 4e-4))),
                            "taken as one"),
    "crossing itself.stl": (stl(np.concatenate([DICE, DICE + 5])), "crosses itself"),
    "slivers.stl": (stl(ball((0, 0, 0), 10, 40) * [1, 1, 1e-3]), ""),
}
