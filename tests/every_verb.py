"""A model file through the verbs in this process: each ends in a result or in one sentence."""

from __future__ import annotations

import contextlib
import io
import re
import shutil
import tomllib
import warnings

from linkage.__main__ import FAULT, main

LONGEST = 300
RAW = re.compile(r"\b(nan|None|NaT|inf)\b|Traceback|Fitted\(|array\(|dtype")  # no words of a sheet


def plate_of(text: str) -> str | None:
    """A part of a model file that has a plate."""
    table = tomllib.loads(text)
    parts = {**table.get("body", {}), "airframe": table.get("airframe", {})}
    return next((name for name, part in parts.items()
                 if any(solid["kind"] == "plate" for solid in part.get("solid", {}).values())),
                None)


def quick_words(path, folder) -> list[list[str]]:
    """Command lines of seconds at most, also where the system is large; tables written too."""
    return [[*words, "--csv", str(folder / f"tables {name}")] for name, words in (
        ("gearing", [str(path), "--only", "gearing"]), ("rig", ["rig", str(path)]),
        ("loads", ["loads", str(path)]))]


def slow_words(path, folder) -> list[list[str]]:
    """Command lines that draw, prove or search: the report and the page included."""
    text, plate = path.read_text(encoding="utf-8"), None
    with contextlib.suppress(Exception):  # a spoilt file has no plate that this could find
        plate = plate_of(text)
    out = [["template", str(path), plate, "--out", str(folder / "template")],
           ["relief", str(path), plate, "--out", str(folder / "relief")]] if plate else []
    return [["view", str(path), "--out", str(folder / "view.html")], *out,
            [str(path), "--out", str(folder / "report")],
            ["size", str(path), "--starts", "1"]]


def all_words(path, folder) -> list[list[str]]:
    """Command lines of every verb that takes a model file."""
    return [*quick_words(path, folder), *slow_words(path, folder)]


def quick_in_turn(turn: int):
    """One command line of seconds for a large system in the daily run, one kind after the other.

    Parameters
    ----------
    turn : int
        Which file it is.

    Returns
    -------
    callable
        As `wrong_ends` takes it.
    """
    def words(path, folder):
        quick = quick_words(path, folder)
        return [quick[turn % len(quick)]]

    return words


def wrong_ends(path, folder, words_of) -> list[str]:
    """What of the verbs ended otherwise than in a result or in one sentence.

    Parameters
    ----------
    path, folder : Path
        The model file, and where the verbs may write.
    words_of : callable
        `all_words`, or `quick_in_turn` of a file.

    Returns
    -------
    list of str
        Empty when all is well.
    """
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    found = []
    for words in words_of(path, folder):
        code, out, err = ran(words)
        verb = words[0] if words[0] != str(path) else " ".join(["main", *words[1:2]])
        found += [f"{verb}: {wrong}" for wrong in wrongs(path, code, out, err)]
    return found


def ran(words) -> tuple[int, str, str]:
    """Exit code and output of the command; a warning counts as output on standard error."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err), \
            warnings.catch_warnings():
        warnings.simplefilter("always")
        code = main(words)
    return code, out.getvalue(), err.getvalue()


def wrongs(path, code, out, err):
    """What is wrong with an end."""
    if code == FAULT or code not in (0, 1, 2):
        yield f"code {code}: {err}"
    elif code == 2:
        sentence = err.strip().removeprefix("linkage: ")
        if len(sentence.splitlines()) != 1:
            yield f"no one sentence: {err:.300}"
        if len(sentence.replace(str(path), path.name)) > LONGEST:
            yield f"a long sentence: {sentence:.400}"
    else:
        if err:
            yield f"a result, and on standard error: {err:.300}"
        if raw := RAW.search(out):
            yield f"raw {raw[0]} in: {out[max(0, raw.start() - 60):raw.end() + 30]!r}"
