"""Reports of the examples, each made once for all tests that only read it."""

import io
import json
import os
from contextlib import redirect_stdout
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import pytest
from filelock import FileLock

from linkage.__main__ import main
from linkage.commands import check

EXAMPLES = Path(__file__).parents[2] / "examples"
SIDE_BY_SIDE = EXAMPLES / "side_by_side.toml"
FIXED = EXAMPLES / "side_by_side_fixed.toml"


@dataclass(frozen=True)
class Made:
    """A report with its tables, what the command printed, and its exit code."""

    report: Path
    csv: Path
    out: str
    code: int


def made_report(factory, path: Path) -> Made:
    """The report of a file, with CSV; of `SIDE_BY_SIDE` against `FIXED`.

    Parameters
    ----------
    factory : pytest.TempPathFactory
    path : Path
    """
    base = factory.getbasetemp()
    folder = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / f"made_{path.stem}"
    with FileLock(f"{folder}.lock"):
        if not folder.exists():
            folder.mkdir()
            against = ["--against", str(FIXED)] if path == SIDE_BY_SIDE else []
            with redirect_stdout(io.StringIO()) as out, pytest.MonkeyPatch.context() as patch:
                if path == FIXED:  # as long as that of the other, and nobody reads it here
                    patch.setattr(check, "_certified", partial(check._Certified, asked=False))
                code = main([str(path), "--csv", str(folder / "csv"), "--out",
                             str(folder / "report"), *against])
            (folder / "said.json").write_text(json.dumps([out.getvalue(), code]),
                                              encoding="utf-8")
    out, code = json.loads((folder / "said.json").read_text(encoding="utf-8"))
    return Made(folder / "report", folder / "csv", out, code)
