"""`linkage open`: the workbook on a model file, in JupyterLab."""

from __future__ import annotations

import json
from importlib import resources
from importlib.util import find_spec
from pathlib import Path

from .. import load
from ..disk import write_text
from ..errors import LinkageError
from .shared import parser_of

EMPTY = 'title = "New controls"\nlength = "in"   # what a bare number means: "in" or "mm"\n'
NEEDED = ("jupyterlab", "ipywidgets", "anywidget")


def run(argv: list[str]) -> int:
    parser = parser_of("open", "Open the workbook on a model file in JupyterLab, on this machine "
                               "alone; a notebook is written beside the file, and an earlier one "
                               "is opened as it is.")
    parser.add_argument("file", metavar="FILE", help="model file (TOML)")
    parser.add_argument("--no-browser", action="store_true",
                        help="only start it and print the address, to open on another screen")
    parser.add_argument("--new", action="store_true",
                        help="begin with an empty page, to which parts are added, where there is "
                             "no such file yet")
    args = parser.parse_args(argv)
    if args.new and not Path(args.file).exists():
        write_text(args.file, EMPTY)
    load(args.file)
    if not all(find_spec(name) for name in NEEDED):
        raise LinkageError("linkage open: needs JupyterLab, which is not installed; run: "
                           "pip install 'linkage[workbook]'")
    notebook = _notebook(Path(args.file))
    from .lab import run_lab

    return run_lab(notebook, ["--no-browser"] if args.no_browser else [])


def _notebook(model: Path) -> Path:
    """The notebook beside a model file, written unless one is there."""
    notebook = model.with_name(f"{model.stem}_workbook.ipynb")
    if notebook.exists():
        print(f"{notebook}: is there already and is opened as it is")
        return notebook
    template = resources.files("linkage.workbook") / "start_here.ipynb"
    text = json.loads(template.read_text(encoding="utf-8"))
    for cell in text["cells"]:
        cell["source"] = [f"FILE = {model.name!r}\n" if line.startswith("FILE = ") else line
                          for line in cell["source"]]
    write_text(notebook, json.dumps(text, ensure_ascii=False, indent=1) + "\n")
    print(f"{notebook}: written")
    return notebook
