"""A driver's measured response: read where it is plain, refused with its line where it is not."""

from pathlib import Path

import pytest

from kerfwave.findings import SpecError
from kerfwave.model.spec import DriverCurve
from kerfwave.spec import load

GOOD = "# hertz, decibels\n100 80\n1000 81\n5000 80.5\n12000 74\n"


@pytest.fixture
def load_with(minimal, write):
    def load_it(text, name="drivers/measured.txt", line=""):
        write(text, "specs/drivers/measured.txt")
        return load(write(minimal.replace("  qes: 0.70", f"  qes: 0.70\n  response_file: {name}{line}")))

    return load_it


def refused(load_with, *arguments):
    with pytest.raises(SpecError) as caught:
        load_with(*arguments)
    (finding,) = caught.value.findings
    return finding


def test_a_plain_file_is_read_and_counted_among_the_files(load_with):
    loaded = load_with(GOOD)
    assert loaded.spec.driver_curve == DriverCurve((100.0, 1000.0, 5000.0, 12000.0), (80.0, 81.0, 80.5, 74.0))
    assert Path("specs/drivers/measured.txt") in loaded.files
    assert loaded.spec.driver.response_file == "drivers/measured.txt"


def test_no_file_no_curve(minimal, write):
    assert load(write(minimal)).spec.driver_curve is None


@pytest.mark.parametrize(
    ("text", "line", "says"),
    [
        ("100 80\n1000 loud\n9000 70\n", 2, "'loud'"),
        ("100 80\n2000 81\n1000 80\n9000 70\n", 3, "below a higher frequency"),
        ("100 80\n1000 81\n1000 82\n9000 70\n", 3, "stands in line 2 already"),
        ("100 80\n1000 81\n9000\n", 3, "are needed"),
        ("100 80\n1000 81\n1500 80\n", 1, "it goes from 100 to 1500 Hz"),
        ("2000 80\n9000 81\n", 1, "it goes from 2000 to 9000 Hz"),
        ("100 80\n9000 9999\n", 2, "a level of 9999 dB"),
        ("0 80\n9000 81\n", 1, "0 Hz"),
        ("nothing here", 1, "no row of numbers"),
        ("", 1, "no row of numbers"),
        ("100 80\n9000 nan\n", 2, "finite"),
    ],
)
def test_what_cannot_be_used_is_told_with_its_line(load_with, text, line, says):
    finding = refused(load_with, text)
    assert (finding.code, finding.file, finding.line) == ("K304", "specs/drivers/measured.txt", line)
    assert says in finding.message
    assert finding.hint


@pytest.mark.parametrize(
    ("name", "code"),
    [
        ("../measured.txt", "K302"),
        ("/etc/passwd", "K302"),
        ("drivers/../../x.txt", "K302"),
        ("drivers/measured.yaml", "K302"),
        ("stock/measured.txt", "K302"),
        ("drivers/mesured.txt", "K301"),
    ],
)
def test_the_name_stays_on_the_shelf(load_with, name, code):
    finding = refused(load_with, GOOD, name)
    assert finding.code == code
    assert finding.file == "spec.yaml"
    assert finding.hint.startswith("drivers/")


def test_a_link_out_of_the_shelf_is_refused(load_with, tmp_path):
    load_with(GOOD)
    (tmp_path / "secret.txt").write_text(GOOD)
    (tmp_path / "specs/drivers/link.txt").symlink_to(tmp_path / "secret.txt")
    assert refused(load_with, GOOD, "drivers/link.txt").code == "K302"


def test_tolerances_and_the_amplifier(minimal, write):
    text = minimal.replace("  qes: 0.70", "  qes: 0.70\n  tolerance_percent: {fs: 5}")
    loaded = load(write(text.replace("target:", "drive: {volts: 2, most_volts: 8}\ntarget:")))
    assert (loaded.spec.driver.tolerance_percent.fs, loaded.spec.driver.tolerance_percent.vas) == (5.0, 15.0)
    assert loaded.spec.drive.most_volts == 8.0
    with pytest.raises(SpecError, match="more than most_volts"):
        load(write(minimal.replace("target:", "drive: {volts: 3, most_volts: 2.5}\ntarget:")))
