"""A part in the words of the trade: the few things asked of it, and its text in the model file."""

from __future__ import annotations

import json

from ..errors import LinkageError, nearest
from ..model import AIRFRAME, Model
from ..model.file import format_model, parse_model
from ..units import LENGTHS
from .typed import typed_length

PLACE, NAME, TEXT, SIZE = "place", "name", "text", "size"
_BODY = (("on", TEXT, "carried by", "cross tube; empty for the airframe"),
         ("pivot", PLACE, "pivot FS, BL, WL", "61, 0, 9"),
         ("axis", TEXT, "axis", "lateral, fore-aft or vertical"))
_DRIVEN = (("input", TEXT, "moved by the input", "pitch or roll; empty where a rod moves it"),)
FORMS = {
    "stick": (*_BODY, *_DRIVEN, ("grip", PLACE, "grip FS, BL, WL", "59.4, 0, 27.5"),
              ("low", PLACE, "rod hole FS, BL, WL", "61, 0, 5.2")),
    "tube": (*_BODY, *_DRIVEN, ("arm", PLACE, "arm's rod hole FS, BL, WL", "61, 1.6, 5.4")),
    "bellcrank": (*_BODY, ("in", PLACE, "hole of the rod to it FS, BL, WL", "90, 0, 5"),
                  ("out", PLACE, "hole of the rod from it FS, BL, WL", "90, 0, 14")),
    "rod": (("from", TEXT, "from part/point", "stick/low"),
            ("to", TEXT, "to part/point", "elevator/horn"),
            ("diameter", SIZE, "diameter", "1/2")),
    "surface": (*_BODY[1:], ("horn", PLACE, "horn's rod hole FS, BL, WL", "170.4, 0, 17.4"),
                ("chord", SIZE, "hinge to trailing edge", "14")),
    "stop": (("input", TEXT, "ends the input", "roll"),
             ("side", TEXT, "at its end", "least or greatest"),
             ("one", TEXT, "one solid, part/solid", "stick/shaft"),
             ("other", TEXT, "the other, part/solid", "airframe/block")),
    "box": (("on", TEXT, "belongs to", "a part; empty for the airframe"),
            ("corner", PLACE, "corner FS, BL, WL", "58, -16, 11"),
            ("opposite", PLACE, "opposite corner FS, BL, WL", "63, -12, 11.5")),
    "plate": (("on", TEXT, "belongs to", "a part; empty for the airframe"),
              ("corner", PLACE, "corner FS, BL, WL", "58, -8, 11"),
              ("opposite", PLACE, "opposite corner, same WL", "63, 8, 11"),
              ("thickness", SIZE, "thickness, upward", "1/8")),
}
TRAVEL = {"pitch": (-15, 15), "roll": (-20, 20)}


def forms() -> dict:
    """What is asked of each kind of part, for the page: ``{kind: [[key, label, example]]}``."""
    return {kind: [["name", "name", kind], *([key, label, example]
                                             for key, _, label, example in asked)]
            for kind, asked in FORMS.items()}


def with_part(model: Model, kind: str, fields: dict) -> Model:
    """The model with one part more.

    Parameters
    ----------
    model : Model
    kind : str
        One of `FORMS`.
    fields : dict
        What was typed, by key.

    Raises
    ------
    LinkageError
        One sentence on what is missing or can't be.
    """
    if kind not in FORMS:
        raise LinkageError(f'no kind of part "{kind[:40]}"; {nearest(kind, FORMS)}')
    return parse_model(f"{format_model(model)}\n{part_text(model, kind, fields)}")


def part_text(model: Model, kind: str, fields: dict) -> str:
    """The part as text of the model file."""
    name = fields.get("name", "").strip()
    owner = fields.get("on", "").strip() or AIRFRAME
    taken = {*model.bodies, *model.rods, *model.stops,
             *(solid.split("/")[1] for solid in model.solids if solid.startswith(f"{owner}/"))}
    if not name or name in taken:
        raise LinkageError(f'"{name[:40]}" is there already; give another name' if name
                           else f"give the {kind} a name")
    got = {}
    for key, what, label, _ in FORMS[kind]:
        text = fields.get(key, "").strip()
        if text:
            got[key] = _value(model, what, label, text)
        elif key not in ("on", "input", "low", "arm", "diameter", "chord"):
            raise LinkageError(f"{kind} {name}: {label} is empty")
    return _TEXTS.get(kind, _body_text)(model, name, got)


def _value(model, what, label, text) -> str:
    if what == TEXT:
        return json.dumps(text, ensure_ascii=False)
    if what == SIZE:
        return _number(model, text)
    parts = [part for part in text.replace(";", ",").split(",") if part.strip()]
    if len(parts) != 3:
        raise LinkageError(f"{label}: give three numbers with commas between them, such as "
                           f"61, 0, 9")
    return f"[{', '.join(_number(model, part) for part in parts)}]"


def _number(model, text) -> str:
    return f"{round(typed_length(text, model.length) / LENGTHS[model.length].mm, 6):g}"


def _body_text(model, name, got) -> str:
    lines, driven = [], got.get("input")
    new = json.loads(driven) if driven else None
    if new is not None and new not in model.inputs:
        low, high = TRAVEL.get(new, (-20, 20))
        lines += [f"[input.{driven}]", f"travel = [{low}, {high}]", ""]
    lines += [f"[body.{json.dumps(name, ensure_ascii=False)}]"]
    lines += [f"{key} = {got[key]}" for key in ("on", "pivot", "axis", "input") if key in got]
    points = [f"{key} = {got[key]}" for key in ("grip", "low", "arm", "in", "out", "horn")
              if key in got]
    lines += [f"points = {{ {', '.join(points)} }}"] if points else []
    return "\n".join(lines) + "\n"


def _surface_text(model, name, got) -> str:
    quoted = json.dumps(name, ensure_ascii=False)
    chord = f"chord = {got['chord']}\n" if "chord" in got else ""
    return f"{_body_text(model, name, got)}\n[surface.{quoted}]\nbody = {quoted}\n{chord}"


def _rod_text(model, name, got) -> str:
    size = f"diameter = {got['diameter']}\n" if "diameter" in got else ""
    return (f"[rod.{json.dumps(name, ensure_ascii=False)}]\n"
            f"ends = [{got['from']}, {got['to']}]\n{size}")


def _stop_text(model, name, got) -> str:
    return (f"[stop.{json.dumps(name, ensure_ascii=False)}]\ninput = {got['input']}\n"
            f"side = {got['side']}\nbetween = [{got['one']}, {got['other']}]\n")


def _owner(got) -> str:
    return f"body.{got['on']}" if "on" in got else "airframe"


def _box_text(model, name, got) -> str:
    return (f"[{_owner(got)}.solid.{json.dumps(name, ensure_ascii=False)}]\nkind = \"box\"\n"
            f"corner = {got['corner']}\nopposite = {got['opposite']}\n")


def _plate_text(model, name, got) -> str:
    (x, y, z), (u, v, other) = json.loads(got["corner"]), json.loads(got["opposite"])
    if z != other:
        raise LinkageError(f"plate {name}: its corners stand at WL {z:g} and {other:g} "
                           f"{model.length}; give both the WL of its underside, or add a box")
    middle = z + float(got["thickness"]) / 2  # where the file has a plate
    return (f"[{_owner(got)}.solid.{json.dumps(name, ensure_ascii=False)}]\nkind = \"plate\"\n"
            f"thickness = {got['thickness']}\n"
            f"outline = [[0, 0], [{u - x:g}, 0], [{u - x:g}, {v - y:g}], [0, {v - y:g}]]\n"
            f"at = [{x:g}, {y:g}, {middle:.10g}]\nnormal = [0, 0, 1]\nu = [1, 0, 0]\n")


_TEXTS = {"surface": _surface_text, "rod": _rod_text, "stop": _stop_text, "box": _box_text,
          "plate": _plate_text}
