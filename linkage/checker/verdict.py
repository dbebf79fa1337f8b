"""A certificate held against its model file, claim by claim."""

import base64
import gzip
import hashlib
import json
import math
import struct
import zlib
from dataclasses import dataclass
from pathlib import Path

from .leaves import Book, walked
from .reading import Refused, read

FORMAT = 1
MOST = 200_000_000  # bytes of a certificate, unpacked


@dataclass
class Verdict:
    """What of a certificate holds.

    Attributes
    ----------
    sentence : str
    holds : bool
    pairs, leaves : int
    """

    sentence: str
    holds: bool
    pairs: int
    leaves: int


def digest(path):
    """SHA-256 of a file."""
    return hashlib.sha256(Path(path).read_bytes()).hexdigest()


def loaded(path):
    """A certificate as it was written."""
    with gzip.open(path) as file:
        text = file.read(MOST + 1)
    if len(text) > MOST:
        raise Refused(f"{path}: is too large")
    return json.loads(text)


def check(file, proof, tell=lambda done, of: None):
    """Hold a certificate against its model file.

    Parameters
    ----------
    file, proof : path
    tell : callable
        Told how many pairs are done, of how many.

    Returns
    -------
    Verdict
    """
    try:
        certificate = loaded(proof)
        machine = checked_files(Path(file), certificate)
        return Claims(Book(machine), certificate).all(tell)
    except Refused as problem:
        return Verdict(f"proof does not hold: {problem}", False, 0, 0)
    except (KeyError, TypeError, ValueError, IndexError, AttributeError, OSError,
            EOFError, RecursionError, struct.error, zlib.error) as problem:
        return Verdict(f"proof does not hold: it or its file can not be read "
                       f"({type(problem).__name__}: {problem})", False, 0, 0)


def checked_files(file, certificate):
    """The machine of the file, once certificate and file are what they say they are."""
    if certificate["format"] != FORMAT:
        raise Refused(f"the checker does not know format {certificate['format']!r}")
    if (certificate["travel"], certificate["build"]) != ("wanted", "as drawn"):
        raise Refused(f"the checker does not know a proof for the {certificate['travel']} travel, "
                      f"{certificate['build']}")
    if digest(file) != certificate["sha256"]:
        raise Refused(f"{file.name} is not the file that was proven: its digest differs")
    text = file.read_text("utf-8-sig")
    for name, told in certificate["files"].items():
        if digest(file.parent / name) != told:
            raise Refused(f"{name} is not the file that was used: its digest differs")
    machine = read(text, file.parent)
    if set(machine.files) != set(certificate["files"]):
        raise Refused("the proof does not name the files that the model uses")
    return machine


class Claims:
    """The claims of a certificate."""

    def __init__(self, book, certificate):
        self.book, self.certificate = book, certificate
        self.root = tuple((low, high) if name in {n for n, _ in book.machine.drives.values()}
                          else (0.0, 0.0) for name, (low, high, _) in book.machine.inputs.items())

    def all(self, tell):
        """Hold every claim, and every pair, against the other."""
        told = {frozenset(k["pair"]): k for k in self.certificate["pairs"]}
        pairs, leaves, missed = list(self.book.pairs.all()), 0, []
        pairs.sort(key=lambda p: p.frame)
        for done, pair in enumerate(pairs):
            tell(done, len(pairs))
            claim = told.pop(frozenset(pair.names), None)
            if claim is None:
                raise Refused(f'nothing is claimed of "{pair.name}"')
            try:
                leaves += self.pair(pair, claim)
                if self.short(pair, claim):
                    missed.append(pair.name)
            except Refused as problem:
                raise Refused(f'"{pair.name}": {problem}') from None
        tell(len(pairs), len(pairs))
        if told:
            raise Refused(f"a pair is claimed that does not move: {sorted(next(iter(told)))}")
        end = f"; {len(missed)} come nearer than required, first {missed[0]}" if missed else ""
        return Verdict(f"proof holds: {len(pairs)} pairs, {leaves} leaves, for the "
                       f"{self.certificate['travel']} travel, {self.certificate['build']}{end}",
                       True, len(pairs), leaves)

    def pair(self, pair, told):
        """Check a pair's least and all its leaves; how many there are."""
        sides = self.book.sides(pair)
        if None in sides:  # all of a solid lies at its joints
            return 0
        if told.get("least") is not None:
            self.met(pair, told)
        claim = told["claim"]
        if claim is None:
            return 0
        if not (isinstance(claim, float) and 0 <= claim < math.inf):
            raise Refused(f"claims {claim!r}")
        count = 0
        planes = unpacked(told["planes"], len(self.root))
        for word, sides, cell, plane in walked(self.book, pair, self.root, told["tree"], planes):
            count += 1
            if word == "f":
                good = plane is not None and self.book.free(pair, sides, cell, plane, claim)
            else:
                good = self.book.at_joint(pair, sides) if word == "j" else \
                    self.book.nowhere(pair, sides, cell)
            if not good:
                raise Refused(f"it is not shown to stay {claim:.4f} mm apart near "
                              f"{where(self.book, cell)}")
        return count

    def met(self, pair, told):
        """Check that the pieces come as near as the least says, where it says."""
        place = told["place"]
        if len(place) != len(self.root) or not all(
                low <= x <= high for x, (low, high) in zip(place, self.root, strict=True)):
            raise Refused("the place where it is least lies outside the travel")
        found = self.book.met(pair, place, told["met"])
        if not found <= told["least"] + 1e-6:
            raise Refused(f"at {place} it comes as near as {found:.4f} mm, not {told['least']:.4f}")

    def short(self, pair, told):
        """Whether a pair is shown to come nearer than it has to; undecided is refused."""
        if pair.rule in ("stop", "waived") or None in self.book.sides(pair):
            return False
        if told["claim"] is not None and told["claim"] >= pair.required - ROUNDED:
            return False
        if told.get("least") is not None and told["least"] < pair.required + 1e-6:
            return True
        raise Refused(f"it is not decided whether it keeps {pair.required:.3f} mm")


ROUNDED = 0.002  # mm that a claim stays below what the search printed


def unpacked(text, inputs):
    """Planes of a pair: rows of the normal and of how it turns per input."""
    raw = base64.b64decode(text)
    width = 3 * (1 + inputs)
    for start in range(0, len(raw), 4 * width):
        flat = struct.unpack_from(f"<{width}f", raw, start)
        if not all(math.isfinite(k) for k in flat):
            raise Refused("a plane has no direction")
        yield [list(flat[k:k + 3]) for k in range(0, width, 3)]


def where(book, cell):
    """A cell in words."""
    return ", ".join(f"{name} {low:.3f}..{high:.3f}" for name, (low, high) in
                     zip(book.motion.names, cell, strict=True))
