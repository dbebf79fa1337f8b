"""A model file is changed only where the model has changed; all else stays byte for byte."""

import dataclasses
import difflib
import random
import re
import tomllib
from importlib import resources
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import linkage
from linkage.disk import write_text
from linkage.model.document import edited
from linkage.model.file import parse_model
from linkage.model.patch import NEAR, patched, same
from linkage.model.save import save_model, saved_files

EXAMPLES = Path(__file__).parents[1] / "examples"
STARTERS = resources.files("linkage") / "starters"
FILES = [*sorted(EXAMPLES.glob("*.toml")), *sorted(Path(str(STARTERS)).glob("*.toml"))]
IN = 25.4


def changed_lines(old, new):
    """Lines taken out and lines put in, by the standard library's own comparison."""
    lines = list(difflib.unified_diff(old.splitlines(), new.splitlines(), n=0, lineterm=""))[2:]
    return ([line[1:] for line in lines if line.startswith("-")],
            [line[1:] for line in lines if line.startswith("+")])


def with_point(model, address, at):
    part, point = address.split("/")
    body = model.bodies[part]
    points = {**body.points, point: dataclasses.replace(body.points[point], at=at)}
    return with_part(model, "bodies", part, points=points)


def with_part(model, group, name, **values):
    table = getattr(model, group)
    return dataclasses.replace(model, **{group: {**table, name: dataclasses.replace(
        table[name], **values)}})


@pytest.fixture(scope="module")
def text():
    return (EXAMPLES / "side_by_side.toml").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def model(text):
    return parse_model(text)


# --- any one dimension -----------------------------------------------------------------------

TOKEN = re.compile(r'(?P<skip>#[^\n]*)|(?P<text>"[^"\n]*")|'
                   r"(?P<number>(?<![\w.-])[+-]?\d+(?:\.\d+)?(?![\w.]))")
LENGTH = re.compile(r'"(\d+(?:\.\d+)?|\d+/\d+) (in|mm)"')


def numbers(text):
    """Where each number and each length with a unit stands, by a scan that knows no TOML."""
    for token in TOKEN.finditer(text):
        if token["number"] or (token["text"] and LENGTH.fullmatch(token["text"])):
            yield token.span(), token[0]


def other(raw, chance):
    """Another number of the same kind, as a person would write it."""
    if "/" in raw:
        return f'"{chance.choice(["3/16", "5/32", "7/64", "9/16"])} {raw[-3:-1]}"'
    inner = raw.strip('"').split()
    value = float(inner[0])
    new = value * chance.choice([0.97, 1.04]) + (0.03 if value == 0 else 0.0)
    written = f"{new:.4f}".rstrip("0") if "." in inner[0] else f"{new:.3f}".rstrip("0")
    return f'"{written.rstrip(".")} {inner[1]}"' if len(inner) > 1 else written.rstrip(".")


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_any_one_dimension_changes_only_its_line(path, full):
    text, chance, done = path.read_text(encoding="utf-8"), random.Random(path.stem), 0
    places = list(numbers(text))
    chance.shuffle(places)
    for (start, end), raw in places:
        expected = text[:start] + other(raw, chance) + text[end:]
        try:
            wanted = parse_model(expected)
        except linkage.LinkageError:
            continue  # no such system can be
        if same(wanted, parse_model(text), 1e-9):
            continue  # a number in a title
        after = patched(text, wanted).text
        taken, put = changed_lines(text, after)
        assert len(taken) == len(put) == 1, (raw, taken, put)
        assert taken == changed_lines(text, expected)[0]
        assert same(parse_model(after), wanted, NEAR)
        assert tomllib.loads(after) == tomllib.loads(expected)
        done += 1
        if done == (len(places) if full else 8):
            break
    assert done >= 8


# --- what a builder has written ---------------------------------------------------------------

def test_what_has_not_changed_is_not_touched():
    for path in FILES:
        text = path.read_text(encoding="utf-8")
        assert patched(text, parse_model(text)).text == text


def test_a_stacked_point_changes_its_hole_and_keeps_its_stack(text, model):
    after = patched(text, with_point(model, "cross tube/elevator", (61 * IN, -1.25 * IN, 2.9 * IN)))
    taken, put = changed_lines(text, after.text)
    assert put == [taken[0].replace("-1.2,", "-1.25,")]


def test_a_fraction_stays_one_where_it_can(text, model):
    for inches, written in ((0.5625, '"9/16 in"'), (1.0, '"1 in"'), (1.125, '"1-1/8 in"'),
                            (0.53, '"0.53 in"')):
        wanted = with_part(model, "rods", "stick tie", diameter=inches * IN)
        taken, put = changed_lines(text, patched(text, wanted).text)
        assert (taken, put) == (['diameter = "1/2 in"'], [f"diameter = {written}"])


def test_a_value_stays_in_the_unit_it_was_given_in(model, text):
    text = text.replace('diameter = "1/2 in"', "diameter = '12.70 mm'  # bought")
    wanted = with_part(model, "rods", "stick tie", diameter=14.5)
    assert changed_lines(text, patched(text, wanted).text)[1] == ["diameter = '14.50 mm'  # bought"]


def test_a_new_key_is_one_line(text, model):
    wanted = with_part(model, "rods", "stick tie", length=560.0)
    taken, put = changed_lines(text, patched(text, wanted).text)
    assert taken == []
    assert put == ["length = 22.0472441"]


def test_twins_follow_their_written_side(text, model):
    at = (99.8 * IN, -96.5 * IN, 11.72 * IN)
    both = with_point(with_point(model, "aileron left/horn", at), "aileron right/horn",
                      (at[0], -at[1], at[2]))
    taken, put = changed_lines(text, patched(text, both).text)
    assert put == [taken[0].replace("99.9", "99.8", 1)]


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_part_that_becomes_one_sided_has_its_twin_written_out(text, model, side):
    at = (99.8 * IN, (-96.5 if side == "left" else 96.5) * IN, 11.72 * IN)
    after = patched(text, with_point(model, f"aileron {side}/horn", at)).text
    taken, put = changed_lines(text, after)
    assert len(taken) == (1 if side == "left" else 0)
    told = tomllib.loads(after)["body"]
    assert '[body."aileron right"]' in put
    assert told["aileron right"]["friction"] == told["aileron left"]["friction"] == "2 in*lbf"
    assert len(put) - len(taken) <= 12  # one part, with its blank line, and no other
    assert [line for line in text.splitlines() if line not in after.splitlines()] == taken


def test_only_the_point_of_a_central_part_is_written_out(text, model):
    airframe = dataclasses.replace(model.airframe, points={
        **model.airframe.points, "wire clamp right": dataclasses.replace(
            model.airframe.points["wire clamp right"], at=(65.5 * IN, 12.0 * IN, 11.1 * IN))})
    taken, put = changed_lines(text, patched(text, dataclasses.replace(
        model, airframe=airframe)).text)
    assert (taken, put) == ([], ['"wire clamp right" = [65.5, 12.0, 11.1]'])


@pytest.mark.parametrize("ends", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
@pytest.mark.parametrize("last", [True, False])
def test_line_ends_byte_order_mark_and_a_missing_last_line_end_stay(tmp_path, ends, mark, last):
    body = (STARTERS / "tandem.toml").read_text(encoding="utf-8").rstrip("\n") + "\n" * last
    raw = (mark + body.replace("\n", ends)).encode("utf-8")
    (tmp_path / "a.toml").write_bytes(raw)
    model = linkage.read_model(tmp_path / "a.toml")
    wanted = with_part(model, "rods", "pitch link", length=901.5, diameter=15.0)
    save_model(tmp_path / "a.toml", wanted, tmp_path / "b.toml")
    old, new = (data.splitlines(keepends=True) for data in
                (raw, (tmp_path / "b.toml").read_bytes()))
    assert [line for line in old if line not in new] == [
        f"diameter = 16                    # outside; gives the rod a solid, so that clearances "
        f"see it{ends}".encode()]
    assert [line.decode().split(" #")[0].strip() for line in new if line not in old] == [
        "diameter = 15", "length = 901.5"]
    assert b"".join(new)[-1:] == raw[-1:]
    assert linkage.read_model(tmp_path / "b.toml").rods["pitch link"].length == 901.5


WRITTEN = '''length = "mm" # bare numbers
body.stick.axis = 'lateral' # dotted
body.stick.pivot = [ 0, 0 , 0.0 ]
body.stick.input="pitch"
body.stick.points = {grip=[0,0,400.0],"t p" = { at = [0, 10, 20], bolt = "lateral", side = "right",\
 stack = [ 3, {ball = 10.0}] }}
[input.'pitch']
travel = [-10, 10]
[[pair]]
between = ["stick/a", "airframe/b"]
require = 3.0 # first
reason = "one"
[body.stick.solid]
a = {kind = "sphere", at = "grip", diameter = 40}
[airframe.solid]
b = { kind = "sphere", at = [
  0, # FS
  300, # BL
  0, # WL
], diameter = 10 }'''


@pytest.mark.parametrize(("change", "lines"), [
    (lambda m: with_point(m, "stick/grip", (0.0, 0.0, 410.0)),
     [("[0,0,400.0]", "[0,0,410.0]")]),
    (lambda m: with_point(m, "stick/t p", (0.0, 11.0, 20.0)), [("[0, 10, 20]", "[0, 11, 20]")]),
    (lambda m: with_part(m, "bodies", "stick", pivot=(0.0, 0.5, 0.0)),
     [("[ 0, 0 , 0.0 ]", "[ 0, 0.5 , 0.0 ]")]),
    (lambda m: with_part(m, "bodies", "stick", axis="vertical"), [("'lateral'", "'vertical'")]),
    (lambda m: dataclasses.replace(m, pairs=(dataclasses.replace(m.pairs[0], require=3.5),)),
     [("3.0 #", "3.5 #")]),
    (lambda m: dataclasses.replace(m, airframe=dataclasses.replace(m.airframe, solids={
        "b": dataclasses.replace(m.airframe.solids["b"], at=(0.0, 310.0, 0.0))})),
     [("300, #", "310, #")]),
    (lambda m: with_part(m, "bodies", "stick", tolerance=0.1),
     None),
])
def test_dotted_quoted_and_inline_keys_stay_as_they_are(change, lines):
    wanted = change(parse_model(WRITTEN))
    after = patched(WRITTEN, wanted).text
    if lines is None:
        assert changed_lines(WRITTEN, after) == ([], ["body.stick.tolerance = 0.1"])
        return
    (old, new), = lines
    assert after == WRITTEN.replace(old, new)


def test_what_can_not_be_said_in_place_is_refused_and_nothing_is_written(tmp_path, text, model):
    (tmp_path / "a.toml").write_text(text, encoding="utf-8")
    with pytest.raises(linkage.LinkageError, match="write a new file"):
        save_model(tmp_path / "a.toml", dataclasses.replace(model, length="mm"),
                   tmp_path / "b.toml")
    assert [path.name for path in tmp_path.iterdir()] == ["a.toml"]


# --- tables of hardpoints ---------------------------------------------------------------------

TABLE = "name, FS, BL, WL\r\n# surveyed\r\nstick/pivot , 61.0,  0.0, 9.0\r\n" \
        'stick/grip, 59.4, 0.0 , "27 1/2 in"\r\n'
HALF = '''length = "in"
hardpoints = "points.csv"     # from the survey
[input.pitch]
travel = [-10, 10]
[body.stick]
axis = "lateral"
input = "pitch"
'''


@pytest.fixture
def surveyed(tmp_path):
    (tmp_path / "points.csv").write_bytes(TABLE.encode())
    (tmp_path / "a.toml").write_text(HALF)
    return tmp_path, linkage.read_model(tmp_path / "a.toml")


def test_a_changed_row_goes_to_a_table_of_the_new_file(surveyed):
    folder, model = surveyed
    wanted = with_point(model, "stick/grip", (59.4 * IN, 0.0, 27.625 * IN))
    written = save_model(folder / "a.toml", wanted, folder / "b.toml")
    assert [path.name for path in written] == ["b points.csv", "b.toml"]
    assert (folder / "points.csv").read_bytes() == TABLE.encode()
    assert (folder / "b points.csv").read_bytes() == TABLE.replace("27 1/2", "27 5/8").encode()
    assert changed_lines(HALF, (folder / "b.toml").read_text()) == (
        ['hardpoints = "points.csv"     # from the survey'],
        ['hardpoints = "b points.csv"   # from the survey'])
    assert same(linkage.read_model(folder / "b.toml"), wanted, NEAR)


def test_a_table_of_which_no_row_changes_stays(surveyed):
    folder, model = surveyed
    wanted = with_part(model, "bodies", "stick", tolerance=0.254)
    assert [path.name for path in saved_files(folder / "a.toml", wanted, folder / "b.toml")] == [
        "b.toml"]


def test_a_file_that_goes_elsewhere_takes_its_table_along(surveyed):
    folder, model = surveyed
    (folder / "far").mkdir()
    save_model(folder / "a.toml", model, folder / "far" / "b.toml")
    assert (folder / "far" / "b points.csv").read_bytes() == TABLE.encode()
    assert linkage.read_model(folder / "far" / "b.toml") == model


# --- each writer ------------------------------------------------------------------------------

def test_sizing_changes_the_lines_of_its_dimensions(tmp_path):
    from linkage import sizing

    source = EXAMPLES / "aileron_run.toml"
    found = sizing.size(linkage.load(source), rounded=True)
    sizing.write_sized(found, source, tmp_path / "sized.toml")
    taken, put = changed_lines(source.read_text(), (tmp_path / "sized.toml").read_text())
    remarks = [line for line in put if line.startswith("# ")]
    assert len(remarks) == 3 + len(found.dimensions)
    assert len(taken) == len(put) - len(remarks) == 3
    assert [line.split("=")[0] for line in taken] == ["pivot ", "points ", "points "]
    assert same(linkage.read_model(tmp_path / "sized.toml"), found.system.model, NEAR)


def test_a_relief_changes_its_hole(tmp_path):
    """A relief made up here, so that only the writing of it is looked at."""
    from linkage import relief
    from linkage.model import Hole
    from linkage.relief import with_shape

    source, name = EXAMPLES / "side_by_side.toml", "airframe/seat pan left"
    model = linkage.read_model(source)
    plate = model.solids[name]
    hole = Hole(outline=((0.0, 0.0), (25.4, 0.0), (0.0, 50.8)))
    shape = dataclasses.replace(plate, holes=(hole,))

    @dataclasses.dataclass
    class Cut:
        name = "airframe/seat pan left"
        needed = True
        model = with_shape(linkage.read_model(source), name, shape)

    files = relief.relieved_file(source, [Cut()], tmp_path)
    assert list(files) == ["side_by_side relieved.toml"]
    after = files["side_by_side relieved.toml"].decode()
    taken, put = changed_lines(source.read_text(), after)
    assert len(put) == 3 + 1
    assert len(taken) <= 5
    assert all("#" not in line for line in taken)
    assert parse_model(after).solids[name] != plate
    assert same(parse_model(after), Cut.model, NEAR)


def test_the_aircraft_as_built_gains_a_line_a_rod(tmp_path):
    from linkage import rigging

    source = EXAMPLES / "side_by_side.toml"
    system = linkage.load(source)
    changes = {"stick tie": 0.4, "elevator front": -0.3, "aileron inner left": 0.2,
               "aileron inner right": 0.2}
    fit = rigging.AsBuilt(None, None, (("a", "b"),), (), changes)
    rigging.write_as_built(system, fit, (source, "readings.csv"), tmp_path / "built.toml")
    taken, put = changed_lines(source.read_text(), (tmp_path / "built.toml").read_text())
    assert taken == []
    assert [line for line in put if not line.startswith("# ")] == [
        line for line in put if line.startswith("length = ")]
    assert len(put) == 3 + 1 + 3  # the twin's follows from its written side
    wanted = rigging.as_built_model(system, fit)
    assert same(linkage.read_model(tmp_path / "built.toml"), wanted, NEAR)


def test_the_workbook_saves_a_spacer_as_one_line(tmp_path):
    pytest.importorskip("anywidget")
    from linkage.workbook.live import Workbook

    source = tmp_path / "mine.toml"
    source.write_text((EXAMPLES / "side_by_side.toml").read_text())
    before = source.read_text()
    book = Workbook(linkage.load(source), source, prove=False)
    try:
        book.change("elevator/horn", "FS", "211.5")
        assert not book.save(source)
        assert book.save(source, over=True)
        taken, put = changed_lines(before, source.read_text())
        assert put == [taken[0].replace("211.4", "211.5")]
        book.change("elevator/horn", "FS", "211.25")  # a second save goes on from the first
        assert book.save(source, over=True)
        assert changed_lines(before, source.read_text())[1] == [
            taken[0].replace("211.4", "211.25")]
        source.write_text(source.read_text().replace("chord = 14.0", "chord = 14.5"))
        with pytest.raises(linkage.LinkageError, match="has changed since it was opened"):
            book.save(source, over=True)
        assert "chord = 14.5" in source.read_text()
    finally:
        book.close()


# --- the text alone ---------------------------------------------------------------------------

KEYS = st.text(st.sampled_from("ab é.\"'#=[]\\"), min_size=1, max_size=4)
LEAVES = st.one_of(st.booleans(), st.integers(-99, 99), st.floats(-1e6, 1e6), st.text(max_size=6))
VALUES = st.recursive(LEAVES, lambda inner: st.one_of(
    st.lists(inner, max_size=4), st.dictionaries(KEYS, inner, max_size=4)), max_leaves=12)
TABLES = st.dictionaries(KEYS, VALUES, min_size=1, max_size=5)


@settings(max_examples=150, deadline=None, derandomize=True)
@given(TABLES, TABLES)
def test_any_text_becomes_any_other_or_is_refused(old, new):
    """Written by tomli-w, an independent writer; read back by the standard library."""
    import tomli_w

    text = tomli_w.dumps(old)
    wanted = {**{key: value for key, value in old.items() if len(key) % 2}, **new}
    try:
        after = edited(text, wanted)
    except linkage.LinkageError:
        return
    assert tomllib.loads(after) == wanted
    for key in old:
        if key in wanted and old[key] == wanted[key] and not isinstance(old[key], (dict, list)):
            line = next(iter(tomli_w.dumps({key: old[key]}).splitlines()))
            assert line in after


def test_write_text_is_used_nowhere_to_change_a_model_file(tmp_path):
    """A plainly written model reads back equal too, but has nothing of what a builder wrote."""
    model = linkage.read_model(EXAMPLES / "tandem.toml")
    linkage.write_model(model, tmp_path / "plain.toml")
    assert linkage.read_model(tmp_path / "plain.toml") == model
    write_text(tmp_path / "note", "x")
