"""The house rules that a machine can hold: floors, rooms of libraries, lengths, arguments."""

import ast
import sys
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "linkage"
FLOORS = [
    {"errors"},
    {"units", "geometry", "intervals", "search"},
    {"model"},
    {"motion"},
    {"gearing", "clearances"},
    {"stops"},
    {"relief"},
    {"loads", "rigging"},
    {"sizing"},
    {"sheet", "tables"},
    {"plots"},
    {"report"},
    {"workbook"},
    {"__init__"},
    {"commands"},
    {"__main__"},
]
# Floors inside a folder; its __init__ is the door and may import them all.
INNER = {
    "model": [{"keys", "threads"}, {"shapes"}, {"strength", "fittings"},
              {"parts", "sizes", "turned"}, {"stock"}, {"whole", "mirroring"}, {"file"}],
    "motion": [{"kernels", "symbolic"}, {"plan"}, {"posture"}, {"rates", "builds"},
               {"together", "bounds_together", "moved"}, {"bounds"}, {"system"}],
    "gearing": [{"words"}, {"travels", "algebra"}, {"cross_checks"}, {"findings"}],
    "clearances": [{"scene", "travel"}, {"stage"}, {"cell_bounds"}, {"search"}, {"built"}, {"proof"},
                   {"table"}],
    "stops": [{"faces"}, {"contact_rates"}, {"find", "spacers", "mapping"}],
    "relief": [{"flat"}, {"swept", "cut"}, {"reliefs"}, {"drawing"}, {"formats"}, {"shop_files"}],
    "loads": [{"columns", "pilot_forces"}, {"statics"}, {"load_cases"}, {"stick", "stop_contact"},
              {"worst"}, {"margins"}, {"compliance"}],
    "rigging": [{"lengths", "rod_end_angles", "readings", "tolerances", "play", "loops", "grips"},
                {"rods", "builds", "wires"}, {"adjustment", "as_built", "pins", "study"}],
    "sizing": [{"dimensions"}, {"targets"}, {"fit"}, {"clearance_terms"}, {"choose"}, {"result"}],
    "sheet": [{"text"}, {"motion_part", "contact_part", "relief_part", "loads_part",
                         "size_part", "rig_part", "tolerance_part"}],
    "report": [{"blocks", "described", "results"}, {"as_html", "as_pdf", "sequence", "chapters"},
               {"contents", "compare", "written"}],
    "plots": [{"style", "projection", "numbers"}, {"curves", "views", "turns", "tolerance_bars"},
              {"maps", "spacer_curves", "forces"}],
    "workbook": [{"grid", "sources"}, {"payload", "told"}, {"draft", "prover"}, {"page", "live"}],
    "commands": [{"verbs"}, {"shared", "beside"}, {"plates", "reported"},
                 {"check", "new", "schema", "relief", "template", "loads", "rig", "size", "open",
                  "view"}],
    "geometry": [{"vectors", "outlines"}, {"pieces"}, {"tubes", "features", "overlap", "closest"},
                 {"gaps"}],
}
ROOMS = {"numpy": None, "pint": {"units"}, "tomli_w": {"model"}, "sympy": {"motion"},
         "pandas": {"gearing", "clearances", "stops", "tables", "report", "loads", "rigging",
                    "sizing"},
         "shapely": {"geometry", "stops", "relief", "plots"}, "ezdxf": {"relief"},
         "scipy": {"loads", "rigging", "sizing", "clearances", "stops"},
         "matplotlib": {"plots", "relief", "report"}, "reportlab": {"report"},
         "ipywidgets": {"workbook"}, "anywidget": {"workbook"},
         "traitlets": {"workbook"}, "IPython": {"workbook"},
         "jupyterlab": {"commands"}}
GENERATED = {"kernels"}
FILES = sorted(PACKAGE.rglob("*.py"))


def room_of(path):
    return path.relative_to(PACKAGE).with_suffix("").parts[0]


def imports(path):
    """Modules that a file imports, relative ones made absolute."""
    home = ["linkage", *path.relative_to(PACKAGE).parent.parts]
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
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


@pytest.mark.parametrize("path", FILES, ids=name)
def test_imports_point_down(path):
    floor = {room: i for i, rooms in enumerate(FLOORS) for room in rooms}
    room = room_of(path)
    for parts in imports(path):
        if parts[0] == "linkage":
            if parts[1:] and parts[1] in floor and parts[1] != room:
                assert floor[parts[1]] < floor[room], f"{name(path)} imports up: {parts}"
            elif parts[1:] and parts[1] == room and path.stem != "__init__":
                inner = {r: i for i, rooms in enumerate(INNER[room]) for r in rooms}
                assert inner[parts[2]] < inner[path.stem], f"{name(path)} imports up: {parts}"
        elif parts[0] not in sys.stdlib_module_names:
            rooms = ROOMS[parts[0]]
            assert rooms is None or room in rooms, f"{parts[0]} is not for {name(path)}"


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
