"""The bench's coupons, read back by the tests' own interpreter and by the package's proof."""

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from shapely import STRtree
from shapely.geometry import LineString, Polygon, box

from cut_samples import MACHINE, RECIPE, STOCK
from kerfwave.cut import OutsideBed, all_coupons, corrected, safe
from kerfwave.cut.testcuts import field_coupon, focus_coupon
from kerfwave.model.strokes import KNOWN, strokes, width_mm
from kerfwave.writers.gcode import render
from rs274 import interpret

HEAD = replace(MACHINE, focus_axis=True)


@pytest.mark.parametrize("machine", [MACHINE, HEAD, replace(HEAD, arcs=False, decimals=2, skew_deg=0.2)])
@pytest.mark.parametrize("passes", [1, 2, 8])
def test_every_coupon_is_safe_and_says_how_to_read_it(machine, passes):
    recipe = replace(RECIPE, passes=passes, verified=False)
    coupons = all_coupons(machine, STOCK, recipe)
    names = [c.program.name for c in coupons]
    ladder = ["coupon-focus"] if machine.focus_axis else []
    assert names == ["coupon-square", *ladder, "coupon-field", "coupon-passes", "coupon-kerf"]
    for coupon in coupons:
        program = coupon.program
        own = replace(machine, skew_deg=0.0) if coupon.raw else machine
        text = render(corrected(program, own), own, recipe, coupon.depths_mm)
        assert all(c.level == "ok" for c in safe(text, own, program.width_mm, program.height_mm))
        run = interpret(text)
        assert run.ended and not run.lit and all(s.power == 0 for s in run.rapids())
        assert coupon.reading and not any(c in "()%" for line in coupon.reading for c in line)
        assert all(len(row) == len(coupon.columns) for row in coupon.rows)
        assert all(Polygon(p.outline).within(box(0, 0, program.width_mm, program.height_mm)) for p in coupon.pieces)


@pytest.mark.parametrize("passes", [1, 3, 8])
def test_each_square_of_the_field_is_cut_as_its_place_says(passes):
    recipe = replace(RECIPE, passes=passes, power_percent=90.0)
    coupon = field_coupon(MACHINE, STOCK, recipe)
    run = interpret(render(coupon.program, MACHINE, recipe))
    lanes = [(p.id, Polygon(p.outline).buffer(0.11).boundary.buffer(0.03)) for p in coupon.pieces]
    tree = STRtree([lane for _, lane in lanes])
    lines = [(s, LineString(s.points)) for s in run.strokes if s.power > 0]
    which, lane = tree.query([line for _, line in lines], predicate="covered_by")
    cuts = {}
    for k, n in zip(which.tolist(), lane.tolist(), strict=True):
        stroke, line = lines[k]
        cuts.setdefault(lanes[n][0], []).append((stroke.power, stroke.feed, line.length))
    tries = len({name.split("-")[2] for name in cuts})
    assert tries == min(3, passes + 1)
    assert len(cuts) == len(coupon.pieces) == len(coupon.rows) * (len(coupon.columns) - 1) * tries
    energies = []
    for name, found in cuts.items():
        power, feed, count = (float(part[1:]) for part in name.split("-"))
        assert {(p, f) for p, f, _ in found} == {(power * 10, feed)}
        assert sum(length for *_, length in found) // (4 * 6 + 2 * np.pi * 0.1) == count
        energies.append(power * count / feed)
    assert energies == sorted(energies)  # the least comes first
    # What stands beside rows and over columns is what is cut there.
    assert {float(row[0]) for row in coupon.rows} == {float(n.split("-")[0][1:]) for n in cuts}
    assert {c.split()[0] for c in coupon.columns[1:]} == {n.split("-")[1][1:] for n in cuts}
    counts = {n.split("-")[2][1:] for n in cuts}
    assert str(passes) in counts and all(str(int(n)) in coupon.reading[0] for n in counts)


def test_marks_come_first_and_are_faint():
    program = field_coupon(MACHINE, STOCK, RECIPE).program
    kinds = [c.kind for c in program.contours]
    assert kinds == sorted(kinds, key=lambda kind: kind != "mark") and "mark" in kinds
    assert max(m.power for c in program.contours if c.kind == "mark" for m in c.moves) == pytest.approx(0.2)


def test_the_ladder_has_each_depth_once():
    coupon = focus_coupon(HEAD, STOCK, RECIPE)
    lines = [
        (c, d) for c, d in zip(coupon.program.contours, coupon.depths_mm, strict=True) if c.piece.startswith("depth")
    ]
    assert [d for _, d in lines] == [-2, -1.5, -1, -0.5, 0, 0.5, 1, 1.5, 2]
    text = render(coupon.program, HEAD, RECIPE, coupon.depths_mm)
    assert Counter(line for line in text.splitlines() if line.startswith("G0 Z"))["G0 Z-1.5"] == 1
    assert [float(row[0]) for row in coupon.rows] == [d for _, d in lines]


def test_strokes_stay_in_their_box():
    for char in KNOWN:
        for line in strokes(char, (10.0, 20.0), 3.0):
            xy = np.array(line)
            assert xy.min(axis=0)[0] >= 10 and xy.max(axis=0)[0] <= 10 + width_mm(char, 3.0) + 1e-9
            assert xy.min(axis=0)[1] >= 20 and xy.max(axis=0)[1] <= 23 + 1e-9
    assert strokes("~", (0, 0), 3.0) == () and width_mm("", 3.0) == 0
    drawn = [strokes(char, (0, 0), 6.0) for char in sorted(KNOWN - {" "})]
    assert len(set(drawn)) == len(drawn)


def test_a_bed_too_small_for_a_coupon():
    with pytest.raises(OutsideBed, match="coupon-square"):
        all_coupons(replace(MACHINE, bed_width_mm=80.0), STOCK, RECIPE)
