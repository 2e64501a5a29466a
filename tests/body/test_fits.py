"""Named fits, and a recess for the driver's flange."""

from dataclasses import replace

import pytest
from shapely.geometry import Polygon
from shapely.ops import unary_union

from bodies import DRIVER, made, rectangle, trapezoid
from kerfwave.body import checks, measure, shapes
from kerfwave.body.fits import DOWEL_MM, FLANGE_MM, INSET_MM
from kerfwave.body.insets import insets
from kerfwave.body.recess import check_seat
from kerfwave.body.rules import body_rules, layer_counts
from kerfwave.body.slices import slices
from kerfwave.model.spec import Enclosure, Terminals

PLAN = trapezoid(186, 156, 212)


def size(ring):
    xs, ys = [x for x, _ in ring], [y for _, y in ring]
    return max(xs) - min(xs), max(ys) - min(ys)


@pytest.mark.parametrize("fit", ["press", "slide", "glue"])
def test_an_inset_is_its_seat_less_the_named_play_and_a_hole_its_dowel_and_more(fit):
    body, *_ = made(PLAN, inset_fit=fit, dowel_fit=fit, dowel_mm=3.0)
    ring, plate = insets(body, DRIVER, Terminals())
    for piece, kind in ((ring, "driver-seat"), (plate, "terminal-seat")):
        seat = next(p for p in body.air if p.kind == kind)
        along = Polygon(seat.outline).minimum_rotated_rectangle.exterior
        wide = max(along.length / 2 - (body.rules.thickness_mm + 0.05), 0.0)
        assert size(piece.outline) == pytest.approx(
            (wide - 2 * INSET_MM[fit], seat.to_z_mm - seat.from_z_mm - 2 * INSET_MM[fit]), abs=1e-3
        )
    hole = next(p for p in body.air if p.kind == "dowel")
    assert size(hole.outline)[0] == pytest.approx(3.0 + DOWEL_MM[fit], abs=1e-4)


def test_a_figure_of_ones_own_goes_before_the_name_and_the_old_default_is_glue():
    assert body_rules(Enclosure(plan=PLAN, height_mm=90), DRIVER, 6.3).fit_mm == 0.15
    assert body_rules(Enclosure(plan=PLAN, height_mm=90, fit_mm=0.4), DRIVER, 6.3).fit_mm == 0.4
    assert body_rules(Enclosure(plan=PLAN, height_mm=90, inset_fit="press"), DRIVER, 6.3).fit_mm == 0.0


def test_an_upright_recess_is_a_second_ring_in_a_deeper_pocket():
    body, _, rules, fold, counts = made(rectangle(200, 230), height=120.0, recess=True)
    t = rules.thickness_mm
    ring, collar, _ = insets(body, DRIVER, Terminals())
    assert collar.role == "driver-collar" and collar.outline == ring.outline
    assert size(collar.holes[0])[0] == pytest.approx(DRIVER.frame_mm + 2 * FLANGE_MM, abs=1e-4)
    assert checks.narrowest_web_mm(shapes.polygon(collar.outline, collar.holes)) >= rules.least_web_mm - 0.11
    seat = next(p for p in body.air if p.kind == "driver-seat")
    assert max(y for _, y in seat.outline) == pytest.approx(2 * t)
    assert rules.front_wall_mm >= 2 * t + 4.0
    cut = slices(body, "sheet")
    assert not checks.flood(body, cut, ("driver", "mouth", "terminal"))
    assert checks.flood(body, cut, ("mouth", "terminal"))
    real, promise = measure.measured(body, cut, DRIVER), measure.promised(fold, rules, counts, DRIVER)
    assert real.chamber_m3 == pytest.approx(promise.chamber_m3, rel=0.03)


def test_a_facing_recess_is_the_first_layer():
    body, _, rules, fold, counts = made(rectangle(190, 230), stack="facing", recess=True)
    assert counts.floor >= 2
    cut = slices(body, "sheet")
    holes = {
        index: max(size(h)[0] for p in cut.pieces if p.layer == index for h in p.holes) for index in (1, counts.floor)
    }
    assert holes[1] == pytest.approx(DRIVER.frame_mm + 2 * FLANGE_MM, abs=1e-4)
    assert holes[counts.floor] == pytest.approx(DRIVER.cutout_mm, abs=1e-4)
    assert not checks.flood(body, cut, ("driver", "mouth", "terminal"))
    wood = unary_union([shapes.polygon(p.outline, p.holes) for p in cut.pieces if p.layer == 1])
    screws = [shapes.polygon(p.outline) for p in body.air if p.kind == "driver-screw"]
    assert all(wood.distance(s) == 0 or not wood.intersects(s) for s in screws)
    real, promise = measure.measured(body, cut, DRIVER), measure.promised(fold, rules, counts, DRIVER)
    assert real.chamber_m3 == pytest.approx(promise.chamber_m3, rel=0.01)


def test_a_recess_that_no_stack_is_high_enough_for_is_refused():
    rules = body_rules(Enclosure(plan=PLAN, height_mm=89, wall_mm=6, recess=True), DRIVER, 6.3)
    assert layer_counts(rules, DRIVER, 89) == ()


@pytest.mark.parametrize(
    ("recess", "flange", "gasket", "said"),
    [
        (False, 3.0, 1.0, "on the front and stands 4.0 mm proud"),
        (True, 3.0, 1.0, "in a recess 6.3 mm deep and lies 2.3 mm below"),
        (False, None, 0.0, "is not known"),
    ],
)
def test_how_the_flange_lies_is_said(recess, flange, gasket, said):
    body, *_ = made(rectangle(200, 230), height=120.0, recess=recess)
    driver = replace(DRIVER, flange_mm=flange, gasket_mm=gasket)
    assert said in check_seat(body, driver).text
