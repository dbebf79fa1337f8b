"""One random system tried from all sides."""

import linkage

from .claims import Case, Fault, Findings, built_faults, clearance_faults, motion_faults
from .making import random_text
from .stops import stop_faults

TRIES = 20


def random_case(seed):
    """The first system of a seed that can be built at all."""
    for again in range(TRIES):
        text = random_text((seed, again))
        try:
            return Case(text, seed)
        except linkage.LinkageError:
            continue
    raise AssertionError(f"no system of seed {seed} in {TRIES} tries")


def tried(case, full, builds=True):
    """Everything that is claimed of a system and is not so; what raises is a fault too."""
    case.starts = 2 if full else 1
    found = Findings()
    count, more = (300, {"builds": 20, "places": 20}) if full else (
        40, {"builds": 5, "places": 5, "turns": 2})
    looks = [lambda: motion_faults(case, count), lambda: clearance_faults(case, count),
             lambda: stop_faults(case)]
    if builds and "swing 0" not in case.machine.joints:  # rods together as built take minutes
        looks.append(lambda: built_faults(case, **more))
    for look in looks:
        try:
            found.add(look())
        except linkage.LinkageError:  # said in words: stops that touch at neutral, and the like
            found.refused += 1
        except (ArithmeticError, AttributeError, IndexError, KeyError, TypeError,
                ValueError) as error:
            found.faults.append(Fault(f"raised {error!r}", "", float("nan"), float("nan"), {}))
    return found
