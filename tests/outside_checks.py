"""Every outside check of tests/validation as a table, made by running the tests themselves.

Each comparison of a difference with what is allowed is kept as the test has it, which holds the
value of its source; of each test the one that comes nearest to what is allowed.
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
COMPARED = re.compile(rf"^(?:np\.float64\(|array\()?({NUMBER})\)? < ({NUMBER})$", re.M)
SLOW = "not mujoco and not least_push and not triangles"
KEPT = []


def pytest_assertion_pass(item, lineno, orig, expl):
    """Keep a comparison that held; pytest calls this by its name."""
    found = COMPARED.match(expl)
    if found:
        off, allowed = map(float, found.groups())
        KEPT.append([item.path.name, item.originalname, orig, off, allowed])


def pytest_sessionfinish():
    """Write what was kept where the caller asked for it."""
    Path(os.environ["OUTSIDE_CHECKS"]).write_text(json.dumps(KEPT))


def table() -> pd.DataFrame:
    """Run the outside checks: source, check, what is compared, difference, allowed."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "kept.json"
        subprocess.run(
            [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-p", "outside_checks",
             "-o", "enable_assertion_pass_hook=true", "-k", SLOW, str(FOLDER)], check=True,
            capture_output=True, cwd=Path(__file__).parents[1], env=os.environ | {
                "OUTSIDE_CHECKS": str(path), "PYTHONPYCACHEPREFIX": folder,
                "PYTHONPATH": os.pathsep.join(
                    [str(Path(__file__).parent), os.environ.get("PYTHONPATH", "")])})
        kept = json.loads(path.read_text())
    sources = {path.name: ast.get_docstring(ast.parse(path.read_text())).splitlines()[0]
               for path in FOLDER.glob("test_*.py")}
    rows = pd.DataFrame([{"source": sources[file], "check": name.removeprefix("test_")
                          .replace("_", " "), "compared": words, "difference": off,
                          "allowed": allowed} for file, name, words, off, allowed in kept])
    share = rows["difference"] / rows["allowed"]
    nearest = share.groupby([rows["source"], rows["check"]], sort=False).idxmax()
    return rows.loc[nearest].reset_index(drop=True)
