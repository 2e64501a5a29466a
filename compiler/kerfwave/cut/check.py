"""Proof of a program from its text: what was written is read back and held against the pieces.

Nothing here knows how the program was made. `safe` proves what any program must keep; `verify` adds that this
one cuts these pieces: each ring so many times, half a kerf beside its finished edge, and nothing through wood; and
that it scores their marks, no other, before the first cut. Where
the machine's axes are not true, what it is told is first turned into what it draws.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely import STRtree
from shapely.geometry import LineString, Polygon

from kerfwave.cut import bridges as bridging
from kerfwave.cut.correction import drawn
from kerfwave.cut.course import BOTH, CUT, SCORE, Course, course_of, own_lines, power_step
from kerfwave.cut.follow import TOLERANCE_MM, Ring, Run, follow, held_faults, owners, runs_of
from kerfwave.cut.lead import KeepOut
from kerfwave.cut.markcheck import check_marks, sorted_out
from kerfwave.cut.placing import place, place_line
from kerfwave.cut.readback import Motion, Reading, code_of, read
from kerfwave.cut.verdict import SAY, verdict
from kerfwave.model.parts import Check, Piece, Placement, Point, Recipe
from kerfwave.model.parts import Ring as RingOfPoints
from kerfwave.model.spec import Machine

_EDGE_MM = 0.02


def safe(
    text: str,
    machine: Machine,
    width_mm: float,
    height_mm: float,
    *,
    name: str = "program",
    most_percent: float | None = None,
) -> tuple[Check, ...]:
    """Prove from the text of a program that it is understood, inside sheet and bed, dark in rapids and at the end.

    `width_mm` and `height_mm` are the sheet's; `name` begins the ids of the checks, for instance "sheet-01". With
    `most_percent`, that no move has more power than that.
    """
    reading = _read(text, machine)
    checks = _safe(reading, machine, width_mm, height_mm, name)
    if most_percent is None:
        return checks
    most = most_percent / 100 * machine.power_scale
    bright = [
        f"line {m.line} has S{m.power:g}, at most {most:g} is meant"
        for m in reading.motions
        if m.power > max(most, _least_power(machine)) + power_step(machine) + 1e-9
    ]
    return (*checks, verdict(f"{name}-faint", f"The beam never has more than {most_percent:g} % of its power", bright))


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
    bridges: Sequence[tuple[str, Point]] = (),
    outline: RingOfPoints = (),
    keep_out: Sequence[KeepOut] = (),
    others: Sequence[Placement] = (),
) -> tuple[Check, ...]:
    """Prove that a whole program does what `recipe` means: `prove` of its course."""
    course = course_of(text, recipe, machine, name=name, bridges=tuple(bridges))
    return prove(
        course, pieces, placements, machine, width_mm, height_mm, outline=outline, keep_out=keep_out, others=others
    )


def prove(
    course: Course,
    pieces: tuple[Piece, ...],
    placements: tuple[Placement, ...],
    machine: Machine,
    width_mm: float,
    height_mm: float,
    *,
    outline: RingOfPoints = (),
    keep_out: Sequence[KeepOut] = (),
    others: Sequence[Placement] = (),
) -> tuple[Check, ...]:
    """Prove that a program cuts `pieces` as the placements of its sheet have them, and is safe (see `safe`).

    `outline` is that of a sheet which is no rectangle, `keep_out` where no beam may go, `others` what else lies on the
    sheet, which other programs cut and this one must not touch. Returns one check for each
    rule, level "fail" where it is broken. The value of "...-kerf" is the largest distance in mm of the beam's centre
    from where it should run, its limit 0.02 mm.
    """
    reading, name = _read(course.text, machine, course.own), course.name
    by_id = {piece.id: piece for piece in pieces}
    shapes = [(p.piece, place(by_id[p.piece], p)) for p in placements]
    untouched = [(p.piece, place(by_id[p.piece], p)) for p in others]
    cutting, scoring = sorted_out(reading.motions)
    runs, scored = ([replace(r, points=drawn(r.points, machine)) for r in runs_of(part)] for part in (cutting, scoring))
    lines = [(p.piece, place_line(line, p)) for p in placements for mark in by_id[p.piece].marks for line in mark.lines]
    wood = {p.piece: bridging.width_mm(by_id[p.piece].thickness_mm, course.kerf_mm) for p in placements}
    return (
        *_safe(reading, machine, width_mm, height_mm, name),
        *_settings(cutting, name),
        *_rings(runs, _finished(shapes, course.bridges, wood), course, machine),
        _wood(runs, [*shapes, *untouched], course.kerf_mm, name),
        *check_marks(scored, lines, min((run.line for run in runs), default=None), name),
        *_clear(runs, outline, keep_out, name),
    )


def silent(text: str, *, name: str = "program") -> Check:
    """Prove that `text`, the header of a program, holds nothing but comments."""
    bad = []
    for number, line in enumerate(text.split("\n"), 1):
        code, fault = code_of(line)
        if code or fault:
            bad.append(f"line {number} of the header: {fault or 'more than a comment'}")
    return verdict(f"{name}-header", "The header of the program holds comments only", bad)


def _read(text: str, machine: Machine, own: Sequence[str] | None = None) -> Reading:
    """Read a program, or a course with the machine's `own` lines as they stand in it."""
    lines = own_lines(machine)
    reading = read(text, lines if own is None else own, focus=machine.focus_axis, home=machine.home == "g28")
    if own is None:
        return reading
    told = dict(zip(own, lines, strict=True))
    return replace(reading, unknown=tuple(told[line] for line in reading.unknown))


def _safe(reading: Reading, machine: Machine, width: float, height: float, name: str) -> tuple[Check, ...]:
    outside = [f"line {line} leaves the sheet or the bed" for line in _leaving(reading, machine, width, height)]
    lit = [f"line {m.line} is a rapid with the beam on" for m in reading.motions if m.rapid and m.power > 0]
    end = [] if reading.ended else ["the program does not end with M2 or M30"]
    end += ["the beam is on at the end"] if reading.lit_at_end else []
    checks = [
        verdict(f"{name}-read", "Every line of the program was understood", reading.faults),
        verdict(f"{name}-inside", "Every move stays on the sheet and the bed", outside),
        verdict(f"{name}-dark", "The beam is off in every rapid", lit),
        verdict(f"{name}-end", "The program ends with the beam off", end),
    ]
    if reading.unknown:
        text = f"Machine lines that this proof cannot follow: {', '.join(reading.unknown[:SAY])}"
        checks.append(Check(f"{name}-machine-lines", "warn", text))
    return tuple(checks)


def _leaving(reading: Reading, machine: Machine, width: float, height: float) -> list[int]:
    """Return the lines with a point off the bed, or really off the sheet."""
    if not reading.motions:
        return []
    points = np.concatenate([motion.points for motion in reading.motions])
    lines = np.repeat([motion.line for motion in reading.motions], [len(motion.points) for motion in reading.motions])
    off = np.zeros(len(points), dtype=np.bool_)
    for where, most in (
        (points, (machine.bed_width_mm, machine.bed_height_mm)),
        (drawn(points, machine), (width, height)),
    ):
        # Not "is off" but "is not on": a coordinate that is no number is on nothing.
        off |= ~((where >= -_EDGE_MM) & (where <= np.array(most) + _EDGE_MM)).all(axis=1)
    return [int(line) for line in np.unique(lines[off])]


def _least_power(machine: Machine) -> float:
    return 2 * power_step(machine)


def _settings(motions: tuple[Motion, ...], name: str) -> tuple[Check, ...]:
    wrong = []
    for motion in motions:
        if motion.rapid or motion.power <= 0:
            continue
        for what, word in (("power", motion.power), ("feed", motion.feed_mm_min)):
            if word not in (CUT, BOTH):
                whose = "that of scoring" if word == SCORE else "not the recipe's"
                wrong.append(f"line {motion.line} cuts at a {what} that is {whose}")
    return (verdict(f"{name}-settings", "Every cut has the recipe's power and feed", wrong),)


def _finished(
    shapes: list[tuple[str, Polygon]], bridges: Sequence[tuple[str, Point]], wood_mm: dict[str, float]
) -> list[Ring]:
    rings = []
    for name, shape in shapes:
        for k, line in enumerate(shape.interiors):
            rings.append(Ring(f"{name}, hole {k + 1}", name, True, line, Polygon(line)))
        mine = tuple(point for piece, point in bridges if piece == name)
        region = Polygon(shape.exterior)
        rings.append(Ring(f"{name}, outline", name, False, shape.exterior, region, mine, wood_mm[name]))
    return rings


def _rings(runs: list[Run], rings: list[Ring], course: Course, machine: Machine) -> tuple[Check, ...]:
    half, name = course.kerf_mm / 2, course.name
    beside: dict[int, list[Run]] = {k: [] for k in range(len(rings))}
    stray = []
    for run, index in zip(runs, owners(runs, rings, half), strict=True):
        if index is None:
            stray.append(f"the cut from line {run.line} on lies beside no finished edge")
        else:
            beside[index].append(run)
    worst = 0.0
    passes = []
    focus = []
    depths = Counter(course.depths_mm or (0.0,) * course.passes)
    for index, mine in beside.items():
        ring = rings[index]
        followed = [follow(run.points, ring, half) for run in mine]
        worst = max((worst, *(f.error_mm for f in followed)))
        stray += [
            f"{ring.name}: the beam is {f.error_mm:.3f} mm from where it should run"
            for f in followed
            if f.error_mm > TOLERANCE_MM
        ]
        passes += [f"{ring.name}: {f.fault}" for f in followed if f.fault]
        if ring.bridges:
            passes += [f"{ring.name}: {fault}" for fault in held_faults(ring, mine, followed, half, course.passes)]
        else:
            done = sum(math.floor(f.turned + 0.01) for f in followed)
            if done != course.passes:
                passes.append(f"{ring.name} is cut {done} times, the recipe means {course.passes}")
        if machine.focus_axis and not _as_deep(mine, [f.turned for f in followed], depths, bool(ring.bridges)):
            focus.append(f"{ring.name} is not cut at the depths of focus that the recipe means")
    held = sum(len(ring.bridges) for ring in rings)
    checks = [
        verdict(
            f"{name}-passes",
            f"Every contour is cut {course.passes} times"
            + (f", but for {held} bridges, which no pass touches" if held else ""),
            passes,
        ),
        verdict(
            f"{name}-kerf",
            f"The beam runs {half:.3f} mm beside every finished edge, in the waste",
            stray,
            round(worst, 4),
            TOLERANCE_MM,
        ),
    ]
    if machine.focus_axis:
        checks.append(verdict(f"{name}-focus", "Every pass has the recipe's focus", focus))
    return tuple(checks)


def _as_deep(runs: list[Run], turned: list[float], depths: Counter[float], bridged: bool) -> bool:
    """Return whether the turns at each depth are those that the recipe means; bridges take a little of each."""
    found: dict[float, float] = {}
    for run, turns in zip(runs, turned, strict=True):
        depth = round(run.depth_mm, 3)
        found[depth] = found.get(depth, 0.0) + turns
    least = 0.5 if bridged else 0.99
    return found.keys() == {round(d, 3) for d in depths} and all(
        depths[d] * least <= t < depths[d] + 0.5 * depths[d] for d, t in ((d, found[round(d, 3)]) for d in depths)
    )


def _wood(runs: list[Run], shapes: list[tuple[str, Polygon]], kerf_mm: float, name: str) -> Check:
    reach = kerf_mm / 2 - TOLERANCE_MM
    paths = [LineString(run.points) for run in runs]
    tree = STRtree(paths)
    cut = []
    for piece, shape in shapes:
        # A piece grown by nearly half a kerf; no beam line may enter it.
        near = tree.query(shapely.box(*shape.bounds).buffer(reach))
        if len(near):
            grown = shape.buffer(reach, quad_segs=16)
            shapely.prepare(grown)
            met = shapely.intersects(grown, [paths[k] for k in near.tolist()])
            cut += [(runs[k].line, piece) for k in near[met].tolist()]
    bad = [f"{piece} is cut into from line {line} on" for line, piece in sorted(cut)]
    return verdict(f"{name}-wood", "No cut goes through a piece", bad)


def _clear(runs: list[Run], outline: RingOfPoints, keep_out: Sequence[KeepOut], name: str) -> tuple[Check, ...]:
    """Prove that no beam leaves an odd sheet or meets a place to keep out of; nothing to prove where there is none."""
    if not outline and not keep_out:
        return ()
    sheet = Polygon(outline).buffer(_EDGE_MM) if outline else None
    places = [(what, Polygon(ring).buffer(max(0.0, clearance - _EDGE_MM))) for what, ring, clearance in keep_out]
    bad = []
    for run in runs:
        path = LineString(run.points)
        if sheet is not None and not sheet.covers(path):
            bad.append(f"the cut from line {run.line} on leaves the sheet")
        bad += [f"the cut from line {run.line} on meets a {what}" for what, place in places if place.intersects(path)]
    return (verdict(f"{name}-clear", "The beam stays on the sheet and keeps off knots, clamps and magnets", bad),)


def shared_out(
    files: Sequence[tuple[str, str]], pieces: Sequence[Piece], placements: Sequence[Placement], *, name: str
) -> tuple[Check, ...]:
    """Prove that the files of one sheet share its pieces out, and cut none loose before its turn.

    `files` are the name of each file and the one piece that it was proved to cut (`verify`), `placements` all
    that lies on the sheet. There are checks for two rules, their ids begun with `name`: each piece is cut by one file,
    and what lies in a window of a piece has its file before that piece's. Files are taken in the order of their names.
    """
    cut = [piece for _, piece in sorted(files)]
    lying = sorted(p.piece for p in placements)
    wrong = [f"{piece} is cut by {cut.count(piece)} files" for piece in lying if cut.count(piece) != 1]
    wrong += [f"{piece} does not lie on the sheet" for piece in sorted(set(cut) - set(lying))]
    by_id = {piece.id: piece for piece in pieces}
    shapes = [(p.piece, place(by_id[p.piece], p)) for p in placements]
    windows = [(piece, Polygon(ring)) for piece, shape in shapes for ring in shape.interiors]
    early = []
    tree = STRtree([window for _, window in windows])
    for piece, shape in shapes:
        for k in sorted(tree.query(shape, predicate="within").tolist()):
            around = windows[k][0]
            if piece in cut and around in cut and cut.index(piece) > cut.index(around):
                early.append(f"{around} is cut before {piece}, which lies in its window")
    return (
        verdict(f"{name}-once", "Each piece of the sheet is cut by one file", wrong),
        verdict(f"{name}-order", "What lies in a window is cut before the piece around it", early),
    )
