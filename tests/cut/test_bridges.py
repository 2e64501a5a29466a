"""Bridges: who gets them, where they lie, that the beam leaves them in every pass, and that the proof sees it."""

import re
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Point, Polygon

from cut_samples import MACHINE, RECIPE, burnt, circle, layout, lying, piece, rectangle
from kerfwave.cut import sheet_program, verify
from kerfwave.cut.bridges import needed, width_mm
from kerfwave.cut.placing import place
from kerfwave.cut.settings import settings_of
from kerfwave.writers.gcode import render
from rs274 import interpret

WIDE = replace(MACHINE, support_gap_mm=25.0)  # wide enough that most pieces of a layout need bridges


def bridges_of(program):
    return sorted({(c.piece, point) for c in program.contours for point in c.bridges})


def checked(nest, pieces, recipe=RECIPE, machine=WIDE, spoil=lambda text: text, bridges=None):
    program = sheet_program(1, nest, pieces, recipe, machine)
    text = spoil(render(program, machine, recipe))
    held = bridges_of(program) if bridges is None else bridges
    checks = verify(text, pieces, nest.placements, recipe, machine, 400, 400, bridges=held)
    return program, text, {c.id for c in checks if c.level != "ok"}


@pytest.mark.parametrize(
    ("shape", "gap", "expected"),
    [
        (rectangle(0, 0, 60, 60), 29.9, False),
        (rectangle(0, 0, 60, 60), 30.1, True),
        (rectangle(0, 0, 200, 7), 5.0, True),  # a strip between slats
        (rectangle(0, 0, 9, 9), 1.0, True),  # so small that air moves it
        (rectangle(0, 0, 11, 11), 5.0, False),
    ],
)
def test_who_could_tip(shape, gap, expected):
    assert needed(Polygon(shape), gap) is expected


@given(st.floats(0, np.pi), st.floats(0, 1), st.floats(8, 60), st.floats(8, 60))
def test_whoever_gets_none_lies_on_supports_however_they_lie(angle, shift, width, height):
    """Slats at any angle and offset, 7 mm apart: the hull of what rests on them holds the centre of mass."""
    gap = 7.0
    shape = Polygon(rectangle(-width / 2, -height / 2, width, height))
    if needed(shape, gap):
        return
    cos, sin = np.cos(angle), np.sin(angle)
    slats = [
        LineString([(d * cos - 99 * sin, d * sin + 99 * cos), (d * cos + 99 * sin, d * sin - 99 * cos)])
        for d in (np.arange(-20, 20) + shift) * gap
    ]
    rests = shapely.union_all([shape.intersection(slat) for slat in slats]).convex_hull
    assert rests.distance(shape.centroid) < 1e-6


def test_a_bridge_is_wider_in_thicker_wood_and_for_a_wider_beam():
    assert [width_mm(t, 0.15) for t in (2.0, 4.0, 6.3, 18.0)] == [0.4, 0.4, 0.63, 1.2]
    assert width_mm(3.0, 0.5) == 1.0


@settings(max_examples=8, phases=[Phase.explicit, Phase.reuse, Phase.generate])
@given(
    st.integers(0, 2**32 - 1),
    st.sampled_from([(0.1, 1, 3, True), (0.2, 3, 3, True), (0.25, 2, 2, False)]),
    st.sampled_from(["contour", "sheet"]),
)
def test_any_layout_holds_by_two_bridges_a_piece(seed, how, order):
    """By the tests' own interpreter: freed of the rest but for the bridges, and of these by a knife."""
    nest, pieces = layout(seed)
    kerf, passes, decimals, arcs = how
    recipe = replace(settings_of(RECIPE), kerf_mm=kerf, passes=passes, pass_order=order)
    machine = replace(WIDE, decimals=decimals, arcs=arcs)
    program, text, bad = checked(nest, pieces, recipe, machine)
    assert bad == set()
    held = bridges_of(program)
    sheet = shapely.box(0, 0, 400, 400)
    wood = sheet.difference(burnt([LineString(line) for line in interpret(text, 0.004).burns()], kerf))
    parts = list(shapely.get_parts(wood))
    for p in pieces:
        shape = place(p, next(q for q in nest.placements if q.piece == p.id))
        mine = [point for name, point in held if name == p.id]
        assert len(mine) == (2 if needed(shape, 25.0) else 0)
        if not mine:
            continue
        (around,) = [part for part in parts if part.contains(shape.representative_point())]
        assert around.area > shape.area + 1  # it holds on to something
        for point in mine:
            spot = Point(point).buffer(0.9 * (width_mm(p.thickness_mm, kerf) + kerf) / 2)
            assert wood.intersection(spot).area > 0.3 * spot.area, (p.id, point)
        cutters = [Point(point).buffer(width_mm(p.thickness_mm, kerf) / 2 + kerf) for point in mine]
        knifed = shapely.get_parts(around.difference(shapely.union_all(cutters)))
        (freed,) = [part for part in knifed if part.contains(shape.representative_point())]
        assert freed.area <= shape.area + 0.0075 * shape.length + 0.05


def test_the_two_bridges_of_a_strip_are_at_its_ends():
    strip = piece("a", rectangle(20, 20, 180, 7))
    program, _, bad = checked(lying(strip), (strip,))
    (_, one), (_, other) = bridges_of(program)
    assert bad == set() and np.hypot(one[0] - other[0], one[1] - other[1]) > 170


def test_round_pieces_can_hold_on_too():
    disc = piece("a", circle(60, 60, 12))
    program, _, bad = checked(lying(disc), (disc,))
    assert len(bridges_of(program)) == 2 and bad == set()


def test_never_is_never():
    strip = piece("a", rectangle(20, 20, 180, 7))
    for recipe, machine in (
        (RECIPE, replace(WIDE, bridges="never")),
        (replace(settings_of(RECIPE), bridges="never"), WIDE),
    ):
        program, _, bad = checked(lying(strip), (strip,), recipe, machine)
        assert bridges_of(program) == [] and bad == set()
    asked = replace(settings_of(RECIPE), bridges="when-needed")
    program, _, _ = checked(lying(strip), (strip,), asked, replace(WIDE, bridges="never"))
    assert len(bridges_of(program)) == 2


def test_no_room_for_bridges_is_said():
    tiny = piece("a", circle(50, 50, 1.5))
    program, _, bad = checked(lying(tiny), (tiny,))
    assert bridges_of(program) == [] and bad == set()
    assert any("pin or tape a" in note for note in program.notes)


def _burn_first_bridge(text):
    return re.sub(r"M5 S0\n(G1 [XY][^\n]*)\nM4 S1000", r"\1", text, count=1)


def test_the_proof_notices_a_bridge_that_one_pass_burns():
    strip = piece("a", rectangle(20, 20, 180, 7))
    assert checked(lying(strip), (strip,), spoil=_burn_first_bridge)[2] == {"program-passes"}


def test_the_proof_notices_bridges_elsewhere_missing_or_unmeant():
    strip = piece("a", rectangle(20, 20, 180, 7))
    program, _, _ = checked(lying(strip), (strip,))
    there = bridges_of(program)
    moved = [("a", (there[0][1][0], there[0][1][1] + 1.0)), there[1]]
    for meant in ([], there[:1], [*there, ("a", (110.0, 19.9))], moved):
        assert "program-passes" in checked(lying(strip), (strip,), bridges=meant)[2], meant
    whole = replace(WIDE, bridges="never")
    plain = render(sheet_program(1, lying(strip), (strip,), RECIPE, whole), whole, RECIPE)
    checks = verify(plain, (strip,), lying(strip).placements, RECIPE, whole, 400, 400, bridges=there)
    assert "program-passes" in {c.id for c in checks if c.level != "ok"}


def test_the_proof_counts_passes_between_bridges():
    strip = piece("a", rectangle(20, 20, 180, 7))
    nest = lying(strip)
    held = bridges_of(sheet_program(1, nest, (strip,), RECIPE, WIDE))
    for passes in (2, 4):
        other = replace(RECIPE, passes=passes)
        text = render(sheet_program(1, nest, (strip,), other, WIDE), WIDE, other)
        checks = verify(text, (strip,), nest.placements, RECIPE, WIDE, 400, 400, bridges=held)
        assert "program-passes" in {c.id for c in checks if c.level != "ok"}


def test_no_bridge_hangs_on_the_very_edge_of_the_sheet():
    strip = piece("a", rectangle(0.4, 0.4, 180, 7))  # next to no waste on the left and below
    program, _, bad = checked(lying(strip), (strip,))
    assert bad == set()
    assert all(x > 0.9 and y > 0.9 for _, (x, y) in bridges_of(program)) and len(bridges_of(program)) == 2
