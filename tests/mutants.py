"""Model files spoilt by chance: one slip each, in the text or in a value, the same for a seed."""

from __future__ import annotations

import copy
import math
import random
import tomllib
from pathlib import Path

import tomli_w

ROOT = Path(__file__).parents[1]
FILES = [*sorted((ROOT / "examples").glob("*.toml")),
         *sorted((ROOT / "linkage" / "starters").glob("*.toml"))]
LARGE = [path for path in FILES if path.parent.name == "examples" and path.stem in (
    "side_by_side", "side_by_side_fixed", "spring_trim", "tandem")]  # they take many seconds
ODD = (None, True, False, "", " ", "x", "nan", "1/16 in", "1,5", "²", "\u202eleft", "é\u0301", "|",
       "a/b", "airframe", "12 parsnips", "1e999 in", 0, 1, -1, 2**63, 10**400, 1e-9, -1e-9, 1e9,
       1e308, -1e308, 5e-324, math.inf, -math.inf, math.nan, [], [[]], [0, 0, 0], [1, 2], {},
       {"x": 1}, {"kind": "plate"}, ["stick/grip", "stick/grip"], "n" * 5000, [1] * 500)
LETTERS = "²½×°\u202e\u00a0\x00\x1b\ud7ff😀,.=[]{}\"'#\\-eE_ 9"


def mutant(seed: int) -> tuple[str, str]:
    """A spoilt file, and what was done to it.

    Parameters
    ----------
    seed : int

    Returns
    -------
    (str, str)
    """
    chance = random.Random(seed)
    path = FILES[seed % len(FILES)]
    text = path.read_text(encoding="utf-8")
    if chance.random() < 0.4:
        return _spoilt_text(text, chance), f"{path.name}, text, seed {seed}"
    table, what = tomllib.loads(text), []
    for _ in range(1 if chance.random() < 0.8 else 3):
        what.append(_spoil_value(table, chance))
    return tomli_w.dumps(table), f"{path.name}, {'; '.join(what)}, seed {seed}"


def _spoilt_text(text, chance) -> str:
    lines = text.splitlines(keepends=True)
    full = [i for i, line in enumerate(lines) if line.strip() and not line.startswith("#")]
    one, other = chance.choice(full), chance.choice(full)
    way = chance.randrange(7)
    if way == 0:
        del lines[one]
    elif way == 1:
        lines.insert(other, lines[one])
    elif way == 2:
        lines[one], lines[other] = lines[other], lines[one]
    elif way == 3:
        line, spot = lines[one], chance.randrange(len(lines[one]))
        lines[one] = line[:spot] + chance.choice(LETTERS) + line[spot + chance.randrange(2):]
    elif way == 4:
        return "".join(lines)[:chance.randrange(len(text))]
    elif way == 5:
        del lines[min(one, other):max(one, other)]
    else:
        words = lines[one].split('"')
        words[chance.randrange(len(words))] = chance.choice(("stick", "-", "0", "é", "1e400"))
        lines[one] = '"'.join(words)
    return "".join(lines)


def _slots(table, found=None) -> list:
    """Every (holder, key) of a table, however deep."""
    found = [] if found is None else found
    pairs = table.items() if isinstance(table, dict) else enumerate(table)
    for key, value in pairs:
        found.append((table, key))
        if isinstance(value, dict | list):
            _slots(value, found)
    return found


def _spoil_value(table, chance) -> str:
    slots = _slots(table)
    holder, key = chance.choice(slots)
    way = chance.randrange(6)
    if way == 0:
        del holder[key]
        return f"without {key}"
    if way == 1:
        other, name = chance.choice(slots)
        value = copy.deepcopy(other[name])
    elif way == 2 and isinstance(holder, dict):
        value = holder.pop(key)
        key = chance.choice([str(key) + "x", "ü", "", "airframe", str(key).swapcase(), "a|b"])
    elif way == 3 and isinstance(holder[key], int | float) and not isinstance(holder[key], bool):
        value = holder[key] * chance.choice((-1, 0, 1e-6, 1000, 25.4, 1e12, 1.0000001))
    elif way == 4 and isinstance(holder[key], str):
        value = chance.choice([str(v) for h, k in slots if isinstance(v := h[k], str)])
    else:
        value = copy.deepcopy(chance.choice(ODD[1:]))
    holder[key] = value
    return f"{key} = {value!r:.60}"
