"""Feet and keyholes: where they are asked for, in wood that is there, and never a way for air."""

from __future__ import annotations

import re
from dataclasses import replace
from types import SimpleNamespace

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from bodies import DRIVER, assert_filled, failures, house, made, rectangle, trapezoid
from kerfwave.body import measure, shapes
from kerfwave.body.mounts import apart_mm, check_feet, check_hang, check_load, sizes_mm
from kerfwave.model.spec import Enclosure
from kerfwave.stages.body import _hang_none, _hangs_not

KINDS = ("foot", "keyhole")
THICK = {"upright": 12.0, "facing": 19.0}  # walls that take a keyhole: depth of a wall, or layers of a lid


@settings(max_examples=6, suppress_health_check=[HealthCheck.too_slow], phases=[Phase.explicit, Phase.generate])
@given(
    plan=st.builds(trapezoid, st.integers(190, 230), st.integers(180, 220), st.integers(210, 240)),
    stack=st.sampled_from(["upright", "facing"]),
    pick=st.integers(0, 3),
)
def test_feet_and_keyholes_are_cut_in_wood_and_lead_nowhere(plan, stack, pick):
    asked = {"stack": stack, "height": 140.0, "pick": pick, "wall_mm": THICK[stack], "dowel_mm": 3.0}
    feet = {"foot_mm": 12.0} if stack == "upright" else {}
    body, cut, rules, _, counts = made(plan, hang_screw_mm=3.5, **feet, **asked)
    mounts = [p for p in body.air if p.kind in KINDS]
    assert {p.kind for p in mounts} == ({"foot", "keyhole"} if feet else {"keyhole"})
    assert [check for check in failures(body, cut) if check.id != "web"] == []
    # Air from outside that ends in wood: a web to every other cut, in the layers it is in and in those next to it.
    others = [p for p in body.air if p.kind not in KINDS]
    for mount in mounts:
        shape = shapes.polygon(mount.outline)
        low = max((z for z in counts.z_mm if z < mount.from_z_mm - 1e-6), default=0.0)
        high = min((z for z in counts.z_mm if z > mount.to_z_mm + 1e-6), default=counts.height_mm)
        beside = [p for p in others if min(p.to_z_mm, mount.to_z_mm) - max(p.from_z_mm, mount.from_z_mm) > 1e-6]
        near = [p for p in others if min(p.to_z_mm, high) - max(p.from_z_mm, low) > 1e-6]
        assert all(shape.distance(shapes.polygon(p.outline)) >= rules.least_web_mm - 0.06 for p in beside)
        assert all(shape.distance(shapes.polygon(p.outline)) >= 1.0 for p in near)
    # They take nothing from the air inside, and wood and air still fill the plan.
    plain, plain_cut, *_ = made(plan, **asked)
    if [o.kind for o in plain.openings] == [o.kind for o in body.openings] and plain.fold == body.fold:
        here, there = measure.measured(body, cut, DRIVER), measure.measured(plain, plain_cut, DRIVER)
        assert here.chamber_m3 == pytest.approx(there.chamber_m3, rel=1e-9)
    outline = shapes.polygon(body.skin)
    assert_filled(body, cut, outline, within_mm2=1e-8 * outline.area)
    check = check_hang(body.air, rules, plan.faces)
    assert check.level == "ok" and check.value == pytest.approx(apart_mm(body.air), abs=0.1)


def test_a_head_goes_in_below_slides_up_and_is_held():
    body, _, rules, _, counts = made(rectangle(200, 230), height=120.0, wall_mm=12.0, hang_screw_mm=4.0)
    slot, head, deep, lip = sizes_mm(rules)
    assert (slot, head, deep, lip) == (4.6, 9.0, 4.5, 3.0)
    keys = {p.name: p for p in body.air if p.kind == "keyhole"}
    assert len(keys) == 6
    for n in (1, 2):
        entry, neck, pocket = (keys[f"keyhole {n} {part}"] for part in ("entry", "slot", "pocket"))
        assert entry.to_z_mm == neck.from_z_mm == pocket.from_z_mm
        assert entry.to_z_mm - entry.from_z_mm >= head - 1e-6
        assert pocket.to_z_mm - neck.to_z_mm >= (head - slot) / 2 - 1e-6
        assert neck.to_z_mm > counts.height_mm / 2 and pocket.to_z_mm < counts.height_mm
        wide = {p.name.split()[-1]: p for p in (entry, neck, pocket)}
        size = {k: Polygon(p.outline).bounds for k, p in wide.items()}
        assert size["slot"][2] - size["slot"][0] == pytest.approx(slot)
        assert size["entry"][2] - size["entry"][0] == pytest.approx(head)
        assert size["pocket"][3] == pytest.approx(230 - lip) and size["pocket"][1] == pytest.approx(230 - lip - deep)
    assert body.fold.terminal.face != "back"


def test_where_there_is_no_wood_none_is_cut_and_it_is_said():
    body, _, rules, *_ = made(rectangle(190, 230), wall_mm=7.0, hang_screw_mm=4.0)
    assert not [p for p in body.air if p.kind == "keyhole"]
    check = check_hang(body.air, rules, body.plan.faces)
    assert check.level == "fail" and "they take 10.5 mm of wood at two places of 15.0 mm" in check.text
    gable, _, rules, *_ = made(house(190, 170, 40), height=130.0, wall_mm=14.0, hang_screw_mm=4.0)
    assert "no face of the plan is called back" in check_hang(gable.air, rules, gable.plan.faces).text
    plain, *_ = made(rectangle(190, 230))
    assert not [p for p in plain.air if p.kind in KINDS]


def test_the_stage_takes_no_body_that_cannot_hang_or_blows_into_the_wall():
    def found(body, asked):
        check = check_hang(body.air, body.rules, body.plan.faces)
        return _hangs_not(SimpleNamespace(body=body, checks=(check,)), asked)

    plan = rectangle(190, 230)
    asked = Enclosure(plan=plan, height_mm=120.0, hang_screw_mm=4.0)
    thin, *_ = made(plan, wall_mm=7.0, hang_screw_mm=4.0)
    assert "no room for keyholes" in found(thin, asked) and found(thin, replace(asked, hang_screw_mm=None)) == ""
    thick, *_ = made(plan, height=120.0, wall_mm=12.0, hang_screw_mm=4.0, mouth_face="left")
    assert found(thick, asked) == ""
    back, *_ = made(plan, height=120.0, wall_mm=12.0, hang_screw_mm=4.0, mouth_face="back")
    assert "open into the wall" in found(back, asked)


@pytest.mark.parametrize("asked", [{"stack": "facing", "thickness": 4.1, "wall_mm": 11.0}, {"wall_mm": 7.0}])
def test_a_body_without_room_for_keyholes_says_the_wall_that_gives_it(asked):
    """Of a facing stack it is whole layers: 4.1 mm of lip, 8.2 mm for the head, 4.1 mm behind it."""
    plan = rectangle(190, 230)
    body, *_ = made(plan, height=120.0, hang_screw_mm=4.0, **asked)
    refusal = check_hang(body.air, body.rules, body.plan.faces)
    assert refusal.level == "fail"
    wall = float(re.search(r"wall_mm: ([\d.]+) gives it", refusal.text)[1])
    thicker, *_ = made(plan, height=120.0, hang_screw_mm=4.0, **{**asked, "wall_mm": wall})
    assert check_hang(thicker.air, thicker.rules, thicker.plan.faces).level == "ok"
    assert "stack" not in asked or wall == 16.4


def test_a_target_out_of_reach_is_told_where_its_best_bodies_cannot_hang():
    alone = SimpleNamespace(reach=(), out_of_reach="")
    assert _hang_none(["no room"], alone) == "no room"
    beyond = SimpleNamespace(reach=(("level", 13.0),), out_of_reach="level (nearest: 13.00 dB short)")
    told = _hang_none(["no room", "no room"], beyond)
    assert told.startswith("none of the 2 best bodies") and "keeps level (nearest: 13.00 dB short)" in told


def test_feet_stand_wide_under_wood():
    body, cut, rules, _, counts = made(rectangle(190, 230), foot_mm=12.0, dowel_mm=3.0)
    feet = [p for p in body.air if p.kind == "foot"]
    assert len(feet) == 4 and {(p.from_z_mm, p.to_z_mm) for p in feet} == {(0.0, counts.z_mm[1])}
    over = [shapes.polygon(p.outline, p.holes) for p in cut.pieces if p.layer == 2]
    for foot in feet:
        mark = Polygon(foot.outline)
        assert any(piece.covers(mark.buffer(rules.least_web_mm - 0.05)) for piece in over)
        assert shapes.polygon(body.skin).covers(mark.centroid.buffer(6.0 + 1.9))
    assert check_feet(body.air, body.skin, 12.0).level == "ok"
    one = tuple(p for p in body.air if p.kind != "foot" or p.name in ("foot 1", "foot 2"))
    assert check_feet(one, body.skin, 12.0).level == "warn"


def test_load_is_told_for_each_screw():
    assert check_load(1.5, 2).value == 0.75 and check_load(1.5, 2).level == "ok"
    assert check_load(12.0, 2).level == "warn"
    assert "go by the advice for its fixings" in check_load(1.5, 2).text
