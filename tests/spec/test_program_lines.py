import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from kerfwave.spec.program_lines import WORDS, problems

BED = (400.0, 300.0)


def _wrong(line: str, end: bool = False) -> list[str]:
    return [line[at : at + length] for at, length, _, _ in problems(line, end, BED, 6000.0)]


@pytest.mark.parametrize(
    "line",
    ["G21", "G90 G94 G17", "G21G90", "G0 X0 Y0", "G00 X10.5 Y300", "G1 X1 F600", "G4 P0.5", "G04 P1", "M5", "M05 S0",
     "G54", "M9", "M8", "G0 Z-5", "F6000", "X400 Y300"],
)  # fmt: skip
def test_lines_that_may_stand(line):
    assert _wrong(line) == []


@pytest.mark.parametrize("line", ["M2", "M30", "M5 M2"])
def test_the_end_of_a_program_only_at_its_end(line):
    assert _wrong(line, end=True) == []
    assert _wrong(line)


@pytest.mark.parametrize(
    ("line", "word"),
    [
        ("M3", "M3"), ("M4 S0", "M4"), ("M03", "M03"), ("M 3", "M 3"), ("G21M3", "M3"), ("G20", "G20"), ("G91", "G91"),
        ("G2 X1 Y1 I1", "G2"), ("G28", "G28"), ("G92 X0", "G92"), ("G0.1", "G0.1"), ("G38.2 Z-5", "G38.2"),
        ("S1", "S1"),
        ("S1000", "S1000"), ("X401", "X401"), ("Y-1", "Y-1"), ("Y301", "Y301"), ("Z101", "Z101"), ("F0", "F0"),
        ("F6001", "F6001"), ("P5", "P5"), ("G4 P100", "P100"), ("T1", "T1"), ("N10 G21", "N10"), ("g21", "g21"),
        ("G21 (hello)", "(hello)"),
        ("G21 ; M3", "; M3"), ("%", "%"), ("$H", "$H"), ("O100", "O100"), ("#1=3", "#1=3"),
        ("G", "G"), ("X", "X"), ("X1 X2", "X2"), ("G1e1", "G1e1"), ("X0x10", "X0x10"), ("M5\tM3", "M5\tM3"),
        ("M5\nM3", "M5\nM3"),
        ("Ｇ21", "Ｇ21"), ("X٣", "X٣"), ("X[1]", "X[1]"), ("G21  ?", "?"), ("/G21", "/G21"), ("*", "*"),
        ("M5*77", "M5*77"),
        ("G9999999", "G9999999"), ("X--1", "X--1"), ("!", "!"),
    ],
)  # fmt: skip
def test_words_that_may_not_stand(line, word):
    assert word in _wrong(line, end=True)


@given(st.text(alphabet="GMXYZFSPNOgm0123459.+- ;()%$#*\t\n", max_size=24), st.booleans())
@example("G21 M 3", False)
@example("M03", True)
def test_no_line_that_passes_can_switch_the_beam_on_or_change_units(line, end):
    """Read back by the letters alone, as a controller that skips spaces would."""
    if _wrong(line, end):
        return
    assert line.isascii()
    assert set(line) <= set("GMXYZFSP0123456789.+- ")
    packed = line.replace(" ", "")
    words = []
    for char in packed:
        if char.isalpha():
            words.append([char, ""])
        else:
            assert words
            words[-1][1] += char
    for letter, digits in words:
        value = float(digits)
        name = f"{letter}{value:g}" if letter in "GM" else letter
        assert name in WORDS
        assert not (letter == "S" and value)


def test_an_empty_line_is_harmless():
    assert _wrong("") == []
