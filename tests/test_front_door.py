"""What a person sees who types `linkage.` in a notebook: names, short texts, nothing that gives."""

import copy
import pickle
from pathlib import Path

import numpy as np
import pytest

import linkage

SIDE_BY_SIDE = Path(__file__).parents[1] / "examples" / "side_by_side.toml"


@pytest.fixture(scope="module")
def system():
    return linkage.load(SIDE_BY_SIDE)


def test_completion_offers_rooms_and_no_inner_files():
    offered = [name for name in dir(linkage) if not name.startswith("_")]
    assert {"plots", "rigging", "loads", "relief", "sizing", "workbook", "load"} <= set(offered)
    assert not {"errors", "units", "motion", "model", "clearances", "intervals"} & set(offered)
    for name in offered:
        assert getattr(linkage, name) is not None
    with pytest.raises(AttributeError, match="no attribute 'plot'"):
        linkage.plot  # noqa: B018


def test_texts_of_objects_are_short_and_say_what_they_are(system):
    motion = system.sweep(pitch=np.linspace(-13, 17, 5))
    for thing in (system.model, system, motion):
        assert len(repr(thing)) < 300
        assert "\n" not in repr(thing)
        assert thing._repr_html_().startswith("<table><caption>")
    assert "2 inputs, 15 bodies" in repr(system.model)
    assert "pitch -13 to 17°" in repr(system)
    assert "shape (5,)" in repr(motion)


def test_a_hostile_title_stays_text(system):
    from dataclasses import replace

    model = replace(system.model, title="<script>x</script>")
    for thing in (model, linkage.System(model)):
        assert "<script>" not in thing._repr_html_()


def test_a_model_is_never_changed_in_place(system):
    model = system.model
    for change in (lambda: model.bodies.update(a=1), lambda: model.bodies.pop("x", None),
                   lambda: model.rods.__setitem__("x", 1),
                   lambda: next(iter(model.bodies.values())).points.clear()):
        with pytest.raises(TypeError, match="never changed in place"):
            change()
    assert pickle.loads(pickle.dumps(model)) == model
    assert copy.deepcopy(model) == model
