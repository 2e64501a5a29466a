"""A grid of square cells over the air in plan, cut by the walls exactly as the wood is.

Each cell carries polynomials of a given order (2: biquadratic); a cell that a wall cuts keeps them and integrates over
its air alone, by the exact moments of the polygon that is left. So walls may run as they like, round or slanted, and
the grid never has to follow them (a cut finite-element method: a rigid wall is the natural condition of the weak form,
and asks for nothing). Where a thin wall parts a cell, each part is an element of its own, and two elements share
unknowns only if they meet in air: no wall is too thin to be tight.

Plan lengths here are in metres.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

Real = NDArray[np.float64]
Whole = NDArray[np.int64]

LEAST_SHARE = 1e-3  # of a cell; less air than that is left out
SIDE = 1e-6  # of a cell's side; elements that meet along less than that do not meet
TOUCH = 0.05  # of a cell's side; half of what a line may run through a cell that was left out
GAUSS = 6  # points a line: exact for the moments of biquadratic elements


@dataclass(frozen=True, slots=True, eq=False)
class Mesh:
    """Elements of a grid whose lower left corner is (x, y). E elements of n = (order + 1)^2 unknowns each."""

    x: float
    y: float
    cell: float
    order: int
    column: Whole  # (E,) of the element's cell
    row: Whole  # (E,)
    parts: NDArray[Any]  # (E,) shapely polygons: the air of each
    unknowns: Whole  # (E, n)
    size: int  # number of unknowns

    def find(self, x: Real, y: Real) -> Whole:
        """Return the element that holds each point (x, y), the nearest one of its cell, or -1 for a cell of wood."""
        columns = np.floor((x - self.x) / self.cell).astype(int)
        rows = np.floor((y - self.y) / self.cell).astype(int)
        return self._choose(columns, rows, shapely.points(x, y))

    def _choose(self, columns: Whole, rows: Whole, shapes: NDArray[Any]) -> Whole:
        keys = _keys(self.column, self.row)
        wanted = _keys(columns, rows)
        first, last = np.searchsorted(keys, wanted, "left"), np.searchsorted(keys, wanted, "right")
        found = np.where(last > first, first, -1)
        for i in np.flatnonzero(last - first > 1):
            found[i] += int(np.argmin(shapely.distance(self.parts[first[i] : last[i]], shapes[i])))
        return found

    def local(self, elements: Whole, x: Real, y: Real) -> tuple[Real, Real]:
        """Return points in their cells' own coordinates, 0 to 1."""
        return (x - self.x) / self.cell - self.column[elements], (y - self.y) / self.cell - self.row[elements]

    def values(self, elements: Whole, x: Real, y: Real) -> Real:
        """Return every polynomial of each point's element at that point, shape (points, n)."""
        s, t = self.local(elements, x, y)
        one = _lagrange(self.order)
        powers = np.arange(self.order + 1)
        along, across = s[:, np.newaxis] ** powers @ one, t[:, np.newaxis] ** powers @ one
        return (along[:, :, np.newaxis] * across[:, np.newaxis, :]).reshape(len(x), -1)


def mesh(air: Any, cell: float, order: int) -> Mesh:
    """Lay the grid over the air.

    Args:
        air: shapely polygon or polygons; m.
        cell: side of a cell, m.
        order: of the polynomials in each direction, 1 or 2.

    Raises:
        ValueError: if the air is empty or too thin for any cell to count, or the order none of these.
    """
    if order not in (1, 2):
        raise ValueError(f"order is {order}; it must be 1 or 2")
    if air.is_empty:
        raise ValueError("there is no air to solve in")
    x0, y0, x1, y1 = air.bounds
    # What is left over beside the last cell goes half to either side, and the grid starts no nearer than that.
    x = x0 - (np.ceil((x1 - x0) / cell) * cell - (x1 - x0)) / 2.0
    y = y0 - (np.ceil((y1 - y0) / cell) * cell - (y1 - y0)) / 2.0
    columns, rows, parts = _cut(air, x, y, cell)
    kept = shapely.area(parts) >= LEAST_SHARE * cell**2
    if not kept.any():
        raise ValueError("there is no air to solve in")
    columns, rows, parts = columns[kept], rows[kept], parts[kept]
    order_of = np.lexsort((np.arange(len(columns)), _keys(columns, rows)))
    columns, rows, parts = columns[order_of], rows[order_of], parts[order_of]
    unknowns = _shared(columns, rows, parts, cell, order)
    return Mesh(float(x), float(y), cell, order, columns, rows, parts, unknowns, int(unknowns.max()) + 1)


def _keys(columns: Whole, rows: Whole) -> Whole:
    return np.asarray(rows, dtype=np.int64) * 1_000_000 + columns


def _cut(shape: Any, x: float, y: float, cell: float) -> tuple[Whole, Whole, NDArray[Any]]:
    """Cut a shape into the cells of a grid: columns, rows and polygons."""
    x0, y0, x1, y1 = shape.bounds
    columns = np.arange(int(np.floor((x0 - x) / cell)), int(np.floor((x1 - x) / cell)) + 1)
    rows = np.arange(int(np.floor((y0 - y) / cell)), int(np.floor((y1 - y) / cell)) + 1)
    # A line of the grid is one number, on whichever side of it one stands: neighbours have to meet exactly.
    left, right = x + columns * cell, x + (columns + 1) * cell
    low, high = y + rows * cell, y + (rows + 1) * cell
    # Row by row first: what is left of the outline in a row is short, and quickly cut into cells.
    strips = shapely.intersection(shape, shapely.box(x0 - cell, low, x1 + cell, high))
    cells = shapely.intersection(
        strips[:, np.newaxis], shapely.box(left, low[:, np.newaxis], right, high[:, np.newaxis])
    )
    parts, owner = shapely.get_parts(cells.ravel(), return_index=True)
    solid = shapely.area(parts) > 0.0  # neither a line nor a point, where the outline only touches a cell
    parts, owner = parts[solid], owner[solid]
    return columns[owner % len(columns)], rows[owner // len(columns)], parts


def _shared(columns: Whole, rows: Whole, parts: NDArray[Any], cell: float, order: int) -> Whole:
    """Return the numbers of the unknowns: on a common side of two elements that meet in air they are the same."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    keys = _keys(columns, rows)
    n = order + 1
    index = np.arange(n * n).reshape(n, n)  # of the unknown at (along, across)
    whole = shapely.area(parts) >= cell**2 * (1.0 - 1e-12)
    ends: list[tuple[Whole, Whole]] = []
    for step, mine, theirs in ((1, index[-1], index[0]), (1_000_000, index[:, -1], index[:, 0])):
        first, last = np.searchsorted(keys, keys + step, "left"), np.searchsorted(keys, keys + step, "right")
        a = np.repeat(np.arange(len(keys)), last - first)
        b = np.concatenate([np.arange(i, j) for i, j in zip(first, last, strict=True)])
        meet = whole[a] & whole[b]
        doubt = np.flatnonzero(~meet)
        meet[doubt] = shapely.length(shapely.intersection(parts[a[doubt]], parts[b[doubt]])) > SIDE * cell
        a, b = a[meet], b[meet]
        ends.append(((a[:, np.newaxis] * n * n + mine).ravel(), (b[:, np.newaxis] * n * n + theirs).ravel()))
    i, j = (np.concatenate(both) for both in zip(*ends, strict=True))
    total = len(keys) * n * n
    graph = coo_array((np.ones(len(i), dtype=bool), (i, j)), shape=(total, total))
    _, label = connected_components(graph, directed=False)
    return np.asarray(label, dtype=np.int64).reshape(-1, n * n)


@cache
def _lagrange(order: int) -> Real:
    """Return the coefficients of the 1-D polynomials that are 1 at one of order + 1 even nodes: (power, node)."""
    nodes = np.linspace(0.0, 1.0, order + 1)
    return np.asarray(np.linalg.inv(np.vander(nodes, increasing=True)))


@cache
def _products(order: int) -> tuple[Real, Real]:
    """Return what to weigh the moments with for mass and stiffness: (n * n, moments) each, on the unit square."""
    one = _lagrange(order)
    n, m = order + 1, 2 * order + 1
    slope = np.zeros_like(one)
    slope[:-1] = one[1:] * np.arange(1, n)[:, np.newaxis]

    def pairs(p: Real) -> Real:  # (node, node, power)
        out = np.zeros((n, n, m))
        for i in range(n):
            for j in range(n):
                out[i, j] = np.convolve(p[:, i], p[:, j])
        return out

    plain, steep = pairs(one), pairs(slope)

    def square(along: Real, across: Real) -> Real:
        return np.asarray(np.einsum("ija,klb->ikjlab", along, across).reshape(n**4, m * m))

    return square(plain, plain), square(steep, plain) + square(plain, steep)


def matrices(mesh: Mesh, shape: Any) -> tuple[Real, Real]:
    """Return mass (m^2) and stiffness (no unit) of all elements over the air in a shape, each (E, n * n)."""
    columns, rows, parts = _cut(shape, mesh.x, mesh.y, mesh.cell)
    owner = mesh._choose(columns, rows, shapely.point_on_surface(parts))
    kept = owner >= 0
    owner, parts = owner[kept], parts[kept]
    moments = _moments(mesh, owner, parts)
    mass, stiffness = _products(mesh.order)
    return moments @ mass.T * mesh.cell**2, moments @ stiffness.T


def _moments(mesh: Mesh, owner: Whole, parts: NDArray[Any]) -> Real:
    """Return the integrals of s^a t^b, a and b from 0 to twice the order, over polygons in cell coordinates.

    By Green's theorem round each ring, the integral of s^(a+1) / (a + 1) t^b dt, with Gauss points on each side.
    """
    m = 2 * mesh.order + 1
    rings, polygon = shapely.get_rings(parts, return_index=True)
    corners, ring = shapely.get_coordinates(rings, return_index=True)
    element = owner[polygon[ring]]
    s, t = mesh.local(element, corners[:, 0], corners[:, 1])
    side = np.flatnonzero(ring[1:] == ring[:-1])
    s0, t0, ds, dt = s[side], t[side], s[side + 1] - s[side], t[side + 1] - t[side]
    of = ring[side]
    outer = np.r_[True, polygon[1:] != polygon[:-1]]
    turn = np.where(outer == shapely.is_ccw(rings), 1.0, -1.0)
    nodes, weights = np.polynomial.legendre.leggauss(GAUSS)
    at = (nodes + 1.0) / 2.0
    s_at, t_at = s0[:, np.newaxis] + at * ds[:, np.newaxis], t0[:, np.newaxis] + at * dt[:, np.newaxis]
    weight = weights / 2.0 * (dt * turn[of])[:, np.newaxis]
    result = np.zeros((len(mesh.parts), m * m))
    goes_to = owner[polygon[of]]
    for a in range(m):
        for b in range(m):
            value = (s_at ** (a + 1) * t_at**b * weight).sum(axis=1) / (a + 1)
            result[:, a * m + b] = np.bincount(goes_to, value, len(mesh.parts))
    return result


def line(mesh: Mesh, a: tuple[float, float], b: tuple[float, float]) -> tuple[Whole, Real, Real]:
    """Return Gauss points on a straight line from a to b through or along the air.

    Returns:
        the element of each point; its weight in metres; the element's polynomials there, (points, n).

    Raises:
        ValueError: if the line leaves the cells that have air.
    """
    start, way = np.array(a), np.array(b) - np.array(a)
    length = float(np.hypot(*way))
    marks = [0.0, 1.0]
    for i, origin in enumerate((mesh.x, mesh.y)):
        if abs(way[i]) > 1e-12:
            low, high = sorted(((start[i] - origin) / mesh.cell, (start[i] + way[i] - origin) / mesh.cell))
            lines = np.arange(np.ceil(low), np.floor(high) + 1)
            marks += list((lines * mesh.cell + origin - start[i]) / way[i])
    cuts = np.unique(np.clip(marks, 0.0, 1.0))
    cuts = cuts[np.r_[True, np.diff(cuts) > 1e-9]]
    nodes, weights = np.polynomial.legendre.leggauss(GAUSS)
    middle, half = (cuts[1:] + cuts[:-1]) / 2.0, np.diff(cuts) / 2.0
    found = _beside(mesh, start + middle[:, np.newaxis] * way, np.array([-way[1], way[0]]) / length)
    here = np.flatnonzero(found >= 0)
    for i in np.flatnonzero(found < 0).tolist():
        # A touch of a cell that was left out: the neighbour along the line reaches over it.
        if not len(here) or half[i] * length > TOUCH * mesh.cell:
            raise ValueError("the line runs through wood")
        found[i] = found[here[int(np.argmin(np.abs(here - i)))]]
    at = (middle[:, np.newaxis] + half[:, np.newaxis] * nodes).ravel()
    element = np.repeat(found, GAUSS)
    weight = (half[:, np.newaxis] * weights).ravel() * length
    return element, weight, mesh.values(element, start[0] + at * way[0], start[1] + at * way[1])


def _beside(mesh: Mesh, places: Real, normal: Real) -> Whole:
    """Return the nearest element to each place of a line: on a border of cells, on whichever side there is air.

    Where the cell itself was left out because a wall leaves a sliver of air in it, a neighbour stands in.
    """
    found = np.full(len(places), -1)
    for reach in (1e-6, 0.1, 0.5):
        missing = np.flatnonzero(found < 0)
        nearest = np.full(len(missing), np.inf)
        for side in (reach, -reach):
            x, y = (places[missing] + side * mesh.cell * normal).T
            element = mesh.find(x, y)
            far = shapely.distance(mesh.parts[element], shapely.points(places[missing]))
            better = (element >= 0) & (far < nearest - 1e-9)
            found[missing[better]], nearest[better] = element[better], far[better]
    return found
