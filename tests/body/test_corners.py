"""Rounded and chamfered corners."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import MultiPolygon, Point, Polygon

from bodies import DRIVER, made, rectangle, trapezoid
from kerfwave.body import checks, measure, shapes
from kerfwave.body.rules import body_rules
from kerfwave.body.search import all_folds
from kerfwave.model.spec import Enclosure, Plan

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


def test_what_a_rounded_corner_takes_from_a_face():
    """A quarter circle takes its radius; a sharper corner takes more, a reflex one nothing."""
    assert shapes.corner_lengths(rectangle(200, 220), "front", 5.0) == pytest.approx((5.0, 5.0))
    notch = Plan("polygon", ((-50, 0), (50, 0), (50, 80), (0, 40), (-50, 80)), ("front", "b", "c", "d", "e"))
    sharp, reflex = shapes.corner_lengths(notch, "c", 5.0)
    assert reflex == 0.0
    assert sharp == pytest.approx(5.0 / math.tan(math.atan2(50, 40) / 2))


@pytest.mark.parametrize("kind", ["round", "chamfer"])
def test_the_mouth_keeps_clear_of_a_rounded_corner(kind):
    plan = rectangle(200, 220)
    enclosure = Enclosure(plan=plan, height_mm=90, wall_mm=12, corner=kind, corner_mm=12)
    rules = body_rules(enclosure, DRIVER, 6.3)
    found = all_folds(plan, rules, least_duct_mm=16, step_mm=12, most_lanes=3).folds
    assert found
    for one in found:
        width = one.runs[-1].width_out_mm
        a, b = shapes.face_line(plan, one.mouth.face)
        assert 12 + width / 2 - 1e-6 <= one.mouth.along_mm <= math.dist(a, b) - 12 - width / 2 + 1e-6


@settings(max_examples=40, deadline=None)
@given(st.floats(0.05, 0.95), st.integers(3, 9), st.floats(20, 80))
def test_a_convex_room_is_measured_as_any_other(share, corners, radius):
    """The same strip of the same room, once as a convex polygon and once as any shape."""
    at = [math.tau * i / corners for i in range(corners)]
    room = Polygon([(radius * math.cos(a), radius * math.sin(a)) for a in at])
    u0, v0, u1, v1 = room.bounds
    low = v0 + share * (v1 - v0) * 0.7
    high = low + 0.2 * (v1 - v0)
    fast = shapes.free_stretches(room, u0, u1, low, high)
    slow = shapes.free_stretches(MultiPolygon([room]), u0, u1, low, high)
    assert len(fast) == len(slow)
    for one, other in zip(fast, slow, strict=True):
        assert one == pytest.approx(other, abs=1e-4)
