"""A certificate held against its model file, claim by claim."""

from __future__ import annotations

import base64
import gzip
import hashlib
import json
import math
import struct
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from .directions import Directions
from .leaves import Book, walked
from .lengths import Refused
from .pairs import Pair
from .reading import Machine, read
from .travel import Travel

FORMAT = 3
BUILDS = "as drawn", "as built"  # every build within the tolerances of the file
MOST = 200_000_000  # bytes of a certificate, unpacked


@dataclass
class Verdict:
    """What of a certificate holds.

    Attributes
    ----------
    sentence : str
    holds : bool
    pairs, leaves : int
    directions : tuple of str
        Which way every surface goes for the positive end of each input.
    """

    sentence: str
    holds: bool
    pairs: int = 0
    leaves: int = 0
    directions: tuple = ()


def digest(path: Path | str) -> str:
    """SHA-256 of a file."""
    return hashlib.sha256(Path(path).read_bytes()).hexdigest()


def loaded(path: Path | str) -> dict:
    """A certificate as it was written."""
    with gzip.open(path) as file:
        text = file.read(MOST + 1)
    if len(text) > MOST:
        raise Refused(f"{path}: is too large")
    return json.loads(text, object_pairs_hook=once)


def once(items: list) -> dict:
    """A table of a certificate, no key of which may stand twice."""
    if len(dict(items)) < len(items):
        raise Refused("the certificate says something twice")
    return dict(items)


def check(file: Path | str, proof: Path | str,
          tell: Callable = lambda done, of: None) -> Verdict:
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
        return Claims(Book(machine, certificate["build"] == BUILDS[1]), certificate).all(tell)
    except Refused as problem:
        return Verdict(f"proof does not hold: {problem}", False)
    except Exception as problem:  # whatever it is, it is no pass
        return Verdict(f"proof does not hold: it or its file can not be read "
                       f"({type(problem).__name__}: {problem})", False)


def checked_files(file: Path, certificate: dict) -> Machine:
    """The machine of the file, once certificate and file are what they say they are."""
    if repr(certificate["format"]) != repr(FORMAT):
        raise Refused(f"the checker does not know format {certificate['format']!r}")
    if certificate["travel"] != "real" or certificate["build"] not in BUILDS:
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

    def __init__(self, book: Book, certificate: dict):
        self.book, self.certificate = book, certificate
        self.travel = Travel(book, certificate)
        self.root = self.travel.root()

    def all(self, tell: Callable) -> Verdict:
        """Hold every claim, and every pair, against the other."""
        told = {frozenset(k["pair"]): k for k in self.certificate["pairs"]}
        if len(told) < len(self.certificate["pairs"]):
            raise Refused("a pair is claimed twice")
        pairs = sorted(self.book.pairs.all(), key=lambda p: p.frame)
        leaves, found = 0, {word: [] for word in ("kept", "missed", "open", *LEFT)}
        for done, pair in enumerate(pairs):
            tell(done, len(pairs))
            claim = told.pop(frozenset(pair.names), None)
            if claim is None:
                raise Refused(f'nothing is claimed of "{pair.name}"')
            try:
                count, word = self.pair(pair, claim)
            except Refused as problem:
                raise Refused(f'"{pair.name}": {problem}') from None
            leaves += count
            found[word].append(pair.name)
        tell(len(pairs), len(pairs))
        if told:
            raise Refused(f"a pair is claimed that does not move: {sorted(next(iter(told)))}")
        count, ways = len(found["kept"]) + len(found["missed"]), Directions(self.book, self.travel)
        went = ways.hold(self.certificate["directions"])
        return Verdict(self.sentence(found, count, leaves), not found["open"], count, leaves,
                       tuple(ways.words(went)))

    def sentence(self, found: dict, count: int, leaves: int) -> str:
        """What holds, and what it leaves out."""
        parts = [f"proof holds: {count} pair{'s' * (count != 1)}, {leaves} "
                 f"lea{'f' if leaves == 1 else 'ves'}, for the real travel, "
                 f"{self.certificate['build']}"]
        if found["open"]:
            parts[0] = (f"proof does not hold for {len(found['open'])} of the pairs: not decided, "
                        f"first {found['open'][0]}; of the others {parts[0]}")
        parts += outcomes(found["missed"], found["kept"])
        free, passed = self.travel.open_ends()
        parts += [f"{words} {', '.join(ends)}" for words, ends in (
            ("the wanted travel stands where no stop is:", free),
            ("no stop is shown to end, up to where it is looked for,", passed),
            ("nothing moves", self.book.motion.still)) if ends]
        left = [f"{len(found[word])} {words}" for word, words in LEFT.items() if found[word]]
        left += ["loops of wires"] if self.book.machine.wires else []
        return "; ".join([*parts, f"not looked at: {', '.join(left)}"] if left else parts)

    def pair(self, pair: Pair, told: dict) -> tuple[int, str]:
        """Check all that is claimed of a pair: how many leaves there are, and what comes of it."""
        sides = self.book.sides(pair)
        if None in sides:  # all of a solid lies at its joints
            return 0, "joint"
        least = self.met(pair, told) if told.get("least") is not None else math.inf
        claim, count = told["claim"], 0
        if claim is not None:
            count = self.leaves(pair, told, claim)
        return count, self.outcome(pair, claim, least)

    def outcome(self, pair: Pair, claim: float | None, least: float) -> str:
        """What comes of a pair by what is claimed of it and what was met."""
        if pair.rule in LEFT and claim is None:
            return pair.rule
        if claim is not None and claim >= pair.required - ROUNDED:
            return "kept"
        if least < pair.required:
            return "missed"
        if claim is None and self.book.built:
            return "open"
        raise Refused(f"it is not decided whether it keeps {pair.required:.3f} mm")

    def leaves(self, pair: Pair, told: dict, claim: float) -> int:
        """Check the leaves of a pair; how many there are."""
        if not (isinstance(claim, float) and 0 <= claim < math.inf):
            raise Refused(f"claims {claim!r}")
        count, planes = 0, unpacked(told["planes"], len(self.root))
        for word, sides, cell, plane in walked(self.book, pair, self.root, told["tree"], planes):
            count += 1
            if not self.leaf(pair, (word, sides, cell, plane), claim):
                raise Refused(f"it is not shown to stay {claim:.4f} mm apart near "
                              f"{where(self.book, cell)}")
        return count

    def leaf(self, pair: Pair, leaf: tuple, claim: float) -> bool:
        """Whether a leaf is what it is said to be."""
        word, sides, cell, plane = leaf
        if word == "f":
            return plane is not None and self.book.free(pair, sides, cell, plane, claim)
        if word == "j":
            return self.book.at_joint(pair, sides)
        return self.travel.outside(cell) if word == "x" else self.book.nowhere(pair, sides, cell)

    def met(self, pair: Pair, told: dict) -> float:
        """Check that the pieces come as near as the least says, where it says; how near."""
        place = told["place"]
        if not self.travel.holds(place):
            raise Refused("the place where it is least lies outside the travel")
        found = self.book.met(pair, place, told["met"], told.get("build"))
        if not (found <= told["least"] + 1e-6 and told["least"] < math.inf):
            raise Refused(f"at {place} it comes as near as {found:.4f} mm, not {told['least']:.4f}")
        return found


ROUNDED = 0.002  # mm that a claim stays below what the search printed
LEFT = {"stop": "of stops, which are meant to touch", "waived": "that the file waives",
        "joint": "of which one solid lies wholly at a joint that both share"}


def unpacked(text: str, inputs: int) -> Iterator[list]:
    """Planes of a pair: rows of the normal and of how it turns per input."""
    raw = base64.b64decode(text)
    width = 3 * (1 + inputs)
    for start in range(0, len(raw), 4 * width):
        flat = struct.unpack_from(f"<{width}f", raw, start)
        if not all(math.isfinite(k) for k in flat):
            raise Refused("a plane has no direction")
        yield [list(flat[k:k + 3]) for k in range(0, width, 3)]


def where(book: Book, cell: tuple) -> str:
    """A cell in words."""
    return ", ".join(f"{name} {low:.3f}..{high:.3f}" for name, (low, high) in
                     zip(book.motion.names, cell, strict=True))


def outcomes(missed: list, kept: list) -> Iterator[str]:
    """What comes of the pairs that are decided."""
    if missed:
        yield f"{len(missed)} come nearer than required, first {missed[0]}"
    if kept:
        yield (f"{'the others' if missed else 'all'} keep what is required but for "
               f"{ROUNDED:g} mm")
