"""For tests of every room: helpers that stand in this folder can be imported, and no property test is timed."""

import sys
from pathlib import Path

import pytest
from hypothesis import settings

sys.path.insert(0, str(Path(__file__).parent))

settings.register_profile("kerfwave", deadline=None)
settings.load_profile("kerfwave")


@pytest.fixture(scope="session")
def demo_package(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the package of the first demo spec, built once for all tests."""
    from kerfwave.cli import main

    out = tmp_path_factory.mktemp("out")
    spec = Path(__file__).parent.parent / "specs" / "listening-post.yaml"
    assert main(["build", str(spec), "--out", str(out)]) == 0
    return out / "listening-post"
