"""`linkage open` up to the start of JupyterLab; tests/browser goes on from there."""

import ast
import json
import shutil
import sys
from pathlib import Path

import pytest

from linkage.__main__ import main
from linkage.commands import open as verb

LAUNCH = "linkage.commands.lab.Lab.launch_instance"
EXAMPLES = Path(__file__).parents[1] / "examples"


@pytest.fixture
def started(monkeypatch):
    """Words JupyterLab would have been started with."""
    words = []
    monkeypatch.setattr(LAUNCH, words.append)
    return words


def file_named_in(notebook) -> str:
    cells = json.loads(notebook.read_text())["cells"]
    code = "\n".join("".join(c["source"]) for c in cells if c["cell_type"] == "code")
    return next(ast.literal_eval(node.value) for node in ast.parse(code).body
                if isinstance(node, ast.Assign) and node.targets[0].id == "FILE")


def test_a_notebook_for_the_file_is_written_beside_it(tmp_path, started):
    model = tmp_path / "the shop's own.toml"
    shutil.copy(EXAMPLES / "tandem.toml", model)
    assert main(["open", str(model), "--no-browser"]) == 0
    notebook = tmp_path / "the shop's own_workbook.ipynb"
    assert file_named_in(notebook) == model.name
    (words,) = started
    assert words[0] == str(notebook)
    assert "--no-browser" in words
    assert "--ServerApp.ip=127.0.0.1" in words


def test_a_notebook_that_is_there_is_opened_as_it_is(tmp_path, started, capsys):
    shutil.copy(EXAMPLES / "tandem.toml", tmp_path / "mine.toml")
    notebook = tmp_path / "mine_workbook.ipynb"
    notebook.write_text("my own notes")
    assert main(["open", str(tmp_path / "mine.toml")]) == 0
    assert notebook.read_text() == "my own notes"
    assert "as it is" in capsys.readouterr().out
    assert len(started) == 1


@pytest.mark.parametrize("text", [None, "length = 3"])
def test_a_bad_file_starts_nothing(tmp_path, started, capsys, text):
    model = tmp_path / "mine.toml"
    if text is not None:
        model.write_text(text)
    assert main(["open", str(model)]) == 2
    said = capsys.readouterr().err
    assert said.startswith("linkage: ")
    assert said.count("\n") == 1
    assert started == []
    assert not (tmp_path / "mine_workbook.ipynb").exists()


def test_without_jupyterlab_it_says_what_to_install(tmp_path, started, capsys, monkeypatch):
    monkeypatch.setattr(verb, "find_spec", lambda name: None)
    shutil.copy(EXAMPLES / "tandem.toml", tmp_path / "mine.toml")
    assert main(["open", str(tmp_path / "mine.toml")]) == 2
    assert "pip install 'linkage[workbook]'" in capsys.readouterr().err
    assert started == []
    assert not (tmp_path / "mine_workbook.ipynb").exists()


def test_a_jupyterlab_that_will_not_start_is_not_success(tmp_path, monkeypatch):
    monkeypatch.setattr(LAUNCH, lambda words: sys.exit(1))
    shutil.copy(EXAMPLES / "tandem.toml", tmp_path / "mine.toml")
    assert main(["open", str(tmp_path / "mine.toml")]) == 2
