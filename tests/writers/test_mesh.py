"""The mesh of the stack, read back by a small reader of the text form and held against the pieces."""

import re
from collections import Counter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Point as Place
from shapely.geometry import Polygon, box
from shapely.geometry.polygon import orient

from kerfwave.model.parts import Layer, Piece
from kerfwave.writers.mesh import body_stl

FACET = re.compile(r"facet normal (\S+) (\S+) (\S+)\nouter loop\n" + r"vertex (\S+) (\S+) (\S+)\n" * 3 + "endloop\n")


def read(text):
    """Return {solid: (normals, corners)}: arrays of (facets, 3) and (facets, 3, 3)."""
    solids = {}
    for name, inside in re.findall(r"^solid (\S+)\n(.*?)^endsolid \1\n", text, re.M | re.S):
        numbers = np.array([[float(x) for x in facet] for facet in FACET.findall(inside)])
        assert inside.count("facet normal") == len(numbers)
        solids[name] = numbers[:, :3], numbers[:, 3:].reshape(-1, 3, 3)
    return solids


def volume(corners):
    """By the divergence theorem: the sum of the signed tetrahedra to the origin."""
    return np.einsum("ij,ij->i", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])).sum() / 6


def leaks(corners):
    """Return the edges that are not met by as many running the other way."""
    edges = Counter()
    for triangle in corners.tolist():
        a, b, c = map(tuple, triangle)
        edges.update([(a, b), (b, c), (c, a)])
    return [edge for edge, count in edges.items() if edges[edge[::-1]] != count]


def wood(piece):
    return Polygon(piece.outline, piece.holes).area * piece.thickness_mm


def test_every_layer_is_closed_and_holds_the_wood_of_its_pieces(body):
    solids = read(body_stl(body.layers, body.pieces))
    assert list(solids) == [f"L{layer.index:02d}" for layer in body.layers]
    for layer in body.layers:
        normals, corners = solids[f"L{layer.index:02d}"]
        assert not leaks(corners)
        assert volume(corners) == pytest.approx(sum(wood(p) for p in body.of_layer(layer.index)), rel=1e-4)
        assert corners[..., 2].min() == pytest.approx(layer.z_mm)
        assert corners[..., 2].max() == pytest.approx(layer.z_mm + layer.thickness_mm)
        turned = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        length = np.linalg.norm(turned, axis=1, keepdims=True)
        assert (length > 0).all()
        assert np.allclose(turned / length, normals, atol=1e-3)


def test_a_square_frame_is_as_anyone_would_mesh_it():
    frame = Piece("L01", "layer", ((0, 0), (9, 0), (9, 9), (0, 9)), (((3, 3), (3, 6), (6, 6), (6, 3)),), 2.0, layer=1)
    normals, corners = read(body_stl([Layer(1, 0.0, 2.0, "s", ("L01",))], [frame]))["L01"]
    assert len(corners) == 2 * 8 + 2 * 8  # a frame of eight corners makes eight triangles; eight walls make sixteen
    assert volume(corners) == pytest.approx((81 - 9) * 2)
    inner = corners[..., :2].min(axis=(1, 2)) >= 3
    inner &= corners[..., :2].max(axis=(1, 2)) <= 6
    middle = corners[inner].mean(axis=1)[:, :2]
    assert inner.sum() == 8
    assert (((np.array([4.5, 4.5]) - middle) * normals[inner][:, :2]).sum(axis=1) > 0).all()  # into the hole's air


def test_same_layers_same_bytes(body):
    assert body_stl(body.layers, body.pieces) == body_stl(body.layers, tuple(reversed(body.pieces)))


@settings(max_examples=30, deadline=None)
@given(
    st.lists(
        st.tuples(st.floats(5, 95), st.floats(5, 65), st.floats(0.5, 12), st.integers(2, 16)), min_size=0, max_size=6
    ),
    st.floats(1, 12),
)
def test_any_plate_with_holes_is_closed(holes, thickness):
    plate = box(0, 0, 100, 70)
    for x, y, radius, quarter in holes:
        plate = plate.difference(Place(x, y).buffer(radius, quad_segs=quarter))
    parts = [orient(p) for p in getattr(plate, "geoms", [plate]) if p.area > 1]
    pieces = [
        Piece(f"P{i}", "layer", tuple(p.exterior.coords[:-1]), tuple(tuple(h.coords[:-1]) for h in p.interiors), 1.0, 1)
        for i, p in enumerate(parts)
    ]
    layer = Layer(1, 3.0, round(thickness, 3), "s", tuple(p.id for p in pieces))
    corners = read(body_stl([layer], pieces))["L01"][1]
    assert not leaks(corners)
    assert volume(corners) == pytest.approx(sum(p.area for p in parts) * layer.thickness_mm, rel=1e-4)
