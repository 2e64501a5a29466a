"""Every code has a sample that earns it, and exactly the text a person has looked at."""

import importlib.util
from pathlib import Path
from types import ModuleType

import pytest

from kerfwave.findings import CODES, SpecError, render
from kerfwave.spec import load

HERE = Path(__file__).parent
EXPECTED = HERE / "fixtures" / "expected"


def _samples() -> ModuleType:
    spec = importlib.util.spec_from_file_location("kerfwave_spec_samples", HERE / "samples.py")
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


SAMPLES = _samples()


def _sample(code: str, minimal: str) -> str | bytes:
    if code in SAMPLES.WHOLE:
        return SAMPLES.WHOLE[code]
    text = minimal
    for old, new in SAMPLES.EDITS.get(code, ()):
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text


def _prepare(code: str, minimal: str, write) -> Path:
    if code == "K101":
        return Path("missing.yaml")
    driver = minimal[minimal.index("driver:") : minimal.index("target:")]
    if code == "K304":
        write("20 80\n1000 81\n500 80\n8000 79\n", "specs/drivers/measured.txt")
        return write(minimal.replace("  qes: 0.70", "  qes: 0.70\n  response_file: drivers/measured.txt"))
    if code in SAMPLES.SHELF:
        name = "../driver.yaml" if code == "K302" else "drivers/invented-3inch.yaml"
        if code == "K301":
            write("name: another\n", "specs/drivers/invented-3-inch.yaml")
        return write(minimal.replace(driver, f"driver: {name}\n"))
    return write(_sample(code, minimal))


def test_the_samples_cover_all_codes():
    assert sorted(CODES) == sorted({*SAMPLES.EDITS, *SAMPLES.WHOLE, *SAMPLES.SHELF, "K101"})
    assert sorted(CODES) == sorted(path.stem for path in EXPECTED.glob("*.txt"))


@pytest.mark.parametrize("code", sorted(CODES))
def test_a_sample_earns_its_code_and_reads_as_it_should(code, minimal, write):
    path = _prepare(code, minimal, write)
    try:
        found = load(path).warnings
    except SpecError as error:
        found = error.findings
    assert {finding.code for finding in found} == {code}
    expected = EXPECTED / f"{code}.txt"
    shown = render(found) + "\n"
    assert shown == expected.read_text(encoding="utf-8")
