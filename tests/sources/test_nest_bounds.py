"""Lower bounds on the number of sheets, against what is published of them.

Martello, Vigo 1998, "Exact solution of the two-dimensional finite bin packing problem", Management Science 44, 388-399:
the bound by area may be as low as a quarter of the sheets needed, and no lower (its worst case; recomputed here).
Fekete, Schepers 2001, "New classes of fast lower bounds for bin packing problems", Math. Programming 91, 11-31: the
functions u^(k), and by which items they beat the sum of sizes (recomputed here).
"""

from fractions import Fraction

import numpy as np
import pytest

from kerfwave.model.spec import SheetStock
from kerfwave.nest.areas import areas
from kerfwave.nest.bound import least_sheets
from kerfwave.nest.duals import counted, plain, stepped, without_small
from kerfwave.nest.items import Forms, item
from nest_samples import piece, rectangle


def least(sizes, side):
    sheets = areas((SheetStock(side, side, len(sizes)),), (side, side), 0.0)
    forms = Forms()
    pieces = [piece(f"p{k:03d}", rectangle(w, h)) for k, (w, h) in enumerate(sizes)]
    items = tuple(item(p, forms, sheets, 0.0, None) for p in pieces)
    return least_sheets(items, sheets, 0.0)


@pytest.mark.parametrize("count", [4, 8, 40])
def test_the_worst_case_of_the_bound_by_area(count):
    # Martello and Vigo (recomputed): squares of a hair more than half a side need a sheet each, by area a quarter.
    half = 50.001
    assert count * half**2 / 100.0**2 == pytest.approx(count / 4, rel=1e-4)
    assert least([(half, half)] * count, 100.0) == count
    # and of a hair less, four to a sheet: no bound may say more.
    assert least([(49.999, 49.999)] * count, 100.0) == count // 4


def share(f, size, capacity):
    return Fraction(int(f(np.array([size]))[0]), int(f(np.array([capacity]))[0]))


def test_values_of_the_functions():
    # u^(k) (Fekete and Schepers, definition; recomputed): x if (k + 1) x is whole, else floor((k + 1) x) / k.
    for k in range(1, 7):
        for size in range(85):
            x = Fraction(size, 84)
            wanted = x if ((k + 1) * x).denominator == 1 else Fraction(int((k + 1) * x), k)
            assert share(stepped(k, 84), size, 84) == wanted
    # U^(e) (the same): 1 above 1 - e, x from e on, 0 below e; e = 1/4.
    for size, wanted in ((20, 0), (21, Fraction(1, 4)), (50, Fraction(50, 84)), (63, Fraction(3, 4)), (64, 1)):
        assert share(without_small(21, 84), size, 84) == wanted
    # Sizes counted by e = 1/4: from it on a quarter up to a half, all but what they leave room for above.
    for size, wanted in ((20, 0), (21, Fraction(1, 4)), (41, Fraction(1, 4)), (42, Fraction(1, 2)), (64, 1)):
        assert share(counted(21, 84), size, 84) == wanted
    assert share(plain(), 42, 84) == Fraction(1, 2)


def test_items_of_a_hair_more_than_a_third():
    # Two to a bin, which u^(2) sees and the sum of sizes does not (Fekete and Schepers; recomputed): as strips across
    # the sheet, 12 need 6 sheets and come to 4 by area.
    strips = [(33.334, 100.0)] * 12
    assert sum(w * h for w, h in strips) / 100.0**2 == pytest.approx(4.0, rel=1e-4)
    assert least(strips, 100.0) == 6
