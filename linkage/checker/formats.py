"""What each table of a model file may hold, how its values are read, and what their mirror has.

This one table serves reading into mm, the twins across BL 0, and refusing by name what the
checker does not know.
"""

from __future__ import annotations

from .lengths import Refused, direction, length, not_below_0, place, stacked, travel

# Of each table the keys that bear on what is checked, each with the kind of its value, and the keys
# that do not.  [kind] is a list of such values (or one alone), {kind} a table of them by name.
FORMATS = {
    "file": ("length:word input:{input} body:{body} airframe:airframe rod:{rod} stop:{stop} "
             "coupling:{coupling} pair:[pair] rod_end:{rod_end} clearance:clearance mirror:word "
             "hardpoints:word surface:{surface} tolerance:tolerance spring:{spring}",
             "title revision approved_by wire material play factor rig_pin size meant joint weld "
             "bolting load_case engine servo friction"),
    "input": ("travel:travel positive:word", "ways force trims feel"),
    "body": ("on:name pivot:place axis:axis through:place slide:way input:name points:{point} "
             "solid:{solid} grip:grip bearings:[place] joint:length tolerance:size",
             "level play tube friction material"),
    "airframe": ("points:{point} solid:{solid}", ""),
    "rod": ("ends:[name] length:length redundant:word diameter:size fitted:[fitted] joint:length "
            "clearance:name tolerance:size",
            "wall thread material fixity strength fitting bearing friction play bow"),
    "coupling": ("bodies:[name] ratio:word", "friction wrap"),
    "spring": ("", "ends pivot rate free free_angle preload table acts"),
    "surface": ("body:name", "chord require hinge lost_motion free_play area mean_chord kind "
                "moves reason"),
    "stop": ("input:name side:word between:[name] spacer:spacer search:word", ""),
    "spacer": ("on:name thickness:size tolerance:size", "stock"),
    "pair": ("between:[word] require:length waive:word", "reason"),
    "rod_end": ("shank:length sphere:length", "thread most misalignment ball race shoulder "
                "hardware material rating ultimate friction"),
    "point": ("at:place bolt:way side:side stack:stack tolerance:size", ""),
    "grip": ("along:[place] clocking:turn hand:solid", "bore"),
    "fitted": ("rod_end:word engaged:length", "least witness adjustable bolt hardware"),
    "sphere": ("kind:word at:place diameter:size clearance:name", ""),
    "tube": ("kind:word along:[place] diameter:size clearance:name", "wall"),
    "pipe": ("kind:word along:[place] diameter:size clearance:name", "wall"),
    "box": ("kind:word corner:place opposite:place clearance:name", ""),
    "plate": ("kind:word at:place normal:axis u:way outline:[flat] thickness:size holes:[hole] "
              "clearance:name", "material"),
    "washer": ("kind:word at:place normal:axis outside:size inside:size thickness:size "
               "clearance:name", ""),
    "hole": ("at:flat diameter:size slot:[flat] outline:[flat]", ""),
    "clearance": ("static:length same:length different:length structure:length joined:length "
                  "wire:length class:{length}", ""),
    "tolerance": ("hardpoint:size rod:size spacer:size", ""),
}
KINDS = {table: dict(word.split(":") for word in words.split())
         for table, (words, _) in FORMATS.items()}
SOLIDS = "sphere", "tube", "pipe", "box", "plate", "washer"


def as_it_is(value: object, *_: object) -> object:
    """A value as it is."""
    return value


def place_across(value: tuple) -> tuple:
    """A place or direction as the mirror has it."""
    x, y, z = value
    return x, -y, z


def axis_across(value: tuple) -> tuple:
    """An axis as the mirror has it, its sense of turn kept."""
    x, y, z = value
    return -x, y, -z


# of each kind of value that is no table: how it is read, and what its mirror has; a name, or a
# place by the name of a point, has its words swapped
VALUES = {
    "word": (as_it_is, as_it_is), "name": (as_it_is, as_it_is), "length": (length, as_it_is),
    "size": (not_below_0, as_it_is), "travel": (travel, as_it_is), "stack": (stacked, as_it_is),
    "flat": (place, as_it_is), "place": (place, place_across), "way": (direction, place_across),
    "axis": (direction, axis_across), "turn": (as_it_is, lambda value: -value),
    "side": (as_it_is, lambda value: {"left": "right", "right": "left"}.get(value, value)),
}


def in_mm(kind: str, value: object, unit: float, home: str = "") -> object:
    """A value of the file, of some kind, in mm; what the checker does not know is refused."""
    if kind[0] == "[":
        items = value if isinstance(value, list) else [value]
        return [in_mm(kind[1:-1], item, unit, home) for item in items]
    if kind[0] == "{":
        return {name: in_mm(kind[1:-1], item, unit, f'{home} "{name}"')
                for name, item in value.items()}
    if kind == "solid":
        kind = value.get("kind")
        if kind not in SOLIDS:
            raise Refused(f'{home}: the checker does not know the kind "{kind}"')
    if kind in FORMATS:
        return table_in_mm(kind, value, unit, home)
    return value if is_name(kind, value) else VALUES[kind][0](value, unit)


def is_name(kind: str, value: object) -> bool:
    """Whether a value is a name of the file, which a place may be too."""
    return kind == "name" or kind == "place" and isinstance(value, str)


def table_in_mm(kind: str, table: dict, unit: float, home: str) -> dict:
    """A table of the file in mm, by its format; keys that do not bear on anything are left out."""
    found, known = {}, KINDS[kind]
    if kind == "point" and not isinstance(table, dict):
        table = {"at": table}
    for word, value in table.items():
        if word in known:
            found[word] = in_mm(known[word], value, unit, f"{home} {word}".strip())
        elif word not in FORMATS[kind][1].split():
            raise Refused(f'{home or "the file"}: the checker does not know "{word}"')
    return found


def across(kind: str, value: object, swap: dict) -> object:
    """A value in mm, of some kind, as its mirror image across BL 0 has it."""
    if kind[0] == "[":
        return [across(kind[1:-1], item, swap) for item in value]
    if kind[0] == "{":
        return {other_name(name, swap): across(kind[1:-1], item, swap)
                for name, item in value.items()}
    kind = value["kind"] if kind == "solid" else kind
    if kind in FORMATS:
        return {word: across(KINDS[kind][word], item, swap) for word, item in value.items()}
    return other_name(value, swap) if is_name(kind, value) else VALUES[kind][1](value)


def other_name(name: str, swap: dict) -> str:
    """Name of the twin: each part of it with its first mirrored word the other way."""
    parts = []
    for part in name.split("/"):
        held = f" {part} "
        word = next((k for k in swap if f" {k} " in held), None)
        parts.append(part if word is None else held.replace(f" {word} ", f" {swap[word]} ")[1:-1])
    return "/".join(parts)
