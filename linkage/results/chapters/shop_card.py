"""The shop card: what to cut, buy and set, on one page."""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from ... import gearing
from ...model import Plate, Washer
from ...model.solids import Tubing
from ...motion import body_of
from ...units import POUND, shown_length
from ..blocks import Heading, Table, Text, as_read, units_in_headings
from ..columns import in_words
from .front import identity
from .stops import spacers_to_make

if TYPE_CHECKING:
    from ...motion import System
    from ..answers import Answers
    from ..blocks import Block

TABLES = ("Card, rods", "Card, cut and made", "Card, stock", "Card, at each stop", "Card, blanks")


def blocks(results: Answers) -> Iterator[Block]:
    """Blocks of one page for the bench."""
    system, model = results.system, results.system.model
    yield Heading("Shop card", new_page=True)
    yield Text(f"{identity(results)}  A dash: not in the file.")
    cards = [("Card, rods", rods_card(results), "Tube: between the ends that the rod ends screw "
              "into; turns: whole half turns left, longer and shorter."),
             ("Card, cut and made", pieces_card(system), "Size: thickness of a spacer; free length "
              "of a wire between its clamps; length of a tube along its middle line."),
             ("Card, stock", stock_card(results), ""),
             ("Card, blanks", blanks_card(system), "Least rectangle along the plate's own u and "
              "v; cut-outs not taken off its size, but off its weight.")]
    for name, data, note in cards:
        if len(data):
            yield Table(name, data, note)
    if results.stops is not None:
        data = stops_card(results)
        yield Table("Card, at each stop", data, "Surfaces and levels with the stick held against "
                    "each stop, the other inputs at neutral.", words=in_words(system, data),
                    rounding=as_read(*(head for head in data if head.startswith("level "))))
    if model.couplings:
        yield Text(f"Cables and gears, of which the file gives no length: "
                   f"{', '.join(model.couplings)}.", "missing")
    yield from _weighed(model, [data for _, data, _ in cards])


def _weighed(model, tables) -> Iterator[Text]:
    """What the pieces of some tables weigh together, as far as that is known."""
    known = [float(data[column].sum()) for data in tables for column in data
             if column.startswith("weight ")]
    if known:
        yield Text(f"Weight of what the file gives material and sizes for: {sum(known):.2f} "
                   f"{_weight(model)[0]}; all else is not in it.")


def _weight(model) -> tuple[str, float]:
    """The unit of weights that goes with the file's lengths, and its kg."""
    return ("kg", 1.0) if model.unit.metric else ("lb", POUND)


def _density(model, name) -> float:
    """Density of a material, kg/mm³; NaN where it is not known."""
    density = model.material(name).density if name else None
    return math.nan if density is None else density


def _ring(diameter, wall) -> float:
    """Area of a tube's wall, mm²."""
    return math.pi * wall * (diameter - wall)


@units_in_headings
def rods_card(results: Answers) -> pd.DataFrame:
    """Every rod: length, tube to cut, its section, rod ends, turns and weight."""
    model = results.system.model
    unit, per, (word, kg) = model.length, model.unit.mm, _weight(model)
    rows = []
    for row in () if results.rods is None else results.rods.to_dict("records"):
        rod = model.rods[row["rod"]]
        heavy = row["tube"] * _ring(rod.diameter, rod.wall) * _density(model, rod.material) \
            if rod.diameter and rod.wall else math.nan
        rows.append({"rod": row["rod"], f"centres {unit}": row["length"] / per,
                     f"tube {unit}": row["tube"] / per,
                     f"diameter {unit}": (rod.diameter or math.nan) / per,
                     f"wall {unit}": (rod.wall or math.nan) / per, "of": rod.material or "–",
                     "longer turns": row["turns_longer"], "shorter turns": row["turns_shorter"],
                     f"weight {word}": heavy / kg})
    return pd.DataFrame(rows)


@units_in_headings
def pieces_card(system: System) -> pd.DataFrame:
    """Spacers, wires, and tubes of moving parts that the file gives a wall of."""
    model = system.model
    unit, per, (word, kg) = model.length, model.unit.mm, _weight(model)
    pieces = (*_spacer_pieces(system), *_wire_pieces(model), *_tube_pieces(model))
    return pd.DataFrame([{
        "make": make, "what": what, f"size {unit}": size / per,
        f"diameter {unit}": (diameter or math.nan) / per, f"wall {unit}": (wall or math.nan) / per,
        "of": of or "–", f"weight {word}": heavy / kg}
        for make, what, size, diameter, wall, of, heavy in pieces])


def _spacer_pieces(system):
    unit, per = system.model.length, system.model.unit.mm
    for row in spacers_to_make(system).to_dict("records"):
        yield (row["stop"], f"spacer on {row['sits on']}", row[f"thickness {unit}"] * per, None,
               None, row[f"stacked of ({unit})"], math.nan)


def _wire_pieces(model):
    for name, wire in model.wires.items():
        yield name, "wire", wire.length or math.nan, wire.diameter, None, None, math.nan


def _tube_pieces(model):
    for name, shape in model.solids.items():
        body = model.bodies.get(body_of(name))
        if isinstance(shape, Tubing) and body is not None and shape.wall is not None:
            spots = [np.asarray(model.spot(body_of(name), at), dtype=float) for at in shape.along]
            long = sum(float(np.linalg.norm(b - a)) for a, b in itertools.pairwise(spots))
            yield (name, "tube", long, shape.diameter, shape.wall, body.material,
                   long * _ring(shape.diameter, shape.wall) * _density(model, body.material))


@units_in_headings
def stock_card(results: Answers) -> pd.DataFrame:
    """What to have on the bench: tube by its section, rod ends, hardware, and how much of each."""
    model = results.system.model
    unit, tubes, counts = model.length, {}, Counter()
    for row in () if results.rods is None else results.rods.to_dict("records"):
        rod = model.rods[row["rod"]]
        if rod.diameter:
            tubes.setdefault(_tube_words(rod, unit), []).append(row["tube"] / model.unit.mm)
        counts.update(_hardware(model, row["hardware"]))
    rows = [{"stock": words, "pieces": len(lengths), f"together {unit}": float(np.sum(lengths))}
            for words, lengths in tubes.items()]
    rows += [{"stock": words, "pieces": count, f"together {unit}": math.nan}
             for words, count in counts.items()]
    return pd.DataFrame(rows, columns=["stock", "pieces", f"together {unit}"])


def _tube_words(rod, unit) -> str:
    wall = f" x {shown_length(rod.wall, unit)}" if rod.wall else ""
    return f"tube {shown_length(rod.diameter, unit)}{wall}, {rod.material or 'no material'}"


def _hardware(model, words) -> Counter:
    """How many of what a rod is fitted with: "2 jam nut; AN3" is 2 of the one, 1 of the other."""
    counts = Counter()
    for item in words.replace("; ", ", ").split(", ") if words else ():
        many, _, what = item.partition(" ")
        count, name = (int(many), what) if many.isdecimal() else (1, item)
        counts[f"rod end {name}" if name in model.rod_ends else name] += count
    return counts


@units_in_headings
def blanks_card(system: System) -> pd.DataFrame:
    """Plates and washers of moving parts: thickness, least rectangle, weight."""
    from ...relief import flat_of

    model, rows = system.model, []
    unit, per, (word, kg) = model.length, model.unit.mm, _weight(model)
    for name, shape in model.solids.items():
        body = model.bodies.get(body_of(name))
        if not isinstance(shape, Plate | Washer) or body is None or (
                body.grip is not None and name.endswith("/hand")):  # room for a hand, no metal
            continue
        flat = flat_of(model, name)
        wide, tall = np.ptp(flat.outside.drawn(), axis=0) / per
        heavy = flat.material.area * flat.thickness * _density(
            model, getattr(shape, "material", None)) / kg
        rows.append({"plate": name, f"thick {unit}": flat.thickness / per, f"wide {unit}": wide,
                     f"tall {unit}": tall, f"weight {word}": heavy})
    return pd.DataFrame(rows)


@units_in_headings
def stops_card(results: Answers) -> pd.DataFrame:
    """What every surface and every level reads against each stop."""
    system, model, rows = results.system, results.system.model, []
    for stop in results.stops.to_dict("records"):
        motion = system.sweep(**{stop["input"]: stop["angle"]})
        rows.append({"stop": stop["stop"],
                     "stick": gearing.said_input(system, stop["input"], stop["angle"]),
                     **{f"{name} °": stop[name] for name in model.surfaces},
                     **{f"level {name} °": float(gearing.level_reading(motion, name))
                        for name, part in model.bodies.items() if part.level is not None}})
    return pd.DataFrame(rows)
