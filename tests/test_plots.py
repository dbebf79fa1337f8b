"""Pictures: what they draw against the library's numbers and against angles derived by hand."""

import math
from pathlib import Path

import matplotlib
import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

import linkage
from linkage import gearing, plots
from linkage.errors import LinkageError
from linkage.model.file import parse_model
from linkage.motion import System
from linkage.plots.numbers import place_numbers
from linkage.plots.projection import numbered, outline, placed_pieces
from linkage.plots.style import spread

ROOT = Path(__file__).parents[1]
QUICK = ("examples/tandem.toml", "examples/elevons.toml", "examples/servo_arm.toml",
         "linkage/starters/side-by-side.toml", "linkage/starters/tandem.toml")
SLOW = ("examples/side_by_side.toml", "examples/side_by_side_fixed.toml")

# A stick that pitches on a tube, a round end that meets a flat face aft of it, and a surface on
# arms as long as the stick's, joined by a rod as long as the pivots are apart: it turns alike.
ARM = """
title = "one arm (invented)"
length = "mm"
[input.pitch]
travel = [-15, 22]
[input.roll]
travel = [-10, 10]
[body.tube]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = { link = [0, 0, -80] }
[body.stick]
on = "tube"
pivot = [0, 0, 0]
axis = "fore-aft"
input = "roll"
points = { grip = [0, 0, 100] }
solid.end = { kind = "sphere", at = "grip", diameter = 16 }
[body.elevator]
pivot = [900, 0, 0]
axis = "lateral"
points = { horn = [900, 0, -80] }
[rod.run]
ends = ["tube/link", "elevator/horn"]
diameter = 10
[surface.elevator]
body = "elevator"
require = { up = 25, down = 22, within = 1 }
[airframe.solid.face]
kind = "box"
corner = [40, -60, 0]
opposite = [60, 60, 160]
[stop.aft]
input = "pitch"
side = "greatest"
between = ["stick/end", "airframe/face"]
spacer = { on = "airframe/face", thickness = 2.0, stock = [1.0, 1.6, 3.0] }
"""


def met(thickness=0.0):
    """A round end of radius 8 on an arm of 100 meets a flat at x = 40.  Derived by hand."""
    return math.degrees(math.asin((40 - thickness - 8) / 100))


@pytest.fixture(scope="module")
def arm():
    return System(parse_model(ARM))


@pytest.fixture(scope="module")
def tandem():
    return linkage.load(ROOT / "examples/tandem.toml")


def line_of(ax, name):
    return next(line for line in ax.lines if line.get_gid() == name)


def texts(figure):
    return [text for text in figure.findobj(matplotlib.text.Text)
            if text.get_visible() and text.get_text().strip()]


def undrawn(figure):
    """Labels of ticks beyond the ends of their axis, which are made but not drawn."""
    for ax in figure.axes:
        for axis in (ax.xaxis, ax.yaxis):
            low, high = sorted(axis.get_view_interval())
            yield from (tick.label1 for tick in axis.get_major_ticks()
                        if not low <= tick.get_loc() <= high)


def words(ax):
    return " ".join(text.get_text() for text in texts(ax.figure))


def pictures(system, slow=True):
    """Every picture of a system, as axes."""
    found = [plots.three_view(system)[0], plots.differential(system)]
    for name in system.inputs:
        found.append(plots.gearing_curves(system, input=name))
        if slow:
            found.append(plots.clearance_along(system, input=name))
    if slow and len(system.travel_box()) > 1:
        found.append(plots.travel_map(system))
    if slow:
        found += [plots.spacer_chart(system, stop=name)
                  for name, stop in system.model.stops.items() if stop.spacer is not None][:2]
    return found


def test_gearing_curve_is_the_library_s_and_the_hand_s(arm):
    """A parallelogram turns its driven arm as far as its driving arm.  Derived by hand."""
    ax = plots.gearing_curves(arm)
    x, y = line_of(ax, "elevator").get_data()
    assert (x.min(), x.max()) == (-15, 22)
    np.testing.assert_allclose(y, x, atol=1e-9)
    np.testing.assert_array_equal(y, arm.sweep(pitch=x).deflection("elevator"))
    assert ax.yaxis_inverted()  # trailing edge up is up the page
    assert "1.00° per degree at neutral" in words(ax)
    assert "degrees" in ax.get_xlabel()
    assert "degrees" in ax.get_ylabel()


def test_target_bands_and_misses(arm):
    """Wanted 25° up and 22° down of a surface that turns as the stick: it is 10° and 0° short."""
    ax = plots.gearing_curves(arm)
    bands = sorted(tuple(np.sort(ax.transData.inverted().transform(
        patch.get_window_extent().get_points())[:, 1]).round(6))
        for patch in ax.patches if patch.get_hatch())
    assert bands == [(-26, -24), (21, 23)]
    assert "10.0° short" in words(ax)
    marks = {line.get_marker(): line.get_data() for line in ax.lines if line.get_marker() != "None"}
    assert np.ravel(marks["o"]).round(9).tolist() == [22, 22]
    assert np.ravel(marks["X"]).round(9).tolist() == [-15, -15]


def test_differential_is_the_table_s(tandem):
    ax, table = plots.differential(tandem), gearing.differential(tandem, 41)
    for way in ("up", "down"):
        x, y = line_of(ax, f"aileron left | aileron right {way}").get_data()
        np.testing.assert_allclose(x[1:], table["position"])
        np.testing.assert_allclose(y[1:], table[way])
    assert f"{table['ratio'].iloc[-1]:.2f} : 1" in words(ax)


def test_travel_map_boundary_is_where_the_hand_says(arm):
    """With the end of the arm at roll 0 the map's boundary crosses roll 0 at the hand's angle."""
    found = linkage.travel_map(arm)
    ax = plots.travel_map(arm, worked_out=found)
    x, y = line_of(ax, "stick/end | airframe/face").get_data()
    assert np.interp(0.0, *np.array(sorted(zip(x, y, strict=True))).T) == pytest.approx(
        met(2.0), abs=2e-3)  # between rays the line is straight
    # the region drawn ends where it is proven free, a millionth short of where contact is met
    line = np.concatenate([found.boundaries["stick/end | airframe/face"], found.free])
    stored = {tuple(p) for p in line.round(9)}
    assert {tuple(p) for p in np.stack([x, y], axis=1).round(9)} <= stored
    assert "stick/end |\nairframe/face" in words(ax)
    assert f"{found.usable:.1%}" in ax.get_title(loc="left")


def test_every_boundary_that_bounds_is_named(tandem):
    found = linkage.travel_map(tandem)
    ax = plots.travel_map(tandem, worked_out=found)
    for name in set(found.limits) - {""}:
        assert name.replace(" | ", " |\n") in words(ax)


def test_clearance_lines_are_the_gaps(arm):
    pair = "stick/end | airframe/face"
    ax = plots.clearance_along(arm, pairs=[pair], at={"roll": 5.0})
    x, y = line_of(ax, pair).get_data()
    np.testing.assert_array_equal(y, linkage.gaps(arm.sweep(pitch=x, roll=5.0), [pair])[pair])
    assert y.min() < 0
    assert "touching" in words(ax)
    assert "mm" in ax.get_ylabel()


def test_clearance_in_the_file_s_unit_with_what_is_required():
    system = System(parse_model(ARM.replace('length = "mm"', 'length = "in"').replace(
        "[stop.aft]", "[[pair]]").replace('input = "pitch"\nside = "greatest"\n', "").split(
        "spacer =")[0] + 'require = "1/2 in"\nreason = "fingers"\n'))
    ax = plots.clearance_along(system)
    pair = "stick/end | airframe/face"
    x, y = line_of(ax, pair).get_data()
    at = int(np.flatnonzero(x == 0)[0])
    assert y[at] == pytest.approx(40 - 8)  # inches, by hand
    assert "required 0.500 in (this pair)" in words(ax)
    short = line_of(ax, "less than required").get_ydata()
    np.testing.assert_array_equal(np.isfinite(short), y < 0.5)


def test_spacer_chart_marks_the_stock(arm):
    ax = plots.spacer_chart(arm, stop="aft")
    marks = [line.get_data() for line in ax.lines if line.get_marker() == "s"]
    for (t,), (angle,) in marks:
        assert angle == pytest.approx(met(t), abs=1e-6)
        sized = linkage.size_spacer(arm, stop="aft", input={"pitch": angle}).set_index("choice")
        assert sized.loc["exact", "thickness"] == pytest.approx(t, abs=1e-6)
        assert t in sized.loc["below", "made_of"]
    assert [t for (t,), _ in marks] == [1.0, 1.6, 3.0]
    x, y = line_of(ax, "elevator").get_data()
    np.testing.assert_allclose(y, [met(t) for t in x], atol=1e-6)
    (held,) = [line.get_data() for line in ax.lines if line.get_markersize() == 11]
    assert np.ravel(held) == pytest.approx([2.0, met(2.0)])


def test_spacer_chart_needs_a_spacer(side_by_side):
    with pytest.raises(LinkageError, match="no spacer to draw"):
        plots.spacer_chart(side_by_side, stop="roll backup left")


@pytest.mark.parametrize("at", [{}, {"pitch": 10.0, "roll": -5.0}])
def test_three_view_shows_points_where_they_are(arm, at):
    axes = plots.three_view(arm, at=at)
    motion = arm.sweep(**at)
    for ax, (across, up) in zip(axes, ((0, 2), (0, 1), (1, 2)), strict=True):
        drawn = {tuple(p) for line in ax.lines if line.get_marker() in "oD"
                 for p in np.stack(line.get_data(), axis=1).round(6)}
        wanted = {tuple(motion.point(name)[[across, up]].round(6)) for name in arm.model.points}
        assert drawn == wanted
    assert [ax.get_xlabel() for ax in axes] == ["FS, mm", "FS, mm", "BL, mm"]
    assert [ax.get_ylabel() for ax in axes] == ["WL, mm", "BL, mm", "WL, mm"]
    assert not axes[2].xaxis_inverted()  # looking forward the right side is on the right


def test_three_views_have_one_scale_and_line_up(tandem):
    side, top, front = plots.three_view(tandem)
    scales = [np.diff(ax.get_window_extent().get_points()[:, k])[0]
              / abs(np.diff((ax.get_xlim, ax.get_ylim)[k]())[0])
              for ax in (side, top, front) for k in (0, 1)]
    np.testing.assert_allclose(scales, scales[0])
    assert side.get_xlim() == top.get_xlim()
    assert side.get_ylim() == front.get_ylim()


def test_outline_of_a_tube_is_its_width():
    """A tube of 10 round along x from 0 to 100 covers 110 by 10 from above.  By hand."""
    system = System(parse_model("""
length = "mm"
[input.pitch]
travel = [-1, 1]
[body.bar]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
solid.tube = { kind = "tube", along = [[0, 0, 0], [100, 0, 0]], diameter = 10 }
"""))
    (ring,) = outline(placed_pieces(system.sweep(), "bar/tube"), (0, 1))
    np.testing.assert_allclose(np.ptp(ring, axis=0), [110, 10], atol=1e-9)
    (ring,) = outline(placed_pieces(system.sweep(pitch=90), "bar/tube"), (0, 2))
    np.testing.assert_allclose(np.ptp(ring, axis=0), [10, 110], atol=1e-9)


@pytest.mark.parametrize("file", QUICK + SLOW)
def test_every_hardpoint_has_its_number_in_a_view(file):
    system = linkage.load(ROOT / file)
    axes = plots.three_view(system)
    shown = {text.get_text() for ax in axes for text in ax.texts if text.get_gid() == "number"}
    key = numbered(system)
    assert shown == {str(number) for number, _ in key.values()}
    told = {name for name in key} | {twin for _, twin in key.values() if twin}
    assert told == set(system.model.points)
    for name in key:
        assert any(name in text.get_text() for text in axes[0].figure.texts)


def test_a_closer_look_and_its_error(tandem):
    axes = plots.three_view(tandem, parts=["front stick", "pitch link"])
    assert np.ptp(axes[0].get_xlim()) < 1500
    with pytest.raises(LinkageError, match="front stick"):
        plots.three_view(tandem, parts=["front stik"])
    with pytest.raises(LinkageError, match="no input"):
        plots.gearing_curves(tandem, input="pich")


@pytest.mark.parametrize("file", QUICK + SLOW)
def test_nothing_runs_off_the_page_or_over_another(file, full):
    system = linkage.load(ROOT / file)
    for ax in pictures(system, slow=full or file in QUICK):
        figure = ax.figure
        FigureCanvasAgg(figure).draw()
        page = figure.bbox.get_points()
        for text in set(texts(figure)) - set(undrawn(figure)):
            box = text.get_window_extent().get_points()
            assert (box[0] >= page[0] - 1).all(), (file, text.get_text())
            assert (box[1] <= page[1] + 1).all(), (file, text.get_text())
        ends = [matplotlib.text.Text.get_window_extent(text)  # without its leader
                for text in ax.texts if text.get_gid() == "end"]
        assert not any(a.overlaps(b) for k, a in enumerate(ends) for b in ends[:k])


ODD = r"$x_1 < 2$ & \frac"


def test_odd_names_are_written_as_they_are(arm):
    """A name is text: dollar, underline and less-than never turn into a formula."""
    text = ARM.replace("[surface.elevator]", f"[surface.'{ODD}']").replace(
        "one arm", ODD.replace("\\", "\\\\")).replace("stick/end", f"stick/{ODD}".replace(
            "\\", "\\\\")).replace("solid.end", f"solid.'{ODD}'").replace(
            "[stop.aft]", f"[stop.'{ODD}']")
    system = System(parse_model(text))
    for ax in pictures(system):
        FigureCanvasAgg(ax.figure).draw()
        assert not any(text.get_parse_math() and "$" in text.get_text()
                       for text in texts(ax.figure))
    given = Figure().add_subplot()
    ax = plots.spacer_chart(system, given, stop=ODD)
    FigureCanvasAgg(ax.figure).draw()
    assert not any(t.get_parse_math() and "$" in t.get_text() for t in texts(ax.figure))


BARE = """
length = "in"
[input.pitch]
travel = [-13, 17]
[body.stick]
pivot = [61, 0, 9]
axis = "lateral"
input = "pitch"
points = { grip = [59.4, 0, 27.5] }
"""
SLIDE = """
length = "in"
[input.trim]
travel = ["-1 in", "1 in"]
[body.knob]
pivot = [0, 0, 0]
slide = [1, 0, 0]
input = "trim"
points = { end = [0, 0, 1] }
[body.tab]
pivot = [40, 0, 0]
axis = "lateral"
points = { horn = [40, 0, 2] }
[rod.wire]
ends = ["knob/end", "tab/horn"]
[surface.tab]
body = "tab"
"""


@pytest.mark.parametrize("text", [BARE, SLIDE, 'length = "mm"\n', BARE + "[input.roll]\n"
                                  "travel = [-9, 9]\n"])
def test_bare_systems_draw(text):
    system = System(parse_model(text))
    for ax in pictures(system):
        FigureCanvasAgg(ax.figure).draw()


# The run's arm is so short of its horn that the rod lets go past some 35 degrees of stick.
SHORT = ARM.replace("travel = [-15, 22]", "travel = [-60, 60]").replace(
    "horn = [900, 0, -80]", "horn = [900, 0, -40]").split("[stop.aft]")[0]


def test_where_a_rod_lets_go_nothing_is_drawn():
    system = System(parse_model(SHORT))
    ax = plots.gearing_curves(system)
    x, y = line_of(ax, "elevator").get_data()
    lost = ~system.sweep(pitch=x).reachable
    assert lost.any()
    np.testing.assert_array_equal(np.isnan(y), lost)
    for picture in (*pictures(system), plots.three_view(system, at={"pitch": 55})[0]):
        FigureCanvasAgg(picture.figure).draw()
    assert "a rod ends its reach" in words(plots.travel_map(system))


def test_a_three_view_is_of_one_position(arm):
    with pytest.raises(LinkageError, match="one stick position"):
        plots.three_view(arm, at={"pitch": [1, 2]})


def test_a_slide_counts_in_the_file_s_unit():
    system = System(parse_model(SLIDE))
    ax = plots.gearing_curves(system, input="trim")
    x, y = line_of(ax, "tab").get_data()
    assert (x.min(), x.max()) == (-1.0, 1.0)  # inches
    np.testing.assert_array_equal(y, system.sweep(trim=x * 25.4).deflection("tab"))
    assert "trim, in of knob" in ax.get_xlabel()


def test_draws_on_the_axes_given_and_leaves_all_else_alone(arm):
    import matplotlib.pyplot as plt

    plt.switch_backend("agg")
    held, before = plt.figure(), dict(matplotlib.rcParams)
    for draw in (plots.gearing_curves, plots.differential, plots.travel_map,
                 plots.clearance_along, lambda s, ax=None: plots.spacer_chart(s, ax, stop="aft")):
        ax = held.add_subplot()
        assert draw(arm, ax) is ax
        draw(arm)
    page = Figure(figsize=(9, 6))
    assert all(ax.figure is page for ax in plots.three_view(arm, page))
    assert plt.get_fignums() == [held.number]
    assert dict(matplotlib.rcParams) == before
    plt.close(held)


def test_a_notebook_gets_a_png(arm):
    assert plots.gearing_curves(arm).figure._repr_png_().startswith(b"\x89PNG")


def test_lines_differ_without_colour(tandem):
    """In grey two lines of one picture still differ: by style of line."""
    for ax in (plots.gearing_curves(tandem, input="roll"), plots.clearance_along(tandem)):
        named = [line for line in ax.lines if line.get_gid() not in (None, "less than required")]
        assert len(named) > 1
        assert len({str(line._unscaled_dash_pattern) for line in named}) == len(named)


def test_spread_keeps_labels_apart_and_near():
    rng = np.random.default_rng(3)
    for _ in range(50):
        wanted = rng.uniform(0, 1, 7)
        places = spread(wanted, 0.1, 0, 1)
        assert np.diff(np.sort(places)).min() >= 0.1 - 1e-12
        assert np.array_equal(np.argsort(places), np.argsort(wanted))
        assert places.min() >= -1e-12
        assert places.max() <= 1 + 1e-12


def test_numbers_cover_neither_points_nor_each_other():
    ax = Figure(figsize=(5, 5)).add_subplot()
    spots = np.random.default_rng(5).uniform(0.3, 0.7, (20, 2))
    found = place_numbers(ax, {str(k): at for k, at in enumerate(spots)}, list(spots))
    assert len(found) == 20
    middles = ax.transData.transform(spots) * 72 / ax.figure.dpi + np.array(
        [found[str(k)] for k in range(20)])
    apart = np.abs(middles[:, None] - middles[None])
    wide = (apart[..., 0] >= 3.9) | (apart[..., 1] >= 6.6 - 1e-9) | np.eye(20, dtype=bool)
    assert wide.all()
