"""The JSON Schema of a file, held against a validator that knows nothing of the project."""

import copy
import tomllib

import jsonschema
import pytest
from systems.model_files import HALF, RICH, SHIPPED, TWINS, VALIDATOR

import linkage
from linkage.model.file import (
    parse_model,
    schema,
)


def test_schema_is_a_schema():
    jsonschema.Draft202012Validator.check_schema(schema())


@pytest.mark.parametrize("text", [
    RICH, TWINS, HALF, *(path.read_text(encoding="utf-8") for path in SHIPPED)],
    ids=["rich", "twins", "half", *(path.stem for path in SHIPPED)])
def test_schema_accepts_good_files(text):
    VALIDATOR.validate(tomllib.loads(text))


def tables(table, path=()):
    """Where a known key could stand: every table of the file that is not a table of names."""
    named = {"input", "body", "rod", "coupling", "surface", "stop", "material", "wire", "mirror",
             "points", "solid", "class", "arm", "clocking", "place", "target",
             "rod_end", "rig_pin"}
    if not path or path[-1] not in named or len(path) > 1 and path[-2] in named:
        yield path
    for key, value in table.items():
        if isinstance(value, dict):
            yield from tables(value, (*path, key))


@pytest.mark.parametrize("path", list(tables(tomllib.loads(RICH))), ids="/".join)
def test_schema_refuses_an_unknown_key_anywhere(path):
    """The library refuses it in the same place, and says where."""
    table = copy.deepcopy(tomllib.loads(RICH))
    inner = table
    for key in path:
        inner = inner[key]
    inner["colour"] = "red"
    assert not VALIDATOR.is_valid(table)
    import tomli_w

    with pytest.raises(linkage.LinkageError, match='unknown key "colour"'):
        parse_model(tomli_w.dumps(table))


@pytest.mark.parametrize(("old", "new"), [
    ('length = "in"', 'length = "ell"'), ("pivot = [61.0, 0.0, 9.0]", "pivot = [61.0, 0.0]"),
    ('axis = "lateral"', 'axis = "sideways"'), ("redundant = true", 'redundant = "yes"'),
    ('side = "greatest"', 'side = "aft"'), ('kind = "sphere"', 'kind = "ball"'),
    ("diameter = 0.5", "diameter = -0.5"), ('ends = ["stick/arm", "horn/p"]', ""),
    ('reason = "switch wires"', ""), ('modulus = "29e6 psi"', "modulus = 29e6"),
])
def test_schema_and_library_refuse_the_same_slip(old, new):
    assert old in RICH
    text = RICH.replace(old, new)
    assert not VALIDATOR.is_valid(tomllib.loads(text))
    with pytest.raises(linkage.LinkageError):
        parse_model(text)
