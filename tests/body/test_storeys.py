"""Guides on several storeys: which layers hold what, passages, and that every such body is tight and of one section."""

import itertools
import math

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from bodies import DRIVER, assert_filled, failures, rectangle, trapezoid
from kerfwave.acoustics.air import air as air_at
from kerfwave.acoustics.bends import passage_correction, sharp_corner_correction
from kerfwave.acoustics.guide import segments
from kerfwave.body import air, measure, path, shapes
from kerfwave.body.fold import fold, guide_air
from kerfwave.body.keys import FoldKey
from kerfwave.body.rules import body_rules, layer_counts, stack
from kerfwave.body.search import all_folds
from kerfwave.body.slices import slices
from kerfwave.body.storeys import IN_ONE_PLANE, Arrangement, floors, levels, passages
from kerfwave.model.spec import Enclosure, Plan

WAYS = (Arrangement(2), Arrangement(3), Arrangement(1, 1.0), Arrangement(2, 0.5))
HEIGHTS = {"upright": 160.0, "facing": 150.0}


def rules_of(plan, stack="upright", thickness=6.3):
    enclosure = Enclosure(plan=plan, height_mm=HEIGHTS[stack], stack=stack, wall_mm=6, least_web_mm=2.9)
    return body_rules(enclosure, DRIVER, thickness)


plans = st.one_of(
    st.builds(trapezoid, st.floats(160, 230), st.floats(140, 200), st.floats(170, 230)),
    st.builds(rectangle, st.floats(150, 220), st.floats(170, 240)),
)


@given(
    plans,
    st.integers(0, 100),
    st.sampled_from(["upright", "facing"]),
    st.sampled_from(WAYS),
    st.sampled_from([1.0, 0.6, 1.4]),
)
@settings(max_examples=8, suppress_health_check=[HealthCheck.too_slow], phases=[Phase.explicit, Phase.generate])
def test_every_body_on_storeys_keeps_its_promises(plan, pick, stack, way, taper):
    rules = rules_of(plan, stack)
    counts = layer_counts(rules, DRIVER, HEIGHTS[stack])[-1]
    size = {"least_duct_mm": 14.0, "step_mm": 14.0, "most_lanes": 4}
    found = all_folds(plan, rules, **size, tapers=(taper, 1.0), arrangements=(way,)).folds
    if way.storeys < 3:
        found = [one for one in found if one.key.taper == taper] or found
    standing = [one for one in found if air.stands(rules, counts, one)]
    assert standing, "this plan should fold"
    chosen = standing[pick % len(standing)]
    body = air.body(plan, rules, DRIVER, counts, chosen)
    cut = slices(body, "sheet")

    # Wood and air fill every layer; nothing leaks, every opening is reached, all holds together.
    outline = shapes.polygon(plan.outline)
    assert_filled(body, cut, outline)
    assert failures(body, cut) == []

    # The guide's air is the integral of its section; the section is the same everywhere, passages included.
    real = measure.measured(body, cut, DRIVER)
    whole = sum(
        shapes.polygon(p.outline).intersection(outline).area * (p.to_z_mm - p.from_z_mm)
        for p in body.air
        if p.kind == "guide"
    )
    integral = 1e9 * math.fsum(r.length_m * r.height_m * (r.width_in_m + r.width_out_m) / 2 for r in real.guide)
    assert whole == pytest.approx(integral, rel=0.02)
    for run, asked in zip([r for r in real.guide if not r.gap_m], chosen.runs, strict=True):
        assert (run.width_in_m, run.width_out_m) == pytest.approx(
            (asked.width_in_mm * 1e-3, asked.width_out_mm * 1e-3), rel=5e-3
        )
        assert run.length_m > 0
    ways_through = passages(chosen.runs, body.levels, way, counts)
    for run, hole in zip([r for r in real.guide if r.gap_m], ways_through, strict=True):
        narrower = min(run.width_in_m, run.width_out_m) * run.height_m
        assert shapes.polygon(hole.outline).area * 1e-6 >= 0.9 * narrower
        assert run.floor_m * 1e3 >= rules.separator_mm
    straight = [run for run in chosen.runs if run.name.startswith("lane")]
    assert [run.width_in_mm for run in straight] == pytest.approx(chosen.key.widths_mm)
    promise = measure.promised(chosen, rules, counts, DRIVER)
    assert real.chamber_m3 == pytest.approx(promise.chamber_m3, rel=0.03)
    assert [r.length_m for r in real.guide] == pytest.approx([r.length_m for r in promise.guide])

    # Storeys and floors lie between floor and lid, and no two of them share a layer.
    spans = sorted(body.levels.storeys)
    assert all(a[1] < b[0] for a, b in itertools.pairwise(spans))
    assert counts.floor <= spans[0][0] and spans[-1][1] <= counts.floor + counts.inner
    for hole in passages(chosen.runs, body.levels, way, counts):
        assert shapes.polygon(hole.outline).within(shapes.polygon(plan.outline).buffer(-rules.wall_mm + 0.01))


def test_storeys_are_equally_high_and_floors_take_what_is_left():
    rules = rules_of(rectangle(180, 200))  # separators of 6 mm, layers of 6.3: one layer is a floor
    assert levels(rules, stack(rules, 1, 12, 1), IN_ONE_PLANE).storeys == ((1, 13),)
    assert levels(rules, stack(rules, 1, 13, 1), Arrangement(2)).storeys == ((1, 7), (8, 14))
    assert levels(rules, stack(rules, 1, 14, 1), Arrangement(2)).storeys == ((1, 7), (9, 15))
    assert levels(rules, stack(rules, 1, 4, 1), Arrangement(3)) is None


def test_under_the_chamber_the_driver_is_centred_in_the_chamber():
    """The ring of 75.3 mm takes twelve layers of 6.3; of 20 inner layers one is a floor, seven are for the guide."""
    rules = rules_of(rectangle(180, 200))
    found = levels(rules, stack(rules, 1, 20, 1), Arrangement(1, 1.0))
    assert found.storeys == ((1, 8),)
    assert found.chamber == (9, 21)
    low, high = found.seat
    assert (low, high) == (9, 21)
    facing = levels(rules_of(rectangle(180, 200), "facing"), stack(rules, 1, 20, 1), Arrangement(1, 1.0))
    assert facing.chamber[0] == 1 and facing.storeys[0][1] == 21


def test_floors_part_what_lies_over_each_other():
    """Upright, the chamber lies over the first storey, and that over the second; facing, it is the other way round."""
    upright = levels(rules_of(rectangle(180, 200)), stack(rules_of(rectangle(180, 200)), 1, 30, 1), Arrangement(2, 1.0))
    assert [(f.below, f.above) for f in floors(upright, Arrangement(2, 1.0))] == [(1, 0), (0, -1)]
    facing = levels(
        rules_of(rectangle(180, 200), "facing"),
        stack(rules_of(rectangle(180, 200), "facing"), 1, 30, 1),
        Arrangement(2, 1.0),
    )
    found = floors(facing, Arrangement(2, 1.0))
    assert [(f.below, f.above) for f in found] == [(-1, 0), (0, 1)]
    assert found[0].span == (facing.chamber[1], facing.storeys[0][0])
    beside = levels(rules_of(rectangle(180, 200)), stack(rules_of(rectangle(180, 200)), 1, 13, 1), Arrangement(2))
    assert [(f.below, f.above, f.span) for f in floors(beside, Arrangement(2))] == [(0, 1, (7, 8))]


def test_the_second_storey_runs_back_over_the_first():
    plan = rectangle(180, 200)
    rules = rules_of(plan)
    one = fold(plan, rules, FoldKey(False, False, False, 3, 20.0))
    two = fold(plan, rules, FoldKey(False, False, False, 3, 20.0, 1.0, 2))
    below = [run for run in two.runs if run.storey == 0]
    above = [run for run in two.runs if run.storey == 1]
    assert [run.name for run in below[2:]] == [f"{run.name}, storey 1" for run in one.runs[2:]]
    assert path.end(below[-1])[:2] == pytest.approx((above[0].x, above[0].y))
    assert above[0].heading_deg % 360 == pytest.approx((path.end(below[-1])[2] + 180) % 360)
    assert one.mouth.face == "right" and two.mouth.face == "left"
    # It ends at the wall, where in one plane it would have gone on to the outside.
    assert sum(run.length_mm for run in below) == pytest.approx(one.length_mm - rules.wall_mm, abs=0.01)


@pytest.mark.parametrize("floor_mm", [60.0, 400.0])
def test_a_passage_through_a_thick_floor_is_two_corners(floor_mm):
    medium = air_at()
    both = passage_correction(0.03, floor_mm * 1e-3, 0.03, 0.02, medium)
    assert both == pytest.approx(2 * sharp_corner_correction(0.02, medium), rel=2e-3)


def test_a_passage_has_less_inertance_than_its_length_and_all_its_volume():
    plan = rectangle(180, 200)
    rules = rules_of(plan)
    counts = layer_counts(rules, DRIVER, 90.0)[-1]
    chosen = fold(plan, rules, FoldKey(False, False, False, 3, 20.0, 1.0, 2))
    runs = measure.promised(chosen, rules, counts, DRIVER).guide
    hole = next(run for run in runs if run.gap_m)
    found = [s for s in segments(runs, air_at()) if s.name.startswith("passage")]
    assert sum(s.extra_inertance_kg_m4 for s in found) < 0
    volume = sum(s.length_m * s.area_in_m2 for s in found)
    by_hand = hole.gap_m * hole.width_in_m * (2 * hole.height_m + hole.floor_m)
    assert volume == pytest.approx(by_hand)


def test_a_duct_opens_whole_through_a_steeply_slanted_face():
    """A face 67 degrees off square: on one side more than a width of the lane lies beyond its centreline's end."""
    outline = ((-120.0, 0.0), (120.0, 0.0), (120.0, 130.0), (-20.0, 190.0), (-120.0, 190.0))
    plan = Plan("polygon", outline, ("front", "right", "slope", "back", "left"))
    enclosure = Enclosure(plan=plan, height_mm=90, wall_mm=6, mouth_face="slope")
    rules = body_rules(enclosure, DRIVER, 6.3)
    found = all_folds(plan, rules, least_duct_mm=20.0, step_mm=10.0, most_lanes=2).folds
    steep = [one for one in found if abs(one.mouth.normal_x) < 0.45 and path.end(one.runs[-1])[2] % 180 < 1e-6]
    assert steep
    for one in steep:
        whole = math.fsum(run.length_mm * (run.width_in_mm + run.width_out_mm) / 2 for run in one.runs)
        assert shapes.polygon(guide_air(plan, one)).area == pytest.approx(whole, rel=1e-3)
