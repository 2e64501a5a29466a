"""Dowels: in wood everywhere, and no way for air."""

import pytest
from shapely.geometry import Polygon

from bodies import DRIVER, house, made, rectangle, trapezoid
from kerfwave.body import checks, measure, shapes
from kerfwave.body.dowels import check_registration
from kerfwave.body.fits import DOWEL_MM


@pytest.mark.parametrize(
    ("plan", "stack"),
    [(trapezoid(186, 156, 212), "upright"), (rectangle(190, 230), "facing"), (house(190, 170, 40), "upright")],
)
def test_dowels_stand_in_wood_and_change_nothing_else(plan, stack):
    body, cut, rules, _, counts = made(plan, stack=stack, dowel_mm=3.0)
    plain_body, plain_cut, *_ = made(plan, stack=stack)
    holes = [Polygon(p.outline) for p in body.air if p.kind == "dowel"]
    assert len(holes) >= 2
    for layer in cut.layers:
        if layer.index in (1, counts.total):
            continue  # these stay whole
        pieces = [shapes.polygon(p.outline, p.holes) for p in cut.pieces if p.id in layer.pieces]
        for hole in holes:
            ring = hole.buffer(rules.least_web_mm - 0.05).difference(hole)
            assert any(piece.buffer(1e-6).covers(ring) for piece in pieces)
    size = holes[0].bounds[2] - holes[0].bounds[0]
    assert size == pytest.approx(3.0 + DOWEL_MM["slide"], abs=1e-5)
    assert not checks.flood(body, cut, ("driver", "mouth", "terminal"))
    with_dowels, without = (measure.measured(b, c, DRIVER) for b, c in ((body, cut), (plain_body, plain_cut)))
    assert with_dowels.chamber_m3 == pytest.approx(without.chamber_m3, rel=1e-9)
    first, last = cut.pieces[0], cut.pieces[-1]
    assert not any(Polygon(h).area < 20 for h in (*first.holes, *last.holes)) or stack == "facing"


def test_what_is_not_held_is_named():
    body, cut, *_, counts = made(trapezoid(186, 156, 212), dowel_mm=3.0)
    good = check_registration(cut.pieces, body.air, counts.total)
    assert good.value is not None and good.limit is not None and good.value <= good.limit
    none = check_registration(cut.pieces, (), counts.total)
    assert none.level == "warn" and none.value == 0.0
    assert "L02" in none.text


def test_no_dowels_unless_asked_for():
    body, *_ = made(trapezoid(186, 156, 212))
    assert not [p for p in body.air if p.kind == "dowel"]
