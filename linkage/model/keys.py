"""The kinds of value a model file can hold: how each is read, checked, written and described.

A kind knows four things and nothing of any part: ``read`` (file value to mm and degrees),
``check`` (refuse what can't be), ``write`` (back to the file) and ``schema`` (JSON Schema).
"""

from __future__ import annotations

import dataclasses
import math
import unicodedata
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from ..errors import LinkageError, ModelError, mm, nearest
from ..units import HOUSE, as_float, file_length, length_mm, quantity

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

AXES = {"lateral": (0.0, 1.0, 0.0), "fore-aft": (-1.0, 0.0, 0.0), "vertical": (0.0, 0.0, 1.0)}
DIRECTION_MARKS = frozenset("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e"
                            "\u2066\u2067\u2068\u2069")  # UAX 9, from memory
MOST_MM = 1e6  # a kilometre: beyond it a number is a slip of the unit, and precision is gone


def key(kind: Kind, doc: str, *, word: str | None = None, **options: Any) -> Any:
    """Dataclass field that is a key of the model file."""
    return dataclasses.field(metadata={"kind": kind, "doc": doc, "word": word}, **options)


def file_keys(cls: type) -> dict:
    """The file keys of a part class: ``{word: field}``."""
    return {field.metadata["word"] or field.name: field
            for field in dataclasses.fields(cls) if "kind" in field.metadata}


@contextmanager
def at(place: str) -> Iterator[None]:
    """Say where in the model a complaint belongs."""
    try:
        yield
    except ModelError as error:
        inner = error.facts["place"]
        raise ModelError(f"{place}, {error.sentence}",
                         **{**error.facts, "place": f"{place}, {inner}"}) from error
    except LinkageError as error:
        raise ModelError(f"{place}: {error.sentence}", **{**error.facts, "place": place}) from error


def _a(what: str) -> str:
    return f"{'an' if what[0] in 'aeiou' else 'a'} {what}"


def got(value: Any) -> str:
    """End of a complaint: what was found instead."""
    text = f'"{value}"' if isinstance(value, str) else repr(value)
    return f"got {text[:60]}{'...' if len(text) > 60 else ''}"


def _is_number(value) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


class Kind:
    """What one file key may hold; the plain case is read and written as it stands."""

    def read(self, value: Any, unit: str) -> Any:
        return value

    def write(self, value: Any, unit: str) -> Any:
        return value

    def fits(self, value: Any) -> bool:
        """Whether a value looks like one of this kind, for a key that takes several kinds."""
        return True

    def check(self, value: Any) -> None:
        raise NotImplementedError

    def schema(self) -> dict:
        raise NotImplementedError


@dataclass(frozen=True)
class Text(Kind):
    """Words for a person, or the name of another part."""

    def fits(self, value: Any) -> bool:
        return isinstance(value, str)

    def check(self, value: Any) -> None:
        if not isinstance(value, str) or not value.strip():
            raise LinkageError(f"needs a text in quotes, {got(value)}")
        marks = [c for c in value if unicodedata.category(c) in ("Cc", "Cs", "Zl", "Zp")
                 or c in DIRECTION_MARKS]
        if marks:
            raise LinkageError(f"holds {marks[0]!r}, which is no text but moves what is printed "
                               f"elsewhere; take it out")

    def schema(self) -> dict:
        return {"type": "string", "minLength": 1}


class Label(Text):
    """Words that a mirrored twin keeps as they are: what is bought is not handed."""


@dataclass(frozen=True)
class Flag(Kind):
    """True or false."""

    def check(self, value: Any) -> None:
        if not isinstance(value, bool):
            raise LinkageError(f"needs true or false, {got(value)}")

    def schema(self) -> dict:
        return {"type": "boolean"}


@dataclass(frozen=True)
class Choice(Kind):
    """One of a few words."""

    words: tuple[str, ...]

    def check(self, value: Any) -> None:
        if value not in self.words:
            raise LinkageError(f"needs one of {', '.join(self.words)}, {got(value)}")

    def schema(self) -> dict:
        return {"enum": list(self.words)}


@dataclass(frozen=True)
class Number(Kind):
    """A bare number; `above` and `least` bound it."""

    above: float | None = None
    least: float | None = None
    what: str = "number"
    unit: str = ""

    def fits(self, value: Any) -> bool:
        return _is_number(value) or isinstance(value, str)

    def check(self, value: Any) -> None:
        if not _is_number(value) or not math.isfinite(value):
            raise LinkageError(f"needs {_a(self.what)}, {got(value)}")
        if self.above is not None and not value > self.above:
            raise LinkageError(f"needs {_a(self.what)} above {self.above:g}, got "
                               f"{self.shown(value)}")
        if self.least is not None and not value >= self.least:
            raise LinkageError(f"needs {_a(self.what)} of at least {self.least:g}, got "
                               f"{self.shown(value)}")

    def shown(self, value: float) -> str:
        """A value within the sentence of an error."""
        return f"{value:g} {self.unit}".strip()

    def read(self, value: Any, unit: str) -> Any:
        return as_float(value) if _is_number(value) else value

    def schema(self) -> dict:
        bounds = {"exclusiveMinimum": self.above, "minimum": self.least}
        return {"type": "number"} | {k: v for k, v in bounds.items() if v is not None}


@dataclass(frozen=True)
class Length(Number):
    """A length, mm; a bare number in a file is in the file's own unit."""

    what: str = "length"

    def shown(self, value: float) -> str:
        return mm(value)

    def read(self, value: Any, unit: str) -> Any:
        if _is_number(value) or isinstance(value, str):
            return length_mm(value, unit)
        return value

    def check(self, value: Any) -> None:
        super().check(value)
        if abs(value) > MOST_MM:
            raise LinkageError(f"needs a length under {MOST_MM / 1e6:g} km, got {mm(value)}; "
                               f"check the unit")

    def write(self, value: Any, unit: str) -> Any:
        return file_length(value, unit)

    def schema(self) -> dict:
        return {"anyOf": [super().schema(), {"type": "string", "minLength": 1}]}


@dataclass(frozen=True)
class Quantity(Number):
    """A force, moment, stress, density or mass, written with its unit."""

    above: float | None = 0.0
    what: str = "force"

    def read(self, value: Any, unit: str) -> Any:
        if isinstance(value, str):
            return quantity(value, self.what)
        raise LinkageError(f"needs a {self.what} with its unit, in quotes, {got(value)}")

    def write(self, value: Any, unit: str) -> Any:
        return f"{value!r} {HOUSE[self.what]}"

    def schema(self) -> dict:
        return {"type": "string", "minLength": 1}


@dataclass(frozen=True)
class ListOf(Kind):
    """Several of one kind."""

    kind: Kind
    least: int = 0
    most: int | None = None
    what: str = "list"

    def fits(self, value: Any) -> bool:
        return isinstance(value, (list, tuple))

    def _refuse(self, value):
        count = str(self.least) if self.least == self.most else f"at least {self.least}"
        raise LinkageError(f"needs a {self.what} of {count} in [ ], {got(value)}")

    def read(self, value: Any, unit: str) -> Any:
        self._check_count(value)
        return tuple(self.kind.read(item, unit) for item in value)

    def check(self, value: Any) -> None:
        self._check_count(value)
        for item in value:
            self.kind.check(item)

    def _check_count(self, value):
        if not isinstance(value, (tuple, list)) or len(value) < self.least \
                or (self.most is not None and len(value) > self.most):
            self._refuse(value)

    def write(self, value: Any, unit: str) -> Any:
        return [self.kind.write(item, unit) for item in value]

    def schema(self) -> dict:
        most = {} if self.most is None else {"maxItems": self.most}
        return {"type": "array", "items": self.kind.schema(), "minItems": self.least} | most


@dataclass(frozen=True)
class Position(ListOf):
    """Coordinates [FS, BL, WL], mm."""

    kind: Kind = Length()
    least: int = 3
    most: int | None = 3
    what: str = "position [FS, BL, WL]"


@dataclass(frozen=True)
class Direction(Kind):
    """A named axis or a vector; the vector keeps the length it was written with."""

    def read(self, value: Any, unit: str) -> Any:
        if isinstance(value, list):
            return tuple(as_float(v) if _is_number(v) else v for v in value)
        return value

    def check(self, value: Any) -> None:
        if isinstance(value, str):
            if value not in AXES:
                raise LinkageError(f'needs an axis, got "{value}"; {nearest(value, AXES)}')
            return
        if not (isinstance(value, (tuple, list)) and len(value) == 3
                and all(_is_number(v) and math.isfinite(v) for v in value)):
            raise LinkageError(f"needs one of {', '.join(AXES)} or a vector [x, y, z], "
                               f"{got(value)}")
        if not math.isfinite(math.hypot(*value)):
            raise LinkageError(f"is too long, {got(list(value))}; give a vector such as [0, 1, 0]")
        if not math.hypot(*value) > 0:
            raise LinkageError(f"has length zero, {got(list(value))}; give an axis that "
                               f"points somewhere")

    def write(self, value: Any, unit: str) -> Any:
        return value if isinstance(value, str) else list(value)

    def schema(self) -> dict:
        vector = {"type": "array", "items": {"type": "number"}, "minItems": 3, "maxItems": 3}
        return {"anyOf": [{"enum": list(AXES)}, vector]}


def unit_vector(direction: ArrayLike | str) -> tuple[float, float, float]:
    """Unit vector of a named axis or a vector.

    Examples
    --------
    >>> unit_vector("fore-aft"), unit_vector((0, 3, 4))
    ((-1.0, 0.0, 0.0), (0.0, 0.6, 0.8))
    """
    vector = AXES[direction] if isinstance(direction, str) else direction
    size = math.hypot(*vector)
    return tuple(float(v) / size for v in vector)


@dataclass(frozen=True)
class Either(Kind):
    """A value of the first kind that fits its type."""

    kinds: tuple[Kind, ...]

    def fitting(self, value: Any) -> Kind:
        return next((kind for kind in self.kinds if kind.fits(value)), self.kinds[-1])

    def read(self, value: Any, unit: str) -> Any:
        return self.fitting(value).read(value, unit)

    def check(self, value: Any) -> None:
        self.fitting(value).check(value)

    def write(self, value: Any, unit: str) -> Any:
        return self.fitting(value).write(value, unit)

    def schema(self) -> dict:
        return {"anyOf": [kind.schema() for kind in self.kinds]}


@dataclass(frozen=True)
class TableOf(Kind):
    """A table of named things of one kind."""

    kind: Kind
    what: str = "entry"

    def read(self, value: Any, unit: str) -> Any:
        if not isinstance(value, dict):
            return value
        table = {}
        for name, item in value.items():
            with at(f'{self.what} "{name}"'):
                _check_name(name)
                table[name] = self.kind.read(item, unit)
        return table

    def check(self, value: Any) -> None:
        if not isinstance(value, dict):
            raise LinkageError(f"{self.what}: needs a table of names, {got(value)}")
        for name, item in value.items():
            with at(f'{self.what} "{name}"'):
                _check_name(name)
                self.kind.check(item)

    def write(self, value: Any, unit: str) -> Any:
        return {name: self.kind.write(item, unit) for name, item in value.items()}

    def schema(self) -> dict:
        return {"type": "object", "additionalProperties": self.kind.schema()}


def _check_name(name):
    if not isinstance(name, str) or not name.strip() or name != name.strip():
        raise LinkageError(f"needs a name without blanks at its ends, {got(name)}")
    bad = [c for c in name if c in "/|" or not c.isprintable()]
    if bad:
        raise LinkageError(f"a name can't hold {bad[0]!r}: it separates part and point; rename it")


@dataclass(frozen=True)
class Record(Kind):
    """A table with fixed keys: one part class."""

    cls: type

    def fits(self, value: Any) -> bool:
        return isinstance(value, (dict, self.cls))

    def read(self, value: Any, unit: str) -> Any:
        return self.cls(**read_keys(self.cls, value, unit))

    def check(self, value: Any) -> None:
        if not isinstance(value, self.cls):
            raise LinkageError(f"needs a {self.cls.__name__}, {got(value)}")

    def write(self, value: Any, unit: str) -> Any:
        return write_keys(value, unit)

    def schema(self) -> dict:
        return {"$ref": f"#/$defs/{self.cls.__name__}"}


@dataclass(frozen=True)
class OneOfRecords(Kind):
    """A table whose ``kind`` says which part class it is."""

    classes: tuple[type, ...]

    def read(self, value: Any, unit: str) -> Any:
        if not isinstance(value, dict):
            raise LinkageError(f"needs a table like {{ kind = ... }}, {got(value)}")
        kinds = {cls.kind: cls for cls in self.classes}
        kind = value.get("kind")
        if not isinstance(kind, str) or kind not in kinds:
            hint = nearest(str(kind), kinds) if kind is not None else \
                f"add kind = one of {', '.join(kinds)}"
            raise LinkageError(f"kind {got(kind) if kind is not None else 'is missing'}; {hint}")
        rest = {word: item for word, item in value.items() if word != "kind"}
        return kinds[kind](**read_keys(kinds[kind], rest, unit))

    def check(self, value: Any) -> None:
        if not isinstance(value, self.classes):
            raise LinkageError(f"needs one of {', '.join(c.kind for c in self.classes)}, "
                               f"{got(value)}")

    def write(self, value: Any, unit: str) -> Any:
        return {"kind": value.kind} | write_keys(value, unit)

    def schema(self) -> dict:
        return {"oneOf": [{"$ref": f"#/$defs/{cls.__name__}"} for cls in self.classes]}


def read_keys(cls: type, table: Mapping[str, Any], unit: str) -> dict:
    """Attributes of a part class from a table of the file.

    Unknown keys are refused with the nearest known one, missing ones are named.
    """
    keys = file_keys(cls)
    if not isinstance(table, dict):
        raise LinkageError(f"needs a table of {', '.join(keys)}, {got(table)}")
    for word in table:
        if word not in keys:
            hint = getattr(cls, "elsewhere", {}).get(word) or nearest(word, keys)
            raise LinkageError(f'has an unknown key "{word}"; {hint}', key=word)
    values = {}
    for word, field in keys.items():
        if word in table:
            _refuse_no_table(word, field.metadata["kind"], table[word])
            with _place_of(word, field.metadata["kind"]):
                values[field.name] = field.metadata["kind"].read(table[word], unit)
        elif field.default is dataclasses.MISSING and \
                field.default_factory is dataclasses.MISSING:
            what = field.metadata["doc"].split(";")[0]
            raise LinkageError(f"needs {word}{'' if what == word else f' ({what})'}", key=word)
    return values


def write_keys(part: Any, unit: str) -> dict:
    """The table of the file that reads back as `part`; what equals its default is left out."""
    table = {}
    for word, field in file_keys(type(part)).items():
        value = getattr(part, field.name)
        default = field.default if field.default_factory is dataclasses.MISSING \
            else field.default_factory()
        if value is not None and value != default:
            table[word] = field.metadata["kind"].write(value, unit)
    return table


def check_keys(part: Any) -> None:
    """Check every key of a part; called once, at its birth."""
    for word, field in file_keys(type(part)).items():
        value = getattr(part, field.name)
        if value is None and field.default is None:
            continue
        _refuse_no_table(word, field.metadata["kind"], value)
        with _place_of(word, field.metadata["kind"]):
            field.metadata["kind"].check(value)


def _refuse_no_table(word, kind, value):
    if isinstance(kind, TableOf) and not isinstance(value, dict):
        raise LinkageError(f"{word}: needs a table of names, {got(value)}")


def _place_of(word: str, kind: Kind):
    """A table of named things says its own place, once."""
    return nullcontext() if isinstance(kind, TableOf) else at(word)
