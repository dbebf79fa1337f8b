"""Certificates that someone forged: what does not hold is refused, as drawn and as built.

The forger knows the format.  Whatever a changed certificate claims and the checker still confirms
has to be true of the oracle's worst position, as built of its worst build (tests/oracle).
"""

import base64
import copy
import functools
import struct
from pathlib import Path

import numpy as np
import pytest
from oracle.claims import Case
from oracle.making import random_text
from tampering import damaged

import linkage
from linkage.certificate import certificate, packed
from linkage.checker import check
from linkage.checker.leaves import Book
from linkage.checker.reading import Refused, read
from linkage.checker.verdict import Claims

FILE = Path(__file__).parent / "every_key.toml"
EXACT = FILE.parents[1] / "examples" / "servo_arm.toml"
SEED, SEED_BUILT = 4, 9  # both hold; the second has one input, so that its stops leave a box
FEW, FEW_BUILT, MANY = 25, 8, 250  # changes


@functools.cache
def proven(file, built=False):
    system = linkage.load(file)
    return certificate(system, file, linkage.clearance(system, built=built))


def said(made, folder, file=FILE):
    path = folder / "proof.json.gz"
    path.write_bytes(packed(made))
    return check(file, path)


def told_of(made, *words):
    return next(k for k in made["pairs"] if all(any(w in n for n in k["pair"]) for w in words))


def planes_of(told, rows):
    told["planes"] = base64.b64encode(struct.pack(f"<{len(rows)}f", *rows)).decode()


def no_leaf(made):
    told_of(made, "shaft", "link/")["tree"] = ""


def a_leaf_more(made):
    told_of(made, "shaft", "link/")["tree"] += "f"


def a_digit_of_no_input(made):
    told_of(made, "shaft", "link/")["tree"] = "7ff"


def a_cut_with_one_half(made):
    told_of(made, "shaft", "link/")["tree"] = "0f"


def leaves_that_are(word):
    def change(made):
        told = told_of(made, "shaft", "link/")
        told["tree"], told["planes"] = word, ""
    return change


def a_plane(*rows):
    def change(made):
        told = told_of(made, "shaft", "link/")
        told["tree"] = "f"
        planes_of(told, rows)
    return change


def claims(value):
    def change(made):
        told_of(made, "shaft", "link/")["claim"] = value
    return change


def met(**more):
    def change(made):
        told = told_of(made, "shaft", "wall")
        assert told["least"] < 2
        told |= more | {"least": more.get("least", told["least"])}
    return change


def no_least(made):
    told_of(made, "shaft", "wall").pop("least")


def points_of(*shares):
    def change(made):
        for side, more in zip(told_of(made, "shaft", "wall")["met"], shares, strict=False):
            side[1] = [more] * len(side[1])
    return change


def less_travel(made):
    cover = next(k for k in made["covers"] if "lever" in k["inputs"])
    cut = next(word for word in cover["tree"] if isinstance(word, list))
    cut[1] -= 2.0


def a_cut_of_another_input(made):
    cover = next(k for k in made["covers"] if "lever" in k["inputs"])
    cover["tree"] = [[1, 0.5], "k", *cover["tree"]]


def all_past(made):
    for cover in made["covers"]:
        cover["tree"] = ["p" if word == "k" else word for word in cover["tree"]]


def out_of_reach(made):
    for cover in made["covers"]:
        cover["tree"], cover["past"] = ["o" if word == "p" else word for word in cover["tree"]], []


def a_spacer_of_nowhere(made):
    made["stops"]["up"]["soon"] = [made["stops"]["up"]["at"] - 5]


def no_spacer(made):
    made["stops"]["up"] = {"way": made["stops"]["up"]["way"]}


def no_way_at_neutral(made):
    made["stops"]["up"].pop("way")


def turned(made):
    made["directions"][0]["sign"] *= -1


def an_input_left_out(made):
    made["directions"].pop()


def a_pair_left_out(made):
    made["pairs"].remove(told_of(made, "ring"))


def a_pair_of_itself(made):
    told_of(made, "ring")["pair"] = ["arm left/ring"] * 2


FORGED = {change.__name__: change for change in (
    no_leaf, a_leaf_more, a_digit_of_no_input, a_cut_with_one_half, no_least, less_travel,
    a_cut_of_another_input, all_past, out_of_reach, a_spacer_of_nowhere, no_spacer,
    no_way_at_neutral, turned, an_input_left_out, a_pair_left_out, a_pair_of_itself)}
FORGED |= {f"leaves {word}": leaves_that_are(word) for word in "xojAkX"}
FORGED |= {f"a plane of {rows[:1]}": a_plane(*rows) for rows in (
    [0.0] * 9, [float("nan")] * 9, [float("inf")] * 9, [1e-38] * 9, [3e38] * 9, [1.0], [])}
FORGED |= {f"a claim of {value!r}": claims(value) for value in (
    1e3, -1.0, float("nan"), float("inf"), True, "1", 10, [20.0])}
FORGED |= {f"met {name} {value!r}": met(**{name: value}) for name, value in (
    ("place", [0.0, 0.0]), ("place", [16.0, 0.0]), ("place", [900.0, 0.0]), ("place", [0.0]),
    ("place", [float("nan")] * 2), ("least", -5.0), ("least", float("nan")), ("met", []),
    ("build", [0.0] * 3))}
FORGED |= {f"points of {shares}": points_of(*shares) for shares in (
    (-1.0,), (0.0, 0.0), (float("inf"),), (float("nan"),), ("a",))}


@pytest.mark.parametrize("word", FORGED)
def test_what_is_forged_is_refused(word, tmp_path):
    made = copy.deepcopy(proven(FILE))
    FORGED[word](made)
    assert made != proven(FILE) or "nan" in word
    assert not said(made, tmp_path).holds


@pytest.mark.parametrize("word", ["leaves x", "leaves o", "leaves j", "less_travel", "all_past",
                                  "a claim of 1000.0", "turned", "a_pair_left_out"])
def test_what_is_forged_is_refused_as_built(word, tmp_path):
    made = copy.deepcopy(proven(FILE, built=True))
    assert said(made, tmp_path).holds
    FORGED[word](made)
    assert not said(made, tmp_path).holds


@pytest.mark.parametrize(("tree", "words"), [
    ("0ns", "(not shown in 50 % of the box of the travel)"), ("n", "not shown to go one way"),
    ("0n1ns", "(not shown in 75 % of the box of the travel)")])
def test_what_a_direction_leaves_open_is_told(tree, words, tmp_path):
    made = copy.deepcopy(proven(FILE))
    claim = next(k for k in made["directions"] if k["sign"] == 1)
    claim["tree"] = tree
    verdict = said(made, tmp_path)
    assert verdict.holds
    assert sum(words in line for line in verdict.directions) == 1
    claim["sign"] = -1
    assert said(made, tmp_path).holds == (tree == "n")  # of nothing shown no sign is told


def test_what_loops_of_wires_come_near_is_said_not_to_be_looked_at(tmp_path):
    assert said(proven(FILE), tmp_path).sentence.endswith("loops of wires")
    assert "wires" not in said(proven(EXACT), tmp_path, EXACT).sentence


def test_tolerances_are_not_left_out(tmp_path):
    """Planes that hold of what is drawn alone; and leaves of a build of a file without any."""
    made = copy.deepcopy(proven(FILE)) | {"build": "as built"}
    for told in made["pairs"]:
        told.pop("least", None)
    assert not said(made, tmp_path).holds
    other = tmp_path / "exact.toml"
    other.write_text(FILE.read_text().replace("tolerance = 0.15\n", "tolerance = 0\n"))
    assert "digest" in said(proven(FILE, built=True), tmp_path, other).sentence


def truth(case, known, pair, built):
    """The least gap that the oracle meets, as built in its worst build."""
    if case.scene_of(pair) is None:
        return np.inf
    if pair not in known:
        known[pair] = case.worst(list(pair), builds=6, places=12)[0] if built else \
            case.met(list(pair), 200)[0]
    return known[pair]


@pytest.mark.parametrize("built", [False, True])
def test_a_claim_above_the_least_met_is_refused_and_any_other_change_is_true(built, tmp_path, full):
    text = random_text(SEED_BUILT if built else SEED)
    file, rng = tmp_path / "random.toml", np.random.default_rng(15)
    file.write_text(text)
    made = proven(file, built)
    assert said(made, tmp_path, file).holds  # or no change of it could
    book = Claims(Book(read(text), built), made)
    case, known = Case(text).inside(dict(zip(book.travel.names, book.root, strict=True))), {}
    for _ in range(MANY if full else FEW_BUILT if built else FEW):
        changed = damaged(made, rng)
        holds = said(changed, tmp_path, file).holds
        others = [told for told, before in zip(changed["pairs"], made["pairs"], strict=True)
                  if told != before and told["claim"] is not None]
        for told in others:
            least = truth(case, known, tuple(told["pair"]), built)
            assert not holds or told["claim"] <= least + 1e-6
            told["claim"] = float(max(least, 0.0)) + 1e-4
        assert not others or not said(changed, tmp_path, file).holds
    claimed = [k for k in made["pairs"] if k["claim"] is not None]
    pairs = {frozenset(pair.names): pair for pair in book.book.pairs.all()}
    for told in claimed[::1 if full else 6 if built else 3]:
        least = max(truth(case, known, tuple(told["pair"]), built), 0.0)
        if np.isfinite(least):
            with pytest.raises(Refused):
                book.pair(pairs[frozenset(told["pair"])], told | {"claim": least + 1e-4})
