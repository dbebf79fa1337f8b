"""Threads against the inch and metric standards."""

import numpy as np
import pytest

import linkage
from linkage.model.threads import read_thread


@pytest.mark.parametrize(("text", "diameter_in", "per_in"), [
    # ASME B1.1 UNF: sizes from memory, pitch = 1 / threads per inch
    ("10-32", 0.1900, 32), ("1/4-28", 0.2500, 28), ("5/16-24", 0.3125, 24),
    ("3/8-24", 0.3750, 24), ("#8-36 UNF-3A", 0.1640, 36), ("7/16-20", 0.4375, 20),
    ("1/4-20 UNC", 0.2500, 20)])
def test_inch_threads(text, diameter_in, per_in):
    thread = read_thread(text)
    assert thread.diameter == pytest.approx(diameter_in * 25.4)
    assert thread.pitch == pytest.approx(25.4 / per_in)
    assert not thread.left
    assert read_thread(f"{text} LH").left


@pytest.mark.parametrize(("text", "pitch"), [
    # ISO 261, from memory: coarse pitches where none is written, and the fine series
    ("M5", 0.8), ("M6", 1.0), ("M8", 1.25), ("M10", 1.5), ("M12", 1.75), ("M8x1", 1.0),
    ("M8 x 1.0", 1.0), ("M10x1.25", 1.25), ("M10x1-6g", 1.0), ("M6-LH", 1.0)])
def test_metric_threads(text, pitch):
    assert read_thread(text).pitch == pitch
    assert read_thread(text).left == text.endswith("LH")


def test_half_turns_of_the_usual_inch_threads():
    """0.0156, 0.0179, 0.0208, 0.0208 in a half turn: arithmetic, common practice."""
    halves = [read_thread(t).pitch / 2 / 25.4 for t in ("10-32", "1/4-28", "5/16-24", "3/8-24")]
    assert np.round(halves, 4).tolist() == [0.0156, 0.0179, 0.0208, 0.0208]


@pytest.mark.parametrize("text", ["", "M", "1/4", "M6x3", "1/4-27", "13/64-28", "M6x1x1", "28-1/4",
                                  "M6x1 RH", "-32", "M999", "9" * 500])
def test_what_is_no_thread_is_refused(text):
    with pytest.raises(linkage.LinkageError) as caught:
        read_thread(text)
    assert len(str(caught.value)) < 300
