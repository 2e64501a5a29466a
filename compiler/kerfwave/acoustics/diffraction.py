"""What the edges of a body's front do to the sound of an opening in it.

On an endless wall a source sounds twice as loud as in the open. A front ends: where the wave that runs along it
reaches the rim, there is room to turn round, and the rim sends out a wave of its own. Forwards that wave takes away
from the doubled one, backwards it is all there is:

    forwards    2 - E        in units of the same source in the open
    backwards   E            E = 1/2pi integral over directions phi in the front of e^{-jk(m + l - r)} r / l

with m from the source to the rim in that direction, l from there to the listener, r straight from source to listener.
At low frequency E is 1 and the source is a free one on both sides; high up the waves of the rim's parts cancel each
other, unless they come from a rim that is round about the source. What a full theory of the edge (J. Vanderkooy, JAES
39 (1991) 923; U. P. Svensson, R. I. Fred and J. Vanderkooy, JASA 106 (1999) 2331; both from memory) gives to first
order for right-angled edges and a far listener on the axis has the same shape as this even spread over directions, to
some percent, but does not end at 1.

Limits: first order (no wave from edge to edge), convex fronts, a listener before or behind the front, not beside it.
Held against full solutions of boxes that are up to twice as wide as high, it is good to 1 dB up to where the front's
larger side is a wave, and to 2 dB with a wall behind the body. See tests/sources/test_acoustics_diffraction.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from kerfwave.acoustics.duct import Complex, Real

PARTS = 32  # of each side of the front
RINGS, SPOKES = (0.5, 0.75**0.5), 8  # points of a piston, each for the same part of its area
WITHIN = 0.95  # of the way to the rim, that a piston's points may go


def edge_wave(
    rim: Sequence[tuple[float, float]],
    source: tuple[float, float],
    radius_m: float,
    listener: tuple[float, float, float],
    omega: Any,
    speed: float,
    behind_m: float = 0.0,
) -> Complex:
    """Return E of the module's text, for one opening in a front.

    Args:
        rim: corners of the front, a convex polygon in metres in its own plane, counter-clockwise.
        source: the opening's centre in that plane; inside.
        radius_m: of the opening, whose parts lie at different distances from the rim; 0 for a point.
        listener: in that plane and before it, m; the way r is to there.
        omega: angular frequency, rad/s, shape (F,).
        speed: of sound, m/s.
        behind_m: the rim's waves seem to come from so far behind the front, as those that a wall throws back do.

    Raises:
        ValueError: if the rim is not convex and counter-clockwise, or the source is not inside it.
    """
    wavenumber = np.asarray(omega, dtype=float) / speed
    corners = np.asarray(rim, dtype=float)
    ends = np.roll(corners, -1, axis=0)
    _check(corners, ends, np.asarray(source))
    steps = np.linspace(0.0, 1.0, PARTS + 1)[:, np.newaxis, np.newaxis]
    marks = corners + steps * (ends - corners)  # (PARTS + 1, sides, 2)
    middles = ((marks[:-1] + marks[1:]) / 2.0).reshape(-1, 2)
    onwards = np.hypot(np.hypot(*(middles - listener[:2]).T), listener[2] + behind_m)
    straight = float(np.hypot(np.hypot(source[0] - listener[0], source[1] - listener[1]), listener[2]))
    wave = np.zeros(wavenumber.shape, complex)
    points = _piston(corners, ends, np.asarray(source), radius_m)
    for point in points:
        away = marks - point
        angle = np.arctan2(away[..., 1], away[..., 0])
        seen = (np.diff(angle, axis=0) + np.pi) % (2.0 * np.pi) - np.pi
        way = np.hypot(*(middles - point).T) + onwards - straight
        share = seen.reshape(-1) / (2.0 * np.pi) * straight / onwards
        wave += np.exp(-1j * np.multiply.outer(wavenumber, way)) @ share
    return np.asarray(wave / len(points))


def piston_directivity(area_m2: float, cosine: float, wavenumber: Any) -> Real:
    """Return 2 J1(x) / x, x = k a sin(angle): how a round piston beams, 1 on its axis.

    Args:
        area_m2: of the opening; one that is not round counts as a circle of the same area.
        cosine: of the angle between the opening's normal and the direction to the listener. Behind the opening's plane
            the formula has no meaning of its own and gives what it gives before it.
        wavenumber: rad/m.

    Source: Rayleigh; L. E. Kinsler et al., "Fundamentals of Acoustics".
    """
    from scipy.special import j1

    x = np.asarray(wavenumber, dtype=float) * np.sqrt(area_m2 / np.pi * max(0.0, 1.0 - cosine**2))
    safe = np.where(x < 1e-6, 1.0, x)
    return np.asarray(np.where(x < 1e-6, 1.0, 2.0 * j1(safe) / safe))


def _check(corners: Real, ends: Real, source: Real) -> None:
    sides, following = ends - corners, np.roll(ends - corners, -1, axis=0)
    turns = sides[:, 0] * following[:, 1] - sides[:, 1] * following[:, 0]
    if len(corners) < 3 or (turns < -1e-12).any():
        raise ValueError("the front's rim must be a convex polygon, counter-clockwise")
    if _to_rim(corners, ends, source) <= 0.0:
        raise ValueError("the opening is not inside the front")


def _to_rim(corners: Real, ends: Real, source: Real) -> float:
    """Return the distance to the nearest side, negative outside."""
    sides, away = ends - corners, source - corners
    across = sides[:, 0] * away[:, 1] - sides[:, 1] * away[:, 0]
    return float((across / np.hypot(sides[:, 0], sides[:, 1])).min())


def _piston(corners: Real, ends: Real, source: Real, radius_m: float) -> Real:
    radius = min(radius_m, WITHIN * _to_rim(corners, ends, source))
    if radius <= 0.0:
        return source[np.newaxis]
    angles = 2.0 * np.pi * (np.arange(SPOKES) + 0.5) / SPOKES
    spokes = np.stack([np.cos(angles), np.sin(angles)], axis=1)
    return np.concatenate([source + ring * radius * spokes for ring in RINGS])
