"""Programs written by hand round one square, whose beam runs where plane geometry says, and a little off."""

import numpy as np

from cut_samples import RECIPE, piece, rectangle
from kerfwave.cut.follow import runs_of
from kerfwave.cut.readback import Motion, read

HEAD = "G21 G90 G94 G17\nM5 S0\n"
END = "M5 S0\nG0 X0 Y0\nM2\n"
SQUARE = piece("a", rectangle(10, 10, 30, 30))
HALF = RECIPE.kerf_mm / 2


def lap(half=HALF):
    """Once round the square, counter-clockwise, `half` outside it; round each corner on an arc."""
    h = half
    return (
        f"G1 X{10 - h:.4f} Y10\nG3 X10 Y{10 - h:.4f} I{h:.4f} J0\nG1 X40\nG3 X{40 + h:.4f} Y10 I0 J{h:.4f}\n"
        f"G1 Y40\nG3 X40 Y{40 + h:.4f} I-{h:.4f} J0\nG1 X10\nG3 X{10 - h:.4f} Y40 I0 J-{h:.4f}\nG1 Y25\n"
    )


def cut(half=HALF, laps=3, power="1000", feed="250", more=""):
    """Lead in from the waste on the left, run round, and stop where it began."""
    lead = f"G0 X5 Y25\nM4 S{power} F{feed}\nG1 X{10 - half:.4f}\n"
    return HEAD + lead + lap(half) * laps + more + END


def moved(power, feed):
    return Motion(1, False, np.array([[0.0, 0.0], [1.0, 0.0]]), power, feed, 0.5)


def run_of(text):
    return runs_of(read(text).motions)
