"""Spoilt files: each ends in a result, or in one sentence that names the file and the place.

The files are spoilt by `mutants.py`, the same for a seed; any exception but the one family fails.
"""

import random
import re
import tomllib

import pytest
from every_verb import LONGEST, all_words, quick_in_turn, wrong_ends
from mutants import FILES, LARGE, mutant

import linkage
from linkage.model import Model
from linkage.model.keys import file_keys

COUNT, FULL, SHARE, DAILY, SEED = 3000, 30_000, 20, 40, 16
BLOCKS, PARTS = 10, 5
PLACES = re.compile("|".join([*(rf"\b{word}\b" for word in file_keys(Model)), "TOML", "is empty",
                              "hardpoints", '"']))  # a key of the file, or what its text lacks


def refusal_faults(error, path) -> str:
    """What is wrong with a refusal; "" where nothing is."""
    sentence = str(error)
    rest = sentence.replace(f"{path}: ", "", 1)
    if str(path) not in sentence:
        return "names no file"
    if str(path) in rest:
        return "names the file twice"
    if len(rest) > LONGEST - len(path.name):
        return f"has {len(rest)} characters"
    if len(sentence.splitlines()) != 1 or not sentence.isprintable():
        return "is not one line"
    return "" if PLACES.search(rest) else "names no place"


@pytest.mark.parametrize("block", range(BLOCKS))
def test_spoilt_files_are_read_or_refused(block, tmp_path, full):
    path, found, loaded = tmp_path / "m.toml", [], 0
    count = (FULL if full else COUNT) // BLOCKS
    for seed in range(block * count, (block + 1) * count):
        text, what = mutant(seed)
        path.write_text(text, encoding="utf-8", newline="")
        try:
            linkage.load(path)
            loaded += 1
        except linkage.LinkageError as error:
            wrong = refusal_faults(error, path)
            if wrong:
                found.append(f"{what}: {wrong}: {error!s:.400}")
        except Exception as error:
            found.append(f"{what}: {type(error).__name__}: {error!s:.200}")
    print(f"{count} files, {loaded} of them read, {count - loaded} refused")
    assert 0 < loaded < count
    assert not found, "\n".join(found)


def verb_seeds(full) -> list[tuple]:
    """A seeded twentieth with what each goes through: every verb.

    Daily it is half of that, drawn from the files whose proofs take no many seconds, and six more
    of the large ones go through one verb each.
    """
    chance = random.Random(SEED)
    if full:
        return [(seed, all_words) for seed in sorted(chance.sample(range(FULL), FULL // SHARE))]
    small = [seed for seed in range(COUNT) if FILES[seed % len(FILES)] not in LARGE]
    large = [seed for seed in range(COUNT) if FILES[seed % len(FILES)] in LARGE]
    return [*((seed, all_words) for seed in chance.sample(small, COUNT // DAILY)),
            *((seed, quick_in_turn(turn)) for turn, seed in enumerate(chance.sample(large, 6)))]


@pytest.mark.parametrize("part", range(PARTS))
def test_a_share_goes_through_every_verb(part, tmp_path, full):
    path, found = tmp_path / "m.toml", []
    for seed, words in verb_seeds(full)[part::PARTS]:
        text, what = mutant(seed)
        path.write_text(text, encoding="utf-8", newline="")
        found += [f"{what}: {wrong}" for wrong in wrong_ends(path, tmp_path / "out", words)]
    assert not found, "\n".join(found)


def test_the_slips_reach_every_file_and_both_levels():
    whats = [mutant(seed)[1] for seed in range(400)]  # an example and a starter share a name
    assert len({what.split(",")[0] for what in whats}) == len({path.name for path in FILES})
    texts = sum(", text, " in what for what in whats)
    assert 100 < texts < 220
    assert mutant(7) == mutant(7)
    assert any(not _reads(mutant(seed)[0]) for seed in range(40))


def _reads(text) -> bool:
    try:
        return bool(tomllib.loads(text))
    except tomllib.TOMLDecodeError:
        return False
