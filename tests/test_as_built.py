"""The aircraft as built: planted errors are found again in readings."""

import math

import numpy as np
import pytest
from systems.rig_models import RODS, planted

import linkage
from linkage import rigging
from linkage.motion import System


def test_planted_offsets_are_found_again(side_by_side, full):
    """200 sets of three rods and five instrument zeros, each found to 1e-8 mm and degrees."""
    rng = np.random.default_rng(7)
    for _ in range(200 if full else 20):
        changes = dict(zip(RODS, rng.uniform(-2.5, 2.5, 3), strict=True))
        zeros = {name: rng.uniform(-1.5, 1.5)
                 for name in ("pitch", "roll", *side_by_side.model.surfaces)}
        readings = rigging.readings_of(side_by_side, planted(side_by_side, changes, zeros))
        fit = rigging.fit_as_built(side_by_side, readings, rods=RODS, error=1e-6)
        found = dict(zip(fit.table["unknown"], fit.table["value"], strict=True))
        wanted = changes | {f"{name} zero": value for name, value in zeros.items()}
        assert fit.table["determined"].all()
        assert set(found) == set(wanted)
        assert max(abs(found[name] - wanted[name]) for name in wanted) < 1e-8
        assert np.abs(fit.residuals).max() < 1e-9


def test_errors_of_the_fit_are_what_scatter_makes_of_it(run):
    """Standard errors against the spread of 80 fits to readings with noise of 0.05 degrees."""
    rng, found = np.random.default_rng(3), []
    rows = list(planted(run, {"rear": 1.0}, {}, steps=15))
    for _ in range(80):
        noisy = [row | {"surface angle": repr(float(row["surface angle"]) + rng.normal() * 0.05)}
                 for row in rows]
        fit = rigging.fit_as_built(run, rigging.readings_of(run, noisy), rods=["rear"],
                                   zeroed=["pitch"], error=0.05)
        found.append([*fit.table["value"], *fit.table["error"]])
    value, error = np.split(np.array(found), 2, axis=1)
    assert fit.table["determined"].all()
    assert np.std(value, axis=0) == pytest.approx(error.mean(axis=0), rel=0.3)
    assert value.mean(axis=0) == pytest.approx([0.0, 1.0], abs=4 * error.max() / math.sqrt(80))


def test_what_is_not_determined_is_named_and_stays_put(run):
    """A zero shift and a rod of the same run hide in each other at 0.1 degrees."""
    readings = rigging.readings_of(run, planted(run, {"rear": 1.0}, {"elevator": 0.4}))
    fit = rigging.fit_as_built(run, readings)
    assert fit.together == (("pitch zero", "elevator zero", "front", "rear"),)
    assert not fit.table["determined"].any()
    assert np.abs(fit.residuals).max() < 0.1
    whole = rigging.fit_as_built(run, readings, error=1e-9)
    assert whole.table["determined"].all()
    assert whole.table["value"].tolist() == pytest.approx([0, 0.4, 0, 1.0], abs=1e-4)


def test_rods_no_reading_depends_on_are_named(side_by_side):
    rows = [row for row in planted(side_by_side, {}, {}) if row["surface"] == "elevator"]
    fit = rigging.fit_as_built(side_by_side, rigging.readings_of(side_by_side, rows))
    assert "aileron drive left" in fit.unseen
    assert "elevator drive" not in fit.unseen


def test_level_of_a_surface_is_fitted_as_it_is_read(run):
    rows = list(planted(run, {"rear": -1.5}, {"elevator": 0.3}, "surface level"))
    fit = rigging.fit_as_built(run, rigging.readings_of(run, rows), rods=["rear"],
                               zeroed=["pitch"], error=1e-6)
    found = dict(zip(fit.table["unknown"], fit.table["value"], strict=True))
    assert found == pytest.approx({"elevator level zero": 0.3, "rear": -1.5}, abs=1e-8)


def test_as_built_model_moves_as_was_read(run, tmp_path):
    rows = list(planted(run, {"front": 0.8, "rear": 1.0}, {}))
    readings = rigging.readings_of(run, rows)
    fit = rigging.fit_as_built(run, readings, zeroed=["pitch", "elevator"])
    built = rigging.as_built_model(run, fit)
    motion = System(built).sweep(pitch=readings.stick)
    assert np.abs(motion.deflection("elevator") - readings.angle).max() < 0.05
    linkage.write_model(built, tmp_path / "built.toml")
    assert linkage.read_model(tmp_path / "built.toml") == built


def test_readings_out_of_reach_are_refused(side_by_side):
    row = {"input": "pitch", "stick angle": "120", "surface": "elevator", "surface angle": "3"}
    with pytest.raises(linkage.LinkageError, match="reading 1: the rods can't reach at pitch 120"):
        rigging.fit_as_built(side_by_side, rigging.readings_of(side_by_side, [row] * 29))


def test_too_few_readings_are_refused(run):
    rows = list(planted(run, {}, {}))
    for count in (1, 2):
        with pytest.raises(linkage.LinkageError, match="measure at least"):
            rigging.fit_as_built(run, rigging.readings_of(run, rows[:count]), error=1e-3)


@pytest.mark.parametrize("worst", [0, 4, 8])
def test_contradictory_readings_are_refused(run, worst):
    rows = list(planted(run, {"rear": 1.0}, {}))
    rows[worst]["surface angle"] = repr(float(rows[worst]["surface angle"]) + 4.0)
    with pytest.raises(linkage.LinkageError, match=r"measure it again") as caught:
        rigging.fit_as_built(run, rigging.readings_of(run, rows))
    assert f"reading {worst + 1} (pitch" in str(caught.value)
    twice = [*planted(run, {}, {}), {"input": "pitch", "stick angle": "10", "surface": "elevator",
                                     "surface angle": "3"}]
    with pytest.raises(linkage.LinkageError, match="measure it again"):
        rigging.fit_as_built(run, rigging.readings_of(run, twice))


def test_edge_by_rule_and_words(run):
    """Movement straight across = 2 chord sin(angle / 2): 300 mm at a chord of 300 mm is 60°."""
    rows = [{"input": "pitch", "stick angle": "9.5 aft", "surface": "elevator", "edge": cell}
            for cell in ("300 TED", "300 mm TEU", "-300", "2 in")]
    readings = rigging.readings_of(run, rows)
    assert readings.stick.tolist() == [9.5] * 4
    assert readings.angle.tolist() == pytest.approx(
        [60, -60, -60, math.degrees(2 * math.asin(50.8 / 600))])


def test_stick_level_is_turned_into_its_angle(run):
    """A line at atan(20 / 90) above level at neutral, turning with the stick."""
    rise = math.degrees(math.atan2(20, 90))
    row = {"input": "pitch", "stick level": f"{rise - 7}", "surface": "elevator",
           "surface angle": "1 TEU"}
    assert rigging.readings_of(run, [row]).stick == pytest.approx([7.0])


@pytest.mark.parametrize(("change", "says"), [
    ({"input": "pich"}, 'no input "pich"; did you mean "pitch"?'),
    ({"surface": ""}, 'no surface ""'),
    ({"stick angle": ""}, "needs one measure of the stick: stick angle, stick level; got none"),
    ({"edge": "3 TEU"}, "needs one measure of the surface"),
    ({"surface angle": "much"}, '"much" is no angle; write degrees, with TEU or TED behind'),
    ({"surface angle": "-3 TEU"}, "has a sign and a way"),
    ({"surface angle": "nan"}, "nan is more than 3600° either way, or no number"),
    ({"surface angle": "", "edge": "900 TEU"}, "allows 600.00 mm; check the unit"),
    ({"surface angle": "", "edge": "3 lb"}, "is no length"),
    ({"stick angle": "", "stick level": "80"}, "at 0 positions of pitch"),
])
def test_bad_readings_are_refused(run, change, says):
    row = {"input": "pitch", "stick angle": "5", "surface": "elevator", "surface angle": "3 TEU"}
    with pytest.raises(linkage.LinkageError) as caught:
        rigging.readings_of(run, [row, row | change])
    assert says in str(caught.value)
    assert str(caught.value).startswith("reading 2: ")
