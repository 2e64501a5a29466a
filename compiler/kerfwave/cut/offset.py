"""Where the beam's centre runs: half a kerf beside the finished edge, on the side of the waste."""

from __future__ import annotations

import shapely
from shapely.geometry import LinearRing, Polygon
from shapely.geometry.polygon import orient

from kerfwave.cut.errors import KerfTooWide
from kerfwave.model.parts import Ring

# Round joins: the beam swings round a corner at half a kerf from it, which leaves the corner itself sharp. With
# 8 chords a quarter the swing is true to 0.0005 mm at a kerf of 0.2 mm.
_CHORDS = 8


def beam_line(ring: Ring, kerf_mm: float, *, hole: bool, name: str) -> Polygon:
    """Return the region inside the beam's closed line for one finished ring.

    The exterior is counter-clockwise for an outline and clockwise for a hole, so that the waste is always on
    the right of the beam.

    Parameters
    ----------
    ring
        the finished edge, either winding.
    kerf_mm
        full width of the cut.
    hole
        True where the waste is inside.
    name
        what the error should call it, for instance "L03a, hole 2".

    Raises
    ------
    KerfTooWide
        where the beam does not fit into the waste: the hole vanishes, falls apart, or a slot or notch closes.
    """
    half = kerf_mm / 2
    finished = Polygon(ring)
    line = finished.buffer(-half if hole else half, quad_segs=_CHORDS)
    if line.is_empty:
        raise KerfTooWide(f"{name}: the kerf of {kerf_mm:g} mm is wider than this hole; make it larger or drop it")
    if line.geom_type != "Polygon" or line.interiors:
        raise KerfTooWide(f"{name}: a slot or neck here is narrower than the kerf of {kerf_mm:g} mm; widen it")
    # What the beam cannot reach beyond the fillets that it leaves in corners is a slot that would stay closed.
    back = line.buffer(half if hole else -half, quad_segs=_CHORDS)
    missed = finished.difference(back) if hole else back.difference(finished)
    if any(part.area > 5 * kerf_mm**2 for part in shapely.get_parts(missed)):
        raise KerfTooWide(f"{name}: a slot or notch here is narrower than the kerf of {kerf_mm:g} mm; widen it")
    return orient(line, -1.0 if hole else 1.0)


def thinned(line: Polygon, tolerance_mm: float) -> Ring:
    """Return the exterior of `line` without points that are not needed to `tolerance_mm`, nor a repeated end.

    It starts where its longest edge ends, a corner if there is one, so that runs of arc are not broken by where
    the ring happened to begin.
    """
    points = list(line.exterior.coords)[:-1]
    points = list(LinearRing(_from_corner(points)).simplify(tolerance_mm).coords)[:-1]
    return tuple((x, y) for x, y in points)


def _from_corner(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Rotate the ring to begin where its longest edge ends; of equals, the first."""
    count = len(points)
    longest = max(range(count), key=lambda i: (round(_square(points[i - 1], points[i]), 6), -i))
    return points[longest:] + points[:longest]


def _square(a: tuple[float, float], b: tuple[float, float]) -> float:
    return (a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2
