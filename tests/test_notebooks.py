"""Every notebook runs from top to bottom, and reads like a page rather than a program."""

import ast
import statistics
from pathlib import Path

import nbformat
import pytest

NOTEBOOKS = sorted((Path(__file__).parents[1] / "notebooks").glob("*.ipynb"))


@pytest.fixture(params=NOTEBOOKS, ids=lambda path: path.stem)
def path(request):
    return request.param


def cells(path, kind):
    return [cell for cell in nbformat.read(path, as_version=4).cells if cell.cell_type == kind]


def test_there_are_notebooks():
    assert NOTEBOOKS


# The kernel's own libraries tell of changes to come; they are not ours to mend.
@pytest.mark.filterwarnings("default")
def test_runs_from_top_to_bottom(path, tmp_path, monkeypatch):
    from nbclient import NotebookClient

    root = Path(__file__).parents[1]
    monkeypatch.setenv("PYTHONPATH", str(root))
    for name in ("IPYTHONDIR", "JUPYTER_CONFIG_DIR", "JUPYTER_DATA_DIR", "JUPYTER_RUNTIME_DIR"):
        monkeypatch.setenv(name, str(tmp_path / name))
    book = nbformat.read(path, as_version=4)
    NotebookClient(book, timeout=300, resources={"metadata": {"path": str(path.parent)}}).execute()
    for cell in book.cells:
        if cell.cell_type == "code" and cell.source.rstrip().endswith(".figure"):
            assert any("image/png" in shown.get("data", {}) for shown in cell.outputs), cell.source


def test_is_stripped_of_output(path):
    for cell in cells(path, "code"):
        assert cell.outputs == []
        assert cell.execution_count is None


def test_is_more_page_than_program(path):
    code = [cell.source for cell in cells(path, "code")]
    told = sum(len(cell.source.split()) for cell in cells(path, "markdown"))
    assert told >= sum(len(source.split()) for source in code)
    assert statistics.median(len(source.splitlines()) for source in code) <= 5
    for source in code:
        plain = "\n".join(line for line in source.splitlines() if not line.startswith("%"))
        assert not any(isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef))
                       for node in ast.walk(ast.parse(plain))), source


def test_warns_the_builder(path):
    told = " ".join(" ".join(cell.source.split()) for cell in cells(path, "markdown"))
    assert "Caution" in told
    assert "never replaces" in told.replace("> ", "")
