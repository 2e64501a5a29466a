"""Lanes along the walls, about the chamber: of one section all the way, tight, and clear of each other."""

import itertools
import math

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString

from bodies import DRIVER, assert_filled, failures, house, rectangle, trapezoid
from kerfwave.body import air, measure, path, shapes
from kerfwave.body.fold import fold, guide_air
from kerfwave.body.keys import FoldKey
from kerfwave.body.places import CannotFold
from kerfwave.body.rules import body_rules, layer_counts
from kerfwave.body.search import all_folds, chains
from kerfwave.body.slices import slices
from kerfwave.body.storeys import IN_ONE_PLANE, Arrangement
from kerfwave.model.spec import Enclosure, Plan


def rules_of(plan, stack="upright", **changed):
    return body_rules(
        Enclosure(plan=plan, height_mm=90, stack=stack, wall_mm=6, least_web_mm=2.9, **changed), DRIVER, 6.3
    )


def regular(corners, radius):
    at = [math.tau * (i - 0.5) / corners - math.pi / 2 for i in range(corners)]
    ring = [(round(radius * math.cos(a), 1), round(radius * math.sin(a), 1)) for a in at]
    low = ring[0][1]
    faces = ("front", *(f"face-{i}" for i in range(2, corners + 1)))
    return Plan("polygon", tuple((x, y - low) for x, y in ring), faces)


def notched(width, depth, bite):
    """Return an L: a rectangle without its back right corner."""
    x = width / 2
    outline = ((-x, 0.0), (x, 0.0), (x, depth - bite), (x - bite, depth - bite), (x - bite, depth), (-x, depth))
    return Plan("polygon", outline, ("front", "right", "inner back", "inner right", "back", "left"))


plans = st.one_of(
    st.builds(trapezoid, st.floats(190, 260), st.floats(170, 260), st.floats(190, 250)),
    st.builds(rectangle, st.floats(180, 240), st.floats(190, 260)),
    st.builds(house, st.floats(200, 250), st.floats(160, 200), st.floats(20, 80)),
    st.builds(regular, st.sampled_from([5, 6, 8]), st.floats(125, 150)),
    st.builds(notched, st.floats(220, 260), st.floats(220, 260), st.floats(40, 80)),
)


@given(
    plans,
    st.integers(0, 200),
    st.sampled_from(["upright", "facing"]),
    st.sampled_from([1.0, 0.7]),
    st.sampled_from([IN_ONE_PLANE, IN_ONE_PLANE, Arrangement(2)]),
)
@settings(max_examples=12, suppress_health_check=[HealthCheck.too_slow], phases=[Phase.explicit, Phase.generate])
def test_every_body_with_lanes_along_walls_keeps_its_promises(plan, pick, stack, taper, way):
    rules = rules_of(plan, stack)
    found = all_folds(
        plan,
        rules,
        least_duct_mm=14.0,
        step_mm=14.0,
        most_lanes=4,
        tapers=(taper, 1.0),
        arrangements=(way,),
        courses=("around",),
    ).folds
    counts = layer_counts(rules, DRIVER, 150.0)[-1]
    standing = [one for one in found if air.stands(rules, counts, one)]
    assert standing, "this plan should fold"
    chosen = standing[pick % len(standing)]
    body = air.body(plan, rules, DRIVER, counts, chosen)
    cut = slices(body, "sheet")

    outline = shapes.polygon(plan.outline)
    assert_filled(body, cut, outline)
    assert failures(body, cut) == []

    # The section is what the key says, corners included, and the air is its integral along the centreline.
    real = measure.measured(body, cut, DRIVER)
    for run, asked in zip([r for r in real.guide if not r.gap_m], chosen.runs, strict=True):
        assert run.width_in_m == pytest.approx(asked.width_in_mm * 1e-3, rel=5e-3)
        assert run.width_out_m == pytest.approx(asked.width_out_mm * 1e-3, rel=5e-3)
    below = [run for run in chosen.runs if run.storey == 0]
    whole = math.fsum(run.length_mm * (run.width_in_mm + run.width_out_mm) / 2 for run in below)
    for storey in range(way.storeys):
        duct = shapes.polygon(guide_air(plan, chosen, storey))
        assert duct.intersection(shapes.polygon(chosen.chamber)).area < 1.0
    assert shapes.polygon(guide_air(plan, chosen)).area == pytest.approx(whole, rel=0.02)

    # Lanes keep a separator from each other, from the chamber and a wall from the outside.
    lanes = [shapes.polygon(path.sweep((run,))).intersection(outline) for run in below]
    for (i, one), (k, other) in itertools.combinations(enumerate(lanes), 2):
        between = path.length_mm(below[i + 1 : k])
        if between > 2 * (rules.separator_mm + below[i].width_in_mm):  # else they are parts of one turn
            assert one.distance(other) >= rules.separator_mm - 0.02
    chamber = shapes.polygon(chosen.chamber)
    assert all(lane.distance(chamber) >= rules.separator_mm - 0.02 for lane in lanes[2:])
    for i, face in enumerate(plan.faces):
        if face != chosen.mouth.face:
            edge = LineString([plan.outline[i], plan.outline[(i + 1) % len(plan.outline)]])
            assert min(lane.distance(edge) for lane in lanes) >= rules.wall_mm - 0.02


def test_two_walls_worked_by_hand():
    """A rectangle 200 x 220, walls 6, one lane of 20 along right and back, terminals left, walked from back to right.

    The terminals' wall is 9.2. The throat turns about a radius of 13 at the left wall's inner face, -90.8 + 23 =
    -67.8; the corner's centreline radius is 13, about (100 - 6 - 10 - 13, 220 - 6 - 10 - 13) = (71, 191).
    """
    plan = rectangle(200, 220)
    rules = rules_of(plan, terminal_face="left")
    chosen = fold(plan, rules, FoldKey(False, True, False, 1, 20.0, walls=(1, 2)))
    assert [run.name for run in chosen.runs] == ["throat", "bend 1", "lane 1a", "corner 1a", "lane 1b"]
    assert chosen.length_mm == pytest.approx(3 + 13 * math.pi / 2 + (71 + 67.8) + 13 * math.pi / 2 + 191, abs=1e-3)
    assert chosen.mouth.face == "front"
    assert (chosen.mouth.x_mm, chosen.mouth.y_mm) == pytest.approx((84.0, 0.0))
    # What lanes and separators leave: 26 of the depth and of the width.
    assert chosen.chamber_area_mm2 == pytest.approx((200 - 9.2 - 6 - 26) * (220 - 10.3 - 6 - 26), abs=1e-2)


def test_all_the_way_round_a_facing_stack_the_terminals_stand_between_mouth_and_throat():
    plan = rectangle(230, 260)
    rules = rules_of(plan, "facing")
    chosen = fold(plan, rules, FoldKey(False, False, False, 1, 16.0, walls=(0, 1, 2, 3)))
    assert chosen.mouth.face == chosen.terminal.face == "front"
    assert abs(chosen.mouth.x_mm - chosen.terminal.x_mm) > 8 + 22 + rules.wall_mm
    assert chosen.length_mm > 2 * (230 + 260) - 200


def test_lanes_lie_along_slanted_walls():
    plan = trapezoid(260, 180, 220)
    lean = math.degrees(math.atan2(220, -40))
    chosen = fold(plan, rules_of(plan), FoldKey(False, False, False, 4, 16.0, walls=(1,)))
    straights = [run.heading_deg % 180 for run in chosen.runs if run.name.startswith("lane")]
    assert straights == pytest.approx([lean] * 4)


@pytest.mark.parametrize(
    ("key", "reason"),
    [
        (FoldKey(False, False, False, 2, 14.0, walls=(0, 1, 2, 3)), "only one lane"),
        (FoldKey(False, False, False, 3, 26.0, walls=(1, 2, 3)), "shorter than their turns"),
        (FoldKey(False, False, False, 2, 90.0, walls=(1, 2)), "no room for a turn"),
    ],
)
def test_what_does_not_go_round_says_why(key, reason):
    plan = rectangle(200, 220)
    with pytest.raises(CannotFold, match=reason):
        fold(plan, rules_of(plan, terminal_face="right" if len(key.walls) == 3 else "left"), key)


def test_chains_leave_the_front_of_an_upright_body_to_its_driver():
    plan = trapezoid(200, 180, 220)
    assert chains(plan, rules_of(plan)) == ((1, 2, 3), (1, 2), (2, 3), (1,), (3,))
    assert (0, 1, 2, 3) in chains(plan, rules_of(plan, "facing"))
    assert all(len(chain) > 1 for chain in chains(rectangle(200, 220), rules_of(rectangle(200, 220))))
