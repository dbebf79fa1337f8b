"""Margins on paper, the chapter of loads, the verb and its tables."""

import math

import numpy as np
import pytest
from systems.load_models import EXAMPLES, IN, TUBED, stage

from linkage import loads
from linkage.loads import Case, Statics
from linkage.units import LBF


def test_margins_on_paper():
    """Joint: 40 kN / (load x factor) - 1, the greater of 1.5 x 1.15 and 3.33.

    14 CFR 23.693, 1-1-14 edition, for a bearing that is not said to be none of the plain ones.
    """
    rod = TUBED + '\nstrength = "40 kN"\nfitting = 1.15\n'
    load = 167 * LBF * 400 / 60 / math.cos(math.radians(20))  # at the ends of the travel
    for more, factor in (("bearing = 1", 1.5 * 1.15), ("bearing = 3.33", 3.33), ("", 3.33)):
        row = loads.rod_margins(stage(rod=rod + more)).iloc[0]
        assert row["tension"] == pytest.approx(load, rel=1e-9)
        assert row["joint_factor"] == pytest.approx(factor)
        assert row["joint_margin"] == pytest.approx(40e3 / (load * factor) - 1)
        assert row["column_margin"] == pytest.approx(row["column"] / (1.5 * load) - 1)


def test_what_is_missing_is_said():
    from linkage.results import Results

    results = Results(stage(rod="diameter = 12"), only=("loads",))
    text = str(results.chapter())
    assert "no strength and no stretch: the file gives no wall, material" in text
    assert "no hinge moment: elevator" in text
    assert results.missed == 0


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_verb_prints_for_every_system(path, capsys, tmp_path):
    from linkage.__main__ import main

    picture = tmp_path / "rods.png"
    code = main(["loads", str(path), "--csv", str(tmp_path), "--picture", str(picture)])
    out, err = capsys.readouterr()
    assert (code, err) == (int("\nMISS  load: " in out), "")
    assert "Worst rod loads" in out
    assert "supports, and never replaces" in out
    assert picture.read_bytes().startswith(b"\x89PNG")
    assert (tmp_path / "rod_margins.csv").read_text().startswith("rod,tension")
    if "side_by_side" in path.stem:
        assert code == int(path.stem == "side_by_side")  # its torque tube bends too much


def test_picture_of_no_kind_is_refused(capsys, tmp_path):
    from linkage.__main__ import main

    path = tmp_path / "rods.bmp"
    assert main(["loads", str(EXAMPLES[0]), "--picture", str(path)]) == 2
    assert "let its name end in .png, .svg, .pdf" in capsys.readouterr().err
    assert not path.exists()


def test_twins_carry_the_keys_of_loads(side_by_side):
    """What is written of the left run holds for the right one, signs of the moment as they are."""
    model = side_by_side.model
    assert model.surfaces["aileron right"].hinge == model.surfaces["aileron left"].hinge
    assert model.bodies["aileron right"].friction == model.bodies["aileron left"].friction > 0
    for key in ("wall", "material", "fixity", "strength", "fitting", "bearing"):
        one, other = (getattr(model.rods[f"aileron drive {side}"], key) for side in ("left",
                                                                                     "right"))
        assert one == other
    force = loads.stick_force(side_by_side.sweep(roll=[-15, 15]), "roll")
    assert force[0] < 0 < force[1]


def test_slender_and_thin_tubes_are_remarked_on():
    """L'/rho above 150 (Bruhn, chapter C4), and a wall that no rule here covers."""
    from linkage.results import Results

    text = str(Results(stage(rod='diameter = 12\nwall = 0.2\nmaterial = "6061-T6"')
                       ).chapter("loads"))
    assert "L'/rho above 150" in text


def test_csv_in_the_files_units(side_by_side):
    from linkage.results import Results

    data = Results(side_by_side).tables(["loads"])["Rod margins"].set_index("rod")
    wanted = loads.rod_margins(side_by_side)
    data = data.loc[wanted["rod"]]
    assert data["tension lbf"].to_numpy() * LBF == pytest.approx(wanted["tension"].to_numpy())
    assert data["length in"].to_numpy() * IN == pytest.approx(wanted["length"].to_numpy())


def test_hinge_moments_are_a_case_of_their_own():
    """1.25 x the given moment, rod force = moment / horn, on paper."""
    system = stage(surface='hinge = { at = "test", neutral = "1000 N*mm", slope = "-60 N*mm" }')
    case = loads.cases(system)[0]
    assert case == Case("hinge moments given, x 1.25", None)
    statics = Statics(system.sweep(pitch=[0.0, 10.0]))
    axial = loads.carried(statics, loads.shares(statics, case))["axial", "push"]
    moment = 1.25 * np.array([1000.0, 1000.0 - 600.0])
    assert np.abs(axial) == pytest.approx(moment / (60 * np.cos(np.radians([0, 10]))), rel=1e-9)
