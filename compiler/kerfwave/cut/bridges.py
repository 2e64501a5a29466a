"""Small bridges of uncut wood that hold a piece which could tip into the beam's way, or fall through the supports.

The rule. A piece lies safely on supports that are no further apart than a gap g if its centre of mass is at least g
from every edge of its convex hull: however it lies, there is a support on either side of the centre within the piece.
Any other piece gets two bridges, as far apart as it can; so does one of less than 100 mm2, which air and smoke move
(an assumption). A bridge is as wide as a tenth of the thickness, from 0.4 to 1.2 mm and at least two kerfs (an
assumption: a knife goes through, and 0.4 mm of 4 mm plywood still holds some 2 N in rolling shear at 1 N/mm2, a
hundred times the weight of such a piece). The beam is off over a bridge in every pass.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import LineString, Polygon
from shapely.ops import substring

from kerfwave.cut.arcs import moves_between
from kerfwave.model.parts import Move, Point, Ring

SMALLEST_MM2 = 100.0
_WIDTHS_MM = (0.4, 1.2)
_SHARE = 0.1  # of the thickness
_CLEAR_MM = 1.5  # of straight line kept on either side
_STRAIGHT = 0.998  # chord over arc, at a place for a bridge
_WASTE_MM = 0.8  # of waste, at least, that the bridge runs into before the next kerf
_PLACES = 96  # tried along one line


@dataclass(frozen=True, slots=True)
class Held:
    """A line with bridges: once round, from the end of the first bridge."""

    moves: tuple[Move, ...]
    dark: frozenset[int]  # indices of the moves that cross a bridge
    bridges: tuple[Point, ...]  # the middle of each, on the beam's line


def needed(shape: Polygon, gap_mm: float) -> bool:
    """Return whether `shape`, freed, could tip or fall between supports `gap_mm` apart, or be blown away."""
    hull = Polygon(shape.exterior).convex_hull
    return shape.area < SMALLEST_MM2 or bool(hull.exterior.distance(shape.centroid) < gap_mm)


def width_mm(thickness_mm: float, kerf_mm: float) -> float:
    """Return how much wood a bridge keeps, along the edge."""
    low, high = _WIDTHS_MM
    return round(max(min(max(_SHARE * thickness_mm, low), high), 2 * kerf_mm), 2)


def held(
    ring: Ring, wood_mm: float, kerf_mm: float, others: Sequence[Polygon], size_mm: Point, *, arcs: bool, decimals: int
) -> Held | None:
    """Return the beam's line `ring` with two bridges of `wood_mm`; None where there is no room for two.

    A bridge lies on a straight stretch, and its waste is at least 0.8 mm wide before the kerf of one of `others` or the
    edge of a sheet of `size_mm`.
    """
    line = LineString([*ring, ring[0]])
    skipped = wood_mm + kerf_mm  # the beam is as wide as the kerf: half of it comes in from either side
    middles = _places(line, skipped, kerf_mm, others, size_mm)
    if middles is None:
        return None
    first, second = middles
    # The line begins anew where the first bridge ends.
    begin = (first + skipped / 2) % line.length
    turned = _from(line, begin)
    gap = (second - first) % line.length
    cuts = (gap - skipped, gap, line.length - skipped)
    sections = [(0.0, cuts[0], False), (cuts[0], cuts[1], True), (cuts[1], cuts[2], False), (cuts[2], None, True)]
    moves: list[Move] = []
    dark = set()
    for start, stop, is_dark in sections:
        part = substring(turned, start, turned.length if stop is None else stop)
        points = [(x, y) for x, y in part.coords]
        if is_dark:
            points = [points[0], points[-1]]
        before = len(moves)
        moves += moves_between(points, arcs=arcs and not is_dark, decimals=decimals)
        if is_dark:
            dark |= set(range(before, len(moves)))
    spots = tuple(_at(line, s) for s in (first, second))
    return Held(tuple(moves), frozenset(dark), spots)


def _at(line: LineString, along: float) -> Point:
    point = line.interpolate(along)
    return round(point.x, 3) + 0.0, round(point.y, 3) + 0.0


def _from(line: LineString, begin: float) -> LineString:
    """Return the closed line, beginning at another of its points."""
    after, before = substring(line, begin, line.length), substring(line, 0.0, begin)
    points = [*after.coords, *list(before.coords)[1:]]
    return LineString(points)


def _places(
    line: LineString, skipped: float, kerf_mm: float, others: Sequence[Polygon], size_mm: Point
) -> tuple[float, float] | None:
    """Return where along the line the middles of the two bridges lie, in that order; None if there are no two."""
    length = line.length
    along = np.unique(
        np.round(np.concatenate([np.arange(_PLACES) * length / _PLACES, _edge_middles(line) % length]), 6)
    )
    reach = skipped / 2 + _CLEAR_MM
    if length < 4 * reach:
        return None
    before, here, after = (shapely.line_interpolate_point(line, (along + d) % length) for d in (-reach, 0.0, reach))
    straight = (shapely.distance(before, here) + shapely.distance(here, after)) / (2 * reach)
    chord = shapely.distance(before, after) / (2 * reach)
    good = (straight > _STRAIGHT) & (chord > _STRAIGHT)
    if not good.any():  # a round piece: any place will do that is not sharper than it must be
        good = chord > 0.9
    edge = kerf_mm / 2 + _WASTE_MM
    good &= shapely.covers(shapely.box(edge, edge, size_mm[0] - edge, size_mm[1] - edge), here)
    for other in others:
        good &= ~shapely.dwithin(other, here, 1.5 * kerf_mm + _WASTE_MM)
    along = along[good]
    xy = shapely.get_coordinates(here[good])
    if len(along) < 2:
        return None
    # The pair furthest apart in the plane, in whole micrometres so that ties do not hang on the last bit.
    apart = np.rint(1000 * np.hypot(*(xy[:, None, :] - xy[None, :, :]).transpose(2, 0, 1))).astype(np.int64)
    ways = np.abs(along[:, None] - along[None, :])
    apart[np.minimum(ways, length - ways) < 2 * reach] = -1
    i, j = divmod(int(np.argmax(apart)), len(along))
    return (float(along[i]), float(along[j])) if apart[i, j] > 0 else None


def _edge_middles(line: LineString) -> npt.NDArray[np.float64]:
    xy = shapely.get_coordinates(line)
    ends = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
    middles: npt.NDArray[np.float64] = (ends[1:] + ends[:-1]) / 2
    return middles
