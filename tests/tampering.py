"""A certificate with one thing in it changed at random."""

import copy


def damaged(made, rng):
    """A copy in which a claim, a tree, a plane, a place or a name is another."""
    changed = copy.deepcopy(made)
    told = changed["pairs"][rng.integers(len(changed["pairs"]))]
    way = rng.integers(6)
    if way == 0 and told["claim"] is not None:
        told["claim"] = float(told["claim"] + rng.normal() * 10.0**rng.integers(-4, 3))
    elif way == 1 and told.get("tree"):
        at = rng.integers(len(told["tree"]))
        told["tree"] = told["tree"][:at] + rng.choice(list("01ABfojx")) + told["tree"][at + 1:]
    elif way == 2 and told.get("planes"):
        at = rng.integers(len(told["planes"]))
        told["planes"] = told["planes"][:at] + rng.choice(list("AQgw/9")) + told["planes"][at + 1:]
    elif way == 3 and told.get("place"):
        told["place"][rng.integers(len(told["place"]))] += float(rng.normal() * 5)
    elif way == 4:
        other = changed["pairs"][rng.integers(len(changed["pairs"]))]
        told["pair"], other["pair"] = other["pair"], told["pair"]
    elif told.get("tree"):
        told["tree"] = told["tree"].replace("f", rng.choice(["o", "j", ""]), 1)
    return changed
