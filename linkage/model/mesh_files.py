"""Meshes from the files that a shop has: STL, OBJ, PLY, 3MF, GLB, and STEP as a mesh of it."""

from __future__ import annotations

import contextlib
import hashlib
import io
import logging
import os
import struct
import sys
import warnings
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np

from ..disk import digest
from ..errors import FileError, LinkageError
from .mended import Surface, mended

MOST_BYTES = 100_000_000
MOST_TRIANGLES = 1_000_000
MOST_UNPACKED = 400_000_000  # bytes of a 3MF file, which is packed
UNITS = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "ft": 304.8}
OF_3MF = {"micron": 1e-3, "millimeter": 1.0, "centimeter": 10.0, "inch": 25.4, "foot": 304.8,
          "meter": 1000.0}  # 3MF Core Specification 1.3, 3.4.1, from memory
KINDS = {".stl": "stl", ".obj": "obj", ".ply": "ply", ".3mf": "3mf", ".glb": "glb",
         ".step": "step", ".stp": "step"}
OWN_UNIT = {"3mf", "glb", "step"}  # formats that say it
SAG = 0.05  # mm that the mesh of a STEP file may lie off its true surface unless said
FINER = 3.0  # times as finely as that it is meshed: the library was seen to miss its own figure by
# 1.8 on a ball
STL_HEAD, STL_ROW = 84, 50  # bytes of a binary STL before its triangles, and of one
STL_TAIL = 400  # bytes in which a text STL says that it ends


class MeshFile(str):
    """Name of a mesh's file as the model file has it, which knows where that is and what is in it.

    Two are equal where what the files hold is.  One that is still to be written has its `data`.
    """

    __slots__ = ("data", "path", "stamp")

    def __new__(cls, name: str, path: Path | str | None = None, stamp: str | None = None,
                data: bytes | None = None):
        self = super().__new__(cls, name)
        self.path = Path(name if path is None else path)
        self.stamp, self.data = stamp, data
        return self

    @classmethod
    def unwritten(cls, name: str, corners: np.ndarray) -> MeshFile:
        """A PLY file that is to hold triangles (n, 3, 3), and does not stand on disk yet."""
        data = as_ply(corners)
        return cls(name, None, hashlib.sha256(data).hexdigest(), data)

    @classmethod
    def at(cls, name: str, path: Path | str) -> MeshFile:
        """Of a file as it is now; refuses one that can't be read."""
        return cls(name, path, _checked(Path(path)))

    def __eq__(self, other):
        if isinstance(other, MeshFile) and None not in (self.stamp, other.stamp):
            return self.stamp == other.stamp
        return str.__eq__(self, other)

    def __hash__(self):
        return str.__hash__(self) if self.stamp is None else hash(self.stamp)

    def __reduce__(self):
        return MeshFile, (str(self), self.path, self.stamp, self.data)


@dataclass(frozen=True)
class MeshTerms:
    """How a mesh file is to be read.

    Attributes
    ----------
    unit : str or None
        A key of `UNITS`.
    solid : bool
        Whether what it encloses is material too.
    sag : float or None
        mm that the mesh of a STEP file may lie off its true surface.
    """

    unit: str | None
    solid: bool
    sag: float | None


def read_mesh(file: MeshFile, terms: MeshTerms) -> Surface:
    """What a mesh file holds, mended where that is told.

    Parameters
    ----------
    file : MeshFile
    terms : MeshTerms

    Returns
    -------
    Surface

    Raises
    ------
    LinkageError
        One sentence that names the file, and what to do.
    """
    stamp = file.stamp or _checked(file.path)
    return _read(file.path, stamp, terms, file.data)


def as_ply(corners: np.ndarray) -> bytes:
    """A PLY file of triangles (n, 3, 3), in numbers of 64 bits."""
    spots, faces = np.unique(corners.reshape(-1, 3), axis=0, return_inverse=True)
    rows = np.empty(len(corners), np.dtype([("count", "u1"), ("corners", "<i4", 3)]))
    rows["count"], rows["corners"] = 3, faces.reshape(-1, 3)
    head = ("ply", "format binary_little_endian 1.0", f"element vertex {len(spots)}",
            *(f"property double {axis}" for axis in "xyz"), f"element face {len(corners)}",
            "property list uchar int vertex_indices", "end_header", "")
    return "\n".join(head).encode() + spots.astype("<f8").tobytes() + rows.tobytes()


def _checked(path) -> str:
    """Digest of a file that may be read as a mesh."""
    kind = KINDS.get(path.suffix.lower())
    if kind is None:
        raise FileError(f"{path}: is no mesh that can be read; name a file that ends in "
                        f"{', '.join(KINDS)}", path=str(path))
    try:
        size = path.stat().st_size
        if not path.is_file():
            raise FileError(f"{path}: is a folder, a device or a pipe; name a mesh file",
                            path=str(path))
        if not size:
            raise FileError(f"{path}: is empty; save the mesh again", path=str(path))
        if size > MOST_BYTES:
            raise FileError(f"{path}: has {size / 1e6:.0f} MB, and a mesh of at most "
                            f"{MOST_BYTES / 1e6:.0f} MB is read; save it with fewer triangles",
                            path=str(path))
        if kind == "stl":
            _check_stl(path, size)
        return digest(path)
    except FileError:
        raise
    except (OSError, ValueError) as problem:
        why = getattr(problem, "strerror", None) or problem
        raise FileError(f"{path}: can't be read ({why}); check the name",
                        path=str(path)) from problem


def _check_stl(path, size):
    """Refuse an STL file that is not whole, or has too many triangles."""
    with path.open("rb") as stream:
        head = stream.read(STL_HEAD)
        stream.seek(max(0, size - STL_TAIL))
        tail = stream.read()
    count = struct.unpack("<I", head[80:])[0] if len(head) == STL_HEAD else 0
    if size == STL_HEAD + STL_ROW * count:
        _check_count(path, count)
    elif b"endsolid" not in tail.lower():
        raise FileError(f"{path}: is no whole STL mesh: it ends before its last triangle; "
                        f"save it again", path=str(path))


def _check_count(path, count):
    if count > MOST_TRIANGLES:
        raise FileError(f"{path}: has {count:,} triangles, and at most {MOST_TRIANGLES:,} are "
                        f"read; save it with fewer", path=str(path))


@lru_cache(maxsize=16)
def _read(path, stamp, terms, data) -> Surface:
    try:
        corners, told, size = _triangles(path, terms, data)
        return replace(mended(corners, terms.solid, told), unit=size)
    except FileError:
        raise
    except LinkageError as error:
        raise FileError(f"{path}: {error.sentence}", **{**error.facts, "path": str(path)}) \
            from error


def _triangles(path, terms, data) -> tuple[np.ndarray, tuple[str, ...], float]:
    """Corners of a file's triangles, (n, 3, 3) mm; what there is to tell of it; mm of its unit."""
    kind = KINDS[path.suffix.lower()]
    _check_unit(kind, terms)
    data = _step_as_glb(path, terms) if kind == "step" else data or path.read_bytes()
    if kind == "3mf":
        _check_packed(data)
    loaded = _loaded(path, data, "glb" if kind == "step" else kind)
    _check_count(path, _triangle_count(loaded))
    size, told = _unit(kind, loaded, terms)
    try:
        mesh = loaded.to_mesh() if hasattr(loaded, "geometry") else loaded
        if (mesh.faces < 0).any():
            raise IndexError
        corners = np.array(mesh.vertices, dtype=float)[np.asarray(mesh.faces)] * size
    except (IndexError, ValueError, TypeError) as problem:
        raise LinkageError("has triangles with corners that it does not hold; save it "
                           "again") from problem
    return corners, told, size


def _check_unit(kind, terms):
    """Refuse a unit that the file says itself, or the want of one."""
    if terms.unit is None and kind not in OWN_UNIT:
        raise LinkageError(f"says no unit, as {kind.upper()} files never do; add unit = one of "
                           f"{', '.join(UNITS)}")
    if terms.unit is not None and kind == "step":
        raise LinkageError("says its own unit, as every STEP file does; take unit out")


def _triangle_count(loaded) -> int:
    """How many triangles a file holds; refused where it holds none."""
    meshes = loaded.geometry.values() if hasattr(loaded, "geometry") else [loaded]
    count = sum(len(getattr(mesh, "faces", ())) for mesh in meshes)
    if not count:
        raise LinkageError("holds no triangles; save it as a mesh")
    return count


def _own_unit(kind, loaded) -> float | None:
    """Mm of the unit that the file says itself, or files of its kind have; None of neither."""
    if kind != "3mf":
        return {"step": 1000.0, "glb": 1000.0}.get(kind)
    name = str(getattr(loaded, "metadata", {}).get("units") or loaded.units or "millimeter")
    if name not in OF_3MF:
        raise LinkageError(f'says that its unit is "{name}", which 3MF does not know; save it '
                           f"again")
    return OF_3MF[name]


def _unit(kind, loaded, terms) -> tuple[float, tuple[str, ...]]:
    """Size of the file's unit, mm, and what there is to tell of it."""
    own = _own_unit(kind, loaded)
    if terms.unit is None:
        return own, (("read in metres, as every GLB file has it; say unit if it is not so",)
                     if kind == "glb" else (f"meshed to within {terms.sag or SAG:g} mm of the STEP "
                                            f"file's surface, by the library's word, which is not "
                                            f"proven",) if kind == "step" else ())
    size = UNITS[terms.unit]
    if own is not None and size != own and kind != "glb":
        raise LinkageError(f"says itself that it has {own:g} mm to the unit; take unit out")
    return size, ()


def _loaded(path, data, kind):
    """What the library of meshes makes of a file's bytes, nothing merged or left out."""
    try:
        import trimesh
    except ImportError as problem:
        raise LinkageError('needs the library that reads meshes: pip install '
                           '"linkage[meshes]"') from problem
    logging.getLogger("trimesh").addHandler(logging.NullHandler())
    try:
        with warnings.catch_warnings(), np.errstate(all="ignore"), contextlib.redirect_stdout(
                io.StringIO()):
            warnings.simplefilter("ignore")
            return trimesh.load(io.BytesIO(data), file_type=kind, process=False,
                                skip_materials=True)
    except Exception as problem:  # a file that is no mesh makes the library raise anything
        raise LinkageError(f"is no {kind.upper()} mesh that can be read "
                           f"({type(problem).__name__}); save it again") from problem


def _check_packed(data):
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            size = sum(each.file_size for each in packed.infolist())
    except (zipfile.BadZipFile, ValueError, OSError) as problem:
        raise LinkageError("is no 3MF file that can be read; save it again") from problem
    if size > MOST_UNPACKED:
        raise LinkageError(f"unpacks to {size / 1e6:.0f} MB, and at most "
                           f"{MOST_UNPACKED / 1e6:.0f} MB are read; save it with fewer triangles")


def _step_as_glb(path, terms) -> bytes:
    """The mesh of a STEP file that lies within `terms.sag` of its true surface."""
    try:
        import cascadio
    except ImportError as problem:
        raise LinkageError('needs the library that reads STEP: pip install "linkage[step]"; or '
                           "save it as STL") from problem
    data = path.read_bytes()
    if not data.lstrip().startswith(b"ISO-10303-21"):
        raise LinkageError("is no STEP file: it does not begin with ISO-10303-21; save it again")
    try:
        with _quiet():
            made = cascadio.load(data, file_type="step", tol_linear=(terms.sag or SAG) / FINER,
                                 tol_relative=False)
    except Exception as problem:  # as of the library of meshes
        raise LinkageError(f"is no STEP file that can be read ({type(problem).__name__}); save it "
                           f"again") from problem
    if not made:
        raise LinkageError("is no STEP file that can be read; save it again")
    return made


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """Keep a compiled library, which writes past Python, from writing on the terminal."""
    sys.stdout.flush()
    sys.stderr.flush()
    kept = [os.dup(1), os.dup(2)]
    try:
        with open(os.devnull, "w") as nothing:
            for place in (1, 2):
                os.dup2(nothing.fileno(), place)
        yield
    finally:
        for place, was in zip((1, 2), kept, strict=True):
            os.dup2(was, place)
            os.close(was)
