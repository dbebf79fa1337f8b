"""Half-finished models: whatever is taken out, what is left is worked out, or refused in words.

Every example and starter with any one part or point taken out goes through the gearing; daily of
a large one every other.  A large one goes without its stops, whose proof takes seconds, where no
more than what they rest on was there with them before; of the largest every sixth keeps them.  A
seeded fortieth goes through every verb.  With ``--full`` every one goes through every verb, with
its stops.
"""

import copy
import json
import math
import random
import tomllib

import pytest
import tomli_w
from every_verb import all_words, quick_in_turn, ran, wrong_ends, wrongs
from mutants import FILES, LARGE

BESIDE = ("title", "surface", "wire", "pair", "rod_end", "rig_pin", "material", "clearance",
          "tolerance", "size", "hinge_moment", "friction")  # no stop rests on these
KINDS = ("input", "rod", "body", "surface", "coupling", "stop", "wire", "pair", "rod_end",
         "rig_pin", "material")
SEED, SHARE, PARTS, SIXTH = 16, 40, 5, 6


def halves(path):
    """Each file without one thing, without all of a kind, and hardly begun: what, and its table."""
    whole = tomllib.loads(path.read_text(encoding="utf-8"))
    for kind in whole:
        yield f"any {kind}", {word: table for word, table in whole.items() if word != kind}
        yield f"all but {kind}", {word: whole[word] for word in ("length", kind) if word in whole}
    for kind in KINDS:
        group = whole.get(kind, {})
        for name in group if isinstance(group, dict) else range(len(group)):
            table = copy.deepcopy(whole)
            del table[kind][name]
            yield f"{kind} {name}", table
    for part in [*whole["body"], "airframe"]:
        home = whole.get("airframe", {}) if part == "airframe" else whole["body"][part]
        for word in ("points", "solid"):
            for name in home.get(word, {}):
                table = copy.deepcopy(whole)
                del (table["airframe"] if part == "airframe" else table["body"][part])[word][name]
                yield f"{word} {part}/{name}", table


def unlike(path):
    """The halves of a file but those that differ from another's in solids and strength only.

    One example is another with cut-outs opened up, a thicker tube and another idler; no gearing
    comes of that.
    """
    earlier = [other for other in FILES[:FILES.index(path)] if other.stem in path.stem]
    seen = {_without_solids(table) for other in earlier for _, table in halves(other)}
    return [(what, table) for what, table in halves(path) if _without_solids(table) not in seen]


def _without_solids(table) -> str:
    return json.dumps(json.loads(json.dumps(table), object_hook=lambda part: {
        word: value for word, value in part.items()
        if word not in ("solid", "pair", "material", "wall", "joint", "title")}))


def what_stops_rest_on(table) -> str:
    """A file without what neither moves nor is between the faces of a stop, as text."""
    held = {solid for stop in table.get("stop", {}).values() for solid in stop["between"]}
    table = {word: value for word, value in copy.deepcopy(table).items() if word not in BESIDE}
    for part, home in [*table.get("body", {}).items(), ("airframe", table.get("airframe", {}))]:
        home["solid"] = {name: solid for name, solid in home.get("solid", {}).items()
                         if f"{part}/{name}" in held}
    return json.dumps(table, default=str)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_each_without_one_part_is_worked_out_or_refused(path, tmp_path, full):
    model, found, refused, count, seen = tmp_path / "half.toml", [], 0, 0, set()
    daily = unlike(path)[::2 if path in LARGE else 1]
    for what, table in halves(path) if full else daily:
        rest = what_stops_rest_on(table)
        slow = path.stem.startswith("side_by_side") and len(seen) % SIXTH
        if not full and path in LARGE and (rest in seen or slow):
            table.pop("stop", None)
        seen.add(rest)
        model.write_text(tomli_w.dumps(table), encoding="utf-8")
        code, out, err = ran([str(model), "--only", "gearing"])
        found += [f"{what}: {wrong}" for wrong in wrongs(model, code, out, err)]
        count, refused = count + 1, refused + (code == 2)
        if code == 2 and str(model) not in err:
            found.append(f"{what}: names no file: {err}")
    print(f"{path.name}: {count} without a part, {refused} of them refused")
    assert count > 10 or path.stem.endswith("_fixed")
    assert refused < count or not count, "nothing at all is worked out"
    assert not found, "\n".join(found)


def verb_halves(full) -> list[tuple]:
    """A seeded fortieth with what each goes through, every verb; with ``--full`` all of them.

    Daily it is drawn from the files whose proofs take no many seconds, and six more of the large
    ones go through one verb each.
    """
    every = [(path, what, table) for path in FILES for what, table in halves(path)]
    if full:
        return [(*half, all_words) for half in every]
    chance = random.Random(SEED)
    small = [half for half in every if half[0] not in LARGE]
    large = [half for half in every if half[0] in LARGE]
    return [*((*half, all_words) for half in chance.sample(small, math.ceil(len(every) / SHARE))),
            *((*half, quick_in_turn(turn)) for turn, half in enumerate(chance.sample(large, 6)))]


@pytest.mark.parametrize("part", range(PARTS))
def test_a_share_goes_through_every_verb(part, tmp_path, full):
    model, found = tmp_path / "half.toml", []
    for path, what, table, words in verb_halves(full)[part::PARTS]:
        model.write_text(tomli_w.dumps(table), encoding="utf-8")
        found += [f"{path.name} without {what}: {wrong}" for wrong in
                  wrong_ends(model, tmp_path / "out", words)]
    assert not found, "\n".join(found)
