"""Invented drivers, plans and bodies for the tests of the body's rooms."""

from __future__ import annotations

import functools

import pytest
from shapely.geometry import Polygon
from shapely.ops import unary_union

from kerfwave.body import air, checks, shapes
from kerfwave.body.fold import Fold
from kerfwave.body.insets import insets
from kerfwave.body.rules import BodyRules, LayerCount, body_rules, layer_counts
from kerfwave.body.search import all_folds
from kerfwave.body.slices import Slices, air_of_layer, slices
from kerfwave.body.splitting import Rooms
from kerfwave.model.parts import Check
from kerfwave.model.spec import Driver, Enclosure, Plan, Terminals

DRIVER = Driver(
    name="invented",
    fs_hz=105,
    sd_cm2=22,
    re_ohm=3.6,
    frame_mm=74,
    cutout_mm=60,
    bolt_circle_mm=67,
    depth_mm=38,
    xmax_mm=3,
    power_w=10,
    qms=3.0,
    qes=0.7,
    vas_l=1.0,
    displacement_cm3=30,
)


def trapezoid(front: float, back: float, depth: float) -> Plan:
    outline = ((-front / 2, 0.0), (front / 2, 0.0), (back / 2, depth), (-back / 2, depth))
    return Plan("trapezoid", outline, ("front", "right", "back", "left"))


def rectangle(width: float, depth: float) -> Plan:
    plan = trapezoid(width, width, depth)
    return Plan("rectangle", plan.outline, plan.faces)


def house(width: float, depth: float, gable: float) -> Plan:
    """Return a pentagon: a rectangle with a gable at the back."""
    x = width / 2
    outline = ((-x, 0.0), (x, 0.0), (x, depth), (0.0, depth + gable), (-x, depth))
    return Plan("polygon", outline, ("front", "right", "right gable", "left gable", "left"))


def square_room(side_mm: float) -> tuple[Rooms, ...]:
    """Return the room on sheet and bed for splitting: one kind of sheet, square."""
    return (((side_mm, side_mm),),)


@functools.lru_cache(maxsize=32)  # values do not change; a test of repeatability calls `made.__wrapped__`
def made(
    plan: Plan,
    *,
    stack: str = "upright",
    height: float = 100.0,
    thickness: float = 6.3,
    pick: int = 0,
    taper: float = 1.0,
    **rules: float,
) -> tuple[air.Body, Slices, BodyRules, Fold, LayerCount]:
    """Build one of the folds of a plan, sliced. `pick` wraps around."""
    enclosure = Enclosure(plan=plan, height_mm=height, stack=stack, **rules)  # type: ignore[arg-type]
    derived = body_rules(enclosure, DRIVER, thickness)
    folds = all_folds(plan, derived, least_duct_mm=14.0, step_mm=12.0, most_lanes=4, tapers=(taper, 1.0)).folds
    assert folds, "this plan should fold"
    chosen = folds[pick % len(folds)]
    counts = layer_counts(derived, DRIVER, height)[-1]
    body = air.body(plan, derived, DRIVER, counts, chosen)
    return body, slices(body, "sheet"), derived, chosen, counts


def assert_filled(body: air.Body, cut: Slices, outline: Polygon, *, within_mm2: float = 1e-6) -> None:
    """Assert that in every layer pieces and air lie clear of each other and fill the outline."""
    wood = {p.id: shapes.polygon(p.outline, p.holes) for p in cut.pieces}
    for layer in cut.layers:
        solid = unary_union([wood[name] for name in layer.pieces])
        hollow = air_of_layer(body.air, layer.z_mm, layer.z_mm + layer.thickness_mm).intersection(outline)
        assert sum(wood[name].area for name in layer.pieces) == pytest.approx(solid.area, abs=within_mm2)
        assert solid.area + hollow.area == pytest.approx(outline.area, abs=within_mm2)
        assert solid.intersection(hollow).area < within_mm2


def failures(body: air.Body, cut: Slices) -> list[Check]:
    """Return the design checks that fail: leaks, openings that nothing reaches, loose wood, thin webs."""
    found = checks.check_body(body, cut, insets(body, DRIVER, Terminals()), DRIVER)
    return [check for check in found if check.level == "fail"]
