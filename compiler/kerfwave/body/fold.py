"""Folding a guide into a plan: parallel lanes, joined by round turns of constant section.

The lanes lie side by side at one edge of the room, the chamber has the rest. Everything is laid out in a lane
frame, u along the lanes and v across them with the chamber at low v and the first lane entered at low u; a key
says how that frame is turned and mirrored into the plan.

```
  v ^   mouth <-- lane 2 <-- .
    |   ============septum==  )      each turn is a half ring about the septum's round tip,
    |   . --> lane 1 --> ----'       so the duct is as wide there as everywhere
    |  (  ==========septum=======
    |  throat
    |          chamber
    +-----------------------------> u
```
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

from shapely import affinity
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from kerfwave.body import path, shapes
from kerfwave.body.around import lay_around
from kerfwave.body.keys import FoldKey
from kerfwave.body.lanes import chamber_below, lay_lanes
from kerfwave.body.path import Run
from kerfwave.body.places import (
    TOO_SHORT,
    CannotFold,
    Elsewhere,
    FacePlace,
    clear_of_corners,
    on_face,
    place_driver,
    place_terminal,
    terminal_faces,
)
from kerfwave.body.rooms import Rooms, largest
from kerfwave.body.rules import BodyRules
from kerfwave.model.parts import Point, Ring
from kerfwave.model.spec import Plan


@dataclass(frozen=True, slots=True)
class Fold:
    """A guide in a plan, with the chamber it leaves and places for driver, mouth and terminals."""

    key: FoldKey
    runs: tuple[Run, ...]  # throat first; the last one ends where the centreline leaves the plan; none: a closed box
    chamber: Ring
    chamber_area_mm2: float
    room_area_mm2: float  # everything behind the walls: the closed box of the same outside size
    length_mm: float
    mouth: FacePlace | None  # None: a closed box
    driver: FacePlace  # on the front; for a facing stack x and y of its centre in the plan
    terminal: FacePlace


def fold(plan: Plan, rules: BodyRules, key: FoldKey, *, least_length_mm: float = 0.0) -> Fold:
    """Fold the guide that a key describes.

    Raises:
        CannotFold: if it does not fit, or comes out shorter than `least_length_mm`, with the reason.
    """
    return fold_in(Rooms(plan, rules), key, least_length_mm)


def fold_in(rooms: Rooms, key: FoldKey, least_length_mm: float) -> Fold:
    """Fold the guide that a key describes into rooms that many keys share; see `fold`."""
    reason = "no face has room for the terminals beside the driver"
    along = {rooms.plan.faces[edge] for edge in key.walls}
    for terminal_face in terminal_faces(rooms.plan, rooms.rules):
        try:
            return _fold_beside(rooms, key, least_length_mm, terminal_face)
        except Elsewhere as error:
            reason = str(error)
        except CannotFold as error:
            # Lanes hardly change with the terminals' face, unless they leave them some of a wall that they follow.
            if terminal_face not in along:
                raise
            reason = str(error)
    raise CannotFold(reason)


def _fold_beside(rooms: Rooms, key: FoldKey, least_length_mm: float, terminal_face: str) -> Fold:
    """Fold a guide with the terminals in a given face."""
    plan, rules, room = rooms.plan, rooms.rules, rooms.room(terminal_face)
    if key.walls:
        laid, left = lay_around(rooms, terminal_face, key, least_length_mm)
    else:
        laid, left = _straight(rooms, terminal_face, key, least_length_mm)
    runs, mouth = _open(plan, rules, laid)
    length = path.length_mm(runs)
    if length < least_length_mm:
        raise CannotFold(TOO_SHORT)
    if mouth.face == terminal_face and not key.walls:
        raise Elsewhere("mouth and terminals would share a face")
    chamber = largest(left())
    driver = place_driver(plan, rules, chamber, partial(_outline, runs))
    try:
        terminal = place_terminal(plan, rules, terminal_face, chamber, driver)
    except CannotFold as error:
        raise Elsewhere(str(error)) from error
    if mouth.face == terminal_face and abs(mouth.along_mm - terminal.along_mm) < _apart_mm(rules, runs[-1], mouth):
        raise Elsewhere("mouth and terminals would come too near each other in one face")
    return Fold(
        key=key,
        runs=runs,
        chamber=shapes.rings_of(chamber)[0],
        chamber_area_mm2=chamber.area,
        room_area_mm2=room.area,
        length_mm=length,
        mouth=mouth,
        driver=driver,
        terminal=terminal,
    )


def _apart_mm(rules: BodyRules, last: Run, mouth: FacePlace) -> float:
    """Return how far apart the middles of mouth and terminals lie in one face at least: a wall is between them."""
    heading = math.radians(path.end(last)[2])
    cos = abs(math.cos(heading) * mouth.normal_x + math.sin(heading) * mouth.normal_y)
    return (last.width_out_mm / cos + rules.plate_width_mm) / 2 + rules.fit_mm + rules.wall_mm


def _straight(
    rooms: Rooms, terminal_face: str, key: FoldKey, least_length_mm: float
) -> tuple[tuple[Run, ...], Callable[[], BaseGeometry]]:
    """Return straight lanes along an axis of the plan, the last drawn well past any wall, and what they leave."""
    rules, seen = rooms.rules, rooms.seen(terminal_face, key)
    _check_way_out(rooms.plan, rules, key)
    u_lo, _, u_hi, _ = seen.bounds
    per_storey = key.lanes * (u_hi - u_lo + key.width_mm + rules.separator_mm)
    if key.storeys * per_storey + rules.front_wall_mm < least_length_mm:
        raise CannotFold(TOO_SHORT)
    turning = partial(rooms.seen, terminal_face, key)
    runs = lay_lanes(seen, turning, key.widths_mm, rules.separator_mm, key.arrangement)
    return _from_lanes_runs(runs, key), lambda: _from_lanes(seen if key.under else chamber_below(seen, runs), key)


# --- the lane frame ---------------------------------------------------------------------------------------------


def _from_lanes(shape: BaseGeometry, key: FoldKey) -> BaseGeometry:
    u, v = (-1.0 if key.flip_u else 1.0), (-1.0 if key.flip_v else 1.0)
    matrix = [0.0, v, u, 0.0, 0.0, 0.0] if key.along else [u, 0.0, 0.0, v, 0.0, 0.0]
    return affinity.affine_transform(shape, matrix)


def _from_lanes_runs(runs: tuple[Run, ...], key: FoldKey) -> tuple[Run, ...]:
    if key.flip_u:
        runs = path.mirrored(runs)
    if key.flip_v:  # y -> -y is x -> -x seen through a swap on either side
        runs = path.swapped(path.mirrored(path.swapped(runs)))
    return path.swapped(runs) if key.along else runs


# --- the way out -----------------------------------------------------------------------------------------------


def _check_way_out(plan: Plan, rules: BodyRules, key: FoldKey) -> None:
    """Raise CannotFold at once if the last lane leads away from the face that the mouth shall open through."""
    if rules.mouth_face == "auto":
        return
    # On every second storey the guide has come back along its first lane.
    onwards = key.lanes % 2 == 1 and key.storeys % 2 == 1
    u = 1.0 if onwards != key.flip_u else -1.0
    towards = (0.0, u) if key.along else (u, 0.0)
    a, b = shapes.face_line(plan, rules.mouth_face)
    if (b[1] - a[1]) * towards[0] - (b[0] - a[0]) * towards[1] <= 0.0:
        raise CannotFold(f"the last lane would lead away from the {rules.mouth_face}")


def _open(plan: Plan, rules: BodyRules, runs: tuple[Run, ...]) -> tuple[tuple[Run, ...], FacePlace]:
    """Cut the last run where it leaves the plan, and say through which face."""
    last = runs[-1]
    width = last.width_out_mm
    hits: list[tuple[float, str, float]] = []
    for side in (0.0, width / 2, -width / 2):
        x, y, _ = path.at(last, 0.0, side)
        far_x, far_y, _ = path.at(last, 1.0, side)
        crossing = []
        for i, face in enumerate(plan.faces):
            hit = _meet((x, y), (far_x, far_y), plan.outline[i], plan.outline[(i + 1) % len(plan.outline)])
            if hit is not None:
                crossing.append((hit[0], face, hit[1]))
        if not crossing:
            raise CannotFold("the mouth finds no face")
        hits.append(min(crossing))
    face = hits[0][1]
    if any(h[1] != face for h in hits):
        raise CannotFold("the mouth would open across a corner")
    a, b = shapes.face_line(plan, face)
    clear = clear_of_corners(plan, rules, face)
    if min(h[2] for h in hits) < clear[0] or max(h[2] for h in hits) > math.dist(a, b) - clear[1]:
        raise CannotFold("the mouth would leave too thin a corner")
    # On its way out the last lane runs through the wall, where other faces may come near.
    way_out = LineString([path.at(last, 0.0)[:2], path.at(last, hits[0][0] / last.length_mm)[:2]])
    others = [shapes.face_line(plan, name) for name in shapes.face_names(plan) if name != face]
    if any(way_out.distance(LineString(edge)) < width / 2 + rules.wall_mm - shapes.EPS for edge in others):
        raise CannotFold("the mouth would come too near another face")
    if rules.mouth_face == "auto":
        if face == "back" and rules.stack == "upright":
            raise CannotFold("the mouth would open at the back")
    elif face != rules.mouth_face:
        raise CannotFold(f"the mouth would open at the {face}, not at the {rules.mouth_face}")
    *before, _ = runs
    cut_run = replace(last, length_mm=hits[0][0])
    x, y, _ = path.end(cut_run)
    return (*before, cut_run), on_face(plan, face, hits[0][2])


def _meet(p: Point, q: Point, a: Point, b: Point) -> tuple[float, float] | None:
    """Return where the line p-q meets the edge a-b: the distance from p, and that from a. None if it does not."""
    (px, py), (ax, ay) = p, a
    rx, ry, sx, sy = q[0] - px, q[1] - py, b[0] - ax, b[1] - ay
    across = rx * sy - ry * sx
    if abs(across) < 1e-12:
        return None
    t = ((ax - px) * sy - (ay - py) * sx) / across
    w = ((ax - px) * ry - (ay - py) * rx) / across
    if not (0.0 <= t <= 1.0 and 0.0 <= w <= 1.0):
        return None
    return t * math.hypot(rx, ry), w * math.hypot(sx, sy)


def ducts(fold: Fold, overlap_mm: float = 0.0) -> tuple[Ring, ...]:
    """Return the duct of each storey as swept; the last runs on past the face that it opens through.

    With an overlap the first one also starts a little inside the chamber beside it, so that cutting both leaves nothing
    between them.
    """
    if not fold.runs or fold.mouth is None:
        return ()
    heading = math.radians(path.end(fold.runs[-1])[2])
    cos = abs(math.cos(heading) * fold.mouth.normal_x + math.sin(heading) * fold.mouth.normal_y)
    # Half a width times the slant of the face lies beyond the centreline's end, on one side; a width will mostly do.
    past = max(1.0, 0.55 * math.sqrt(max(0.0, 1.0 - cos**2)) / cos)
    return _ducts(fold.runs, 0.0 if fold.key.under else overlap_mm, past_widths=past)


def _ducts(
    runs: tuple[Run, ...], overlap: float = 0.0, sagitta_mm: float = path.SAGITTA_MM, past_widths: float = 1.0
) -> tuple[Ring, ...]:
    *between, last = runs
    last = replace(last, length_mm=last.length_mm + past_widths * last.width_out_mm)
    first, *rest = (*between, last)
    x, y, _ = path.at(first, -overlap / first.length_mm)
    first = replace(first, x=x, y=y, length_mm=first.length_mm + overlap)
    storeys = itertools.groupby((first, *rest), key=lambda run: run.storey)
    return tuple(path.sweep(tuple(one), sagitta_mm) for _, one in storeys)


def _outline(runs: tuple[Run, ...], from_y_mm: float) -> BaseGeometry | None:
    """Return the duct's rough outline, None if all of it lies further back than a depth (or seems to, at a glance)."""
    if all(min(run.y, path.end(run)[1]) - path.reach_mm(run) > from_y_mm for run in runs):
        return None
    return unary_union([Polygon(ring) for ring in _ducts(runs, sagitta_mm=0.5)])


def guide_air(plan: Plan, fold: Fold, storey: int = 0) -> Ring:
    """Return the air of the guide on one storey within the plan."""
    inside = Polygon(ducts(fold)[storey]).intersection(shapes.polygon(plan.outline))
    return shapes.rings_of(largest(inside))[0]
