"""Rounded lips: the mouth's edges, tangent to face and guide, and nothing else."""

import math

import pytest
from shapely.geometry import LineString, Point
from shapely.ops import unary_union

from bodies import DRIVER, made, rectangle, trapezoid
from kerfwave.body import checks, measure, shapes
from kerfwave.body.lips import check_lips, flare_mm, with_lips
from kerfwave.body.slices import slices


@pytest.mark.parametrize(("plan", "stack"), [(trapezoid(186, 156, 212), "upright"), (rectangle(190, 230), "facing")])
def test_both_edges_of_the_mouth_are_round_and_the_rest_is_as_it_was(plan, stack):
    folded, before, rules, fold, _ = made(plan, stack=stack, pick=1)
    body = with_lips(folded, 3.0)
    lips = [p for p in body.air if p.kind == "mouth-lip"]
    assert len(lips) == 2 and check_lips(body, 3.0).level == "ok" and with_lips(folded, 3.0) == body
    cut = slices(body, "sheet")
    face = LineString(shapes.face_line(body.plan, fold.mouth.face))
    for old, new in zip(before.pieces, cut.pieces, strict=True):
        gone = shapes.polygon(old.outline, old.holes).difference(shapes.polygon(new.outline, new.holes))
        assert all(part.distance(face) < 0.06 for part in shapes.parts_of(gone, 1e-3))
        # A right-angled edge loses r^2 (1 - pi / 4); these lean by some degrees.
        assert gone.area <= 2 * 3.0**2 * (1 - math.pi / 4) * 1.5 + 0.3
    guide = unary_union([shapes.polygon(p.outline) for p in body.air if p.kind == "guide"])
    plain = guide.intersection(face).length
    open_ = unary_union([guide, *(shapes.polygon(p.outline) for p in lips)]).intersection(face).length
    assert plain + 2.0 < open_ <= plain + 2 * 3.0 / math.tan(math.radians(40))
    assert not checks.flood(body, cut, ("driver", "mouth", "terminal"))
    assert checks.flood(body, cut, ("driver", "terminal"))
    assert all(
        checks.narrowest_web_mm(shapes.polygon(p.outline, p.holes)) >= rules.least_web_mm - 0.11 for p in cut.pieces
    )
    assert measure.measured(body, cut, DRIVER).chamber_m3 == pytest.approx(
        measure.measured(folded, before, DRIVER).chamber_m3, rel=1e-6
    )


def test_a_radius_that_would_break_the_wall_is_made_smaller():
    folded, *_ = made(trapezoid(186, 156, 212), wall_mm=6.0, height=89.0, least_web_mm=2.9, pick=1)
    body = with_lips(folded, 20.0)
    for lip in (p for p in body.air if p.kind == "mouth-lip"):
        corners = [shapes.face_line(body.plan, f) for f in shapes.face_names(body.plan) if f != body.fold.mouth.face]
        assert min(LineString(c).distance(shapes.polygon(lip.outline)) for c in corners) >= 2.9 - 0.06
    assert with_lips(folded, 0.0) == folded
    assert check_lips(folded, 4.0).level == "warn"


@pytest.mark.parametrize("stack", ["upright", "facing"])
def test_the_mouth_flares_in_steps_but_the_outermost_layers_stay_whole(stack):
    """Walls of 12 in sheets of 3: of the four layers that close each end three may be cut back; 10 mm takes two."""
    folded, before, _, fold, counts = made(
        rectangle(200, 230), stack=stack, thickness=3.0, wall_mm=12.0, height=120.0, least_web_mm=3.0, pick=1
    )
    body = with_lips(folded, 10.0)
    flares = [p for p in body.air if p.name.startswith("mouth flare")]
    low, high = body.levels.storeys[-1]
    assert sorted(round(p.from_z_mm / 3.0) for p in flares) == [low - 2, low - 1, high, high + 1]
    assert low - 2 > 0 and high + 2 < counts.total
    face = LineString(shapes.face_line(body.plan, fold.mouth.face))
    duct = shapes.polygon(next(p for p in body.air if p.kind == "guide").outline)
    for flare in flares:
        above = min(abs(flare.from_z_mm - body.counts.z_mm[high]), abs(flare.to_z_mm - body.counts.z_mm[low]))
        shape = shapes.polygon(flare.outline)
        # Exact at the layer's middle: (r - x)^2 + (r - h)^2 = r^2.
        deep = max(face.distance(Point(corner)) for corner in flare.outline)
        assert (10.0 - deep) ** 2 + (10.0 - above - 1.5) ** 2 == pytest.approx(100.0, abs=1e-3)
        assert duct.buffer(1e-3).covers(shape)
    cut = slices(body, "sheet")
    assert not checks.flood(body, cut, ("driver", "mouth", "terminal"))
    assert "flares over 4 layers" in check_lips(body, 10.0).text
    changed = {new.layer for old, new in zip(before.pieces, cut.pieces, strict=True) if old != new}
    assert {1, counts.total}.isdisjoint(changed)
    real = (measure.measured(one, sliced, DRIVER).chamber_m3 for one, sliced in ((body, cut), (folded, before)))
    assert next(real) == pytest.approx(next(real), rel=1e-6)


def test_a_flare_is_a_quarter_of_a_circle():
    assert (flare_mm(8.0, 0.0), flare_mm(8.0, 8.0), flare_mm(8.0, 9.0)) == pytest.approx((8.0, 0.0, 0.0))
    assert flare_mm(10.0, 10.0 - math.sqrt(75.0)) == pytest.approx(5.0)
