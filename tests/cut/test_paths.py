import math
import re
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Point, Polygon

from cut_samples import MACHINE, RECIPE, STOCK, burnt, circle, demo, layout, lying, nested, piece, rectangle
from kerfwave.cut import KerfTooWide, OutsideBed, design, safe, sheet_program, verify
from kerfwave.cut.order import nearest_neighbour, total_um
from kerfwave.cut.placing import place
from kerfwave.writers.gcode import render
from rs274 import interpret


def programmed(nest, pieces, recipe=RECIPE, machine=MACHINE):
    program = sheet_program(1, nest, pieces, recipe, machine)
    return program, render(program, machine, recipe)


def fails(text, nest, pieces, recipe=RECIPE, machine=MACHINE):
    sheet = nest.sheets[0]
    checks = verify(text, pieces, nest.placements, recipe, machine, sheet.width_mm, sheet.height_mm)
    return {check.id for check in checks if check.level != "ok"}


# A layout is one number, so there is nothing for a failing case to be shrunk to.
@settings(max_examples=10, phases=[Phase.explicit, Phase.reuse, Phase.generate])
@given(
    st.integers(0, 2**32 - 1),
    st.sampled_from([(0.1, 1, 3, True), (0.2, 4, 3, True), (0.25, 2, 3, False), (0.2, 2, 4, True), (0.2, 2, 2, True)]),
)
def test_any_layout_is_cut_right(seed, how):
    """The package's own proof, the tests' own interpreter, order, passes and travel, on whatever is drawn."""
    nest, pieces = layout(seed)
    kerf, passes, decimals, arcs = how
    recipe, machine = replace(RECIPE, kerf_mm=kerf, passes=passes), replace(MACHINE, decimals=decimals, arcs=arcs)
    program, text = programmed(nest, pieces, recipe, machine)
    assert fails(text, nest, pieces, recipe, machine) == set()

    run = interpret(text)
    assert all(stroke.power == 0 for stroke in run.rapids()) and not run.lit and run.ended
    everything = np.array([p for stroke in run.strokes for p in stroke.points])
    assert everything.min() >= 0 and everything.max() <= 400
    assert arcs or not any(stroke.word in ("G2", "G3") for stroke in run.strokes)
    burns = run.burns()
    assert len(burns) == len(program.contours) == sum(1 + len(p.holes) for p in pieces)

    shapes = {p.piece: place(q, p) for p in nest.placements for q in pieces if q.id == p.piece}
    order = [(c.piece, c.kind) for c in program.contours]
    for name, shape in shapes.items():
        assert order.index((name, "outline")) > max((k for k, o in enumerate(order) if o == (name, "hole")), default=-1)
        for other, around in shapes.items():
            if other != name and any(Polygon(hole).contains(shape) for hole in around.interiors):
                loose = [
                    k
                    for k, contour in enumerate(program.contours)
                    if (contour.piece, contour.kind) == (other, "hole")
                    and LineString(burns[k]).convex_hull.contains(shape)
                ]
                assert loose and order.index((name, "outline")) < min(loose)

    assert program.cut_mm == pytest.approx(sum(c.length_mm for c in program.contours))
    assert sheet_program(1, nest, pieces, recipe, machine) == program
    assert sheet_program(1, replace(nest, placements=nest.placements[::-1]), pieces, recipe, machine) == program


def test_passes_run_on_without_lifting():
    nest, pieces = demo()
    program, _ = programmed(nest, pieces)
    for contour in program.contours:
        assert [move.kind == "rapid" for move in contour.moves] == [True] + [False] * (len(contour.moves) - 1)


def test_travel_is_no_longer_than_nearest_neighbour():
    nest, pieces = demo()
    program, _ = programmed(nest, pieces)
    entries = [np.array([(m.x_mm, m.y_mm) for m in c.moves[1:]]) for c in program.contours]
    naive = total_um(nearest_neighbour(entries, [None] * len(entries), np.zeros((1, 2))), entries, np.zeros((1, 2)))
    # Nearest neighbour may here ignore that children come first, and leads cost up to 2 mm a contour.
    assert program.travel_mm <= naive / 1000 * 1.05 + 4 * len(entries)


def test_leads_begin_in_the_waste_and_keep_off_every_piece():
    nest, pieces = demo()
    program, _ = programmed(nest, pieces)
    assert not program.notes
    shapes = {p.piece: place(q, p) for p in nest.placements for q in pieces if q.id == p.piece}
    for contour in program.contours:
        lead = LineString([(m.x_mm, m.y_mm) for m in contour.moves[:2]])
        assert 0.49 < lead.length < 2.01
        own = shapes[contour.piece]
        assert own.distance(lead) > 0.1 - 0.003
        assert own.distance(Point(lead.coords[0])) > 0.1 + lead.length / 4 - 0.003
        assert all(shape.distance(lead) > 0.3 for name, shape in shapes.items() if name != contour.piece)


def test_without_room_for_a_lead_the_beam_is_lit_on_the_line():
    tight = piece("L01a", circle(50, 50, 20), circle(50, 50, 0.4))
    program, text = programmed(lying(tight), (tight,))
    assert program.notes == ("No room for a lead-in, beam lit on the line: L01a, hole 1",)
    assert fails(text, lying(tight), (tight,)) == set()
    assert "(No room for a lead-in, beam lit on the line: L01a, hole 1)" in text


def test_the_last_pass_runs_past_its_start():
    square = piece("L01a", rectangle(50, 50, 30, 30))
    (contour,) = programmed(lying(square), (square,))[0].contours
    rounds = 3 * (4 * 30 + 2 * math.pi * 0.1)
    assert contour.length_mm == pytest.approx(rounds + 2.0 + 0.5, abs=0.01)


def test_neighbours_as_close_as_a_nest_allows():
    a, b = piece("a", rectangle(10, 10, 30, 30)), piece("b", rectangle(41, 10, 30, 30))
    nest = lying(a, b)
    program, text = programmed(nest, (a, b))
    assert fails(text, nest, (a, b)) == set()
    gap = Polygon(rectangle(40, 5, 1, 40))
    for contour in program.contours:
        start = contour.moves[0]
        assert not gap.contains(Point(start.x_mm, start.y_mm)) or len(contour.moves) > 2


def test_outside_the_sheet_or_the_bed_names_the_piece():
    low = piece("L07c", rectangle(0.05, 20, 30, 30))
    with pytest.raises(OutsideBed, match=r"L07c, outline.*sheet is 400 x 400"):
        sheet_program(1, lying(low), (low,), RECIPE, MACHINE)
    far = piece("L07d", rectangle(350, 20, 80, 30))
    with pytest.raises(OutsideBed, match=r"L07d.*bed is 400 x 400"):
        sheet_program(1, lying(far, width=600.0), (far,), RECIPE, MACHINE)
    edge = piece("L07e", rectangle(0.1, 0.1, 30, 30))
    _, text = programmed(lying(edge), (edge,))
    assert fails(text, lying(edge), (edge,)) == set()


def test_a_hole_that_the_kerf_swallows_names_the_piece():
    bad = piece("L02b", rectangle(10, 10, 30, 30), circle(20, 20, 5), circle(30, 30, 0.08, 0.001))
    with pytest.raises(KerfTooWide, match=r"L02b, hole 2.*0\.2 mm"):
        sheet_program(1, lying(bad), (bad,), RECIPE, MACHINE)


def test_an_empty_sheet_is_an_empty_program():
    program, text = programmed(nested(), ())
    assert program.contours == () and program.cut_mm == 0 and program.time_s == 0
    assert fails(text, nested(), ()) == set()


BREAKS = {
    "a rapid with the beam on": (lambda t: re.sub(r"M5 S0\n(G0 X\d)", r"\1", t), {"program-dark"}),
    "no end": (lambda t: t.replace("M2\n", ""), {"program-end"}),
    "lit at the end": (lambda t: t.replace("M5 S0\nM2", "M4 S5\nM2"), {"program-end"}),
    "other power": (lambda t: t.replace("S1000", "S900"), {"program-settings"}),
    "other feed": (lambda t: t.replace("F250", "F300"), {"program-settings"}),
    "off the bed": (lambda t: t.replace("G0 X0 Y0", "G0 X500 Y0"), {"program-inside"}),
    "a word nobody knows": (lambda t: t.replace("M2\n", "G38.2 X1\nM2\n"), {"program-read"}),
    "code after the end": (lambda t: t + "G0 X1\n", {"program-read"}),
    "an arc off its radius": (lambda t: re.sub(r" I-", " I-0", t, count=1).replace(" I", " I1", 1), {"program-read"}),
    "an accent": (lambda t: t.replace("contours", "cont\u00f6urs"), {"program-read"}),
}


@pytest.mark.parametrize("name", BREAKS)
def test_the_proof_notices(name):
    nest, pieces = layout(1)
    _, text = programmed(nest, pieces)
    spoil, expected = BREAKS[name]
    spoilt = spoil(text)
    assert spoilt != text
    assert expected <= fails(spoilt, nest, pieces)


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ({"passes": 2}, {"program-passes"}),
        ({"passes": 4}, {"program-passes"}),
        ({"kerf_mm": 0.26}, {"program-kerf", "program-passes"}),
        ({"kerf_mm": 0.14}, {"program-kerf", "program-passes"}),
    ],
)
def test_the_proof_notices_a_program_made_for_another_recipe(change, expected):
    nest, pieces = demo()
    _, text = programmed(nest, pieces, replace(RECIPE, **change))
    found = fails(text, nest, pieces)
    assert found and found <= expected | {"program-wood"}


def test_the_proof_notices_what_is_cut_through_and_what_is_forgotten():
    a, b = piece("a", rectangle(10, 10, 30, 30)), piece("b", rectangle(60, 10, 30, 30))
    _, text = programmed(lying(a), (a,))
    assert fails(text, lying(a, b), (a, b)) == {"program-passes"}
    over = piece("b", rectangle(20, 20, 90, 30))
    assert "program-wood" in fails(text, lying(a, over), (a, over))
    moved = replace(a, outline=rectangle(10.03, 10, 30, 30))
    assert "program-kerf" in fails(text, lying(moved), (moved,))


def test_the_proof_notices_a_notch_that_was_cut_straight_across():
    notched = ((10, 10), (40, 10), (40, 40), (26, 40), (26, 39), (25, 39), (25, 40), (10, 40))
    plain, real = piece("a", rectangle(10, 10, 30, 30)), piece("a", notched)
    _, text = programmed(lying(plain), (plain,))
    assert fails(text, lying(real), (real,))


def test_the_proof_warns_of_machine_lines_that_it_cannot_follow():
    machine = replace(MACHINE, start=("G92 X0 Y0",))
    square = piece("a", rectangle(10, 10, 30, 30))
    _, text = programmed(lying(square), (square,), machine=machine)
    checks = verify(text, (square,), lying(square).placements, RECIPE, machine, 400, 400)
    assert [(c.id, c.level) for c in checks if c.level != "ok"] == [("program-machine-lines", "warn")]


def test_coupons_are_safe_and_say_how_to_read_them():
    recipe = replace(RECIPE, passes=8, verified=False)
    passes, kerf = design(MACHINE, STOCK, recipe)
    for coupon in (passes, kerf):
        text = render(coupon.program, MACHINE, recipe)
        size = coupon.program.width_mm, coupon.program.height_mm
        assert all(c.level == "ok" for c in safe(text, MACHINE, *size))
        assert "UNVERIFIED" in text and max(size) < 200
        assert all(Polygon(p.outline).within(shapely.box(0, 0, *size)) for p in coupon.pieces)
    assert [p.id for p in passes.pieces] == [f"passes-{n}" for n in range(4, 13)]


def test_the_passes_coupon_cuts_each_square_as_often_as_it_says():
    recipe = replace(RECIPE, passes=8)
    coupon = design(MACHINE, STOCK, recipe)[0]
    text = render(coupon.program, MACHINE, recipe)
    burns = [line for line in interpret(text).burns() if LineString(line).length > 20]
    for square, burn in zip(coupon.pieces, burns, strict=True):
        edge = 40 + 2 * math.pi * 0.1
        assert LineString(burn).length // edge == int(square.id.split("-")[1])
    ticks = [c for c in coupon.program.contours if c.kind == "mark"]
    assert [sum(c.piece == p.id for c in ticks) for p in coupon.pieces] == list(range(1, 10))
    assert all(m.power <= 0.2 for c in ticks for m in c.moves)


@pytest.mark.parametrize("true_kerf", [0.12, 0.2, 0.31])
def test_the_kerf_coupon_measures_the_kerf(true_kerf):
    """Cut the coupon with a beam of another width than the recipe believes, and read it as it says."""
    coupon = design(MACHINE, STOCK, RECIPE)[1]
    burns = interpret(render(coupon.program, MACHINE, RECIPE)).burns()
    sheet = shapely.box(0, 0, coupon.program.width_mm, coupon.program.height_mm)
    parts = list(shapely.get_parts(sheet.difference(burnt([LineString(b) for b in burns], true_kerf))))
    strips = [p for p in parts if 200 < p.area < 310 and p.bounds[3] - p.bounds[1] > 20]
    assert len(strips) == 10
    together = sum(p.bounds[2] - p.bounds[0] for p in strips)
    assert (100 - together) / 10 == pytest.approx(true_kerf, abs=0.002)
    frame = max(parts, key=lambda p: p.area)
    window = max((Polygon(r) for r in frame.interiors), key=lambda p: p.area)
    gap = window.bounds[2] - window.bounds[0] - together
    assert gap / 11 == pytest.approx(true_kerf, abs=0.002)
    assert "gap / 11" in coupon.reading[0] and "from 100 mm and divide by 10" in coupon.reading[1]
    assert not any(c in "()%" for line in coupon.reading for c in line)
    (plate,) = [p for p in parts if len(p.interiors) == 3]
    wide = sorted(2 * math.sqrt(Polygon(r).area / math.pi) for r in plate.interiors)
    assert wide == pytest.approx([d + true_kerf - RECIPE.kerf_mm for d in (2, 3, 5)], abs=0.02)


def test_a_bed_too_small_for_a_coupon():
    with pytest.raises(OutsideBed, match="coupon"):
        design(replace(MACHINE, bed_width_mm=30.0, bed_height_mm=30.0), STOCK, RECIPE)
    small = design(replace(MACHINE, bed_width_mm=90.0, bed_height_mm=90.0), STOCK, replace(RECIPE, passes=8))
    assert [len(c.pieces) for c in small] == [9, 8]
