"""Half-finished models: whatever is taken out, what is left is worked out, or refused in words.

Every example and starter with any one part or point taken out: all for gearing, a seeded twentieth
through the verbs that prove nothing, and with ``--full`` every one through every verb.
"""

import copy
import random
import tomllib

import pytest
import tomli_w
from every_verb import all_words, quick_words, ran, wrong_ends, wrongs
from mutants import FILES

KINDS = ("input", "rod", "body", "surface", "coupling", "stop", "wire", "pair", "rod_end",
         "rig_pin", "material")
SEED, SHARE = 16, 20


def halves(path):
    """Each file with one thing taken out: what, and its text."""
    whole = tomllib.loads(path.read_text(encoding="utf-8"))
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


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_each_without_one_part_is_worked_out_or_refused(path, tmp_path):
    model, found, refused, count = tmp_path / "half.toml", [], 0, 0
    for what, table in halves(path):
        model.write_text(tomli_w.dumps(table), encoding="utf-8")
        code, out, err = ran([str(model), "--only", "gearing"])
        found += [f"{what}: {wrong}" for wrong in wrongs(model, code, out, err)]
        count, refused = count + 1, refused + (code == 2)
        if code == 2 and str(model) not in err:
            found.append(f"{what}: names no file: {err}")
    print(f"{path.name}: {count} without a part, {refused} of them refused")
    assert count > 10
    assert refused < count, "nothing at all is worked out"
    assert not found, "\n".join(found)


def test_a_twentieth_goes_through_the_verbs(tmp_path, full):
    every = [(path, what, table) for path in FILES for what, table in halves(path)]
    chosen = every if full else random.Random(SEED).sample(every, len(every) // SHARE)
    model, found = tmp_path / "half.toml", []
    for path, what, table in chosen:
        model.write_text(tomli_w.dumps(table), encoding="utf-8")
        found += [f"{path.name} without {what}: {wrong}" for wrong in
                  wrong_ends(model, tmp_path / "out", all_words if full else quick_words)]
    assert not found, "\n".join(found)
