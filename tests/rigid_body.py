"""The sound field about a rigid body with two planes of symmetry, by boundary elements: a reference for the tests.

Collocation of the integral equation of Kirchhoff and Helmholtz with panels of constant pressure. Far from the speed and
care of a library, but independent of the package and exact as the panels get small.
"""

from __future__ import annotations

import numpy as np


def quarter_box(width, height, depth, size, back=True):
    """Return centres, outward normals, areas of a box's panels, u > 0 and v > 0 only; front at w = 0, body below."""
    counts = [max(3, round(side / size)) for side in (width / 2, height / 2, depth)]
    u, v, w = ((np.arange(n) + 0.5) / n * side for n, side in zip(counts, (width / 2, height / 2, depth), strict=True))
    du, dv, dw = width / 2 / counts[0], height / 2 / counts[1], depth / counts[2]
    faces = [
        (np.meshgrid(u, v, [0.0]), (0, 0, 1), du * dv),
        (np.meshgrid([width / 2], v, -w), (1, 0, 0), dv * dw),
        (np.meshgrid(u, [height / 2], -w), (0, 1, 0), du * dw),
    ]
    if back:
        faces.append((np.meshgrid(u, v, [-depth]), (0, 0, -1), du * dv))
    places = [np.stack([axis.ravel() for axis in grid], axis=1) for grid, _, _ in faces]
    normals = [np.tile(np.array(n, float), (len(p), 1)) for p, (_, n, _) in zip(places, faces, strict=True)]
    areas = [np.full(len(p), a) for p, (_, _, a) in zip(places, faces, strict=True)]
    return np.concatenate(places), np.concatenate(normals), np.concatenate(areas)


def quarter_sphere(radius, bands):
    """Return the same for a sphere about the origin."""
    edges = np.linspace(-1, 1, bands + 1)  # bands of equal area
    n = max(4, bands // 3)
    phi = (np.arange(n) + 0.5) / n * np.pi / 2
    z, p = np.meshgrid((edges[:-1] + edges[1:]) / 2, phi)
    ring = np.sqrt(1 - z**2)
    normals = np.stack([(ring * np.cos(p)).ravel(), (ring * np.sin(p)).ravel(), z.ravel()], axis=1)
    return radius * normals, normals, np.full(normals.shape[0], 4 * np.pi * radius**2 / normals.shape[0] / 4)


def surface_pressure(panels, k, listener_w, wall=None):
    """Return the pressure on the panels for a source of e^{-jkr}/r on the axis, at w = `listener_w`.

    Collocation of p/2 = p_in + integral of p dG/dn; the static part of the row's sum is known (a closed body sees
    itself under half of all directions) and mends what the coarse panels miss.
    """
    places, normals, areas = panels
    signs = [(su, sv, 1) for su in (1, -1) for sv in (1, -1)]
    images = [(np.array(s), 0.0) for s in signs]
    if wall is not None:
        images += [(np.array([su, sv, -1]), 2 * wall) for su, sv, _ in signs]
    moving = np.zeros((len(places), len(places)), complex)
    still = np.zeros((len(places), len(places)))
    for sign, shift in images:
        way = places[:, np.newaxis] - (places * sign - np.array([0, 0, shift]))
        distance = np.linalg.norm(way, axis=2)
        same = distance < 1e-9
        distance[same] = 1.0
        facing = np.where(same, 0.0, (way * (normals * sign)).sum(axis=2) / (4 * np.pi * distance**3)) * areas
        still += facing
        moving += facing * np.exp(-1j * k * distance) * (1 + 1j * k * distance)
    matrix = np.diag(1.0 + still.sum(axis=1)) - moving
    come = np.zeros(len(places), complex)
    for w in [listener_w] + ([] if wall is None else [-2 * wall - listener_w]):
        distance = np.hypot(np.hypot(places[:, 0], places[:, 1]), places[:, 2] - w)
        come += np.exp(-1j * k * distance) / distance
    return np.linalg.solve(matrix, come)
