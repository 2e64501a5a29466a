"""The interpreter of the tests must itself refuse what RS274 refuses; blocks after NISTIR 6556, sections 3.3 to 3.6."""

import math

import pytest

from rs274 import Rs274Error, interpret

HEAD = "G17 G21 G90 G94\n"


def test_half_circle_counter_clockwise():
    run = interpret(HEAD + "m3 s500\ng1 x10 y0 f100\ng3 x-10 y0 i-10 j0\nm5\nm2\n")
    points = run.strokes[-1].points
    assert all(math.hypot(*p) == pytest.approx(10, abs=1e-9) for p in points)
    assert min(p[1] for p in points) >= 0
    assert max(p[1] for p in points) == pytest.approx(10, abs=0.001)
    assert run.ended and not run.lit


def test_clockwise_full_circle_when_the_end_is_the_start():
    run = interpret(HEAD + "G1 X1 F60\nG2 X1 Y0 I-1 J0\n")
    length = sum(math.dist(a, b) for a, b in zip(run.strokes[-1].points, run.strokes[-1].points[1:], strict=False))
    assert length == pytest.approx(2 * math.pi, rel=1e-3)
    assert run.strokes[-1].points[1][1] < 0


def test_inches_relative_and_blanks_within_words():
    run = interpret("G20 G91 G17 N10 F1\nG0 x +0. 12 34 y 7\nG1 X1\n")  # 3.3.2.4: "x +0. 12 34y 7" is legal
    assert run.strokes[0].points[-1] == pytest.approx((0.1234 * 25.4, 7 * 25.4))
    assert run.at == pytest.approx((1.1234 * 25.4, 7 * 25.4))
    assert run.strokes[1].feed == pytest.approx(25.4)


@pytest.mark.parametrize(
    "block",
    [
        "G0 G1 X1",
        "M3 M5",
        "G1",
        "G2 X1 Y1",
        "G2 X1 Y1 I5 J0 F100",
        "G1 X1",
        "G64 X1",
        "( never ends",
        "( one ( in another ) )",
        ") G1 X1",
        "X1 X2",
        "%",
        "G1 X1 F1 I1",
        "(caf\u00e9)",
    ],
)
def test_refuses(block):
    with pytest.raises(Rs274Error):
        interpret(HEAD + block + "\n")


def test_refuses_code_after_the_end():
    with pytest.raises(Rs274Error):
        interpret(HEAD + "M2\nG0 X1\n")
