"""The number of sheets that no layout beats: never more than a layout took, and as large as it should be."""

import itertools
import random
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from kerfwave.model.spec import KeepOut, SheetStock
from kerfwave.nest import bound as bounds
from kerfwave.nest import pack
from kerfwave.nest.areas import areas
from kerfwave.nest.bound import least_sheets
from kerfwave.nest.conflict import Solid, most_apart
from kerfwave.nest.duals import functions
from kerfwave.nest.items import Forms, angles, item
from nest_samples import disc, ell, hole, piece, rectangle, trapezoid
from nest_strategies import BED, jobs, offcuts


def proved(pieces, sheets, *, bed_mm=BED, margin_mm=0.0, spacing_mm=0.0, sheet_grain=None, turns="quarter"):
    """Return every bound by itself, so that none hides behind another."""
    sizes = areas(sheets, bed_mm, margin_mm)
    forms = Forms()
    items = tuple(
        item(p, forms, sizes, margin_mm, sheet_grain, angles(p) if turns == "any" else (0.0,)) for p in pieces
    )
    counts = tuple(min(a.count, len(items)) for a in sizes)
    windows = bounds._Windows(items, spacing_mm)
    found = [least_sheets(items, sizes, spacing_mm)]
    for kept in bounds._sets(items, windows):
        solids = bounds._solids(kept, windows)
        ways = (bounds._by_area, bounds._by_rectangles, bounds._by_lines, bounds._by_pairs)
        found += [way(solids, sizes, counts, spacing_mm) for way in ways]
    return found


@given(jobs(), st.lists(offcuts(), max_size=2), st.sampled_from(["quarter", "quarter", "any"]))
@settings(max_examples=25)
def test_no_bound_exceeds_what_a_nest_took(job, odd, turns):
    pieces, sheets, rules = job
    sheets = (*odd, *sheets, SheetStock(390.0, 390.0, 20))
    nest = pack(pieces, sheets, **rules, effort=4, turns=turns)
    found = proved(pieces, sheets, **rules, turns=turns)
    assert max(found) == found[0] <= len(nest.sheets)
    assert nest.bound == found[0]


@pytest.mark.parametrize("capacity", [2, 7, 12, 24, 30])
def test_every_function_is_dual_feasible_for_any_room(capacity):
    """Superadditive, and so never falling: what fits into a room still does, into any part of it."""
    sizes = np.arange(capacity + 1)
    for f in functions(range(1, capacity + 1), capacity):
        image = f(sizes)
        assert image[0] == 0 and image[capacity] > 0
        for a in range(capacity + 1):
            b = np.arange(capacity + 1 - a)
            assert (image[a] + image[b] <= image[a + b]).all()


def rectangles(sizes):
    return tuple(piece(f"r{k:02d}", rectangle(float(w), float(h))) for k, (w, h) in enumerate(sizes))


def packable(sizes, width, height):
    """Whether rectangles fit a sheet, quarter turns allowed: every corner at a sum of sides, all tried (exact)."""

    def sums(limit):
        found = {0}
        for w, h in sizes:
            found |= {v + s for v in found for s in (w, h) if v + s < limit} | found
        return sorted(found)

    xs, ys = sums(width), sums(height)

    def place(k, there):
        if k == len(sizes):
            return True
        for w, h in {sizes[k], sizes[k][::-1]}:
            for x, y in itertools.product(xs, ys):
                if x + w > width or y + h > height:
                    continue
                apart = all(x + w <= a or a + c <= x or y + h <= b or b + d <= y for a, b, c, d in there)
                if apart and place(k + 1, [*there, (x, y, w, h)]):
                    return True
        return False

    return sum(w * h for w, h in sizes) <= width * height and place(0, [])


def fewest(sizes, width, height):
    """Return the fewest sheets, by trying every way to share the rectangles out."""
    order = sorted(sizes, key=lambda s: -s[0] * s[1])
    for count in range(1, len(order) + 1):
        if shared(order, [[] for _ in range(count)], width, height):
            return count
    raise AssertionError("a rectangle fits no sheet")


def shared(left, sheets, width, height):
    if not left:
        return True
    for k, there in enumerate(sheets):
        more = [*sheets[:k], [*there, left[0]], *sheets[k + 1 :]]
        if packable(more[k], width, height) and shared(left[1:], more, width, height):
            return True
        if not there:
            return False
    return False


def test_small_cases_against_every_layout_there_is():
    dice = random.Random(4)
    met = 0
    for _ in range(25):
        sizes = [(dice.randint(20, 70), dice.randint(20, 70)) for _ in range(dice.randint(3, 5))]
        best = fewest(sizes, 80, 100)
        found = max(proved(rectangles(sizes), (SheetStock(80.0, 100.0, 9),)))
        assert found <= best
        met += found == best
    assert met >= 20


@pytest.mark.parametrize(
    ("pieces", "sheet", "rules", "least"),
    [
        # More than half of each side: one a sheet, and what is left of it takes none of the slim ones.
        (rectangles([(60, 60)] * 3 + [(45, 90)] * 2), (100.0, 100.0), {}, 4),
        # More than a third of each side: four to a sheet.
        (rectangles([(40, 40)] * 9), (100.0, 100.0), {}, 3),
        # A bay of 40 between limbs of 50: no two share a sheet, though their wood would.
        (tuple(piece(f"l{k}", ell(90.0, 90.0, 50.0)) for k in range(3)), (100.0, 100.0), {}, 3),
        # Frames whose windows take none of the others count as solid.
        (tuple(piece(f"f{k}", rectangle(60, 60), hole(50, 50, 5, 5)) for k in range(3)), (100.0, 100.0), {}, 3),
        # Trapezoids, half turns only: four to a sheet.
        (
            tuple(piece(f"t{k}", trapezoid(), grain="x") for k in range(12)),
            (390.0, 390.0),
            {"sheet_grain": "x", "spacing_mm": 2.0},
            3,
        ),
        # Discs whose middles can't be far enough apart.
        (tuple(piece(f"d{k}", disc(60.0)) for k in range(3)), (200.0, 200.0), {"turns": "any"}, 3),
    ],
)
def test_what_is_known_to_be_least(pieces, sheet, rules, least):
    assert max(proved(pieces, (SheetStock(*sheet, 9),), **rules)) == least


def test_pieces_that_fit_each_others_windows_do_not_count_as_solid():
    frame, core = piece("frame", rectangle(90, 90), hole(70, 70, 10, 10)), piece("core", rectangle(60, 60))
    assert max(proved((frame, core), (SheetStock(100.0, 100.0, 9),))) == 1
    wide = piece("core", rectangle(69, 69))
    assert max(proved((frame, wide), (SheetStock(100.0, 100.0, 9),), spacing_mm=2.0)) == 2


def test_small_sheets_and_outlines_hold_less():
    squares = rectangles([(60, 60)] * 4)
    large, small = SheetStock(130.0, 130.0, 1), SheetStock(70.0, 130.0, 9)
    assert max(proved(squares, (SheetStock(130.0, 130.0, 9),))) == 1
    assert max(proved(squares * 1, (small,))) == 2
    more = rectangles([(60, 60)] * 8)
    assert max(proved(more, (large, small))) == 3  # 4 + 2 + 2
    half = SheetStock(130.0, 130.0, 9, outline_mm=((0.0, 0.0), (130.0, 0.0), (0.0, 130.0)))
    assert max(proved(squares[:1] * 1 + more[1:3], (half,))) >= 2
    knot = KeepOut("rectangle", "knot", 0.0, 0.0, width_mm=130.0, height_mm=70.0)
    assert max(proved(squares, (SheetStock(130.0, 130.0, 9, keep_out=(knot,)),))) >= 2


def test_pairs_apart_are_found_by_the_no_fit_polygon_alone():
    """Crosses whose boxes overlap wherever they lie; what forbids them to share a sheet is no rectangle in them."""
    arm = 24.0
    low = (100.0 - arm) / 2
    cross = Polygon(rectangle(100.0, arm, 0.0, low)).union(Polygon(rectangle(arm, 100.0, low, 0.0)))
    outline = tuple(cross.normalize().exterior.coords[:-1])[::-1]

    def apart(side):
        sizes = areas((SheetStock(side, side, 3),), (400.0, 400.0), 0.0)
        one = item(piece("a", outline), Forms(), sizes, 0.0, None)
        return most_apart((Solid(one, cross, 3),), sizes, 2.0)

    assert apart(120.0) == 3
    assert apart(170.0) == 1  # an arm of one in a corner of the other: 100 + 62 + 2


def test_as_shares_the_bound_is_that_of_dual_feasible_functions():
    # Worked by hand: 7 x 6 of 10 x 10 is whole by whole, 4 x 4 is a half by a half if sizes above a third count a half.
    images = [Fraction(int(f(np.array([4]))[0]), int(f(np.array([10]))[0])) for f in functions([4], 10)]
    assert images[0] == Fraction(2, 5)
    assert images[2] == Fraction(1, 2)  # u^(2)
    assert max(images) == Fraction(1, 2)
