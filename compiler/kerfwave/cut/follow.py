"""How the beam ran along the finished edges: each run of lit moves is held against the ring that it runs beside."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely import STRtree
from shapely.geometry import LinearRing, LineString, Point, Polygon

from kerfwave.cut.readback import Motion

Points = npt.NDArray[np.float64]  # shape (k, 2), mm
TOLERANCE_MM = 0.02
_STEP_MM = 0.05  # between the places at which passes are counted along an edge with bridges
_LEAST_WOOD_MM = 0.2
_MOST_OVERRUN_MM = 1.0  # a run goes so far past its start at most


@dataclass(frozen=True, slots=True)
class Run:
    """What is cut without switching the beam off: the line of its first move, its points, the focus."""

    line: int
    points: Points
    depth_mm: float


@dataclass(frozen=True, slots=True)
class Ring:
    """One finished ring on the sheet."""

    name: str
    piece: str
    hole: bool
    line: LinearRing
    region: Polygon
    bridges: tuple[tuple[float, float], ...] = ()  # where bridges are meant to be
    wood_mm: float = 0.0  # how wide each shall be


@dataclass(frozen=True, slots=True)
class Followed:
    """One run beside its ring, from where it first lies beside it on."""

    error_mm: float
    begin: float  # shares of the way round, going forward
    turned: float
    fault: str


def runs_of(motions: Iterable[Motion]) -> list[Run]:
    """Join what is cut without switching the beam off or moving the head."""
    found: list[tuple[int, list[Points], float]] = []
    burning = False
    for motion in motions:
        lit = motion.power > 0
        if lit and burning and motion.depth_mm == found[-1][2]:
            found[-1][1].append(motion.points[1:])
        elif lit:
            found.append((motion.line, [motion.points], motion.depth_mm))
        burning = lit
    return [Run(line, np.concatenate(parts), depth) for line, parts, depth in found]


def owners(runs: Sequence[Run], rings: Sequence[Ring], half: float) -> list[int | None]:
    """Return for each run the ring beside whose edge its end lies best, on the right side; None if nowhere near."""
    if not runs or not rings:
        return [None] * len(runs)
    ends = shapely.points(np.array([run.points[-1] for run in runs]))
    lines = np.array([ring.line for ring in rings])
    which, near = STRtree(lines).query(ends, predicate="dwithin", distance=2 * half + TOLERANCE_MM)
    order = np.lexsort((near, which))
    bounds = np.searchsorted(which[order], np.arange(len(runs) + 1))
    found: list[int | None] = []
    for k, at in enumerate(ends):
        mine = near[order[bounds[k] : bounds[k + 1]]]
        error = np.abs(shapely.distance(lines[mine], at) - half)
        ranked = [int(mine[i]) for i in np.argsort(error, kind="stable") if error[i] <= TOLERANCE_MM + half]
        right = (i for i in ranked if bool(rings[i].region.contains(at)) == rings[i].hole)
        found.append(next(right, None))
    return found


def follow(points: Points, ring: Ring, half: float) -> Followed:
    """Measure one run along its ring.

    The lead-in is what comes before the beam first lies half a kerf beside the edge. From there on every point is
    measured, and its foot on the finished edge must only go forward: so turns are counted everywhere at once. On a
    ring without bridges the run must leave nothing of the edge out.
    """
    points = _dense(points, ring.line.length / 8)
    # The passes repeat each other: what depends on the place alone is worked out once for each place.
    # As complex numbers they are sorted several times as fast as pairs.
    places, which = np.unique(np.ascontiguousarray(points).view(np.complex128)[:, 0], return_inverse=True)
    dots = shapely.points(places.real, places.imag)
    error = np.abs(shapely.distance(ring.line, dots) - half)[which]
    begun = np.flatnonzero(error <= TOLERANCE_MM)
    if not len(begun):
        return Followed(float(error.max()), 0.0, 0.0, "never reached")
    on = slice(int(begun[0]), None)
    shapely.prepare(ring.region)
    wrong_side = shapely.contains(ring.region, dots)[which][on] != ring.hole
    if wrong_side.any():
        return Followed(half, 0.0, 0.0, "cut on the side of the wood")
    foot = shapely.line_locate_point(ring.line, dots, normalized=True)[which][on]
    step = np.diff(foot)
    step -= np.round(step)
    turned = float(step.sum())
    back = float((step * math.copysign(1.0, turned)).min(initial=0.0)) * ring.line.length
    fault = "the beam turns back" if back < -TOLERANCE_MM else ""
    if not ring.bridges:
        # Coverage: a straight cut past a notch has no point in it, but leaves the notch's own beam line unvisited.
        path = LineString(points[on]) if len(points[on]) > 1 else shapely.points(points[on][0])
        fault = fault or ("part of the edge is left out" if _missed(path, ring, half, ()) else "")
    begin = float(foot[0] if turned >= 0 else foot[-1])
    return Followed(float(error[on].max()), begin, abs(turned), fault)


def held_faults(ring: Ring, runs: Sequence[Run], followed: Sequence[Followed], half: float, passes: int) -> list[str]:
    """Return what is wrong with a ring that keeps bridges.

    Counted along the edge, every place is passed `passes` times, or no time at all over a bridge; there are as many
    bridges as are meant, each where it is meant and as wide as it is meant, to 0.1 mm.
    """
    length = ring.line.length
    count = max(8, math.ceil(length / _STEP_MM))
    edges = np.zeros(2 * count + 1, dtype=np.int64)
    cover = 0
    for one in followed:
        whole, rest = divmod(one.turned, 1.0)
        cover += int(whole)
        first = math.ceil(one.begin % 1.0 * count - 1e-6)
        last = math.floor((one.begin % 1.0 + rest) * count + 1e-6)
        edges[first] += 1
        edges[last + 1 if last >= first else first] -= 1
    counted = np.cumsum(edges)[: 2 * count].reshape(2, count).sum(axis=0) + cover
    gaps = _gaps(counted == 0)
    faults = []
    if len(gaps) != len(ring.bridges):
        faults.append(f"{len(gaps)} bridges, {len(ring.bridges)} are meant")
    step = length / count
    near = np.zeros(count, dtype=np.bool_)
    meant = [ring.line.project(Point(b)) / length for b in ring.bridges]
    for first, size in gaps:
        near[np.arange(first - 2, first + size + 2) % count] = True
        middle = (first + (size - 1) / 2) / count
        off = min((abs((middle - m + 0.5) % 1.0 - 0.5) for m in meant), default=1.0) * length
        wood = (size + 1) * step - 2 * half
        if off > 0.5:
            faults.append(f"a bridge lies {off:.1f} mm from where it is meant")
        if abs(wood - ring.wood_mm) > 0.1 + step or wood < _LEAST_WOOD_MM:
            faults.append(f"a bridge is {wood:.2f} mm wide, {ring.wood_mm:.2f} are meant")
    few = counted[~near].min(initial=passes)
    if few < passes:
        faults.append(f"part of the edge is cut {few} times, the recipe means {passes}")
    burnt = sum(one.turned for one in followed) * length
    open_mm = length - sum(size + 1 for _, size in gaps) * step
    if burnt > passes * (open_mm + _MOST_OVERRUN_MM) + 1.0:
        faults.append(f"it is cut {burnt / open_mm:.1f} times, the recipe means {passes}")
    path = shapely.MultiLineString([run.points for run in runs if len(run.points) > 1])
    if _missed(path, ring, half, ring.bridges):
        faults.append("part of the edge is left out")
    return faults


def _gaps(bare: npt.NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Return (first place, number of places) of every stretch of a ring that is bare."""
    if bare.all() or not bare.any():
        return [(0, len(bare))] if bare.all() else []
    begins = np.flatnonzero(bare & ~np.roll(bare, 1))
    found = []
    for begin in begins.tolist():
        turned = np.roll(bare, -begin)
        found.append((begin, int(np.argmin(turned))))
    return found


def _missed(path: shapely.Geometry, ring: Ring, half: float, bridges: Iterable[tuple[float, float]]) -> bool:
    """Return whether a corner of the beam's own line is far from `path`, and not at a bridge."""
    wanted = shapely.points(shapely.get_coordinates(ring.region.buffer(-half if ring.hole else half, quad_segs=16)))
    shapely.prepare(path)
    missed = ~shapely.dwithin(path, wanted, TOLERANCE_MM)
    for bridge in bridges:
        missed &= ~shapely.dwithin(Point(bridge), wanted, ring.wood_mm / 2 + 2 * half)
    return bool(missed.any())


def _dense(points: Points, step_mm: float) -> Points:
    """Add the middle of every straight piece, and more where it is longer than `step_mm`."""
    steps = np.diff(points, axis=0)
    counts = np.maximum(2, np.ceil(np.hypot(steps[:, 0], steps[:, 1]) / step_mm)).astype(np.int64)
    first = np.repeat(np.cumsum(counts) - counts, counts)
    share = (np.arange(counts.sum()) - first + 1) / np.repeat(counts, counts)
    between = np.repeat(points[:-1], counts, axis=0) + np.repeat(steps, counts, axis=0) * share[:, None]
    return np.concatenate([points[:1], between])
