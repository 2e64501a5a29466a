"""Dowels: in wood everywhere, and no way for air."""

from dataclasses import replace

import pytest
from hypothesis import HealthCheck, Phase, example, given, settings
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import Polygon, box

from bodies import DRIVER, house, made, rectangle, trapezoid
from kerfwave.body import checks, measure, shapes
from kerfwave.body.dowels import check_dowels, check_registration
from kerfwave.body.fits import DOWEL_MM
from kerfwave.body.lips import with_lips
from kerfwave.body.slices import Slices
from kerfwave.body.wire import with_wire
from kerfwave.model.parts import Layer, Piece


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


PLANS = st.one_of(
    st.builds(trapezoid, st.integers(150, 230), st.integers(130, 200), st.integers(150, 230)),
    st.builds(house, st.integers(160, 220), st.integers(130, 180), st.integers(10, 60)),
)


@settings(max_examples=8, suppress_health_check=[HealthCheck.too_slow], phases=[Phase.explicit, Phase.generate])
@given(
    plan=PLANS,
    stack=st.sampled_from(["upright", "facing"]),
    recess=st.booleans(),
    corner=st.sampled_from([0.0, 5.0]),
    web=st.sampled_from([2.5, 3.0]),
)
@example(rectangle(200, 230), "upright", True, 0.0, 3.0)  # a collar makes the pocket two sheets deep
def test_no_dowel_is_nearer_to_anything_than_the_web(plan, stack, recess, corner, web):
    folded, *_ = made(plan, stack=stack, height=130.0, recess=recess, corner_mm=corner, least_web_mm=web, dowel_mm=3.0)
    body = with_lips(with_wire(folded, 2.2), 3.0)
    rim = shapes.polygon(body.skin).boundary
    holes = [p for p in body.air if p.kind == "dowel"]
    nearest = [
        Polygon(hole.outline).distance(shapes.polygon(p.outline, p.holes))
        for hole in holes
        for p in body.air
        if p is not hole and min(p.to_z_mm, hole.to_z_mm) - max(p.from_z_mm, hole.from_z_mm) > 1e-6
    ]
    nearest += [Polygon(hole.outline).distance(rim) for hole in holes]
    assert min(nearest, default=web) >= web - 1e-6
    check = check_dowels(body.air, body.skin, web)
    assert not holes or (check.level == "ok" and check.value == pytest.approx(min(nearest), abs=1e-3))


def test_a_dowel_too_near_to_an_edge_is_told():
    body, *_ = made(trapezoid(186, 156, 212), dowel_mm=3.0)
    seat = next(p for p in body.air if p.kind == "driver-seat")
    low = min(x for x, _ in seat.outline)
    moved = next(p for p in body.air if p.kind == "dowel")
    x, y = Polygon(moved.outline).centroid.coords[0]
    beside = affinity.translate(Polygon(moved.outline), low - 1.65 - 2.0 - x, 8.0 - y)
    air = (*(p for p in body.air if p.kind != "dowel"), replace(moved, outline=tuple(beside.exterior.coords[:-1])))
    check = check_dowels(air, body.skin, 3.0)
    assert check.level == "fail" and check.value is not None and check.value < 3.0


@pytest.mark.parametrize(("across", "level"), [(19.0, "ok"), (9.0, "fail")])
def test_an_island_is_held_by_what_it_has_above_and_below(across, level):
    """A separator that stands alone: 190 mm2 on either side hold it, 90 mm2 do not."""
    plate, island = box(0, 0, 100, 100), box(40, 40, 40 + across, 50)
    frame = plate.difference(box(20, 20, 80, 80))
    shape = {"L01": plate, "L02a": frame, "L02b": island, "L03a": frame, "L03b": island, "L04": plate}
    pieces = tuple(Piece(n, "layer", *shapes.rings_of(s), 4.0, layer=int(n[1:3])) for n, s in shape.items())
    layers = tuple(
        Layer(k, 4.0 * (k - 1), 4.0, "sheet", tuple(p.id for p in pieces if p.layer == k)) for k in range(1, 5)
    )
    check = checks._glue(Slices(layers, pieces))
    assert check.level == level, check.text
