"""A body without a guide."""

import pytest

from bodies import DRIVER, rectangle, trapezoid
from kerfwave.body.closed import NO_GUIDE, closed_fold
from kerfwave.body.places import CannotFold
from kerfwave.body.rules import body_rules
from kerfwave.model.spec import Enclosure


def rules_of(plan, **more):
    return body_rules(Enclosure(plan=plan, height_mm=100.0, stack="upright", **more), DRIVER, 6.3)


def test_everything_within_the_walls_is_chamber():
    plan = rectangle(200.0, 150.0)
    rules = rules_of(plan)
    found = closed_fold(plan, rules)
    # By hand: the terminals' wall is at the back, the others' as the rules have them.
    width = 200.0 - 2 * rules.wall_mm
    depth = 150.0 - max(rules.front_wall_mm, rules.wall_mm) - max(rules.terminal_wall_mm, rules.wall_mm)
    assert found.terminal.face == "back"
    assert found.chamber_area_mm2 == found.room_area_mm2 == pytest.approx(width * depth)
    assert (found.key, found.runs, found.length_mm, found.mouth) == (NO_GUIDE, (), 0.0, None)
    assert found.driver.face == "front" and found.driver.x_mm == pytest.approx(0.0)


def test_terminals_go_to_another_face_where_the_back_is_too_narrow():
    plan = trapezoid(220.0, 24.0, 190.0)
    assert closed_fold(plan, rules_of(plan)).terminal.face in ("left", "right")


@pytest.mark.parametrize("width, depth", [(70.0, 150.0), (200.0, 40.0)])
def test_a_plan_too_small_says_what_finds_no_place(width, depth):
    plan = rectangle(width, depth)
    with pytest.raises(CannotFold, match=r"driver|wall|room"):
        closed_fold(plan, rules_of(plan))
