"""Options and fixtures for every test."""

from pathlib import Path

import pytest
from systems.motion_models import FLOATING, IDLERS, made
from systems.rig_models import RUN

import linkage

EXAMPLES = Path(__file__).parents[1] / "examples"


def pytest_addoption(parser):
    parser.addoption("--full", action="store_true", help="every random case, not a seeded tenth")


@pytest.fixture(scope="session")
def full(request):
    return request.config.getoption("--full")


@pytest.fixture(scope="session")
def side_by_side():
    return linkage.load(EXAMPLES / "side_by_side.toml")


@pytest.fixture(scope="session")
def side_by_side_fixed():
    return linkage.load(EXAMPLES / "side_by_side_fixed.toml")


@pytest.fixture(scope="module", params=IDLERS)
def floating(request):
    """A lever that floats on an idler: two rods are solved together."""
    return made(FLOATING.replace("{idler}", IDLERS[request.param]))


@pytest.fixture(scope="module")
def run():
    """One run to an elevator with bought rod ends."""
    from linkage.model.file import parse_model

    return linkage.System(parse_model(RUN))


@pytest.fixture
def book(side_by_side, tmp_path):
    """A workbook without its proving process, saving in a folder of its own."""
    from linkage.model.file import write_model
    from linkage.workbook.live import Workbook

    source = tmp_path / "mine.toml"
    write_model(side_by_side.model, source)
    made = Workbook(side_by_side, source, prove=False)
    made.folder = tmp_path
    yield made
    made.close()
