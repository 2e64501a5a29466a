"""What comes before what, heat, passes by sheet, focus, odd sheets."""

from collections import Counter
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Polygon

from cut_samples import MACHINE, RECIPE, demo, layout, lying, piece, rectangle
from kerfwave.cut import sheet_job, sheet_program, verify
from kerfwave.cut.heat import DETOUR, hot_pairs, spread
from kerfwave.cut.order import nearest_neighbour, total_um, tour
from kerfwave.cut.placing import place
from kerfwave.cut.precedence import precedence
from kerfwave.cut.settings import focus_depths_mm, settings_of
from kerfwave.writers.gcode import render, rendered
from rs274 import interpret

HOME = np.zeros((1, 2))


@st.composite
def problems(draw, most=16):
    """Clusters of points; any contour may have to wait for several others."""
    count = draw(st.integers(2, most))
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    entries = [rng.uniform(0, 300, 2) + rng.uniform(-15, 15, (rng.integers(1, 5), 2)) for _ in range(count)]
    # To higher indices only: no cycles.
    later = [tuple(j for j in range(i + 1, count) if rng.random() < 2 / count) for i in range(count)]
    shuffle = rng.permutation(count)
    back = np.argsort(shuffle)
    return [entries[i] for i in shuffle], [tuple(int(back[j]) for j in later[i]) for i in shuffle]


def legal(visits, later):
    at = {c: k for k, (c, _) in enumerate(visits)}
    return all(at[c] < at[p] for c, those in enumerate(later) for p in those)


@settings(max_examples=30)
@given(problems())
def test_several_may_have_to_come_later(problem):
    entries, later = problem
    found = tour(entries, later)
    assert sorted(c for c, _ in found) == list(range(len(entries)))
    assert legal(found, later) and tour(entries, later) == found
    assert total_um(found, entries, HOME) <= total_um(nearest_neighbour(entries, later, HOME), entries, HOME)


@settings(max_examples=30)
@given(problems(), st.integers(0, 2**32 - 1))
def test_heat_is_spread_within_the_detour_and_the_rules(problem, seed):
    entries, later = problem
    rng = np.random.default_rng(seed)
    pairs = [(i, j) for i in range(len(entries)) for j in range(i) if rng.random() < 0.3]
    hot = frozenset([*pairs, *((j, i) for i, j in pairs)])
    before = tour(entries, later)
    after = spread(before, entries, later, hot)
    assert sorted(after) == sorted(before) and legal(after, later)
    assert hot_pairs(after, hot) <= hot_pairs(before, hot)
    was, now = total_um(before, entries, HOME), total_um(after, entries, HOME)
    assert now <= was * (1 + DETOUR) + 2 * len(entries)  # rounding of each way to a micrometre
    assert spread(before, entries, later, hot) == after


def test_a_row_of_neighbours_is_not_cut_in_a_row_where_the_way_is_long():
    entries = [np.array([p]) for p in ((500.0, 0.0), (500.5, 0.0), (501.0, 0.0), (0.0, 200.0))]
    hot = frozenset({(0, 1), (1, 0)})
    before = ((0, 0), (1, 0), (2, 0), (3, 0))
    after = spread(before, entries, [()] * 4, hot)
    assert hot_pairs(before, hot) == 1 and hot_pairs(after, hot) == 0


def order_of(pieces, machine=MACHINE):
    return [(c.piece, c.kind) for c in sheet_program(1, lying(*pieces), pieces, RECIPE, machine).contours]


def test_small_comes_before_a_large_neighbour_even_if_it_is_further_off():
    large, small = piece("large", rectangle(10, 10, 100, 60)), piece("small", rectangle(113, 40, 22, 22))
    assert order_of((large, small)) == [("small", "outline"), ("large", "outline")]
    # A quarter and more of its size: both orders are fair.
    even = piece("small", rectangle(113, 10, 60, 60))
    shapes = [Polygon(large.outline), Polygon(even.outline)]
    assert precedence([(0, None), (1, None)], shapes, [False, False]) == [(), ()]


def test_what_needs_bridges_comes_before_any_larger_neighbour():
    strip, plate = piece("strip", rectangle(50, 10, 90, 8)), piece("plate", rectangle(10, 10, 36, 36))
    shapes = [Polygon(strip.outline), Polygon(plate.outline)]
    assert precedence([(0, None), (1, None)], shapes, [True, False]) == [(1,), ()]
    assert precedence([(0, None), (1, None)], shapes, [False, False]) == [(), ()]
    assert order_of((strip, plate)) == [("strip", "outline"), ("plate", "outline")]


@settings(max_examples=25)
@given(st.integers(0, 2**32 - 1), st.booleans())
def test_the_rules_never_go_round_in_a_circle(seed, fragile):
    nest, pieces = layout(seed)
    by_id = {p.id: p for p in pieces}
    shapes = [place(by_id[q.piece], q) for q in nest.placements]
    lines = [(k, h) for k, s in enumerate(shapes) for h in (*range(len(s.interiors)), None)]
    rng = np.random.default_rng(seed)
    later = precedence(lines, shapes, [fragile and bool(rng.random() < 0.5) for _ in shapes])
    waiting = Counter(p for those in later for p in those)
    free = [i for i in range(len(lines)) if not waiting[i]]
    done = 0
    while free:
        done += 1
        for p in later[free.pop()]:
            waiting[p] -= 1
            if not waiting[p]:
                free.append(p)
    assert done == len(lines)


def test_passes_by_sheet_go_round_the_whole_sheet():
    nest, pieces = demo()
    recipe = replace(settings_of(RECIPE), pass_order="sheet")
    job = sheet_job(1, nest, pieces, recipe, MACHINE)
    once = sheet_program(1, nest, pieces, RECIPE, MACHINE).contours
    assert [(c.piece, c.kind) for c in job.program.contours] == 3 * [(c.piece, c.kind) for c in once]
    assert job.labels[0].endswith("pass 1") and job.labels[-1] == "outline, pass 3"
    text = render(job.program, MACHINE, recipe)
    assert all(c.level == "ok" for c in verify(text, pieces, nest.placements, recipe, MACHINE, 400, 400))
    assert len(interpret(text).burns()) == 3 * len(once)


HEAD = replace(MACHINE, focus_axis=True)
DEEPER = replace(settings_of(RECIPE), focus_offset_mm=0.5, focus_step_mm=0.8)


@pytest.mark.parametrize("order", ["contour", "sheet"])
def test_the_focus_goes_down_with_every_pass(order):
    nest, pieces = demo()
    recipe = replace(DEEPER, pass_order=order)
    job = sheet_job(1, nest, pieces, recipe, HEAD)
    assert sorted(set(job.depths_mm)) == [0.5, 1.3, 2.1]
    text = rendered(job.program, HEAD, recipe, job.depths_mm).text
    checks = verify(text, pieces, nest.placements, recipe, HEAD, 400, 400)
    assert all(c.level == "ok" for c in checks) and any(c.id == "program-focus" for c in checks)
    lines = [line for line in text.splitlines() if not line.startswith("(")]
    assert lines.count("G0 Z-0.5") == lines.count("G0 Z-2.1") == len(job.depths_mm) // 3
    assert all(a == "M5 S0" for a, b in pairwise(lines) if b.startswith("G0 Z"))
    assert lines[-5:] == ["M5 S0", "G0 Z0", "G0 X0 Y0", "M5 S0", "M2"]
    assert interpret(text).ended


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("G0 Z-1.3", "G0 Z-1.4", "program-focus"),
        ("G0 Z-1.3\nM5 S0\n", "", "program-focus"),
        ("M5 S0\nG0 Z-1.3", "M4 S5\nG0 Z-1.3", "program-read"),
    ],
)
def test_the_proof_notices_another_focus(old, new, expected):
    ring = piece("a", rectangle(10, 10, 60, 60), rectangle(30, 30, 20, 20))
    job = sheet_job(1, lying(ring), (ring,), DEEPER, HEAD)
    text = rendered(job.program, HEAD, DEEPER, job.depths_mm).text
    assert old in text
    checks = verify(text.replace(old, new, 1), (ring,), lying(ring).placements, DEEPER, HEAD, 400, 400)
    assert expected in {c.id for c in checks if c.level == "fail"}


def test_z_means_nothing_to_a_head_that_stays():
    ring = piece("a", rectangle(10, 10, 60, 60), rectangle(30, 30, 20, 20))
    assert focus_depths_mm(DEEPER, MACHINE, 3) == () == focus_depths_mm(RECIPE, HEAD, 3)
    job = sheet_job(1, lying(ring), (ring,), DEEPER, MACHINE)
    assert job.depths_mm == () and any("0.5 mm below" in note for note in job.program.notes)
    text = render(job.program, MACHINE, RECIPE).replace("M5 S0\nG0 X", "M5 S0\nG0 Z-1\nG0 X", 1)
    checks = verify(text, (ring,), lying(ring).placements, RECIPE, MACHINE, 400, 400)
    assert "program-read" in {c.id for c in checks if c.level == "fail"}


def test_without_room_for_a_lead_the_beam_is_lit_at_a_corner():
    """A slot so narrow that no lead fits, with its first points in the middle of a side."""
    slot = ((20, 20), (25, 20), (30, 20), (35, 20), (35, 20.5), (28, 20.5), (20, 20.5))
    plate = piece("a", rectangle(10, 10, 40, 40), slot)
    program = sheet_program(1, lying(plate), (plate,), RECIPE, MACHINE)
    (hole,) = [c for c in program.contours if c.kind == "hole"]
    assert any("hole 1" in note for note in program.notes)
    start = hole.moves[0]
    assert min(np.hypot(start.x_mm - x, start.y_mm - y) for x in (20.1, 34.9) for y in (20.1, 20.4)) < 0.01


def test_leads_stay_on_an_odd_sheet_and_off_what_is_kept_out():
    square = piece("a", rectangle(40, 40, 40, 40))
    nest = lying(square)
    odd = rectangle(38.5, 38.5, 43, 200)  # 1.5 mm of wood on three sides
    magnet = ("magnet", rectangle(50, 81.5, 20, 20), 1.0)
    job = sheet_job(1, nest, (square,), RECIPE, MACHINE, outline=odd, keep_out=(magnet,))
    text = render(job.program, MACHINE, RECIPE)
    (burn,) = interpret(text).burns()
    assert Polygon(odd).covers(LineString(burn))
    assert Polygon(magnet[1]).distance(LineString(burn)) > 1.0
    how = {"outline": odd, "keep_out": (magnet,)}
    checks = verify(text, (square,), nest.placements, RECIPE, MACHINE, 400, 400, **how)
    assert {c.id: c.level for c in checks}["program-clear"] == "ok"
    for wrong in ({"outline": rectangle(39.95, 0, 100, 100)}, {"keep_out": (("clamp", magnet[1], 1.6),)}):
        checks = verify(text, (square,), nest.placements, RECIPE, MACHINE, 400, 400, **wrong)
        assert {c.id: c.level for c in checks}["program-clear"] == "fail"
