"""The cut cells by themselves: what they integrate, how they lie, and what lines through them find."""

import itertools
import math

import numpy as np
import pytest
import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import Polygon, box

from kerfwave.acoustics import field_mesh

CELL = 0.004
# Walls that slant, a post within one cell, one across four, and two parts of one cell on either side of a thin wall.
POSTS = box(0.0182, 0.0091, 0.0189, 0.0103).union(box(0.0302, 0.0111, 0.0335, 0.0149))
HALL = Polygon([(0, 0), (0.05, 0.003), (0.047, 0.03), (0.02, 0.027), (-0.004, 0.021)]).difference(
    POSTS.union(affinity.rotate(box(0.004, 0.0171, 0.03, 0.0174), 4.0))
)


def integral(shape, function):
    """Integrate over polygons: triangles from a ring's first corner, counted with their sign, by Gauss points."""
    nodes, weights = np.polynomial.legendre.leggauss(8)
    u, v = (part.ravel() for part in np.meshgrid((nodes + 1) / 2, (nodes + 1) / 2))
    weight = (weights[:, np.newaxis] * weights / 4).ravel() * u
    total = 0.0
    for polygon in shapely.get_parts(shape):
        for ring, sign in ((polygon.exterior, 1.0), *((hole, -1.0) for hole in polygon.interiors)):
            points = np.array(ring.coords)
            a, around = points[0], 0.0
            for b, c in itertools.pairwise(points[1:-1]):
                x, y = (a + u[:, np.newaxis] * (b - a + v[:, np.newaxis] * (c - b))).T
                around += np.linalg.det([b - a, c - a]) * (weight * function(x, y)).sum()
            total += sign * (around if ring.is_ccw else -around)
    return total


@pytest.mark.parametrize("order", [1, 2])
def test_mass_and_stiffness_are_those_of_the_outline(order):
    """Any pressure that a cell can carry: its square and its slope's, against the outline cut into triangles."""
    mesh = field_mesh.mesh(HALL, CELL, order)
    assert shapely.area(mesh.parts).sum() == pytest.approx(HALL.area, rel=1e-12)  # no sliver is left out here
    mass, stiffness = (m.reshape(-1, (order + 1) ** 2, (order + 1) ** 2) for m in field_mesh.matrices(mesh, HALL))
    node = np.linspace(0, CELL, order + 1)
    x = mesh.x + mesh.column[:, np.newaxis] * CELL + np.repeat(node, order + 1)
    y = mesh.y + mesh.row[:, np.newaxis] * CELL + np.tile(node, order + 1)
    for i, j in [(1, 0), (0, 1), (1, 1), (2, 0), (0, 2), (2, 1), (2, 2)]:
        if max(i, j) > order:
            continue

        def field(x, y, i=i, j=j):
            return 1.0 + (100 * x) ** i * (100 * y - 1) ** j

        def slope(x, y, i=i, j=j):
            along = 100 * i * (100 * x) ** max(i - 1, 0) * (100 * y - 1) ** j
            return along**2 + (100 * j * (100 * x) ** i * (100 * y - 1) ** max(j - 1, 0)) ** 2

        p = field(x, y)
        whole = integral(HALL, lambda x, y: field(x, y) ** 2)
        assert np.einsum("ei,eij,ej->", p, mass, p) == pytest.approx(whole, rel=1e-9)
        assert np.einsum("ei,eij,ej->", p, stiffness, p) == pytest.approx(integral(HALL, slope), rel=1e-9)


shifts = st.floats(-0.3, 0.3)


@settings(max_examples=20)
@given(dx=shifts, dy=shifts)
def test_where_the_body_lies_does_not_matter(dx, dy):
    here = field_mesh.mesh(HALL, CELL, 1)
    moved = affinity.translate(HALL, dx, dy)
    there = field_mesh.mesh(moved, CELL, 1)
    assert (there.column == here.column).all() and (there.row == here.row).all()
    assert shapely.area(there.parts) == pytest.approx(shapely.area(here.parts), abs=1e-9 * CELL**2)
    one, other = (field_mesh.matrices(*both)[0].sum() for both in ((here, HALL), (there, moved)))
    assert other == pytest.approx(one, rel=1e-9) == pytest.approx(HALL.area, rel=1e-9)


@settings(max_examples=20)
@given(width=st.floats(0.011, 0.05), height=st.floats(0.011, 0.05), cell=st.floats(0.002, 0.01))
@example(width=0.03125, height=0.03, cell=0.009999999999999998)  # three cells but for rounding, so four
def test_the_grid_lies_evenly_about_the_air(width, height, cell):
    mesh = field_mesh.mesh(box(-0.1, 0.2, width - 0.1, 0.2 + height), cell, 1)
    for start, counts, low, long in ((mesh.x, mesh.column, -0.1, width), (mesh.y, mesh.row, 0.2, height)):
        before, after = low - start, start + (counts.max() + 1) * cell - (low + long)
        assert before == pytest.approx(after, abs=1e-9)
        assert -1e-9 < before < cell / 2 + 1e-9
        assert counts.min() == 0


def test_a_point_finds_its_element_or_none():
    """On either side of a thin wall in one cell, in a whole cell, in a post that fills its cell, and far outside."""
    shape = box(0, 0, 0.04, 0.02).difference(box(0.0, 0.0097, 0.008, 0.0099).union(box(0.0119, 0.0079, 0.0161, 0.0121)))
    mesh = field_mesh.mesh(shape, CELL, 2)
    x, y = np.array([0.002, 0.002, 0.03, 0.014, 0.5]), np.array([0.0095, 0.0101, 0.018, 0.01, 0.5])
    found = mesh.find(x, y)
    assert found[3:].tolist() == [-1, -1]
    assert found[0] != found[1]
    assert shapely.distance(mesh.parts[found[:3]], shapely.points(x[:3], y[:3])).max() == 0.0


@settings(max_examples=40)
@given(
    turn=st.floats(-3.2, 3.2), cell=st.floats(0.002, 0.006), width=st.floats(0.008, 0.03), order=st.sampled_from([1, 2])
)
def test_a_line_along_an_end_holds_what_lies_on_it(turn, cell, width, order):
    """At any angle to the grid: its length, and any even slope, from elements that reach it."""
    shape = affinity.rotate(box(0, 0, 0.06, width), turn, origin=(0, 0), use_radians=True)
    c, s = math.cos(turn), math.sin(turn)
    a, b = (0.06 * c, 0.06 * s), (0.06 * c - width * s, 0.06 * s + width * c)
    mesh = field_mesh.mesh(shape, cell, order)
    element, weight, value = field_mesh.line(mesh, a, b)
    assert weight.sum() == pytest.approx(width)
    node = np.linspace(0, cell, order + 1)
    x = mesh.x + mesh.column[element][:, np.newaxis] * cell + np.repeat(node, order + 1)
    y = mesh.y + mesh.row[element][:, np.newaxis] * cell + np.tile(node, order + 1)
    for place, ends in ((x, (a[0], b[0])), (y, (a[1], b[1]))):
        at = (value * place).sum(axis=1)
        assert (weight * at).sum() == pytest.approx(width * sum(ends) / 2, abs=1e-9)
        assert (weight * at**2).sum() == pytest.approx(width * (ends[0] ** 2 + ends[0] * ends[1] + ends[1] ** 2) / 3)
    points = shapely.points((value * x).sum(axis=1), (value * y).sum(axis=1))
    assert shapely.distance(mesh.parts[element], points).max() < 0.6 * cell


TOP = 0.01865 + 1e-6  # the grid is centred on the whole shape: it has a line at 18.65 mm
STEPPED = Polygon([(0, 0), (0.1, 0), (0.1, TOP), (0.03, TOP), (0.03, 0.0333), (0, 0.0333)])


@pytest.mark.parametrize(
    ("turn", "a", "b"),
    [
        (0, (0.1, 0.0), (0.1, TOP)),  # its end touches a row of cells that was left out, or its beginning,
        (0, (0.1, TOP), (0.1, 0.0)),
        (180, (0.1, TOP), (0.1, TOP - 0.0035)),  # or nothing but the very first element lies beside,
        (0, (0.04, TOP), (0.09, TOP)),  # or all of it runs along such a row
        (90, (0.04, TOP), (0.06, TOP)),
    ],
)
def test_what_is_left_out_is_replaced_by_the_nearest(turn, a, b):
    ends = np.array(affinity.rotate(shapely.LineString([a, b]), turn, origin=(0, 0)).coords)
    mesh = field_mesh.mesh(affinity.rotate(STEPPED, turn, origin=(0, 0)), CELL, 2)
    assert STEPPED.area - shapely.area(mesh.parts).sum() > 1e-8
    element, weight, value = field_mesh.line(mesh, *map(tuple, ends))
    assert weight.sum() == pytest.approx(math.dist(a, b))
    assert value.sum(axis=1) == pytest.approx(1.0)
    way = shapely.LineString(ends)
    assert shapely.distance(mesh.parts[element], way).max() < 1e-5


@pytest.mark.parametrize("a", [(0.05, 0.01), (0.05, 0.0181)])
def test_a_line_that_leaves_the_air_is_refused(a):
    """Half a millimetre of wood is no touch, however much air there is before it."""
    mesh = field_mesh.mesh(STEPPED, CELL, 2)
    with pytest.raises(ValueError, match="through wood"):
        field_mesh.line(mesh, a, (0.05, TOP + 0.0041))


def test_air_too_thin_for_a_cell_is_none():
    with pytest.raises(ValueError, match="no air"):
        field_mesh.mesh(box(0, 0, 0.003, 0.5e-3 * CELL), CELL, 2)
