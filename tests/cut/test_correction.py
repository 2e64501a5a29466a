"""Axes that are not true: corrected in the program, undone in the proof, read off a figure."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString

from cut_samples import MACHINE, RECIPE, STOCK, burnt, demo, lying, piece, rectangle
from kerfwave.cut import OutsideBed, all_coupons, axes_of, corrected, sheet_program, square_side_mm, verify
from kerfwave.cut.correction import drawn, is_true
from kerfwave.cut.placing import place
from kerfwave.writers.gcode import render
from rs274 import interpret

CROOKED = replace(MACHINE, axis_scale=(1.004, 0.997), skew_deg=-0.4)
scales = st.floats(0.97, 1.03)


def real(points, sx, sy, skew_deg):
    """What such a machine draws, written out by itself: x runs along its axis, y along one that leans."""
    lean = math.radians(skew_deg)
    return [(sx * x + sy * y * math.sin(lean), sy * y * math.cos(lean)) for x, y in points]


def test_true_axes_change_nothing():
    nest, pieces = demo()
    program = sheet_program(1, nest, pieces, RECIPE, MACHINE)
    assert is_true(MACHINE) and is_true(replace(MACHINE, axis_scale=(1.0, 1.0)))
    assert corrected(program, MACHINE) is program


@settings(max_examples=40)
@given(scales, scales, st.floats(-2, 2))
def test_what_is_told_draws_what_was_meant(sx, sy, skew):
    machine = replace(MACHINE, axis_scale=(sx, sy), skew_deg=skew)
    square = piece("a", rectangle(150, 150, 60, 40))
    program = sheet_program(1, lying(square), (square,), RECIPE, machine)
    told = corrected(program, machine)
    for meant, now in zip(program.contours[0].moves, told.contours[0].moves, strict=True):
        ((x, y),) = real([(now.x_mm, now.y_mm)], sx, sy, skew)
        assert math.dist((x, y), (meant.x_mm, meant.y_mm)) < 0.0008
        assert np.allclose(drawn(np.array([(now.x_mm, now.y_mm)]), machine), (x, y))
        assert not meant.kind.startswith("arc")


def test_a_crooked_machine_cuts_true_pieces():
    """The pieces rebuilt from the text by the tests' own interpreter, through a crooked machine of our own."""
    nest, pieces = demo()
    program = sheet_program(1, nest, pieces, RECIPE, CROOKED)
    text = render(corrected(program, CROOKED), CROOKED, RECIPE)
    checks = verify(text, pieces, nest.placements, RECIPE, CROOKED, 400, 400)
    assert all(c.level == "ok" for c in checks)
    lines = [LineString(real(line, 1.004, 0.997, -0.4)) for line in interpret(text).burns()]
    parts = list(shapely.get_parts(shapely.box(0, 0, 400, 400).difference(burnt(lines, 0.2))))
    for placement in nest.placements:
        shape = place(next(p for p in pieces if p.id == placement.piece), placement)
        cut = max(parts, key=lambda part: part.intersection(shape).area)
        reachable = shape.buffer(0.1, quad_segs=32).buffer(-0.1, quad_segs=32)
        assert shapely.hausdorff_distance(cut.boundary, reachable.boundary, densify=0.1) <= 0.02


def test_the_proof_notices_a_program_for_other_axes():
    nest, pieces = demo()
    program = sheet_program(1, nest, pieces, RECIPE, CROOKED)
    text = render(program, CROOKED, RECIPE)  # not corrected
    checks = verify(text, pieces, nest.placements, RECIPE, CROOKED, 400, 400)
    assert {"program-kerf", "program-passes"} & {c.id for c in checks if c.level == "fail"}


def test_a_correction_beyond_the_bed_is_refused():
    near = piece("a", rectangle(3, 300, 30, 30))
    machine = replace(MACHINE, skew_deg=2.0)
    with pytest.raises(OutsideBed, match=r"a: with the axes corrected"):
        corrected(sheet_program(1, lying(near), (near,), RECIPE, machine), machine)


@settings(max_examples=60)
@given(scales, scales, st.floats(-2, 2))
def test_the_figure_gives_the_axes_back(sx, sy, skew):
    side = 300.0
    a, b, c, d = real([(14, 14), (14 + side, 14), (14 + side, 14 + side), (14, 14 + side)], sx, sy, skew)
    found = axes_of(
        math.dist(a, b), math.dist(d, c), math.dist(a, d), math.dist(b, c), math.dist(a, c), math.dist(b, d),
        nominal_mm=side,
    )  # fmt: skip
    assert found[0] == pytest.approx((sx, sy), abs=1e-5) and found[1] == pytest.approx(skew, abs=1e-3)


def test_the_figure_is_drawn_where_its_reading_says():
    coupon = all_coupons(replace(CROOKED, bed_width_mm=250.0), STOCK, RECIPE)[0]
    side = square_side_mm(coupon)
    assert coupon.raw and side == 220.0 and "220 mm" in coupon.reading[1]
    crosses = [c for c in coupon.program.contours if c.piece.startswith("cross")]
    middles = {
        (round(sum(m.x_mm for m in c.moves) / 2, 6), round(sum(m.y_mm for m in c.moves) / 2, 6)) for c in crosses
    }
    assert middles == {(14.0, 14.0), (14.0 + side, 14.0), (14.0 + side, 14.0 + side), (14.0, 14.0 + side)}


@pytest.mark.parametrize(
    ("lengths", "words"),
    [
        ((300, 310, 300, 300, 424, 424), "AB and DC differ"),
        ((270, 270, 300, 300, 424, 424), "more than 5 %"),
        ((300, 300, 300, 300, 400, 400), "diagonals"),
    ],
)
def test_readings_that_cannot_be_are_refused(lengths, words):
    with pytest.raises(ValueError, match=words):
        axes_of(*lengths, nominal_mm=300)
