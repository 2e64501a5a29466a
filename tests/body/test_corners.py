"""Rounded and chamfered corners."""

import math

import pytest
from shapely.geometry import Point

from bodies import DRIVER, made, rectangle, trapezoid
from kerfwave.body import checks, measure, shapes

BOX = ((0.0, 0.0), (100.0, 0.0), (100.0, 80.0), (0.0, 80.0))


def test_areas_by_hand():
    """Rounding by r takes (4 - pi) r^2 off a rectangle, a bevel between the same points 4 r^2 / 2."""
    assert shapes.with_corners(BOX, "round", 0.0) == BOX
    rounded = shapes.polygon(shapes.with_corners(BOX, "round", 6.0))
    assert rounded.area == pytest.approx(8000 - (4 - math.pi) * 36, abs=0.4)
    chamfered = shapes.polygon(shapes.with_corners(BOX, "chamfer", 6.0))
    assert chamfered.area == pytest.approx(8000 - 4 * 6 * 6 / 2, abs=1e-3)
    for shape in (rounded, chamfered):
        assert shape.bounds == pytest.approx((0, 0, 100, 80), abs=1e-5)


@pytest.mark.parametrize("kind", ["round", "chamfer"])
@pytest.mark.parametrize("plan", [trapezoid(186, 156, 212), rectangle(190, 220)])
def test_corners_change_the_wood_and_not_the_sound(kind, plan):
    body, cut, rules, _, counts = made(plan, corner_mm=6.0, wall_mm=6.0, corner=kind)
    sharp, sharp_cut, *_ = made(plan, wall_mm=6.0)
    for x, y in plan.outline:
        assert not any(
            shapes.polygon(p.outline).buffer(-0.01).covers(Point(x, y)) for p in cut.pieces if p.layer is not None
        )
    assert measure.measured(body, cut, DRIVER).chamber_m3 == pytest.approx(
        measure.measured(sharp, sharp_cut, DRIVER).chamber_m3, rel=1e-7
    )
    assert not checks.flood(body, cut, ("driver", "mouth", "terminal"))
    area = sum(shapes.polygon(p.outline, p.holes).area for p in cut.pieces)
    assert area < sum(shapes.polygon(p.outline, p.holes).area for p in sharp_cut.pieces)
    assert counts.total == len(cut.layers) and rules.corner_mm == 6.0
