"""A folded, sliced body: what must hold for every one of them."""

import itertools
import math

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Point
from shapely.ops import unary_union

from bodies import DRIVER, assert_filled, house, made, rectangle, trapezoid
from kerfwave.body import checks, measure, path, shapes
from kerfwave.body.air import body as make_body
from kerfwave.body.fold import fold, guide_air
from kerfwave.body.insets import insets
from kerfwave.body.keys import FoldKey
from kerfwave.body.places import CannotFold
from kerfwave.body.rules import body_rules, layer_counts
from kerfwave.body.slices import letters, slices
from kerfwave.model.spec import Enclosure, Terminals

plans = st.one_of(
    st.builds(trapezoid, st.floats(150, 230), st.floats(130, 200), st.floats(150, 230)),
    st.builds(rectangle, st.floats(140, 220), st.floats(150, 240)),
    st.builds(house, st.floats(160, 220), st.floats(130, 180), st.floats(10, 60)),
)
# Shrinking a failure would build hundreds of bodies; the failing one is small enough to read.
some_bodies = settings(
    max_examples=10, suppress_health_check=[HealthCheck.too_slow], phases=[Phase.explicit, Phase.generate]
)


@given(
    plans,
    st.integers(0, 200),
    st.sampled_from(["upright", "facing"]),
    st.sampled_from([4.0, 6.3]),
    st.sampled_from([1.0, 0.7, 1.4]),
)
@some_bodies
def test_every_body_keeps_its_promises(plan, pick, stack, thickness, taper):
    """Area, volume, walls, tightness: one walk over a body, since building it is what takes the time."""
    body, cut, rules, chosen, counts = made(plan, pick=pick, stack=stack, thickness=thickness, taper=taper)
    outline = shapes.polygon(plan.outline)
    wood = {p.id: shapes.polygon(p.outline, p.holes) for p in cut.pieces}

    assert_filled(body, cut, outline)
    assert [layer.index for layer in cut.layers] == list(range(1, counts.total + 1))
    assert math.fsum(layer.thickness_mm for layer in cut.layers) == pytest.approx(counts.total * thickness)

    for piece in cut.pieces:
        shape = wood[piece.id]
        assert shape.is_valid
        assert shape.exterior.is_ccw
        assert not any(ring.is_ccw for ring in shape.interiors)
        assert shape.difference(outline).area < 1e-3
    assert len({p.id for p in cut.pieces}) == len(cut.pieces)

    # The duct is as wide everywhere as its key says, and keeps its distance from every face but its own.
    real = measure.measured(body, cut, DRIVER)
    for run, asked in zip(real.guide, chosen.runs, strict=True):
        assert run.width_in_m == pytest.approx(asked.width_in_mm * 1e-3, rel=4e-3)
        assert run.width_out_m == pytest.approx(asked.width_out_mm * 1e-3, rel=4e-3)
    duct = shapes.polygon(guide_air(plan, chosen))
    whole = math.fsum(run.length_mm * (run.width_in_mm + run.width_out_mm) / 2 for run in chosen.runs)
    assert duct.area == pytest.approx(whole, rel=0.02)
    for i, face in enumerate(plan.faces):
        if face != chosen.mouth.face:
            edge = LineString([plan.outline[i], plan.outline[(i + 1) % len(plan.outline)]])
            assert duct.distance(edge) >= rules.wall_mm - 0.02

    # What was promised before cutting is what the pieces enclose, but for steps of bores and seats.
    promise = measure.promised(chosen, rules, counts, DRIVER)
    assert real.chamber_m3 == pytest.approx(promise.chamber_m3, rel=0.03)
    assert real.closed_m3 == pytest.approx(promise.closed_m3, rel=0.01)
    assert real.closed_m3 > real.chamber_m3

    assert not checks.flood(body, cut, ("driver", "mouth", "terminal"))
    for kind in ("driver", "mouth", "terminal"):
        others = tuple(k for k in ("driver", "mouth", "terminal") if k != kind)
        assert checks.flood(body, cut, others), f"the chamber should reach the outside through the {kind}"


def test_a_tapered_guide_goes_from_its_first_width_to_its_last():
    plan = trapezoid(186, 156, 212)
    rules = body_rules(Enclosure(plan=plan, height_mm=90, wall_mm=6), DRIVER, 6.3)
    chosen = fold(plan, rules, FoldKey(False, False, False, 4, 20.0, 0.6))
    assert chosen.key.widths_mm == pytest.approx((25.0, 21.666667, 18.333333, 15.0))
    assert chosen.runs[0].width_in_mm == pytest.approx(25.0)
    assert chosen.runs[-1].width_out_mm == pytest.approx(15.0)
    for before, after in itertools.pairwise(chosen.runs):
        assert before.width_out_mm == after.width_in_mm
    with pytest.raises(CannotFold, match="differ by more than the separator"):
        fold(plan, rules, FoldKey(False, False, False, 2, 20.0, 0.4))


def test_same_input_same_body():
    assert made.__wrapped__(trapezoid(186, 156, 212), pick=3) == made(trapezoid(186, 156, 212), pick=3)


def test_a_mirrored_key_gives_the_mirrored_body():
    plan = trapezoid(186, 156, 212)
    rules = body_rules(Enclosure(plan=plan, height_mm=90, wall_mm=6), DRIVER, 6.3)
    one = fold(plan, rules, FoldKey(False, False, False, 4, 20.0))
    other = fold(plan, rules, FoldKey(False, True, False, 4, 20.0))
    assert (one.mouth.face, other.mouth.face) == ("left", "right")
    assert one.length_mm == pytest.approx(other.length_mm)
    assert one.chamber_area_mm2 == pytest.approx(other.chamber_area_mm2)
    for a, b in zip(path.mirrored(one.runs), other.runs, strict=True):
        assert path.end(a)[:2] == pytest.approx(path.end(b)[:2])


def test_one_lane_worked_by_hand():
    """A rectangle 180 x 200, walls 6, front wall 10.3, one lane of 20 along the back.

    The left wall carries the terminals and is 9.3 thick, so the room is 164.7 wide. The turn's outer radius is
    20 + 6/2 = 23, its centreline radius 13: half a septum (3), a quarter turn (13 pi / 2), then straight from the
    turn's centre (-80.7 + 23 = -57.7) out through the right face at x = 90.
    """
    plan = rectangle(180, 200)
    rules = body_rules(Enclosure(plan=plan, height_mm=90, wall_mm=6, terminal_face="left"), DRIVER, 6.3)
    chosen = fold(plan, rules, FoldKey(False, False, False, 1, 20.0))
    assert chosen.length_mm == pytest.approx(3 + 13 * math.pi / 2 + 57.7 + 90, abs=1e-4)
    depth = 200 - 6 - 20 - 6 - 10.3
    assert chosen.chamber_area_mm2 == pytest.approx(164.7 * depth, abs=1e-3)
    assert chosen.mouth.face == "right"
    assert (chosen.mouth.x_mm, chosen.mouth.y_mm) == pytest.approx((90.0, 184.0))


@pytest.mark.parametrize(
    ("key", "reason"),
    [
        (FoldKey(False, False, False, 12, 20.0), "leave nothing for the chamber"),
        (FoldKey(False, False, False, 6, 22.0), "the driver needs"),
        (FoldKey(False, False, False, 2, 150.0), "too wide for the room"),
    ],
)
def test_what_does_not_fold_says_why(key, reason):
    plan = trapezoid(186, 156, 212)
    rules = body_rules(Enclosure(plan=plan, height_mm=90, wall_mm=6), DRIVER, 6.3)
    with pytest.raises(CannotFold, match=reason):
        fold(plan, rules, key)


def test_a_named_mouth_face_is_kept():
    plan = rectangle(200, 220)
    rules = body_rules(Enclosure(plan=plan, height_mm=90, wall_mm=6, mouth_face="front"), DRIVER, 6.3)
    assert fold(plan, rules, FoldKey(True, False, False, 2, 20.0)).mouth.face == "front"
    with pytest.raises(CannotFold, match="away from the front"):
        fold(plan, rules, FoldKey(False, False, False, 2, 20.0))


def test_the_stepped_bore_clears_the_whole_circle():
    body, _, rules, _chosen, counts = made(trapezoid(186, 156, 212))
    centre = counts.total * rules.thickness_mm / 2
    circle = Point(0.0, 0.0).buffer(rules.bore_mm / 2 - 0.02, quad_segs=64)
    steps = unary_union(
        [
            shapes.polygon(
                (
                    (-half, p.from_z_mm - centre),
                    (half, p.from_z_mm - centre),
                    (half, p.to_z_mm - centre),
                    (-half, p.to_z_mm - centre),
                )
            )
            for p in body.air
            if p.kind == "driver-bore"
            for half in [(max(x for x, _ in p.outline) - min(x for x, _ in p.outline)) / 2]
        ]
    )
    assert steps.buffer(1e-6).covers(circle)


def test_insets_are_the_seat_less_the_play():
    body, cut, rules, chosen, counts = made(trapezoid(186, 156, 212))
    ring, plate = insets(body, DRIVER, Terminals())
    assert (ring.role, plate.role) == ("driver-ring", "terminal-plate")
    first, after = body.levels.seat
    layers = after - first
    assert first == counts.total - after
    seated = [layer for layer in cut.layers if _pocket(cut, layer, chosen.driver.x_mm)]
    assert len(seated) == layers
    assert _size(ring.outline) == pytest.approx(
        (rules.seat_width_mm - 2 * rules.fit_mm, layers * rules.thickness_mm - 2 * rules.fit_mm)
    )
    assert len(ring.holes) == 1 + DRIVER.screw_count
    assert max(_size(h)[0] for h in ring.holes) == pytest.approx(DRIVER.cutout_mm, abs=1e-5)
    assert len(plate.holes) == 2


@pytest.mark.parametrize(
    "asked",
    [
        {},
        {"thickness": 4.0, "wall_mm": 8.0, "height": 88.0},
        {"thickness": 4.0, "hang_screw_mm": 3.5},
        {"stack": "facing"},
    ],
)
def test_the_lid_is_the_first_layer_over_all_air_whatever_is_cut_into_it(asked):
    """Wire and fibre go in before it: a seat or a pocket in it is no way in any more."""
    body, cut, *_ = made(rectangle(190, 230), **{"height": 120.0, **asked})
    top = max(p.to_z_mm for p in body.air if p.kind in ("chamber", "guide"))
    assert body.levels.lid == next(layer.index for layer in cut.layers if layer.z_mm > top - 1e-6)
    if "height" in asked:
        wood = {
            x.index: sum(shapes.polygon(p.outline, p.holes).area for p in cut.pieces if p.layer == x.index)
            for x in cut.layers
        }
        assert wood[body.levels.lid] < 0.995 * max(wood.values())  # the driver's seat reaches into it


def _pocket(cut, layer, x: float) -> bool:
    """Return whether a layer is cut away at the middle of the front."""
    wood = [shapes.polygon(p.outline, p.holes) for p in cut.pieces if p.id in layer.pieces]
    return not any(shape.covers(Point(x, 1.0)) for shape in wood)


def _size(ring) -> tuple[float, float]:
    xs, ys = [p[0] for p in ring], [p[1] for p in ring]
    return max(xs) - min(xs), max(ys) - min(ys)


def test_a_facing_stack_has_its_driver_in_the_front_layers():
    body, cut, rules, _chosen, counts = made(rectangle(200, 220), stack="facing")
    assert insets(body, DRIVER, Terminals())[0].role == "terminal-plate"
    front = next(p for p in cut.pieces if p.layer == 1)
    assert max(_size(h)[0] for h in front.holes) == pytest.approx(DRIVER.cutout_mm, abs=1e-5)
    assert counts.total * rules.thickness_mm >= rules.reach_mm


def test_stacks_are_as_high_as_allowed_and_take_the_driver():
    rules = body_rules(Enclosure(plan=rectangle(180, 200), height_mm=90, wall_mm=6), DRIVER, 6.3)
    counts = layer_counts(rules, DRIVER, 90)
    assert [c.total for c in counts] == [14]
    assert counts[0].inner * 6.3 >= DRIVER.cutout_mm
    assert layer_counts(rules, DRIVER, 60) == ()


def test_narrowest_web_of_a_dumb_bell():
    bell = shapes.polygon(
        (
            (0, 0),
            (20, 0),
            (20, 8.5),
            (40, 8.5),
            (40, 0),
            (60, 0),
            (60, 20),
            (40, 20),
            (40, 11.5),
            (20, 11.5),
            (20, 20),
            (0, 20),
        )
    )
    assert checks.narrowest_web_mm(bell) == pytest.approx(3.0, abs=0.06)


def test_a_hole_in_a_wall_is_a_leak():
    """Take one layer's piece away from the back wall and the flood finds it."""
    body, cut, *_ = made(trapezoid(186, 156, 212), pick=2)
    from dataclasses import replace

    back = shapes.polygon(((-5, 150), (5, 150), (5, 300), (-5, 300)))
    holed = []
    for piece in cut.pieces:
        shape = shapes.polygon(piece.outline, piece.holes)
        if piece.layer == 6:
            for part in shapes.parts_of(shape.difference(back)):
                outline, holes = shapes.rings_of(part)
                holed.append(replace(piece, id=f"{piece.id}-{len(holed)}", outline=outline, holes=holes))
        else:
            holed.append(piece)
    layers = tuple(replace(layer, pieces=tuple(p.id for p in holed if p.layer == layer.index)) for layer in cut.layers)
    leaky = replace(cut, layers=layers, pieces=tuple(holed))
    assert not checks.flood(body, cut, ("driver", "mouth", "terminal"))
    assert checks.flood(body, leaky, ("driver", "mouth", "terminal"))


def test_letters_go_on_after_z():
    assert [letters(i) for i in (0, 1, 25, 26, 27, 52)] == ["a", "b", "z", "aa", "ab", "ba"]


def test_all_checks_of_a_sound_body_pass():
    body, cut, *_ = made(trapezoid(186, 156, 212), least_web_mm=2.9)
    found = checks.check_body(body, cut, insets(body, DRIVER, Terminals()), DRIVER)
    assert {c.id for c in found} == {
        "web",
        "smallest-hole",
        "glue",
        "seam-lap",
        "overhang",
        "clamp-reach",
        "way-in",
        "driver-depth",
        "leak",
        "way-driver",
        "way-mouth",
        "way-terminal",
    }
    assert [c.text for c in found if c.level != "ok"] == []


def test_slicing_is_one_subtraction():
    body, cut, *_ = made(rectangle(200, 220))
    assert slices(body, "sheet") == cut
    assert make_body(body.plan, body.rules, DRIVER, body.counts, body.fold) == body
