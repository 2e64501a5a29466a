from collections.abc import Callable
from pathlib import Path

import pytest

from kerfwave.findings import Finding, SpecError
from kerfwave.spec import load

MINIMAL = Path(__file__).parent / "fixtures" / "minimal.yaml"


@pytest.fixture(scope="session")
def minimal() -> str:
    return MINIMAL.read_text(encoding="utf-8")


@pytest.fixture
def write(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Path]:
    """Write files below a fresh working folder; return the relative path of the first one."""
    monkeypatch.chdir(tmp_path)

    def write_files(text: str | bytes, name: str = "spec.yaml") -> Path:
        path = Path(name)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return path

    return write_files


@pytest.fixture
def findings(write: Callable[..., Path]) -> Callable[[str | bytes], tuple[Finding, ...]]:
    """Load a spec text and return its findings, warnings included."""

    def load_text(text: str | bytes) -> tuple[Finding, ...]:
        try:
            return load(write(text)).warnings
        except SpecError as error:
            return error.findings

    return load_text
