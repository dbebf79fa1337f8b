"""Planted faults: how many are missed, named or refused; none may come out as silent."""

import time
from collections import Counter

import pytest
from planted import FILES, ONLY, all_faults, faults, outcome

import linkage

FEW, ALL = 30, 1000
# a fault of each kind whose chapter takes a second at most, in the small files
QUICK = ("aileron_run", "servo_arm", "new side-by-side", "new tandem")


def told(some) -> tuple[Counter, list[str]]:
    """Counts of (kind, outcome), and the faults that came out as silent."""
    count, silent = Counter(), []
    for fault in some:
        result = outcome(fault)
        count[fault.kind, result] += 1
        if result == "SILENT":
            silent.append(f"{fault.file}: {fault.kind}: {fault.what}")
    return count, silent


def test_no_planted_fault_is_silent(full):
    some = faults(ALL) if full else [f for f in faults(ALL) if f.file in QUICK][:FEW]
    began = time.process_time()
    count, silent = told(some)
    for kind in ONLY:
        print(kind, {result: n for (k, result), n in sorted(count.items()) if k == kind})
    print(f"{len(some)} faults, {len(silent)} silent, {time.process_time() - began:.0f} s")
    assert not silent, "\n".join(silent)
    if full:
        assert len(some) == ALL


@pytest.mark.parametrize("kind", ["missing stop", "stop past the wanted travel"])
def test_faults_of_stops_are_told(kind):
    """The smallest file with stops: one of each."""
    some = [f for f in faults(ALL) if f.kind == kind and f.file == "elevons"][:1]
    assert [outcome(fault) for fault in some] == [
        "named" if kind == "missing stop" else "missed"]


def test_a_travel_within_which_no_rod_reaches_is_missed_and_no_fault_of_the_program():
    """A link's end 25 times too high: cells not decided of which no middle is in reach."""
    model = linkage.load(FILES["elevons"]).model
    (fault,) = [f for f in all_faults("elevons", model)
                if f.what == "stick/link right WL times 25.4"]
    assert outcome(fault) == "missed"
