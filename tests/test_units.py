"""A unit of length is one record: a third one is all that a file in centimetres needs."""

import dataclasses

import numpy as np
import pytest

import linkage
from linkage.units import HOUSE, LENGTHS, PLAIN_UNITS, length_mm, quantity, shown_length
from linkage.units import _registry as registry

CM = dataclasses.replace(LENGTHS["mm"], name="cm", words="centimetres", mm=10.0, digits=3, dxf=5)
LEVER = """
length = "{unit}"
[input.pitch]
travel = [-15, 15]
[body.stick]
pivot = [{0}, 0, {1}]
axis = "lateral"
input = "pitch"
points = {{ grip = [{0}, 0, {2}], link = [{0}, 0, {3}] }}
[body.horn]
pivot = [{4}, 0, {1}]
axis = "lateral"
points = {{ link = [{4}, 0, {3}] }}
[rod.drive]
ends = ["stick/link", "horn/link"]
[surface.elevator]
body = "horn"
"""
PLACES = (100.0, 50.0, 450.0, 20.0, 1100.0)  # mm


@pytest.fixture
def centimetres(monkeypatch):
    monkeypatch.setitem(LENGTHS, "cm", CM)


def lever(unit):
    text = LEVER.format(*(place / LENGTHS[unit].mm for place in PLACES), unit=unit)
    return linkage.System(linkage.parse_model(text))


@pytest.mark.usefixtures("centimetres")
def test_a_third_unit_is_one_record():
    tenths, whole = lever("cm"), lever("mm")
    x = np.linspace(-15, 15, 7)
    np.testing.assert_allclose(tenths.sweep(pitch=x).deflection("elevator"),
                               whole.sweep(pitch=x).deflection("elevator"), atol=1e-9)
    np.testing.assert_allclose(tenths.sweep(pitch=x).point("stick/grip"),
                               whole.sweep(pitch=x).point("stick/grip"), atol=1e-9)
    assert length_mm(2, "cm") == 20.0
    assert shown_length(12.34, "cm") == "1.234 cm"


@pytest.mark.usefixtures("centimetres")
def test_a_third_unit_is_written_back(tmp_path):
    linkage.write_model(lever("cm").model, tmp_path / "lever.toml")
    again = linkage.read_model(tmp_path / "lever.toml")
    assert again == lever("cm").model
    assert "pivot = [10.0, 0.0, 5.0]" in (tmp_path / "lever.toml").read_text().replace(
        "[\n    10.0,\n    0.0,\n    5.0,\n]", "[10.0, 0.0, 5.0]")


def test_without_a_record_a_unit_is_refused():
    with pytest.raises(linkage.LinkageError, match="length must say what a bare length means"):
        linkage.parse_model(LEVER.format(*PLACES, unit="ell"))


@pytest.mark.parametrize("unit", LENGTHS.values(), ids=lambda unit: unit.name)
def test_a_scale_bar_ends_at_a_whole_part(unit):
    # SP 811 App. B.8 has the inch as 25.4 mm exactly and the pound-force as 4.448 221 615 260 5 N
    assert unit.mm in (25.4, 1.0)
    assert unit.newton in (4.4482216152605, 1.0)
    assert unit.newton_mm == pytest.approx(unit.newton * (25.4 if unit.name == "in" else 1000.0))
    assert (unit.bar / unit.mm) % 1 == 0


@pytest.mark.parametrize(("kind", "unit"), [(kind, unit) for kind, units in PLAIN_UNITS.items()
                                            for unit in units])
def test_a_plain_unit_is_what_the_unit_library_makes_of_it(kind, unit):
    """Against pint, with the factors of NIST SP 811 that its registry is given."""
    for number in ("-12.5e3", "0.283"):
        told = registry()(f"{number} {unit}").to(HOUSE[kind]).magnitude
        assert quantity(f" {number} {unit} ", kind) == pytest.approx(told, rel=1e-14)
