"""Bolts, bearings and plates by hand: simple lug and bolt formulas, factors of 14 CFR part 23."""

import math

import pytest
from systems.load_models import stage, system_of

import linkage
from linkage import loads
from linkage.model import HANDBOOK
from linkage.results import Results
from linkage.units import LBF

KSI = 1000 * LBF / 25.4**2
LOAD = 167 * LBF * 400 / 60 / math.cos(math.radians(20))  # of the rod, at the ends of the travel
HORN = """
[joint.horn]
at = "horn/p"
bolt = 8
bolt_material = "steel bolt 125 ksi"
thickness = 4
material = "2024-T3"
edge = 14
width = 30
"""


def checks(more, system=None):
    table = loads.joint_margins(system or stage(surface=HORN + more))
    return table.set_index("check")


def test_a_bolt_in_a_plate_on_paper():
    """n π/4 d² Fsu, d t Fbru, 2 t (e - d/2) Fsu and (w - d) t Ftu (simple lug texts, from memory).

    75 ksi in shear (MIL-B-6812, from memory); 64 ksi of 2024-T3, by √3 in shear.  3.33 on bearing
    (14 CFR 23.693, 1-1-14 edition), all else 1.5 x 1.15 (23.303; 23.625, from memory, as 25.625).
    """
    table, alloy = checks(""), 64 * KSI
    wanted = {"bolt in shear": (math.pi / 4 * 64 * 75 * KSI, 1.725),
              "bearing": (8 * 4 * alloy, 3.33),
              "tear-out": (2 * 4 * 10 * alloy / math.sqrt(3), 1.725),
              "net section": (4 * 22 * alloy, 1.725)}
    assert set(table.index) == set(wanted)
    for check, (strength, factor) in wanted.items():
        row = table.loc[check]
        assert row["load"] == pytest.approx(LOAD, rel=1e-6)
        assert (row["strength"], row["factor"]) == pytest.approx((strength, factor))
        assert row["margin"] == pytest.approx(strength / (LOAD * factor) - 1, rel=1e-5)
    assert "which the file does not say" in table.loc["bearing", "reason"]
    double = checks('shear = "double"').loc["bolt in shear"]
    assert double["strength"] == pytest.approx(2 * wanted["bolt in shear"][0])


@pytest.mark.parametrize(("at", "kind", "factor"), [
    ("horn/pivot", "", 6.67), ("stick/pivot", "", 3.33), ("horn/pivot", "push-pull", 3.33),
    ("horn/p", "hinge", 6.67), ("horn/p", "cable", 2.0), ("horn/p", "fixed", 1.725)])
def test_the_factor_of_each_kind(at, kind, factor):
    """14 CFR 23.657(a) and 23.693, 1-1-14 edition: 6.67 hinges, 3.33 push-pull, 2.0 cables.

    They stand in place of 1.5 and 1.15, on the ultimate bearing stress alone; what the file does
    not say takes the greater one.
    """
    said = f'kind = "{kind}"\n' if kind else ""
    table = checks("", stage(surface=HORN.replace('at = "horn/p"', f'at = "{at}"\n{said}')))
    assert table.loc["bearing", "factor"] == pytest.approx(factor)
    if kind != "fixed":
        assert ("which the file does not say" in table.loc["bearing", "reason"]) == (not kind)
    assert table.loc["bolt in shear", "factor"] == pytest.approx(1.725)


def test_a_rating_is_not_multiplied():
    """14 CFR 23.693: of ball and roller bearings the ratings may not be exceeded."""
    row = checks('kind = "rolling"\nrating = "6 kN"').loc["rating"]
    assert (row["factor"], row["margin"]) == pytest.approx((1.0, 6000 / LOAD - 1), rel=1e-5)
    with pytest.raises(linkage.LinkageError, match='add kind = "rolling"'):
        checks('rating = "6 kN"')


def test_a_bush_bears_in_place_of_the_plate():
    row = checks('bears = 10\nbears_material = "6061-T6"').loc["bearing"]
    assert row["strength"] == pytest.approx(8 * 10 * HANDBOOK["6061-T6"].ultimate)


def test_a_weak_joint_is_missed_and_a_silent_one_is_named():
    weak = Results(stage(surface=HORN.replace("bolt = 8", "bolt = 3")), only=("loads",)).verdict
    assert any(miss.what == "horn/p" and "bolt in shear" in miss.how_much for miss in weak.missed)
    left = "\n".join(weak.unknown)
    assert "bolts and plates at ends of rods of stick/arm: the file gives none" in left
    assert "pivots and hinges of stick, horn: the file gives none" in left
    bare = Results(stage(surface=HORN.replace("edge = 14", "")), only=("loads",)).verdict
    assert any("tear-out of joint horn: the file gives no edge" in left for left in bare.unknown)


def test_what_a_hinge_carries_besides_is_named():
    """With bearings both hinges are judged by their own load, but never by the air's."""
    for horn, words in (("", ["moment across the axis at horn/pivot", "air load on the hinges"]),
                        ("bearings = [[900, -200, 0], [900, 200, 0]]", ["air load on the hinges"])):
        text = HORN.replace('"horn/p"', '"horn/pivot"')
        left = Results(stage(horn=horn, surface=text), only=("loads",)).verdict.unknown
        told = [w for w in left if w.startswith(("moment across", "air load"))]
        assert [w.split(" at ")[0] for w in told] == [w.split(" at ")[0] for w in words]


def test_rod_ends_by_rating_or_by_ultimate():
    """A rating against the limit load; an ultimate strength under 3.33 unless said otherwise."""
    rod = 'thread = "M8"\nfitted = { rod_end = "eight", engaged = 12 }\n'
    text = '[rod_end.eight]\nshank = 40\n{}\n'
    for end, more, factor, word in (('rating = "12 kN"', "", 1.0, "rating"),
                                    ('ultimate = "40 kN"', "", 3.33, "ultimate"),
                                    ('ultimate = "40 kN"', "bearing = 1", 1.725, "ultimate")):
        row = loads.rod_margins(stage(rod=rod + more, surface=text.format(end))).iloc[0]
        strength = 12e3 if word == "rating" else 40e3
        assert row["joint_margin"] == pytest.approx(strength / (LOAD * factor) - 1, rel=1e-5)
        assert row["joint_by"].startswith(word)


def test_a_shank_at_the_root_of_its_thread():
    """P / (π/4 d²) + 32 M / (π d³) by hand: yield at limit, ultimate at 1.5 x 1.15."""
    rod = ('diameter = 20\nwall = 2\nmaterial = "4130 normalized"\nthread = "M8"\n'
           'fitted = { rod_end = "eight", engaged = 12 }\nfriction = "800 N*mm"\n')
    row = loads.rod_margins(stage(rod=rod, surface="[rod_end.eight]\nshank = 40\n")).iloc[0]
    root = 8 - 1.226869 * 1.25
    stress = LOAD / (math.pi / 4 * root**2) + 800 * 32 / (math.pi * root**3)
    assert row["shank_margin"] == pytest.approx(
        min(75 * KSI / stress, 95 * KSI / stress / 1.725) - 1, rel=1e-5)


def test_the_friction_of_a_ball_bends_its_shank_and_the_thread_holds():
    """Bending f P r at the root, and half of π d3 x engagement in shear, by hand (simple texts)."""
    rod = ('diameter = 20\nwall = 2\nmaterial = "4130 normalized"\nthread = "M10"\n'
           'fitted = { rod_end = "ten", engaged = 12 }\n')
    end = "[rod_end.ten]\nshank = 40\nball = 14\nrace = 10\nsphere = 20\nfriction = 0.05\n"
    row = loads.rod_margins(stage(rod=rod, surface=end)).iloc[0]
    root = 10 - 1.226869 * 1.5
    stress = LOAD / (math.pi / 4 * root**2) + 0.05 * LOAD * 10 * 32 / (math.pi * root**3)
    assert row["shank_margin"] == pytest.approx(
        min(75 * KSI / stress, 95 * KSI / stress / 1.725) - 1, rel=1e-5)
    strength = math.pi * root * 12 / 2 * 95 * KSI / math.sqrt(3)
    assert row["thread_margin"] == pytest.approx(strength / LOAD / 1.725 - 1, rel=1e-5)
    with pytest.raises(linkage.LinkageError, match="no size of it"):
        stage(rod=rod, surface="[rod_end.ten]\nfriction = 0.1\n")


def test_a_joint_on_nothing_is_refused():
    for bad, words in ((HORN.replace("horn/p", "horn/q"), "no pivot or end of a rod"),
                       (HORN.replace("2024-T3", "2024"), "no material"),
                       (HORN.replace("edge = 14", "edge = 3"), "leaves no material")):
        with pytest.raises(linkage.LinkageError, match=words):
            stage(surface=bad)


def test_twins_get_the_joints_of_the_other_side():
    system = system_of("""
        [mirror]
        left = "right"
        [body."crank left"]
        pivot = [0, -100, 0]
        axis = "lateral"
        [joint."pivot left"]
        at = "crank left/pivot"
        bolt = 6
        """)
    assert system.model.joints["pivot right"].places == ("crank right/pivot",)


def test_the_weakest_parts_come_first():
    """Of rods with and without figures: the least margin of all is the first row's."""
    from linkage.results.strength import weakest

    system = system_of(f"""
        [input.pitch]
        travel = [-20, 20]
        [body.stick]
        pivot = [0, 0, 0]
        axis = "lateral"
        input = "pitch"
        points = {{ grip = [0, 0, 400], arm = [0, 0, -60] }}
        [body.idler]
        pivot = [900, 0, 0]
        axis = "lateral"
        points = {{ p = [900, 0, -60] }}
        [body.horn]
        pivot = [1800, 0, 0]
        axis = "lateral"
        points = {{ p = [1800, 0, -60] }}
        [rod.bare]
        ends = ["stick/arm", "idler/p"]
        strength = "90 kN"
        [rod.thin]
        ends = ["idler/p", "horn/p"]
        diameter = 12
        wall = 1
        material = "4130 normalized"
        [surface.elevator]
        body = "horn"
        {HORN}
        """)
    results = Results(system, only=("loads",))
    rows = weakest(results)
    margins = [row["margin"] for row in rows]
    assert margins == sorted(margins)
    assert rows[0]["part"] == "thin"
    assert margins[0] == pytest.approx(-max(miss.short for miss in results.verdict.missed))
