"""Builds by chance against first-order figures and closed forms."""

import math
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import replace
from multiprocessing import get_context

import numpy as np
import pytest
from scipy import stats

from linkage import LinkageError, System
from linkage.model import Tolerance
from linkage.model.file import parse_model
from linkage.rigging import (
    Chance,
    error_bands,
    monte_carlo,
    sensitivities,
)
from linkage.rigging.builds import A_BLOCK, _errors, _Task
from linkage.rigging.tolerances import Spot, dimension_rates
from linkage.stops import dimension_tolerances


def small(system, mm=1e-4):
    """The system with one small tolerance on everything."""
    bodies = {n: replace(b, tolerance=None) for n, b in system.model.bodies.items()}
    return System(replace(system.model, bodies=bodies, tolerance=Tolerance(hardpoint=mm, rod=mm)))


@pytest.mark.parametrize("rigged", [False, True])
@pytest.mark.parametrize("spread", ["normal", "uniform"])
def test_builds_of_small_tolerances_against_the_first_order_figure(side_by_side, spread, rigged):
    """Standard deviation of a linear sum: root of the sum of squares (a third of a normal
    tolerance, 1/sqrt 3 of a uniform one); within 4 standard errors of 6,000 builds."""
    system = small(side_by_side)
    place = {"pitch": 9.0, "roll": -12.0}
    spot = Spot("there", place, {})
    rss = error_bands(sensitivities(system, [spot], rigged=rigged)).set_index("surface")["rss"]
    found = monte_carlo(system, Chance(builds=6000, spread=spread, rigged=rigged), **place)
    share = {"normal": 1 / 3, "uniform": 3 ** -0.5}[spread]
    for surface in system.model.surfaces:
        deviation = found.errors(surface).std()
        assert deviation == pytest.approx(rss[surface] * share, rel=4 / math.sqrt(2 * 6000))
    assert found.lost == 0


def test_each_build_of_small_tolerances_is_the_linear_sum_of_its_errors(side_by_side):
    """Taylor: what is left is of second order in the errors."""
    system = small(side_by_side)
    task = _Task(system, ("elevator",), {}, Chance(builds=A_BLOCK, seed=3), A_BLOCK,
                 np.random.SeedSequence(3).spawn(1)[0])
    drawn = _errors(task)
    rates = dimension_rates(system, list(dimension_tolerances(system)), pitch=11.0)["elevator"]
    linear = sum(rate * drawn[name] for rate, name in
                 zip(rates, dimension_tolerances(system), strict=True))
    found = monte_carlo(system, task.chance, pitch=11.0).errors("elevator")
    np.testing.assert_allclose(found, linear, atol=2e-9)
    assert np.abs(linear).max() > 1e-4


# Two rods of a chain of two triangles: the pin of each body at 80 mm from its pivot, the far end
# of its rod at 200 mm; the second rod starts from the first body's second pin.
CHAIN = """
length = "mm"
[body.crank]
pivot = [0, 0, 0]
axis = "lateral"
points = { p = [0, 0, 80], q = [50, 0, 0] }
[body.horn]
pivot = [300, 0, 0]
axis = "lateral"
points = { p = [300, 0, 70] }
[airframe]
points = { fixed = [200, 0, 0] }
[rod.first]
ends = ["airframe/fixed", "crank/p"]
tolerance = 4
[rod.second]
ends = ["crank/q", "horn/p"]
tolerance = 3
[surface.flap]
body = "horn"
"""


def circles_meet(one, r1, other, r2, near):
    """Where two circles in a plane meet, the point nearer to `near` (school geometry)."""
    one, other = np.broadcast_arrays(one, other)
    run = other - one
    d = np.linalg.norm(run, axis=-1, keepdims=True)
    a = (r1**2 - r2**2 + d**2) / (2 * d)
    height = np.sqrt(r1**2 - a**2)
    side = np.stack([-run[..., 1], run[..., 0]], axis=-1) / d
    both = [one + a * run / d + sense * height * side for sense in (1, -1)]
    first = np.linalg.norm(both[0] - near, axis=-1) < np.linalg.norm(both[1] - near, axis=-1)
    return np.where(first[..., None], *both)


def two_rods(first, second):
    """Turn of the horn from its pin straight up, about +y, degrees: two triangles in x, z."""
    p = circles_meet(np.array([0.0, 0.0]), 80.0, np.array([200.0, 0.0]),
                     np.asarray(first)[..., None], np.array([0.0, 80.0]))
    turn = np.arctan2(p[..., 0], p[..., 1])
    q = np.stack([50 * np.cos(turn), -50 * np.sin(turn)], axis=-1)
    h = circles_meet(np.array([300.0, 0.0]), 70.0, q, np.asarray(second)[..., None],
                     np.array([300.0, 70.0]))
    return np.degrees(np.arctan2(h[..., 0] - 300, h[..., 1]))


def test_builds_of_two_rods_against_the_closed_form_of_two_variables():
    """Mean and deviation by Gauss-Legendre quadrature of the closed form over both rods; and
    every build against the closed form itself."""
    system = System(parse_model(CHAIN))
    lengths = [system.dimensions.lengths[rod] for rod in ("first", "second")]
    chance = Chance(builds=20_000, spread="uniform", seed=5)
    found = monte_carlo(system, chance).deflections["flap"]
    x, weight = np.polynomial.legendre.leggauss(40)
    value = two_rods(lengths[0] + 4 * x[:, None], lengths[1] + 3 * x)
    both = np.outer(weight, weight) / 4
    mean = (both * value).sum()
    deviation = math.sqrt((both * (value - mean) ** 2).sum())
    assert found.mean() == pytest.approx(mean, abs=4 * deviation / math.sqrt(20_000))
    fourth = (both * (value - mean) ** 4).sum()
    error = math.sqrt((fourth / deviation**4 - 1) / (4 * 20_000))
    assert found.std() == pytest.approx(deviation, rel=4 * error)
    assert abs(mean) > 0.01  # the curvature shows: a linear sum would have mean 0
    task = _Task(system, ("flap",), {}, chance, A_BLOCK,
                 np.random.SeedSequence(5).spawn(80)[0])
    drawn = _errors(task)
    exact = two_rods(lengths[0] + drawn["first", "length"], lengths[1] + drawn["second", "length"])
    np.testing.assert_allclose(found[:A_BLOCK], exact, atol=1e-9)


def test_builds_that_do_not_assemble_are_nan_and_counted():
    """The first rod can't be shorter than 200 - 80 mm: of uniform errors a known share is."""
    text = CHAIN.replace("[0, 0, 80]", "[79, 0, 12.609520212918492]").replace(
        "tolerance = 4", "tolerance = 2").replace("tolerance = 3", "")
    system = System(parse_model(text))
    length = system.dimensions.lengths["first"]
    share = (120 - (length - 2)) / 4
    assert 0.05 < share < 0.5
    found = monte_carlo(system, Chance(builds=4000, spread="uniform"))
    assert found.lost == np.isnan(found.deflections["flap"]).sum()
    assert stats.binomtest(found.lost, 4000, share).pvalue > 1e-4
    low, high = found.band("flap")
    assert np.isfinite([low, high]).all()


def test_a_surface_has_the_same_builds_whatever_else_is_asked(side_by_side):
    place = {"pitch": [0.0, 10.0], "roll": [5.0, -7.0]}
    whole = monte_carlo(side_by_side, Chance(builds=300), **place)
    alone = monte_carlo(side_by_side, Chance(builds=300), surfaces=["elevator"], **place)
    assert list(alone.deflections) == ["elevator"]
    np.testing.assert_array_equal(alone.deflections["elevator"], whole.deflections["elevator"])
    other = monte_carlo(side_by_side, Chance(builds=300, seed=1), surfaces=["elevator"], **place)
    assert np.abs(other.deflections["elevator"] - alone.deflections["elevator"]).min() > 0


@pytest.mark.parametrize("kind", ["threads", "processes", "dask"])
def test_whoever_works_them_out_the_builds_are_the_same(side_by_side, kind):
    place = {"pitch": np.linspace(-13, 17, 7), "roll": 4.0}
    chance = Chance(builds=2 * A_BLOCK + 7)
    expected = monte_carlo(side_by_side, chance, **place)
    with _executor(kind) as executor:
        found = monte_carlo(side_by_side, chance, executor=executor, **place)
    for surface, value in expected.deflections.items():
        assert value.shape == (2 * A_BLOCK + 7, 7)
        np.testing.assert_array_equal(found.deflections[surface], value)


def _executor(kind):
    if kind == "threads":
        return ThreadPoolExecutor(2)
    if kind == "processes":
        return ProcessPoolExecutor(2, mp_context=get_context("spawn"))
    return _DaskExecutor()


class _DaskExecutor:
    """A local Dask cluster of two processes, seen as an executor."""

    def __enter__(self):
        from distributed import Client, LocalCluster

        self.cluster = LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None)
        self.client = Client(self.cluster)
        return self.client.get_executor()

    def __exit__(self, *_):
        self.client.close()
        self.cluster.close()


def test_bad_chances_are_refused():
    with pytest.raises(LinkageError, match='spread is "even"; give one of normal, uniform'):
        Chance(spread="even")
    with pytest.raises(LinkageError, match="builds is 0; give 1 or more"):
        Chance(builds=0)


def test_unknown_surface_is_refused(side_by_side):
    with pytest.raises(LinkageError, match='no surface "elevatr"; did you mean "elevator"'):
        monte_carlo(side_by_side, surfaces=["elevatr"])
