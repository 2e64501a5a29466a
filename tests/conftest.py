"""For tests of every room: how property tests search, and the demo's package, built once."""

import shutil
from pathlib import Path

import pytest
from hypothesis import settings

pytest.register_assert_rewrite("bodies")  # what it asserts shall tell as much as what a test asserts

# Same tests for everybody. `pytest --hypothesis-profile=explore` looks for new cases, and keeps what it finds.
settings.register_profile("kerfwave", deadline=None, derandomize=True)
settings.register_profile("explore", deadline=None, max_examples=500)
settings.load_profile("kerfwave")

DEMO = Path(__file__).parent.parent / "specs" / "listening-post.yaml"


@pytest.fixture(scope="session", autouse=True)
def one_core():
    """Leave the second core to the tests themselves; builds by a command of their own still use it."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("kerfwave.jobs.cores", lambda: 1)
        yield


@pytest.fixture(scope="session")
def demo_package(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the package of the first demo spec, built once for all tests; its cache lies beside it."""
    from kerfwave.cli import main

    out = tmp_path_factory.mktemp("out")
    assert main(["build", str(DEMO), "--out", str(out)]) == 0
    return out / DEMO.stem


@pytest.fixture(scope="session")
def demo_spec():
    """Return the first demo spec, loaded."""
    from kerfwave.spec import load

    return load(DEMO).spec


@pytest.fixture
def shelf_copy(tmp_path: Path) -> Path:
    """Return a folder of one's own with the demo specs and their shelf."""
    return Path(shutil.copytree(DEMO.parent, tmp_path / "specs"))
