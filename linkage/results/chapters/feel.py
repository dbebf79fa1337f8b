"""What the hand feels, where the stick stays when it is let go, and what trim does to it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import partial
from typing import TYPE_CHECKING

import pandas as pd

from ... import gearing, loads
from ..blocks import DataTable, Heading, Picture, Table, Text
from ..columns import in_units, in_words

if TYPE_CHECKING:
    from ..answers import Answers
    from ..blocks import Block

TABLES = ("Springs", "Springs at pivots", "Felt along ", "Felt curve along ", "Let go along ",
          "Hands off by ")
SLOWLY = ("The hand moves one input slowly, as drawn, with the air's hinge moments and the springs "
          "of the file acting and every other input standing still; weight and inertia are left "
          "out, and so is whether it swings past where it would stay.  Friction is breakout plus, "
          "where the file gives coefficient and diameter, what grows with the load of the joint.  "
          "Loads on parts: each load case is there without the springs and with them.")


def blocks(results: Answers) -> Iterator[Block]:
    """Blocks on springs, feel, return and trim."""
    if results.feel is None:
        yield Heading("Springs, friction and trim")
        yield Text(f"Missing: {results.why_not('feel')}.", "missing")
    elif results.feel:
        yield Heading("Springs, friction and trim")
        yield Text(SLOWLY)
        yield from _springs(results)
        for name in results.feel:
            yield Picture(partial(_drawn, results, name), f"Force in the hand over {name}, its "
                          f"band of friction, and where it stays when let go")
        for name in results.feel:
            yield from _felt(results, name)
        for trim in loads.trimmers(results.system):
            yield from _trim(results, trim)


def _springs(results):
    """Length and pull of every spring at neutral and over the whole travel."""
    system, data = results.system, results.springs
    if data is None:
        yield Text(f"Missing: {results.why_not('springs')}.", "missing")
        return
    note = (f"At neutral, and least and greatest at {data.attrs['grid']} stick positions of the "
            f"whole travel: searched, not proven.")
    between, turning = (data[data["turns"] == k].drop(columns="turns") for k in (False, True))
    if len(between):
        yield Table("Springs", in_units(
            system, between, length="length shortest longest", force="load least most"),
            f"A load is a pull; below 0 it pushes.  {note}")
    if len(turning):
        yield Table("Springs at pivots", in_units(
            system, turning.rename(columns={"length": "angle", "shortest": "from",
                                            "longest": "to", "load": "moment"}),
            angle="angle from to", moment="moment least most"),
            f"A moment is on the body about its axis as written.  {note}")


def _felt(results, name):
    system, felt = results.system, results.feel[name]
    shown = felt.at(gearing.round_positions(felt.x[0], felt.x[-1]))
    ways = [gearing.sense_word(system, name, greatest) for greatest in (True, False)]
    for title, at in ((f"Felt along {name}", shown), (f"Felt curve along {name}", felt)):
        made = partial(_in_words, system, at, ways)
        yield DataTable(title, made) if at is felt else Table(
            title, made(), f"Hand's force, + is {ways[0]}; friction is half the band.",
            words=in_words(system, made()))
    releases = results.releases[name]
    rows = pd.DataFrame([{"from": k.least, "to": k.greatest, "then": _then(system, name, k)}
                         for k in releases])
    unit, size = gearing.position_unit(system, system.inputs[name])
    rows = rows.assign(**{"from": rows["from"] / size, "to": rows["to"] / size}).rename(
        columns={"from": f"from {unit}", "to": f"to {unit}"})
    yield Table(f"Let go along {name}", rows, "Let go at rest, and what it does then; + is "
                f"{ways[0]}.", words=dict.fromkeys(
                    rows.columns[:2], lambda row, value: gearing.said_input(
                        system, name, value * size, 2)))
    yield Text(_back(system, name, releases))


def _in_words(system, felt, ways):
    table = loads.feel_table(felt).reset_index()
    table = in_units(system, table, at=False, force="force up down friction")
    return table.rename(columns=lambda c: c.replace("up ", f"moving {ways[0]} ").replace(
        "down ", f"moving {ways[1]} "))


def _from_to(system, name, ends) -> str:
    return " to ".join(gearing.said_input(system, name, end, 2) for end in ends)


def _then(system, name, release) -> str:
    if math.isnan(release.does):
        return "not known: out of reach, or friction locks it"
    if release.does == 0:
        return "stays"
    if release.stop:
        return f"goes to the end of its travel, {gearing.said_input(system, name, release.rest, 2)}"
    return f"goes to {gearing.said_input(system, name, release.rest, 2)}"


def _back(system, name, releases) -> str:
    """Whether and from where the stick comes back to neutral."""
    about = loads.rest_about(releases)
    if about is None:
        mine = next(k for k in releases if k.least <= 0 <= k.greatest)
        return f"{name}: let go at neutral it does not stay there but {_then(system, name, mine)}."
    low, high = about
    if len(releases) == 1:
        return f"{name}: it stays wherever it is let go."
    others = [release for release in releases if not _comes_to(release, about)]
    ends = _from_to(system, name, about)
    back = f"{name}: it comes back to neutral, " + (
        f"no nearer than where friction holds it ({ends})" if high > low else
        "no friction holding it away")
    if not others:
        return f"{back}, from everywhere in its travel."
    away = "; ".join(f"{_from_to(system, name, (k.least, k.greatest))} {_then(system, name, k)}"
                     for k in others)
    return f"{back}; but not from everywhere: {away}."


def _comes_to(release, about) -> bool:
    """Whether a stick let go there rests where it rests about neutral."""
    low, high = about
    if release.does == 0:
        return (release.least, release.greatest) == about
    return not release.stop and low <= release.rest <= high


def _trim(results, trim):
    """Where trim holds the stick, and over which range."""
    system, data = results.system, results.trims.get(trim) if results.trims else None
    if data is None:
        yield Text(f"{trim}: what it does is not known: {results.why_not('trims')}", "missing")
        return
    name = system.model.inputs[trim].trims
    unit, size = gearing.position_unit(system, system.inputs[name])
    own = system.model.unit
    yield Picture(partial(_drawn_trim, results, trim), f"Where {name} stays hands off as {trim} is "
                  f"moved")
    shown = data.assign(rising=data["rising"] * size / own.newton)
    places = {word: shown[word] / size for word in ("hands_off", "least", "greatest")}
    shown = in_units(system, shown.assign(**places), at=False, force="at_neutral",
                     angle=" ".join(system.model.surfaces))
    shown = shown.rename(columns={"hands off": f"hands off {unit}", "least": f"stays from {unit}",
                                  "greatest": f"stays to {unit}",
                                  "rising": f"rising {own.force}/{unit}"})
    words = {column: (lambda row, value: gearing.said_input(system, name, value * size, 2))
             for column in shown if column.startswith(("hands off", "stays "))}
    yield Table(f"Hands off by {trim}", shown, f"Where {name} rests without friction, between "
                f"where friction holds it, how fast its force grows there, and what holds it at "
                f"neutral; + is {gearing.sense_word(system, name, True)}.  A dash: it goes to its "
                f"end.  {trim} is taken to stay where it is put.",
                words=in_words(system, shown) | words)
    rests = data["hands_off"].dropna()
    ends = _from_to(system, name, (rests.min(), rests.max()))
    yield Text(f"{trim} holds {name} hands off from {ends} at {data[trim].nunique()} positions of "
               f"its own travel." if len(rests) else
               f"{trim} holds {name} hands off at none of {data[trim].nunique()} positions.")


def _drawn(results, name):
    from ... import plots

    return plots.stick_forces(results.system, plots.half_axes(), input=name,
                              releases=results.releases[name])


def _drawn_trim(results, trim):
    from ... import plots

    return plots.hands_off(results.system, plots.half_axes(), trim=trim, table=results.trims[trim])
