"""Load cases by rule: weights, levers, gusts on the ground, and what a file leaves out.

Rules that were read, and where (stored copies, 14 CFR part 23 before amendment 23-64):
23.303, 1-1-14 edition, 23.675(c) and A23.13(b), all of it: faraim.org, far-2014-title14-vol1, pages
219, 250 and 345; 23.397(b) with its footnotes: law.cornell.edu/cfr/text/14/23.397; 23.415 with
its speed, "need not exceed 88 (f.p.s.)": pilotfriend.com/FARS/6/Sec. 23.415; 23.619, amendment
23-7, "multiplied by the highest pertinent special factors of safety": pilotfriend.com/FARS/7/Sec.
23.619; 23.683: risingup.com/fars/info/part23-683-FAR.shtml.
Not found, and from memory: 23.395, 23.399, 23.625, 23.1329.  Their likes were read: 25.395
(risingup.com), 25.399 and 25.625 (lexbuild.dev, casetext.com), 29.1329 (pilotfriend.com).
"""

import numpy as np
import pytest
from systems.load_models import stage, system_of

import linkage
from linkage import loads
from linkage.loads import Statics
from linkage.results import Results
from linkage.units import LBF

LEVER = """
[input.flap]
travel = [0, 40]
[body.lever]
pivot = [0, 0, 0]
axis = "lateral"
input = "flap"
points = {{ grip = [0, 0, {radius}], arm = [0, 0, -60] }}
[body.flap]
pivot = [900, 0, 0]
axis = "lateral"
points = {{ p = [900, 0, -60] }}
[rod.push]
ends = ["lever/arm", "flap/p"]
[surface.flap]
body = "flap"
"""


@pytest.mark.parametrize(("weight", "share"), [
    (None, 1.0), ("3000 lb", 1.0), ("8750 lb", 1.09), ("12500 lb", 1.18), ("15000 lb", 1.18)])
def test_pilot_forces_grow_with_the_design_weight(weight, share):
    """14 CFR 23.397(b), 1-1-14 edition, footnote: linear to 1.18 times at 12,500 lb."""
    more = f'[factor]\nweight = "{weight}"\n' if weight else ""
    force = loads.pilot_force(stage(surface=more), "pitch")
    assert force.most == pytest.approx(167 * share * LBF)
    assert force.least == pytest.approx(100 * LBF)


@pytest.mark.parametrize(("radius", "pounds"), [(25.4, 50.0), (127.0, 100.0), (254.0, 150.0)])
def test_a_lever_that_is_no_primary_control(radius, pounds):
    """14 CFR 25.405: (1 + R) / 3 x 50 lb with R in inches, no less than 50, no more than 150."""
    system = system_of(LEVER.format(radius=radius))
    assert loads.pilot_force(system, "flap").most == pytest.approx(pounds * LBF, rel=1e-6)
    assert "25.405" in loads.rule_of_force(system, "flap")
    assert any(case.input == "flap" for case in loads.cases(system))


def test_a_gust_on_the_ground():
    """H = K c S q (14 CFR 23.415(b), 1-1-14 edition): 0.75 x 1 ft x 4 ft² x 9.2 psf, by hand.

    q at 88 ft/s and sea level, 0.5 x 0.002377 slug/ft³ x 88² = 9.20 psf, more need not be taken
    (from memory).
    """
    system = stage(surface='kind = "elevator"\narea = "4 ft**2"\nmean_chord = "12 in"')
    gusts = [case for case in loads.cases(system) if case.kind == "ground gust"]
    assert [case.name for case in gusts] == ["ground gust down on elevator",
                                             "ground gust up on elevator"]
    pressure = 0.5 * 0.002377 * 88**2
    moment = 0.75 * 1.0 * 4.0 * pressure * 304.8 * LBF
    assert gusts[0].moments[0][1] == pytest.approx(moment, rel=1e-3)
    statics = Statics(system.sweep(pitch=0.0))
    axial = loads.carried(statics, loads.shares(statics, gusts[0]))["axial", "push"]
    assert np.abs(axial[0]) == pytest.approx(moment / 60, rel=1e-3)


def test_a_gust_that_no_factor_is_known_for_is_named():
    surface = 'kind = "{}"\n{}'
    for kind, more, words in (("elevator", "", "no area with mean_chord in the file"),
                              ("canard", 'area = "4 ft**2"\nmean_chord = "12 in"',
                               "14 CFR 23.415(b) gives no factor for its kind")):
        system = stage(surface=surface.format(kind, more))
        left = Results(system, only=("loads",)).verdict.unknown
        assert f"ground gust on elevator: {words}" in left


OFF = """
[load_case."pitch aft, one pilot at stick"]
off = true
reason = "the aft stop is on the horn"
"""


def test_a_case_is_switched_off_with_its_reason():
    plain, less = stage(), stage(surface=OFF)
    gone = {c.name for c in loads.cases(plain)} - {c.name for c in loads.cases(less)}
    assert gone == {"pitch aft, one pilot at stick"}
    verdict = Results(less, only=("loads",)).verdict
    assert any(words == "load case pitch aft, one pilot at stick: left out: the aft stop is on the "
               "horn" for words in verdict.set_aside)
    worst = [loads.worst_loads(s).set_index(["part", "what"])["force"] for s in (plain, less)]
    assert worst[1]["push", "compression"] == pytest.approx(worst[0]["push", "compression"])
    assert ("push", "tension") in worst[0]
    assert ("push", "tension") not in worst[1]


def test_the_force_of_a_kind_of_cases_is_changed():
    text = '[load_case."one pilot"]\nforce = "100 N"\nreason = "light hands, invented"\n'
    cases = [c for c in loads.cases(stage(surface=text)) if c.kind == "one pilot"]
    assert sorted(c.forces[0][1] for c in cases) == [-100.0, 100.0]


def test_a_case_that_is_none_is_refused():
    system = stage(surface=OFF.replace("pitch aft", "pitch up"))
    with pytest.raises(linkage.LinkageError, match='load_case "pitch up, one pilot at stick"'):
        loads.left_out(system)
    with pytest.raises(linkage.LinkageError, match='load_case "pitch up'):
        loads.cases(system)
    gust = OFF.replace("pitch aft, one pilot at stick", "ground gust").replace("off = true",
                                                                               'force = "9 N"')
    with pytest.raises(linkage.LinkageError, match="no pilot pushes in it"):
        loads.cases(stage(surface=gust))
    none = "".join(OFF.replace("pitch aft, one pilot at stick", kind) for kind in ("one pilot",))
    with pytest.raises(linkage.LinkageError, match="every load case is left out"):
        loads.worst_loads(stage(surface=none))
    with pytest.raises(linkage.LinkageError, match="needs one of off = true and a force"):
        stage(surface=OFF.replace("off = true", ""))


def test_every_case_names_its_paragraph(side_by_side):
    listed = [case for stop in (None, *side_by_side.model.stops)
              for case in loads.cases(side_by_side, stop)]
    assert all("23." in case.rule for case in listed)
    assert {case.kind for case in listed} == {
        "hinge moments", "one pilot", "two pilots together", "two pilots opposed", "jam",
        "against a stop"}
