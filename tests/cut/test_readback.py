"""The reader behind the proof, held against RS274 (NISTIR 6556, sections 3.5 to 3.8) and against plane geometry."""

import math
import random

import numpy as np
import pytest

from kerfwave.cut.readback import read
from rs274 import interpret

HEAD = "G17 G21 G90 G94\n"


def one(text, **more):
    """Return the last motion of a program that must be understood."""
    reading = read(HEAD + text + "\nM5\nM2\n", **more)
    assert reading.faults == ()
    return reading.motions[-1]


def faults(text, **more):
    return [fault.split(": ", 1)[1] for fault in read(HEAD + text + "\nM2\n", **more).faults]


# --- arcs -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("block", "quarters", "way"),
    [
        ("G3 X0 Y10 I-10 J0", 1, 1),
        ("G3 X-10 Y0 I-10", 2, 1),
        ("G3 X0 Y-10 I-10 J0", 3, 1),
        ("G3 X10 Y0 I-10 J0", 4, 1),
        ("G2 X0 Y-10 I-10 J0", 1, -1),
        ("G2 X-10 Y0 I-10 J0", 2, -1),
        ("G2 X0 Y10 I-10", 3, -1),
        ("G2 X10 Y0 I-10 J0", 4, -1),
    ],
)
def test_an_arc_is_walked_on_its_circle_and_the_way_it_says(block, quarters, way):
    points = one(f"G0 X10 Y0\nM4 S5\nF100\n{block}").points
    assert np.hypot(*points.T) == pytest.approx(np.full(len(points), 10.0), abs=1e-9)
    turns = np.diff(np.unwrap(np.arctan2(points[:, 1], points[:, 0])))
    assert (way * turns > 0).all()
    assert turns.sum() == pytest.approx(way * quarters * math.pi / 2)
    # A chord of the angle t lies r (1 - cos t/2) inside its arc; all are alike, and none more than needed.
    sagitta = 10 * (1 - np.cos(turns / 2))
    assert sagitta.max() <= 0.002 and sagitta.min() > 0.001


@pytest.mark.parametrize("radius", [0.0005, 0.01, 0.5, 200.0])
def test_chords_lie_close_to_any_circle(radius):
    points = one(f"F100\nG3 X0 Y0 I{radius}").points
    chords = np.hypot(*np.diff(points, axis=0).T)
    assert (radius - np.sqrt(np.maximum(0.0, radius**2 - chords**2 / 4))).max() <= max(0.0020001, radius)
    assert points[0].tolist() == points[-1].tolist() == [0.0, 0.0]
    assert np.hypot(points[:, 0] - radius, points[:, 1]) == pytest.approx(np.full(len(points), radius))


def test_a_circle_about_a_centre_beside_both_axes():
    points = one("G0 X7 Y6\nF100\nG2 X-1 Y0 I-4 J-3").points  # centre (3, 3), radius 5 from both ends
    assert np.hypot(points[:, 0] - 3, points[:, 1] - 3) == pytest.approx(np.full(len(points), 5.0))
    assert points[0].tolist() == [7.0, 6.0] and points[-1].tolist() == [-1.0, 0.0]


def test_the_radius_at_the_end_may_differ_by_two_thousandths():  # section 3.5.3.2: 0.002 mm
    assert faults("F100\nG3 X0 Y20.0019 J10") == []
    assert faults("F100\nG3 X0 Y20.0021 J10") == ["an arc whose end is not as far from its centre as its start"]
    assert faults("F100\nG3 X0 Y19.9979 J10") == ["an arc whose end is not as far from its centre as its start"]


# --- words ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("F100\nG2 X1 Y1", "an arc without its centre"),
        ("F100\nG1 X1 I1", "a centre on a straight move"),
        ("F100\nG0 X1 J1", "a centre on a straight move"),
        ("G1 X1", "a feed move before any F word"),
        ("F0\nG1 X1", "a feed move before any F word"),
        ("G3 X2 I1", "a feed move before any F word"),
        ("G18", "not understood: G18"),
        ("G1.5 X1", "not understood: G1.5 X1"),
        ("M6", "not understood: M6"),
        ("P1", "not understood: P1"),
        ("Z1", "not understood: Z1"),
        ("G28", "not understood: G28"),
        ("X1 = 2", "not understood: X1 = 2"),
        ("(open", "a parenthesis without its partner"),
        ("shut)", "a parenthesis without its partner"),
        ("( one ( in another ) )", "a parenthesis without its partner"),
        ("(caf\u00e9)", "a character that is not printable ASCII"),
        ("M2\nG0 X1", "code after the end of the program"),
        ("M30\n(words)\nM5", "code after the end of the program"),
    ],
)
def test_what_is_wrong_is_told(text, fault):
    assert fault in faults(text)


@pytest.mark.parametrize(
    "text",
    [
        "N10 G0 X1",
        "G4 P0.5",
        "M7",
        "M8",
        "M9",
        "G0 X1 ; an ; aside",
        "(words) G0 (more) X1",
        "G0 x1 y 2",
        "G0X.5Y+1.",
        "",
    ],
)
def test_what_is_right_is_no_fault(text):
    assert faults(text) == []


def test_a_fault_names_its_line():
    assert read("G0 X1\nG18\nG0 X2\n").faults == ("line 2: not understood: G18",)
    assert [m.line for m in read("\nG0 X1\n\n(words)\nX2\n").motions] == [2, 5]


def test_a_program_begins_dark_at_the_origin_in_millimetres():
    reading = read("M4\nG1 X3 F60\n")
    (move,) = reading.motions
    assert move.points.tolist() == [[0, 0], [3, 0]]
    assert (move.power, move.feed_mm_min, move.depth_mm, move.rapid) == (0, 60, 0, False)
    assert not reading.ended and not reading.lit_at_end
    assert read("X1\n").motions[0].rapid  # no motion word yet: a rapid, which must then be dark


def test_words_stay_in_force():
    reading = read("M3 S9\nG1 X1 F60\nY1\nM5\nX2\nM4\nX3\nS0\nX4\nG0\nX5\n")
    assert [m.power for m in reading.motions] == [9, 9, 0, 9, 0, 0]
    assert [m.rapid for m in reading.motions] == [False] * 5 + [True]
    assert [m.feed_mm_min for m in reading.motions] == [60.0] * 6
    assert reading.motions[-1].points.tolist() == [[4, 1], [5, 1]]


def test_lit_at_the_end_needs_both_words():
    ends = {"M4 S5": True, "M3 S5": True, "M5 S5": False, "M4 S0": False, "M4 S5\nM5": False, "S5": False}
    for words, lit in ends.items():
        assert read(f"{words}\nM2\n").lit_at_end is lit
    assert read("M2\n").ended and read("M30\n").ended and not read("M5\n").ended


def test_machine_lines_may_hold_what_nobody_knows():
    reading = read("g92 x0\nG0 X1\nG93\n", (" G92 X0 ",))
    assert reading.unknown == ("G92 X0",)
    assert reading.faults == ("line 3: not understood: G93",)
    assert read("G21\n", ("G21",)).unknown == ()


# --- a head that moves, a home --------------------------------------------------------------------------------------


def test_the_focus_goes_down_with_z():
    assert one("G0 Z-1.5\nX1", focus=True).depth_mm == 1.5
    assert one("G91\nZ-1\nZ-0.5\nG90\nG0 X1", focus=True).depth_mm == 1.5
    assert one("G91\nZ-1\nG90\nZ-0.5\nG0 X1", focus=True).depth_mm == 0.5
    assert one("G20\nG0 Z-0.1\nX1", focus=True).depth_mm == pytest.approx(2.54)
    assert one("G20 G91\nG0 Z-0.1\nZ-0.1\nX1", focus=True).depth_mm == pytest.approx(5.08)


@pytest.mark.parametrize("words", ["Z-1", "G28"])
def test_the_head_neither_lifts_nor_goes_home_while_lit(words):
    known = {"focus": True, "home": True}
    assert len(faults(f"M4 S0.5\n{words}", **known)) == 1
    assert faults(f"S5\n{words}", **known) == []
    assert faults(f"M4 S0\n{words}", **known) == []


def test_an_arc_about_its_own_start_is_a_point():
    assert not one("F1 G2 X0 Y0 I0 J0").points.any()


def test_from_home_a_beam_without_power_is_dark():
    assert faults("G28\nM4 S0\nG0 X1 Y1", home=True) == []


def test_from_home_the_way_goes_to_a_whole_place_in_the_dark():
    said = ["from home the program must go to a whole place, beam off"]
    assert faults("G28\nG0 X5 Y6\nX7", home=True) == []
    for wrong in ("G0 X5", "G0 Y6", "G91\nG0 X5 Y6", "F9\nG1 X5 Y6", "M4 S5\nG0 X5 Y6"):
        assert faults(f"G28\n{wrong}\nG90 X7 Y7", home=True) == said
    assert one("G0 X1 Y1\nG28\nG0 X5 Y6", home=True).points.tolist() == [[5, 6], [5, 6]]


# --- beside the interpreter of the tests, which shares nothing with it ----------------------------------------------


@pytest.mark.parametrize("seed", range(8))
def test_both_readers_read_the_same(seed):
    draw = random.Random(seed)
    lines, absolute = ["G17 G21 G90 G94 F300"], True
    for _ in range(60):
        kind = draw.choice(("G0", "G1", "G1", "G2", "G3", "unit", "way", "beam", "feed"))
        if kind == "unit":
            lines.append(draw.choice(("G20", "G21")))
        elif kind == "way":
            absolute = draw.random() < 0.5
            lines.append("G90" if absolute else "G91")
        elif kind == "beam":
            lines.append(f"{draw.choice(('M3', 'M4', 'M5'))} S{draw.randrange(900)}")
        elif kind == "feed":
            lines.append(f"F{draw.randrange(50, 3000)}")
        elif kind in ("G0", "G1"):
            lines.append(f"{kind} X{draw.uniform(-9, 9):.3f} Y{draw.uniform(-9, 9):.3f}")
        else:  # half a circle from here, so that the end is as far from the centre as the start is
            i, j = round(draw.uniform(-5, 5), 2), round(draw.uniform(1, 5), 2)
            lines += ["G91", f"{kind} X{2 * i:.2f} Y{2 * j:.2f} I{i:.2f} J{j:.2f}", "G90" if absolute else "G91"]
    text = "\n".join([*lines, "M5", "M2"]) + "\n"
    mine, theirs = read(text), interpret(text)
    assert mine.faults == () and mine.ended
    assert len(mine.motions) == len(theirs.strokes)
    for one_, other in zip(mine.motions, theirs.strokes, strict=True):
        assert one_.points[0] == pytest.approx(other.points[0], abs=1e-6)
        assert one_.points[-1] == pytest.approx(other.points[-1], abs=1e-6)
        assert one_.rapid == (other.word == "G0")
        assert one_.power == pytest.approx(other.power)
        assert one_.rapid or one_.feed_mm_min == pytest.approx(other.feed)
        length = sum(math.dist(a, b) for a, b in zip(other.points, other.points[1:], strict=False))
        assert np.hypot(*np.diff(one_.points, axis=0).T).sum() == pytest.approx(length, rel=2e-3, abs=1e-6)


def test_a_centre_straight_above_or_beside_needs_one_word():
    """NISTIR 6556, 3.5.3.2: of I and J one may be left out, and is zero then."""
    for bare, whole in (("G3 X0 Y20 J10", "G3 X0 Y20 I0 J10"), ("G3 X-20 Y0 I-10", "G3 X-20 Y0 I-10 J0")):
        assert np.allclose(one(f"G0 X0 Y0\nF100\n{bare}").points, one(f"G0 X0 Y0\nF100\n{whole}").points, atol=1e-12)


@pytest.mark.parametrize(("said", "lit"), [("M3 S1", True), ("M3 S0.5", True), ("M3 S0", False), ("M5 S1", False)])
def test_any_power_at_all_is_a_beam_left_on(said, lit):
    """A power scale may end at 1."""
    assert read(HEAD + f"G0 X1 Y1\n{said}\nM2\n").lit_at_end is lit
