"""Every table says the unit of each of its columns, and no number goes without one unawares."""

import importlib
import inspect
import pkgutil
from pathlib import Path

import pytest
from systems.rig_models import planted as planted_readings
from systems.sizing_models import planted as planted_sizes

import linkage
from linkage.loads import felt
from linkage.motion import System
from linkage.rigging import fit_as_built, free_play, readings_of, sensitivities
from linkage.rigging.tolerances import spots
from linkage.sizing import size
from linkage.units import COLUMN_UNITS

EXAMPLES = Path(__file__).parents[1] / "examples"

ROOMS = ("gearing", "rigging", "loads", "stops", "clearances")
# Numbers that are ratios.
PLAIN = {"ratio", "clearance", "slenderness", "column_margin", "tube_margin", "joint_factor",
         "joint_margin", "shank_margin", "thread_margin", "margin", "factor", "share", "aft",
         "right", "up", "buckling"}
MORE = {"gearing_table": ("pitch",), "stick_force_table": ("pitch",), "chafe": ("talk wire left",)}


def tables():
    """Public functions of the rooms that give a table."""
    for room in ROOMS:
        package = importlib.import_module(f"linkage.{room}")
        for info in pkgutil.iter_modules(package.__path__):
            module = importlib.import_module(f"linkage.{room}.{info.name}")
            for name, function in inspect.getmembers(module, inspect.isfunction):
                home = function.__module__ == module.__name__
                if home and name[0] != "_" and str(
                        function.__annotations__.get("return")).removeprefix("pd.") == "DataFrame":
                    yield pytest.param(function, id=f"{room}-{name}")


def table_of(function, system):
    name = function.__name__
    if name == "error_bands":
        return function(sensitivities(system))
    if name == "play_bands":
        return function(free_play(system))
    if name == "size_spacer":
        stop = next(iter(system.model.stops))
        at = linkage.find_stops(system).set_index("stop").loc[stop]
        return function(system, stop=stop, input={at["input"]: 0.9 * at["angle"]})
    if name == "feel_table":
        return function(felt(system, "pitch", [-5.0, 0.0, 5.0]))
    if name == "trim_table":
        return function(linkage.load(EXAMPLES / "spring_trim.toml"), "trim")
    if name == "worst_corners":
        at = spots(system)
        return function(system, at, sensitivities(system, at), rigged=False)
    if name == "bands":
        real = linkage.stops.real_travel(system)
        return function(system, linkage.gearing.required_travels(system), real.travel.spread,
                        real.fine)
    if name == "built_travels":
        return function(system, linkage.gearing.required_travels(system), spots(system))
    return function(system, *MORE.get(name, ()))


@pytest.mark.parametrize("function", list(tables()))
def test_every_table_says_its_units(function, side_by_side):
    table = table_of(function, side_by_side)
    units = table.attrs["units"]
    assert list(units) == list(table.columns)
    assert set(units.values()) <= {"", "° or mm", *COLUMN_UNITS.values()}
    for column in table.select_dtypes("float"):
        last = column[-1] if isinstance(column, tuple) else column
        assert units[column] or last in PLAIN, f"{column} is a number without a unit"


def test_rows_with_units_of_their_own_say_them():
    """Of a fit to readings, and of a choice of dimensions: every number by its column or row."""
    system, _ = planted_sizes(0)
    chosen = size(System(system), starts=1)
    run = linkage.load(EXAMPLES / "aileron_run.toml")
    fit = fit_as_built(run, readings_of(run, planted_readings(run, {}, {})))
    for table in (chosen.dimensions, chosen.targets, chosen.tradeoffs, fit.table):
        units = table.attrs["units"]
        assert list(units) == list(table.columns)
        if "as its row says" in units.values():
            assert set(table["unit"]) <= {"", "mm", "°", "°/°", "°/mm"}
        for column in table.select_dtypes("float"):
            assert units[column] or column == "weight", f"{column} is a number without a unit"


def test_there_are_tables_to_look_at():
    assert len(list(tables())) >= 24


def test_a_table_in_the_file_s_units_says_those(side_by_side):
    from linkage.results.columns import in_units

    table = in_units(side_by_side, linkage.gearing.margins(side_by_side), angle="margin")
    assert table.attrs["units"]["margin °"] == "°"
    assert list(table.attrs["units"]) == list(table.columns)
