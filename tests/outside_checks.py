"""Every outside check of tests/validation as a table, made by running the tests themselves.

Each comparison with `pytest.approx` that passes is kept: which test, the value of its source, ours,
and the difference.  The source stands in the first line of the test's file.
"""

import ast
import json
import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

import pandas as pd

FOLDER = Path(__file__).parent / "validation"
NUMBER = r"-?\d+(?:\.\d*)?(?:e[-+]?\d+)?"
COMPARED = re.compile(rf"^(?:np\.float64\()?({NUMBER})\)? == ({NUMBER}) ± ({NUMBER})", re.M)
KEPT = []


def pytest_assertion_pass(item, lineno, orig, expl):
    """Keep a comparison that held; pytest calls this by its name."""
    found = COMPARED.match(expl)
    if found:
        ours, value, within = map(float, found.groups())
        KEPT.append([item.path.name, item.originalname, value, ours, within])


def pytest_sessionfinish():
    """Write what was kept where the caller asked for it."""
    Path(os.environ["OUTSIDE_CHECKS"]).write_text(json.dumps(KEPT))


def table() -> pd.DataFrame:
    """Run the outside checks: source, check, its value, ours, difference."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "kept.json"
        subprocess.run(
            [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-p", "outside_checks",
             "-o", "enable_assertion_pass_hook=true", str(FOLDER)], check=True,
            capture_output=True, cwd=Path(__file__).parents[1], env=os.environ | {
                "OUTSIDE_CHECKS": str(path), "PYTHONPYCACHEPREFIX": folder,
                "PYTHONPATH": os.pathsep.join(
                    [str(Path(__file__).parent), os.environ.get("PYTHONPATH", "")])})
        kept = json.loads(path.read_text())
    sources = {path.name: ast.get_docstring(ast.parse(path.read_text())).splitlines()[0]
               for path in FOLDER.glob("test_*.py")}
    return pd.DataFrame([{"source": sources[file], "check": name.removeprefix("test_")
                          .replace("_", " "), "its value": value, "ours": ours,
                          "difference": ours - value, "within": within}
                         for file, name, value, ours, within in kept])
