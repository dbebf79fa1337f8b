"""The house rules that a machine can hold: floors, rooms of libraries, lengths, arguments."""

import ast
import re
import sys
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

HERE = Path(__file__).parent
PACKAGE = HERE.parent / "linkage"
FLOORS = [
    {"errors", "checker"},
    {"units", "geometry", "intervals", "search", "disk"},
    {"model"},
    {"motion"},
    {"gearing", "clearances"},
    {"stops"},
    {"relief", "certificate"},
    {"loads", "rigging"},
    {"sizing"},
    {"plots"},
    {"solid_files"},
    {"results"},
    {"sheet", "report"},
    {"workbook"},
    {"__init__"},
    {"commands"},
    {"__main__"},
]
# Floors inside a folder; its __init__ is the door and may import them all.
INNER = {
    "disk": [{"names"}, {"files"}, {"folders"}],
    "model": [{"keys", "threads"}, {"shapes", "turn"},
              {"solids", "strength", "fittings", "fixings", "mended"},
              {"mesh_files", "svg_drawings"}, {"surfaces"}, {"springs"},
              {"parts", "sizes", "drawings"}, {"stock", "references"},
              {"whole", "mirroring"},
              {"document"}, {"side_files"}, {"file"}, {"patch"}, {"save"}],
    "motion": [{"kernels", "symbolic", "traced"}, {"plan", "tape"}, {"posture"}, {"builds_rows"},
               {"rates", "builds"}, {"together", "bounds_together", "moved"}, {"bounds"},
               {"builds_bounds"}, {"backward"}, {"system"}, {"builds_runs"}],
    "gearing": [{"senses", "gearing_sign"}, {"words", "built_sign"},
                {"travels", "algebra", "kinds"}, {"cross_checks"},
                {"contradictions", "plausible"}, {"surface_ways", "surface_notes"},
                {"findings", "kept_bands"}],
    "clearances": [{"joints", "travel", "carrying"}, {"scene"}, {"growing", "part_gaps"}, {"trees"},
                   {"stage"}, {"corners"}, {"cell_bounds"}, {"search", "built_bounds"},
                   {"mesh_cover", "mesh_gaps", "built", "warm"}, {"pinned"}, {"built_runs"},
                   {"built_meshes"}, {"proof"}, {"valleys"}, {"table"}],
    "stops": [{"ways", "cover", "depths"}, {"first", "reach", "witness"}, {"faces"},
              {"contact_rates", "covering"},
              {"find", "spacers", "mapping", "real"}, {"judged"}],
    "relief": [{"flat", "arcs"}, {"swept", "cut", "marks", "panels"}, {"mesh_sweep"},
               {"panel_sweep"}, {"reliefs"}, {"drawing"}, {"formats"}, {"tiles"}, {"shop_files"}],
    "loads": [{"columns", "pilot_forces", "finer", "arms", "stepped", "supports",
               "free_bodies"},
              {"springs", "rod_columns", "beams", "vibration"},
              {"shafts", "plates"}, {"statics", "fixings", "buckling"}, {"load_cases", "rubbing"},
              {"feel"}, {"stick", "stop_contact", "hands_off", "servos"},
              {"worst"}, {"joints"}, {"margins"}, {"compliance", "test_cards", "fixed"}],
    "rigging": [{"lengths", "rod_end_angles", "readings", "tolerances", "play", "loops", "grips",
                 "carried_solids"},
                {"rods", "builds", "wires", "pins"}, {"adjustment", "as_built", "corners"}],
    "sizing": [{"dimensions"}, {"targets"}, {"fit"}, {"clearance_terms"}, {"choose"}, {"result"}],
    "results": [{"blocks", "verdict", "second_core"},
                {"text", "html", "columns", "sequence"}, {"answers"},
                {"movements"},
                {"hands", "strength", "strength_left", "gives", "servos", "feels"},
                {"questions", "comparison", "cures", "revisions"}, {"chapters"},
                {"results", "csv_files"}],
    "sheet": [{"chosen_sizes", "cut_plates", "opening"}],
    "report": [{"paragraphs", "vectors", "written"}, {"tables"}, {"setting"}, {"as_pdf"},
               {"files", "changes"}],
    "plots": [{"style", "projection", "numbers", "sections"},
              {"curves", "views", "turns", "tolerance_bars", "close_ups"},
              {"maps", "spacer_curves", "forces"}],
    "workbook": [{"grid", "program", "typed", "wording", "messages"},
                 {"page_tables", "new_part", "forces", "sized"}, {"payload", "draft"},
                 {"cures", "following", "known_stops"}, {"prover"}, {"page", "live"}],
    "commands": [{"verbs"}, {"shared"}, {"plates", "rigged", "lab"},
                 {"check", "new", "schema", "relief", "template", "loads", "rig", "size", "open",
                  "view", "check_proof", "meshes"}],
    "checker": [{"lengths", "vectors"}, {"formats"}, {"twins"}, {"reading"}, {"solids", "taylor"},
                {"pairs", "loops"}, {"sides", "together"}, {"motion"}, {"dimensions"}, {"rates"},
                {"builds"}, {"leaves"}, {"travel", "directions"}, {"verdict"}],
    "certificate": [{"trees", "nearest", "ways"}, {"covers", "off_joints"}, {"written"}],
    "solid_files": [{"facets"}, {"stl_file"}, {"glb_file"}],
    "geometry": [{"vectors", "outlines", "lofts"}, {"pieces", "loops", "crossings"},
                 {"tubes", "features", "overlap", "closest", "halving"}, {"triangles"},
                 {"gaps"}],
}
ROOMS = {"numpy": None, "flint": {"checker"}, "pint": {"units"}, "tomli_w": {"model"},
         "tomlkit": {"model"}, "sympy": {"motion"},
         "pandas": {"gearing", "clearances", "stops", "results", "loads", "rigging",
                    "sizing", "certificate"},
         "shapely": {"geometry", "model", "stops", "relief", "plots", "solid_files"},
         "ezdxf": {"relief", "model"},
         "trimesh": {"model"}, "cascadio": {"model"},
         "scipy": {"loads", "rigging", "sizing", "clearances", "stops",
                   "certificate", "geometry", "model", "solid_files"},
         "matplotlib": {"plots", "relief", "report"}, "reportlab": {"report"},
         "pypdf": {"report"},
         "ipywidgets": {"workbook"}, "anywidget": {"workbook"},
         "traitlets": {"workbook"}, "IPython": {"workbook"},
         "jupyterlab": {"commands"}}
GENERATED = {"kernels"}
FILES = sorted(PACKAGE.rglob("*.py"))
TESTS = sorted(HERE.rglob("*.py"))


def room_of(path):
    return path.relative_to(PACKAGE).with_suffix("").parts[0]


def for_types_alone(tree):
    """What stands under ``if TYPE_CHECKING``, which no run imports."""
    return {inner for node in ast.walk(tree) if isinstance(node, ast.If)
            and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING"
            for inner in ast.walk(node)}


def imports(path):
    """Modules that a file imports, relative ones made absolute.

    For its types alone a file may name a library and a higher file of its own room, but no
    higher room.
    """
    home = ["linkage", *path.relative_to(PACKAGE).parent.parts]
    tree = ast.parse(path.read_text(encoding="utf-8"))
    types = for_types_alone(tree)
    for node in ast.walk(tree):
        if node in types and isinstance(node, ast.Import | ast.ImportFrom) and (
                isinstance(node, ast.Import) or node.level < min(len(home), 2)):
            continue
        if isinstance(node, ast.Import):
            yield from (alias.name.split(".") for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = home[:len(home) - node.level + 1] if node.level else []
            base = base + (node.module.split(".") if node.module else [])
            if node.module is None or base == ["linkage"]:
                yield from ([*base, alias.name] for alias in node.names)
            else:
                yield base


def name(path):
    return str(path.relative_to(PACKAGE))


def check_inner(path, room, parts):
    """Within a room: a folder in it is one place, whose own files know only lower ones outside."""
    within = path.relative_to(PACKAGE / room).with_suffix("").parts
    if within == ("__init__",) or len(within) > 1 and parts[2:3] == [within[0]]:
        return
    inner = {r: i for i, rooms in enumerate(INNER[room]) for r in rooms}
    assert inner[parts[2]] < inner[within[0]], f"{name(path)} imports up: {parts}"


@pytest.mark.parametrize("path", FILES, ids=name)
def test_imports_point_down(path):
    floor = {room: i for i, rooms in enumerate(FLOORS) for room in rooms}
    room = room_of(path)
    for parts in imports(path):
        if parts[0] == "linkage":
            if parts[1:] and parts[1] in floor and parts[1] != room:
                assert floor[parts[1]] < floor[room], f"{name(path)} imports up: {parts}"
            elif parts[1:] and parts[1] == room:
                check_inner(path, room, parts)
        elif parts[0] not in sys.stdlib_module_names:
            rooms = ROOMS[parts[0]]
            assert rooms is None or room in rooms, f"{parts[0]} is not for {name(path)}"


def imported_files(path):
    """Files of the package that a file names in its imports, those for types alone too."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.level:
            base = path.parents[node.level - 1].joinpath(*(node.module or "").split("."))
            for alias in node.names:
                yield next(file for place in (base / alias.name, base)
                           for file in (place.with_suffix(".py"), place / "__init__.py")
                           if file.exists())


def test_no_files_import_each_other_in_a_circle():
    """Not even for their types; a circle is an error that names its files."""
    order = TopologicalSorter({path: set(imported_files(path)) for path in FILES})
    assert set(order.static_order()) == set(FILES)


WHY = "# complexity over 10: "
DECISIONS = {  # what a piece of syntax adds to the ways through a function
    ast.If: lambda n: 1, ast.IfExp: lambda n: 1, ast.Assert: lambda n: 1,
    ast.For: lambda n: 1 + bool(n.orelse), ast.While: lambda n: 1 + bool(n.orelse),
    ast.Try: lambda n: len(n.handlers) + bool(n.orelse), ast.Match: lambda n: len(n.cases),
    ast.BoolOp: lambda n: len(n.values) - 1, ast.comprehension: lambda n: 1 + len(n.ifs)}


def ways_through(function):
    """McCabe's count (A complexity measure, 1976, from memory), each and/or a branch.

    Comprehensions are the loops that they are; a function in it is counted for itself.
    """
    nodes, ways = list(function.body), 1
    while nodes:
        node = nodes.pop()
        ways += DECISIONS.get(type(node), lambda n: 0)(node)
        nodes += () if isinstance(node, ast.FunctionDef) else ast.iter_child_nodes(node)
    return ways


def test_ways_through_a_function_are_counted():
    """By hand: 1, and 1 if, 1 and, 1 for, 2 of a comprehension with a condition, 1 handler."""
    text = """def f(x, y):
        if x and y:
            for k in x:
                try:
                    y += [a for a in k if a]
                except ValueError:
                    pass"""
    assert ways_through(ast.parse(text).body[0]) == 7


@pytest.mark.parametrize("path", FILES, ids=name)
def test_files_and_functions_are_short(path):
    if path.stem in GENERATED:
        return
    text = path.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= 500
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef):
            body = node.body
            said = isinstance(body[0], ast.Expr) and isinstance(body[0].value, ast.Constant)
            start = body[1].lineno if said and len(body) > 1 else body[0].lineno
            assert node.end_lineno - start + 1 <= 40, f"{name(path)}: {node.name} is long"
            if ways_through(node) > 10:
                lines = text.splitlines()[node.lineno - 1:node.end_lineno]
                assert any(WHY in line for line in lines), f"{name(path)}: {node.name} is complex"


def test_few_functions_are_complex():
    """Each holds a comment, or the test above fails."""
    whys = [f"{name(path)}: {line.strip()}" for path in FILES if path.stem not in GENERATED
            for line in path.read_text(encoding="utf-8").splitlines() if WHY in line]
    assert len(whys) < 25, whys


@pytest.mark.parametrize("path", TESTS, ids=lambda path: str(path.relative_to(HERE)))
def test_files_of_tests_are_short(path):
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 500


@pytest.mark.parametrize("door", [path for path in FILES if path.stem == "__init__"], ids=name)
def test_no_name_of_a_room_hides_a_file_of_it(door):
    """``import linkage.room.file as t`` gives the file."""
    hidden = {path.stem for path in door.parent.iterdir()} - {"__init__"}
    offered = set()
    for node in ast.walk(ast.parse(door.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module:
            offered |= {alias.asname or alias.name for alias in node.names}
        elif isinstance(node, ast.Assign) and any(
                isinstance(t, ast.Name) and t.id == "__all__" for t in node.targets):
            offered |= set(ast.literal_eval(node.value))
    assert not offered & hidden, f"{name(door)} offers {sorted(offered & hidden)}"


def test_the_floor_plan_that_people_read_is_the_one_that_is_checked():
    """Each row of the table in DEVELOPERS.md is a floor; rooms of one floor may share a row."""
    rows = [line.split("|")[1:3] for line in (PACKAGE.parent / "DEVELOPERS.md").read_text(
        encoding="utf-8").splitlines() if line.startswith("| ") and line.split("|")[1].strip(
            ).isdigit()]
    told = {}
    for floor, rooms in rows:
        for room in re.findall(r"`([\w.]+)/?`", rooms):
            told[room.removesuffix(".py")] = int(floor)
    assert told == {room: i for i, rooms in enumerate(FLOORS) for room in rooms}


def test_front_door_is_narrow_and_light():
    import subprocess

    import linkage

    assert len(linkage.__all__) <= 25
    code = ("import sys, linkage; print([m for m in ('matplotlib', 'ipywidgets', 'sympy', 'pandas',"
            " 'scipy', 'shapely', 'pint') if m in sys.modules])")
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_markdown_guides_are_short():
    for guide in ("README.md", "DEVELOPERS.md"):
        text = (PACKAGE.parent / guide).read_text(encoding="utf-8")
        assert len(text.splitlines()) <= 150, guide
