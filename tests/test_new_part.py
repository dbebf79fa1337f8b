"""Parts added on the page: what is typed is what the file has."""

import numpy as np
import pytest

import linkage
from linkage.model.file import parse_model
from linkage.motion import System
from linkage.workbook.new_part import with_part


def test_from_an_empty_page_to_controls_that_move():
    """A crank of equal arms turns as its stick does: the parallelogram (common practice)."""
    model = parse_model('title = "New"\nlength = "in"\n')
    for kind, fields in (
            ("stick", {"name": "stick", "pivot": "0, 0, 0", "axis": "lateral", "input": "pitch",
                       "grip": "0, 0, 20", "low": "0, 0, -4"}),
            ("surface", {"name": "elevator", "pivot": "30, 0, 0", "axis": "lateral",
                         "horn": "30, 0, -4", "chord": "1 ft"}),
            ("rod", {"name": "push", "from": "stick/low", "to": "elevator/horn",
                     "diameter": "1/2"})):
        model = with_part(model, kind, fields)
    turn = System(model).sweep(pitch=[-10.0, 5.0]).deflection("elevator")
    assert np.abs(turn) == pytest.approx([10.0, 5.0], abs=1e-9)
    assert model.surfaces["elevator"].chord == pytest.approx(304.8)
    with pytest.raises(linkage.LinkageError, match="is there already"):
        with_part(model, "rod", {"name": "push"})
    with pytest.raises(linkage.LinkageError, match="three numbers"):
        with_part(model, "bellcrank", {"name": "b", "pivot": "1, 2", "axis": "lateral"})


def test_a_plate_stands_on_the_corners_that_are_typed():
    model = parse_model('length = "in"\n')
    shelf = {"name": "shelf", "corner": "58, -8, 11", "opposite": "63, 8, 11", "thickness": "1/8"}
    flat = with_part(model, "plate", shelf).solids["airframe/shelf"]
    heights = {k for piece in flat.pieces() for k in piece.points[:, 2]}
    assert np.allclose(sorted(heights), [11 * 25.4, 11.125 * 25.4])  # its thickness is upward
    with pytest.raises(linkage.LinkageError, match="stand at WL 11 and 12 in"):
        with_part(model, "plate", shelf | {"opposite": "63, 8, 12"})
