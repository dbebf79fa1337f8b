"""One browser for all, one JupyterLab per module; skipped where one is missing, but not in CI."""

import importlib.util
import os
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


def _beside(name):
    spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name(f"{name}.py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


lab, _hands = _beside("lab"), _beside("hands")


def _missing(what):
    if os.environ.get("CI"):
        pytest.fail(f"{what} is missing; CI has to have it")
    pytest.skip(f"{what} is missing; see DEVELOPERS.md")


@pytest.fixture(scope="session")
def examples():
    return ROOT / "examples"


@pytest.fixture(scope="session")
def notebooks():
    return ROOT / "notebooks"


@pytest.fixture(scope="session")
def side_page(examples, tmp_path_factory):
    """The side-by-side example's page from disk, without the proofs of other stock."""
    from linkage.__main__ import main

    out = tmp_path_factory.mktemp("page") / "page.html"
    assert main(["view", str(examples / "side_by_side.toml"), "--out", str(out), "--quick"]) == 0
    return out


@pytest.fixture(scope="session")
def lab_tools():
    """JupyterLab and pages."""
    return lab


@pytest.fixture(scope="session")
def hands():
    """What a person does with the workbook."""
    return _hands


@pytest.fixture(scope="session")
def chromium():
    """The browser; needs Debian's package chromium."""
    if lab.chromium() is None:
        _missing("chromium")
    with lab.browser() as opened:
        yield opened


@pytest.fixture(scope="session")
def violations():
    """Serious and critical findings of axe-core inside an element of a page."""
    if not lab.AXE.exists():
        _missing("axe-core")
    return lab.violations


@pytest.fixture
def page_and_seen(chromium):
    """An empty page, and what it is seen to do."""
    page, seen = lab.new_page(chromium)
    yield page, seen
    page.context.close()
