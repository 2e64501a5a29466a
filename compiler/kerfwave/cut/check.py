"""Proof of a program from its text: what was written is read back and held against the pieces.

Nothing here knows how the program was made. `safe` proves what any program must keep; `verify` adds that this
one cuts these pieces: each ring so many times, half a kerf beside its finished edge, and nothing through wood.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import LinearRing, LineString, Polygon

from kerfwave.cut.placing import place
from kerfwave.cut.readback import Motion, Reading, read
from kerfwave.model.parts import Check, Piece, Placement, Recipe
from kerfwave.model.spec import Machine

TOLERANCE_MM = 0.02
_EDGE_MM = 0.02
_SAY = 3  # so many examples in one message


@dataclass(frozen=True, slots=True)
class _Ring:
    """One finished ring on the sheet."""

    name: str
    hole: bool
    line: LinearRing
    region: Polygon


def safe(text: str, machine: Machine, width_mm: float, height_mm: float, *, name: str = "program") -> tuple[Check, ...]:
    """Prove from the text of a program that it is understood, inside sheet and bed, dark in rapids and at the end.

    `width_mm` and `height_mm` are the sheet's; `name` begins the ids of the checks, for instance "sheet-01".
    """
    return _safe(read(text, (*machine.start, *machine.end)), machine, width_mm, height_mm, name)


def verify(
    text: str,
    pieces: tuple[Piece, ...],
    placements: tuple[Placement, ...],
    recipe: Recipe,
    machine: Machine,
    width_mm: float,
    height_mm: float,
    *,
    name: str = "program",
) -> tuple[Check, ...]:
    """Prove that a program cuts `pieces` as the placements of its sheet have them, and is safe (see `safe`).

    Returns one check for each rule, level "fail" where it is broken. The value of "...-kerf" is the largest
    distance in mm of the beam's centre from where it should run, its limit 0.02 mm.
    """
    reading = read(text, (*machine.start, *machine.end))
    by_id = {piece.id: piece for piece in pieces}
    shapes = [(p.piece, place(by_id[p.piece], p)) for p in placements]
    runs = _runs(reading.motions)
    return (
        *_safe(reading, machine, width_mm, height_mm, name),
        *_settings(reading.motions, recipe, machine, name),
        *_rings(runs, _finished(shapes), recipe, name),
        _wood(runs, shapes, recipe, name),
    )


def _check(id_: str, good: str, bad: Iterable[str], value: float | None = None, limit: float | None = None) -> Check:
    said = list(bad)
    if not said:
        return Check(id_, "ok", good, value, limit)
    more = f"; and {len(said) - _SAY} more" if len(said) > _SAY else ""
    return Check(id_, "fail", "; ".join(said[:_SAY]) + more, value, limit)


def _safe(reading: Reading, machine: Machine, width: float, height: float, name: str) -> tuple[Check, ...]:
    right, top = min(width, machine.bed_width_mm), min(height, machine.bed_height_mm)
    outside = []
    lit = []
    for motion in reading.motions:
        low, high = motion.points.min(axis=0), motion.points.max(axis=0)
        if low.min() < -_EDGE_MM or high[0] > right + _EDGE_MM or high[1] > top + _EDGE_MM:
            outside.append(f"line {motion.line} leaves the sheet or the bed")
        if motion.rapid and motion.power > 0:
            lit.append(f"line {motion.line} is a rapid with the beam on")
    end = [] if reading.ended else ["the program does not end with M2 or M30"]
    end += ["the beam is on at the end"] if reading.lit_at_end else []
    checks = [
        _check(f"{name}-read", "Every line of the program was understood", reading.faults),
        _check(f"{name}-inside", "Every move stays on the sheet and the bed", outside),
        _check(f"{name}-dark", "The beam is off in every rapid", lit),
        _check(f"{name}-end", "The program ends with the beam off", end),
    ]
    if reading.unknown:
        text = f"Machine lines that this proof cannot follow: {', '.join(reading.unknown[:_SAY])}"
        checks.append(Check(f"{name}-machine-lines", "warn", text))
    return tuple(checks)


def _settings(motions: tuple[Motion, ...], recipe: Recipe, machine: Machine, name: str) -> tuple[Check, ...]:
    power = recipe.power_percent / 100 * machine.power_scale
    # The power word is a whole number, or has decimals where the scale is short: a step of either is fair.
    step = 0.5 if machine.power_scale >= 100 else 0.0005
    wrong = []
    for motion in motions:
        if motion.rapid or motion.power <= 0:
            continue
        if abs(motion.power - power) > step + 1e-9:
            wrong.append(f"line {motion.line} cuts at S{motion.power:g}, the recipe means {power:g}")
        if abs(motion.feed_mm_min - recipe.feed_mm_min) > 0.5:
            wrong.append(f"line {motion.line} cuts at F{motion.feed_mm_min:g}, the recipe means {recipe.feed_mm_min:g}")
    return (_check(f"{name}-settings", "Every cut has the recipe's power and feed", wrong),)


def _runs(motions: tuple[Motion, ...]) -> list[tuple[int, npt.NDArray[np.float64]]]:
    """Join what is cut without switching the beam off: (line of its first move, points of shape (k, 2))."""
    runs: list[tuple[int, list[npt.NDArray[np.float64]]]] = []
    burning = False
    for motion in motions:
        lit = motion.power > 0
        if lit and burning:
            runs[-1][1].append(motion.points[1:])
        elif lit:
            runs.append((motion.line, [motion.points]))
        burning = lit
    return [(line, np.concatenate(parts)) for line, parts in runs]


def _finished(shapes: list[tuple[str, Polygon]]) -> list[_Ring]:
    rings = []
    for name, shape in shapes:
        for k, line in enumerate(shape.interiors):
            rings.append(_Ring(f"{name}, hole {k + 1}", True, line, Polygon(line)))
        rings.append(_Ring(f"{name}, outline", False, shape.exterior, Polygon(shape.exterior)))
    return rings


def _rings(
    runs: list[tuple[int, npt.NDArray[np.float64]]], rings: list[_Ring], recipe: Recipe, name: str
) -> tuple[Check, ...]:
    half = recipe.kerf_mm / 2
    turns: dict[int, list[float]] = {k: [] for k in range(len(rings))}
    worst = 0.0
    stray = []
    passes = []
    for line, points in runs:
        index = _owner(points[-1], rings, half)
        if index is None:
            stray.append(f"the cut from line {line} on lies beside no finished edge")
            continue
        error, turned, fault = _follow(points, rings[index], half)
        worst = max(worst, error)
        turns[index].append(turned)
        if error > TOLERANCE_MM:
            stray.append(f"{rings[index].name}: the beam is {error:.3f} mm from where it should run")
        if fault:
            passes.append(f"{rings[index].name}: {fault}")
    for index, ring in enumerate(rings):
        done = sum(math.floor(turned + 0.01) for turned in turns[index])
        if done != recipe.passes:
            passes.append(f"{ring.name} is cut {done} times, the recipe means {recipe.passes}")
    return (
        _check(f"{name}-passes", f"Every contour is cut {recipe.passes} times", passes),
        _check(
            f"{name}-kerf",
            f"The beam runs {half:.3f} mm beside every finished edge, in the waste",
            stray,
            round(worst, 4),
            TOLERANCE_MM,
        ),
    )


def _owner(point: npt.NDArray[np.float64], rings: list[_Ring], half: float) -> int | None:
    """Return the ring beside which `point` lies best, on the right side; None if it is nowhere near one."""
    at = shapely.points(point)
    error = np.abs(shapely.distance(np.array([ring.line for ring in rings]), at) - half)
    for index in np.argsort(error, kind="stable").tolist():
        if error[index] > TOLERANCE_MM + half:
            return None
        if bool(rings[index].region.contains(at)) == rings[index].hole:
            return int(index)
    return None


def _follow(points: npt.NDArray[np.float64], ring: _Ring, half: float) -> tuple[float, float, str]:
    """Return (largest error in mm, turns round the ring, what is wrong or "") of one run.

    The lead-in is what comes before the beam first lies half a kerf beside the edge. From there on every point is
    measured, and its foot on the finished edge must only go forward: so turns are counted everywhere at once.
    """
    points = _dense(points, ring.line.length / 8)
    # The passes repeat each other: what depends on the place alone is worked out once for each place.
    places, which = np.unique(points, axis=0, return_inverse=True)
    which = which.reshape(-1)
    dots = shapely.points(places)
    error = np.abs(shapely.distance(ring.line, dots) - half)[which]
    begun = np.flatnonzero(error <= TOLERANCE_MM)
    if not len(begun):
        return float(error.max()), 0.0, "never reached"
    on = slice(int(begun[0]), None)
    shapely.prepare(ring.region)
    wrong_side = shapely.contains(ring.region, dots)[which][on] != ring.hole
    if wrong_side.any():
        return half, 0.0, "cut on the side of the wood"
    foot = shapely.line_locate_point(ring.line, dots, normalized=True)[which][on]
    step = np.diff(foot)
    step -= np.round(step)
    turned = float(step.sum())
    back = float((step * math.copysign(1.0, turned)).min(initial=0.0)) * ring.line.length
    fault = "the beam turns back" if back < -TOLERANCE_MM else ""
    # Coverage: a straight cut past a notch has no point in it, but leaves the notch's own beam line unvisited.
    wanted = shapely.get_coordinates(ring.region.buffer(-half if ring.hole else half, quad_segs=16))
    path = LineString(points[on]) if len(points[on]) > 1 else shapely.points(points[on][0])
    shapely.prepare(path)
    missed = ~shapely.dwithin(path, shapely.points(wanted), TOLERANCE_MM)
    fault = fault or ("part of the edge is left out" if missed.any() else "")
    return float(error[on].max()), abs(turned), fault


def _dense(points: npt.NDArray[np.float64], step_mm: float) -> npt.NDArray[np.float64]:
    """Add the middle of every straight piece, and more where it is longer than `step_mm`."""
    steps = np.diff(points, axis=0)
    counts = np.maximum(2, np.ceil(np.hypot(steps[:, 0], steps[:, 1]) / step_mm)).astype(np.int64)
    first = np.repeat(np.cumsum(counts) - counts, counts)
    share = (np.arange(counts.sum()) - first + 1) / np.repeat(counts, counts)
    between = np.repeat(points[:-1], counts, axis=0) + np.repeat(steps, counts, axis=0) * share[:, None]
    return np.concatenate([points[:1], between])


def _wood(
    runs: list[tuple[int, npt.NDArray[np.float64]]], shapes: list[tuple[str, Polygon]], recipe: Recipe, name: str
) -> Check:
    reach = recipe.kerf_mm / 2 - TOLERANCE_MM
    # A piece grown by nearly half a kerf; no beam line may enter it.
    kept = [(piece, shape.buffer(reach, quad_segs=16)) for piece, shape in shapes]
    for _, grown in kept:
        shapely.prepare(grown)
    cut = [
        f"{piece} is cut into from line {line} on"
        for line, points in runs
        for piece, grown in kept
        if grown.intersects(LineString(points))
    ]
    return _check(f"{name}-wood", "No cut goes through a piece", cut)
