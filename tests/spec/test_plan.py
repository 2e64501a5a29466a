import math

import pytest
import shapely
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from kerfwave.spec.plan import PlanError, plan_of

L_SHAPE = [[0, 0], [120, 0], [120, 80], [60, 80], [60, 150], [0, 150]]
L_FACES = ["front", "right", "shelf", "inner", "back", "left"]


def _polygon(points, faces):
    return plan_of({"shape": "polygon", "points_mm": points, "faces": faces})


def _edges(plan):
    """Lengths of the edges by face."""
    ring = plan.outline
    return {
        face: math.dist(ring[i], ring[(i + 1) % len(ring)]) for i, face in enumerate(plan.faces)
    }  # fmt: skip


def test_rectangle_and_trapezoid():
    plan = plan_of({"shape": "rectangle", "width_mm": 200, "depth_mm": 150})
    assert plan.outline == ((-100.0, 0.0), (100.0, 0.0), (100.0, 150.0), (-100.0, 150.0))
    assert plan.faces == ("front", "right", "back", "left")
    plan = plan_of({"shape": "trapezoid", "front_mm": 100, "back_mm": 240, "depth_mm": 150})
    assert plan.outline == ((-50.0, 0.0), (50.0, 0.0), (120.0, 150.0), (-120.0, 150.0))


def test_a_polygon_in_place_already_keeps_its_numbers():
    plan = _polygon([[x - 60, y] for x, y in L_SHAPE], L_FACES)
    assert plan.outline == tuple((x - 60.0, float(y)) for x, y in L_SHAPE)
    assert plan.faces == tuple(L_FACES)


@settings(deadline=None)
@given(
    turn=st.floats(0, 360),
    dx=st.floats(-500, 500),
    dy=st.floats(-500, 500),
    first=st.integers(0, 5),
    clockwise=st.booleans(),
)
@example(turn=0, dx=0, dy=0, first=0, clockwise=True)
@example(turn=90, dx=10, dy=0, first=3, clockwise=True)
def test_however_it_is_drawn_the_plan_is_the_same(turn, dx, dy, first, clockwise):
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    points = [[x * c - y * s + dx, x * s + y * c + dy] for x, y in L_SHAPE]
    points, faces = points[first:] + points[:first], L_FACES[first:] + L_FACES[:first]
    if clockwise:  # the same outline listed the other way round: edge j of the new list joins the same corners
        n = len(points)
        points, faces = points[::-1], [faces[(n - 2 - j) % n] for j in range(n)]
    plan, expected = _polygon(points, faces), _polygon(L_SHAPE, L_FACES)
    assert plan.faces == expected.faces
    for here, there in zip(plan.outline, expected.outline, strict=True):
        assert here == pytest.approx(there, abs=2e-6)


radii = st.lists(st.floats(40, 600), min_size=3, max_size=12)


@settings(deadline=None, max_examples=60)
@given(radii, st.booleans(), st.integers(0, 11))
def test_a_star_shaped_outline_lands_on_its_front(radii, clockwise, front):
    n = len(radii)
    points = [[r * math.cos(2 * math.pi * i / n), r * math.sin(2 * math.pi * i / n)] for i, r in enumerate(radii)]
    if clockwise:
        points.reverse()
    faces = [f"f{i}" for i in range(n)]
    faces[front % n] = "front"
    try:
        plan = _polygon(points, faces)
    except PlanError as error:
        assume("in front of" not in str(error) and "wide" not in str(error) and "deep" not in str(error))
        raise
    (x0, y0), (x1, y1) = plan.outline[:2]
    assert plan.faces[0] == "front"
    assert (y0, y1) == (0.0, 0.0)
    assert x1 == pytest.approx(-x0, abs=2e-6)
    assert x1 > 0
    ring = shapely.Polygon(plan.outline)
    assert ring.exterior.is_ccw
    assert ring.area == pytest.approx(shapely.Polygon(points).area, rel=1e-6)
    lengths = {name: math.dist(points[i], points[(i + 1) % n]) for i, name in enumerate(faces)}
    assert _edges(plan) == pytest.approx(lengths, abs=1e-5)


@settings(deadline=None, max_examples=80)
@given(st.lists(st.tuples(st.integers(0, 12), st.integers(0, 12)), min_size=3, max_size=8))
@example([(0, 0), (10, 0), (10, 10), (5, 0), (0, 10)])
@example([(0, 0), (10, 0), (5, 0), (5, 10)])
def test_what_is_refused_is_what_shapely_calls_invalid(corners):
    """On a grid of 50 mm, where nothing is a near miss; shapely (GEOS) is the outside reference."""
    points = [[50.0 * x, 50.0 * y] for x, y in corners]
    faces = ["front", *(f"f{i}" for i in range(1, len(points)))]
    polygon = shapely.Polygon(points)
    try:
        _polygon(points, faces)
        refused = ""
    except PlanError as error:
        refused = str(error)
    if any(words in refused for words in ("in front of", "mm wide", "mm deep")):
        refused = ""
    doubled = any(a == b for a, b in zip(points, points[1:] + points[:1], strict=True))
    assert bool(refused) == (not polygon.is_valid or doubled), refused


@pytest.mark.parametrize(
    ("points", "faces", "code", "words"),
    [
        (L_SHAPE, L_FACES[:-1], "K410", "5 faces for 6 corners"),
        (L_SHAPE, ["front", "a", "a", "b", "c", "d"], "K410", "two faces"),
        (L_SHAPE, ["x", "a", "e", "b", "c", "d"], "K410", "no face is called front"),
        (L_SHAPE, ["front", "a", "e", "auto", "c", "d"], "K410", "auto"),
        (L_SHAPE, ["a", "b", "front", "c", "d", "e"], "K409", "in front of"),
        ([*L_SHAPE, [0, 0]], [*L_FACES, "z"], "K409", "less than 0.5 mm apart"),
        ([[0, 0], [100, 0], [50, 0], [50, 50]], ["front", "a", "b", "c"], "K409", "turns back"),
        ([[0, 0], [100, 0], [200, 0]], ["front", "a", "b"], "K409", "turns back"),
        ([[0, 0], [100, 100], [100, 0], [0, 100]], ["front", "a", "b", "c"], "K409", "cross or touch"),
        ([[0, 0], [100, 0], [100, 20], [0, 20]], ["front", "a", "b", "c"], "K409", "20.0 mm deep"),
        ([[0, 0], [1600, 0], [1600, 200], [0, 200]], ["front", "a", "b", "c"], "K409", "1600.0 mm wide"),
    ],
)
def test_refusals(points, faces, code, words):
    with pytest.raises(PlanError, match=words) as caught:
        _polygon(points, faces)
    assert caught.value.code == code


def test_a_face_may_be_split_at_a_corner_on_a_straight_line():
    plan = _polygon([[0, 0], [100, 0], [100, 50], [100, 100], [0, 100]], ["front", "a", "b", "c", "d"])
    assert len(plan.outline) == 5
