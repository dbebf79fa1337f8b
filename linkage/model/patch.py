"""A model file changed to another model in place: what the builder wrote stays as written.

The new value of a key is said in the unit its old value was said in.  A part that `mirror` made
stays made by it as long as it is the twin; one that no longer is, is written out.
"""

from __future__ import annotations

import dataclasses
import math
import re
from fractions import Fraction
from functools import singledispatch
from pathlib import Path
from typing import Any

from ..errors import LinkageError
from ..units import LENGTHS, length_mm
from .document import edited, number_like
from .file import Source, model_of, read_source
from .keys import (
    AXES,
    Either,
    Kind,
    Length,
    ListOf,
    OneOfRecords,
    Position,
    Quantity,
    Record,
    TableOf,
    file_keys,
    unit_vector,
)
from .mirroring import MIRRORED, twin_name, with_twins
from .parts import AIRFRAME, Body
from .shapes import POINTS, Part, Point
from .side_files import rows_changed, with_drawings
from .springs import Spring
from .whole import Model

DIGITS = 8  # decimals, in the unit it is written in, to which a changed number is kept
NEAR = 1e-6  # mm or degrees within which the file that was written reads as what was wanted
_NUMBER = re.compile(r"(\s*)([+-]?[0-9]+(?:\.[0-9]*)?(?:[eE][+-]?[0-9]+)?)(.*)", re.S)
_SHOP = re.compile(r"(\s*)([+-]?)(?:([0-9]+)(\s+|-))?([0-9]+)(\s*/\s*)([0-9]+)(\s*[a-z]+\s*)")
_FINEST = 64  # of an inch: the finest fraction a shop's rule has


@dataclasses.dataclass(frozen=True)
class Patched:
    """A model file changed in place.

    Attributes
    ----------
    text : str
        Of the model file.
    hardpoints : str or None
        Text of its table of hardpoints where a row of it has changed, to be written beside it
        under the name it is given in `text`.
    meshes : dict
        ``{name: bytes}``, meshes of the model that are not on disk yet, to be written beside it.
    """

    text: str
    hardpoints: str | None = None
    meshes: dict = dataclasses.field(default_factory=dict)


def patched(text: str, wanted: Model, *, folder: Path | str = ".", table: str | None = None,
            moved: bool = False, home: Path | str | None = None) -> Patched:
    """The text of a model file changed so that it reads as another model.

    Parameters
    ----------
    text : str
    wanted : Model
    folder : path
        Where a relative `hardpoints` file is looked for.
    table : str, optional
        Name to refer to the table of hardpoints by, where a row of it changes.  Until one does,
        the name stays.
    moved : bool
        Whether the table of hardpoints gets that name in any case.
    home : path, optional
        Folder that it is to be written to, from which drawings are named; `folder` unless given.

    Returns
    -------
    Patched
        Only lines of what differs are changed.

    Raises
    ------
    LinkageError
        When the text can't be changed so that it reads as `wanted` within `NEAR`.
    """
    bare = text.removeprefix("\ufeff")
    source = read_source(bare, folder)
    if source.unit != wanted.length:
        raise LinkageError(f"is in {source.unit} and would have to be in {wanted.length}; write a "
                           f"new file instead")
    full = _full(source, wanted)
    changed = _changed_rows(source, full)
    rewritten = bool(changed or (moved and source.rows))
    csv_text = rows_changed(source.csv_text, changed) if rewritten else None
    whole = _hardpoints_key(source, table if rewritten else None)
    full = with_drawings(full, source.full, source.drawn, folder, home)
    after = edited(bare, whole | _without_empty(full, source.table))
    unwritten = _unwritten(wanted)
    again = model_of(read_source(after, home or folder, csv_text, unwritten))
    if not same(again, wanted, NEAR):
        raise LinkageError("can't be changed in place so that it reads as what was worked out")
    return Patched(text[:len(text) - len(bare)] + after, csv_text,
                   {name: file.data for name, file in unwritten.items()})


def _hardpoints_key(source: Source, table: str | None) -> dict:
    """The key that names the table of hardpoints: as given, else as the file does, if at all."""
    name = table or source.table.get("hardpoints")
    return {} if name is None else {"hardpoints": name}


def _unwritten(model: Model) -> dict:
    """Files of meshes that a model holds the bytes of, by their names."""
    return {str(solid.file): solid.file for solid in model.solids.values()
            if getattr(getattr(solid, "file", None), "data", None) is not None}


def same(one: Any, other: Any, near: float = 10.0**-DIGITS) -> bool:
    """Whether two parts or models are alike within `near` (mm, degrees, or that share of it)."""
    if isinstance(one, bool) or isinstance(other, bool):
        return one is other
    for alike, compared in ((Part, _same_parts), ((int, float), _same_numbers),
                            (dict, _same_tables), (tuple, _same_lists)):
        if isinstance(one, alike) and isinstance(other, alike):
            return compared(one, other, near)
    for name, direction in ((one, other), (other, one)):
        if _names_an_axis(name) and isinstance(direction, tuple) and len(direction) == 3:
            return same(AXES[name], unit_vector(direction), near)
    return one == other


def _names_an_axis(value) -> bool:
    return isinstance(value, str) and value in AXES


def _same_parts(one, other, near) -> bool:
    return type(one) is type(other) and all(
        same(getattr(one, field.name), getattr(other, field.name), near)
        for field in dataclasses.fields(one) if field.compare)


def _same_numbers(one, other, near) -> bool:
    return math.isclose(one, other, rel_tol=near / 10, abs_tol=near)


def _same_tables(one, other, near) -> bool:
    return one.keys() == other.keys() and all(same(one[k], other[k], near) for k in one)


def _same_lists(one, other, near) -> bool:
    return len(one) == len(other) and all(same(a, b, near)
                                          for a, b in zip(one, other, strict=True))


# --- which parts are to be written ---------------------------------------------------------------

def _full(source: Source, wanted: Model) -> dict:
    """The table the file is to hold, rows of the table of hardpoints among it."""
    entry, old, new = dict(source.full), dict(source.parts), _written(source, wanted)
    for word, group in MIRRORED.items():
        entry[word], old[group] = _with_twin_entries(
            (entry.get(word, {}), old.get(group, {}), new[group]), file_keys(Model)[word], source)
    for group, word in (("bodies", "body"), ("airframe", None)):
        homes = {name: (old[group][name], new[group][name], entry[word][name]) for name in
                 new[group] if name in old[group]} if word else \
            {AIRFRAME: (old.get(group, Model.airframe), new[group], entry.get(group, {}))}
        for name, (home, wished, table) in homes.items():
            more, grown = _with_own_twin_entries(home, wished, table, source)
            if word:
                entry[word], old[group] = {**entry[word], name: more}, {**old[group], name: grown}
            elif more:
                entry[group], old[group] = more, grown
    return _patched_keys((Model, old, new), entry, source.unit)


def _written(source: Source, wanted: Model) -> dict:
    """Attributes of the model without the parts that `mirror` will make of the others."""
    values = {field.name: getattr(wanted, field.name) for field in file_keys(Model).values()}
    bare = dict(values)
    for group in MIRRORED.values():
        bare[group] = {name: part for name, part in values[group].items()
                       if name in source.parts.get(group, {})}
    bare["bodies"] = {name: _without_own_twins(part, source.parts["bodies"][name])
                      for name, part in bare["bodies"].items()}
    bare["airframe"] = _without_own_twins(wanted.airframe,
                                          source.parts.get("airframe", Model.airframe))
    both = with_twins(bare)
    written = {group: _with_missing(bare[group], values[group], both[group], wanted.mirror)
               for group in MIRRORED.values()}
    for name, part in written["bodies"].items():
        if name in both["bodies"]:
            written["bodies"][name] = _with_missing_own(part, wanted.bodies[name],
                                                        both["bodies"][name], wanted.mirror)
    written["airframe"] = _with_missing_own(bare["airframe"], wanted.airframe, both["airframe"],
                                            wanted.mirror)
    return {**values, **written}


def _without_own_twins(part, written):
    """A body without those of its points and solids that are not written in the file."""
    return dataclasses.replace(part, **{group: {
        name: item for name, item in getattr(part, group).items()
        if name in getattr(written, group)} for group in ("points", "solids")})


def _with_missing_own(bare, whole, both, mirror):
    return dataclasses.replace(bare, **{group: _with_missing(
        getattr(bare, group), getattr(whole, group), getattr(both, group), mirror)
        for group in ("points", "solids")})


def _with_missing(written: dict, whole: dict, both: dict, mirror) -> dict:
    """What is written, and after its twin or at the end what no longer is the twin."""
    parts = dict(written)
    for name, part in whole.items():
        if name in parts or (name in both and same(both[name], part)):
            continue
        twin = twin_name(name, mirror)
        names = list(parts)
        k = names.index(twin) + 1 if twin in parts else len(names)
        parts = {each: parts[each] for each in names[:k]} | {name: part} | {
            each: parts[each] for each in names[k:]}
    return parts


def _with_twin_entries(tables, field, source):
    """What the file says of a group and what it means, with the entry of a twin for a new one."""
    entries, old, new = tables
    kind = field.metadata["kind"].kind
    entries, old = dict(entries), dict(old)
    mirror = source.parts.get("mirror", {})
    for name in new:
        twin = twin_name(name, mirror)
        if name not in old and twin in entries:
            entry = _renamed(entries[twin], mirror)
            try:
                meaning = kind.read(entry, source.unit)
            except LinkageError:
                continue
            entries[name], old[name] = entry, meaning
    return entries, old


def _with_own_twin_entries(home, wished, entry, source):
    entry, grown = dict(entry), {}
    for group, word in (("points", "points"), ("solids", "solid")):
        table = entry.get(word, {})
        more, grown[group] = _with_twin_entries(
            (table, getattr(home, group), getattr(wished, group)), file_keys(type(home))[word],
            source)
        if more != table:
            entry[word] = more
    return entry, dataclasses.replace(home, **grown)


def _renamed(value, mirror):
    """What a file says of a part, with the words of the other side."""
    if isinstance(value, str):
        return twin_name(value, mirror)
    if isinstance(value, dict):
        return {twin_name(key, mirror): _renamed(item, mirror) for key, item in value.items()}
    return [_renamed(item, mirror) for item in value] if isinstance(value, list) else value


# --- what a value is written as ------------------------------------------------------------------

def entry_of(kind: Kind, entry: Any, values: tuple[Any, Any], unit: str) -> Any:
    """What the file is to say of a value: the same as it says where nothing has changed.

    Parameters
    ----------
    kind : Kind
    entry
        What the file says.
    values : (object, object)
        What that means, and what it is to mean.
    unit : {"mm", "in"}
    """
    if same(*values):
        return entry
    return _changed(kind, entry, values, unit)


@singledispatch
def _changed(kind, entry, values, unit):
    return _plain(kind, values[1], unit)


def _plain(kind, value, unit):
    return _tidy(kind.write(value, unit))


def _tidy(value):
    if isinstance(value, float):
        return _rounded(value)
    if isinstance(value, dict):
        return {key: _tidy(item) for key, item in value.items()}
    return [_tidy(item) for item in value] if isinstance(value, (list, tuple)) else value


def _rounded(value: float) -> float:
    """The number with the fewest decimals that says the same to `DIGITS` decimals."""
    size = min(1.0, max(abs(value), 1e-3)) * 10.0**-DIGITS
    for digits in range(17):
        if abs(round(value, digits) - value) <= size:
            return round(value, digits) + 0.0
    return value


@_changed.register
def _length(kind: Length, entry, values, unit):
    if not isinstance(entry, str):
        return _rounded(values[1] / LENGTHS[unit].mm)
    return _length_text(entry, values[1], unit)


def _length_text(entry: str, mm: float, unit: str) -> str:
    """A length as text in the unit of its entry, a fraction where it was one and still is."""
    shop = _SHOP.fullmatch(entry)
    if shop:
        indent, _, _, gap, _, slash, bottom, own = shop.groups()
        size = mm / length_mm(f"1{own.strip()}", unit)
        for per in sorted({int(bottom), *(2**k for k in range(7))}):
            if per <= max(_FINEST, int(bottom)) and abs(size * per - round(size * per)) \
                    <= per * 10.0**-DIGITS:
                return indent + _fraction(Fraction(round(size * per), per), gap, slash) + own
        return f"{indent}{_rounded(size):.10g}{own}"
    number = _NUMBER.fullmatch(entry)
    if number is None:
        return f"{_rounded(mm / LENGTHS[unit].mm)!r} {unit}"
    indent, raw, rest = number.groups()
    return indent + number_like(raw, _rounded(mm / length_mm(f"1{rest}", unit))) + rest


def _fraction(size: Fraction, gap, slash) -> str:
    sign, size = "-" if size < 0 else "", abs(size)
    whole, top = divmod(size.numerator, size.denominator)
    if not top:
        return f"{sign}{whole}"
    lead = f"{whole}{gap or '-'}" if whole else ""
    return f"{sign}{lead}{top}{slash}{size.denominator}"


@_changed.register
def _quantity(kind: Quantity, entry, values, unit):
    old, new = values
    number = _NUMBER.fullmatch(entry) if isinstance(entry, str) else None
    if number is None or not old:
        return _plain(kind, new, unit)
    indent, raw, rest = number.groups()
    return indent + number_like(raw, _significant(float(raw) * (new / old))) + rest


def _significant(value: float) -> float:
    return float(f"{value:.10g}")


@_changed.register
def _either(kind: Either, entry, values, unit):
    fitting = kind.fitting(entry)
    old, new = (kind.fitting(value) for value in values)
    return _changed(fitting, entry, values, unit) if fitting is old is new else \
        _plain(kind, values[1], unit)


@_changed.register
def _list(kind: ListOf, entry, values, unit):
    old, new = values
    if isinstance(entry, dict) and len(old) == len(new) == 1:  # one table without its brackets
        return entry_of(kind.kind, entry, (old[0], new[0]), unit)
    if not isinstance(entry, list) or old is None or new is None or len(entry) != len(old):
        return _plain(kind, new, unit)
    start = _same_ahead(old, new)
    end = _same_ahead(old[start:][::-1], new[start:][::-1])
    before, after = old[start:len(old) - end], new[start:len(new) - end]
    between = [entry_of(kind.kind, item, pair, unit) for item, *pair in
               zip(entry[start:len(old) - end], before, after, strict=True)] \
        if len(before) == len(after) else _plain(ListOf(kind.kind), after, unit)
    return entry[:start] + between + entry[len(entry) - end:]


def _same_ahead(old, new) -> int:
    """How many items from the first on are the same in both."""
    pairs = enumerate(zip(old, new, strict=False))
    return next((k for k, pair in pairs if not same(*pair)), min(len(old), len(new)))


@_changed.register
def _table(kind: TableOf, entry, values, unit):
    old, new = values
    if not isinstance(entry, dict):
        return _plain(kind, new, unit)
    return {name: entry_of(kind.kind, entry[name], (old[name], item), unit)
            if name in entry and name in old else _plain(kind.kind, item, unit)
            for name, item in new.items()}


@_changed.register(type(POINTS.kind))
def _point(kind, entry, values, unit):
    """A bare place, or a table with the place of the bolt hole and what lies on it."""
    old, new = values
    if isinstance(entry, list) and not new.stack and new.tolerance is None:
        return entry_of(Position(), entry, (old.at, new.at), unit)
    return entry_of(Record(Point), entry, values, unit)


@_changed.register(Record)
@_changed.register(OneOfRecords)
def _record(kind, entry, values, unit):
    old, new = values
    if not isinstance(entry, dict) or type(old) is not type(new):
        return _plain(kind, new, unit)
    parts = [{field.name: getattr(part, field.name) for field in file_keys(type(new)).values()}
             for part in values]
    return _patched_keys((type(new), *parts), entry, unit, _kinds_of(new))


def _kinds_of(part) -> dict:
    """Kinds that follow from the part itself rather than from its class."""
    if getattr(part, "in_mm", False):
        return {"travel": ListOf(Length())}
    if isinstance(part, Body):
        return {"friction": Quantity(what="force" if part.slides else "moment")}
    if isinstance(part, Spring):
        return {word: Quantity(above=None, what=what)
                for word, what in zip(("rate", "preload"), part.counts, strict=True)}
    return {}


def _patched_keys(parts, entry, unit, kinds=()) -> dict:
    """A table of the file: its keys in their order, then those it did not have."""
    cls, old, new = parts
    keys, table = file_keys(cls), {}
    for word in dict.fromkeys((*entry, *keys)):
        if word not in keys:
            table[word] = entry[word]
            continue
        field = keys[word]
        kind = dict(kinds).get(word, field.metadata["kind"])
        before, after = old.get(field.name, _default(field)), new[field.name]
        if after is None or (word not in entry and same(before, after)):
            continue
        table[word] = entry_of(kind, entry[word], (before, after), unit) if word in entry else \
            _plain(kind, after, unit)
    return table


def _default(field):
    if field.default_factory is not dataclasses.MISSING:
        return field.default_factory()
    return None if field.default is dataclasses.MISSING else field.default


# --- the table of hardpoints ---------------------------------------------------------------------

def _changed_rows(source: Source, full: dict) -> dict:
    """Rows (old, new) of the table of hardpoints that change; all are taken out of `full`."""
    rows = {address: _taken_out(full, address) for address in source.rows}
    return {name: (source.rows[name], row) for name, row in rows.items()
            if row != source.rows[name]}


def _taken_out(full: dict, address: str):
    """Take a point of the table of hardpoints out of the model's own table again."""
    part, point = address.split("/")
    home = full[AIRFRAME] if part == AIRFRAME else full["body"][part]
    return (home if point == "pivot" else home["points"]).pop(point)


def _without_empty(full: dict, entry: dict) -> dict:
    """Tables that only the table of hardpoints had made are none of the file."""
    return {key: _without_empty(value, entry.get(key, {})) if isinstance(value, dict)
            and isinstance(entry.get(key, {}), dict) else value for key, value in full.items()
            if value != {} or key in entry}
