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
from shapely.geometry import LineString, Polygon, box
from shapely.geometry.base import BaseGeometry
from shapely.ops import polylabel

from kerfwave.body import path, shapes
from kerfwave.body.path import Run
from kerfwave.body.rules import BodyRules
from kerfwave.model.parts import Point, Ring
from kerfwave.model.spec import Plan

TOO_SHORT = "the guide would be too short"


class CannotFold(Exception):
    """A key that does not fit a plan; the message says what stands in the way."""


@dataclass(frozen=True, slots=True, order=True)
class FoldKey:
    """What tells one fold from another."""

    along: bool  # lanes run from front to back instead of from side to side
    flip_u: bool
    flip_v: bool
    lanes: int
    width_mm: float  # mean of the lanes
    taper: float = 1.0  # width of the last lane / width of the first

    @property
    def widths_mm(self) -> tuple[float, ...]:
        """Widths of the lanes, throat first, in even steps; a turn between two goes evenly from one to the other."""
        first = 2 * self.width_mm / (1 + self.taper)
        step = (self.taper - 1) * first / max(1, self.lanes - 1)
        return tuple(round(first + i * step, 6) for i in range(self.lanes)) if self.lanes > 1 else (self.width_mm,)


@dataclass(frozen=True, slots=True)
class FacePlace:
    """A place on a face: `along_mm` from the face's first point, with its position and outward normal."""

    face: str
    along_mm: float
    x_mm: float
    y_mm: float
    normal_x: float
    normal_y: float


@dataclass(frozen=True, slots=True)
class Fold:
    """A guide in a plan, with the chamber it leaves and places for driver, mouth and terminals."""

    key: FoldKey
    runs: tuple[Run, ...]  # throat first; the last one ends where the centreline leaves the plan
    chamber: Ring
    chamber_area_mm2: float
    room_area_mm2: float  # everything behind the walls: the closed box of the same outside size
    length_mm: float
    mouth: FacePlace
    driver: FacePlace  # on the front; for a facing stack x and y of its centre in the plan
    terminal: FacePlace


def fold(plan: Plan, rules: BodyRules, key: FoldKey, *, least_length_mm: float = 0.0) -> Fold:
    """Fold the guide that a key describes.

    Raises:
        CannotFold: if it does not fit, or comes out shorter than `least_length_mm`, with the reason.
    """
    return _fold(_Rooms(plan, rules), key, least_length_mm)


class _Rooms:
    """The room inside a plan as the lanes see it, worked out once for all the folds that are tried in it."""

    def __init__(self, plan: Plan, rules: BodyRules) -> None:
        self.plan, self.rules = plan, rules
        self._rooms: dict[str, Polygon] = {}
        self._seen: dict[tuple[str, bool, bool, bool, float], BaseGeometry] = {}

    def room(self, terminal_face: str) -> Polygon:
        """Return what is inside the walls when the terminals stand in a face."""
        if terminal_face not in self._rooms:
            self._rooms[terminal_face] = room_behind(self.plan, self.rules, terminal_face)
        return self._rooms[terminal_face]

    def seen(self, terminal_face: str, key: FoldKey, less_mm: float = 0.0) -> BaseGeometry:
        """Return that room in the lane frame of a key, worn away by so much all round."""
        name = (terminal_face, key.along, key.flip_u, key.flip_v, round(less_mm, 6))
        if name not in self._seen:
            room = self.room(terminal_face)
            worn = room.buffer(-(less_mm - shapes.EPS), quad_segs=32) if less_mm else room
            self._seen[name] = _to_lanes(worn, key)
        return self._seen[name]


def _fold(rooms: _Rooms, key: FoldKey, least_length_mm: float) -> Fold:
    plan, rules = rooms.plan, rooms.rules
    reason = "no face has room for the terminals beside the driver"
    for terminal_face in _terminal_faces(plan, rules):
        room, seen = rooms.room(terminal_face), rooms.seen(terminal_face, key)
        _check_way_out(plan, rules, key)
        u_lo, _, u_hi, _ = seen.bounds
        if key.lanes * (u_hi - u_lo + key.width_mm + rules.separator_mm) + rules.front_wall_mm < least_length_mm:
            raise CannotFold(TOO_SHORT)
        widths = key.widths_mm
        runs = _lanes(seen, partial(rooms.seen, terminal_face, key), widths, rules.separator_mm)
        chamber_seen = _chamber(seen, runs)
        runs, mouth = _open(plan, rules, _from_lanes_runs(runs, key))
        length = path.length_mm(runs)
        if length < least_length_mm:
            raise CannotFold(TOO_SHORT)
        if mouth.face == terminal_face:
            reason = "mouth and terminals would share a face"
            continue
        chamber = _largest(_from_lanes(chamber_seen, key))
        driver = _place_driver(plan, rules, chamber, Polygon(_duct(runs, sagitta_mm=0.5)))
        try:
            terminal = _place_terminal(plan, rules, terminal_face, chamber, driver)
        except CannotFold as error:
            reason = str(error)
            continue
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
    raise CannotFold(reason)


def room_behind(plan: Plan, rules: BodyRules, terminal_face: str) -> Polygon:
    """Return what is inside the walls when the terminals stand in a given face.

    Raises:
        CannotFold: if nothing is.
    """
    walls = {terminal_face: rules.terminal_wall_mm}
    if rules.stack == "upright":
        walls["front"] = max(rules.front_wall_mm, walls.get("front", 0.0))
    return _largest(shapes.inside(plan, walls, rules.wall_mm))


# --- the lane frame ---------------------------------------------------------------------------------------------


def _to_lanes(shape: BaseGeometry, key: FoldKey) -> BaseGeometry:
    u, v = (-1.0 if key.flip_u else 1.0), (-1.0 if key.flip_v else 1.0)
    matrix = [0.0, u, v, 0.0, 0.0, 0.0] if key.along else [u, 0.0, 0.0, v, 0.0, 0.0]
    return affinity.affine_transform(shape, matrix)


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


def _largest(shape: BaseGeometry) -> Polygon:
    parts = shapes.parts_of(shape)
    if not parts:
        raise CannotFold("the walls leave no room inside the plan")
    return max(parts, key=lambda p: round(p.area, 3))


# --- lanes ------------------------------------------------------------------------------------------------------


def _radii(widths: tuple[float, ...], septum: float) -> list[float]:
    """Return the centreline radii of the turns, the throat's first."""
    between = [(a / 2 + septum + b / 2) / 2 for a, b in itertools.pairwise(widths)]
    return [(widths[0] + septum) / 2, *between]


def _reaches(widths: tuple[float, ...], septum: float) -> list[float]:
    """Return the greatest outer radii of the turns, the throat's first."""
    ends = [(widths[0], widths[0]), *itertools.pairwise(widths)]
    return [r + max(a, b) / 2 for r, (a, b) in zip(_radii(widths, septum), ends, strict=True)]


def _lanes(
    room: BaseGeometry, turning: Callable[[float], BaseGeometry], widths: tuple[float, ...], septum: float
) -> tuple[Run, ...]:
    """Lay the guide out in the lane frame: up from the chamber, then to and fro, ending in the last lane.

    A turn may be centred anywhere in `turning(reach)`: the room less the turn's outer radius.
    """
    lanes, width = len(widths), widths[-1]
    if any(abs(a - b) > septum for a, b in itertools.pairwise(widths)):
        raise CannotFold("neighbouring lanes differ by more than the separator's thickness")
    u_lo, v_lo, u_hi, v_hi = room.bounds
    # A pointed room has no use for its tip: come down until the last lane is worth having.
    top = v_hi
    least = max(2 * width, 30.0)
    while True:
        if top - width < v_lo:
            raise CannotFold(f"a lane {width:.1f} mm wide is too wide for the room")
        free = shapes.longest(shapes.free_stretches(room, u_lo, u_hi, top - width, top))
        if free is not None and free[1] - free[0] >= least:
            break
        top -= 2.0
    if lanes > 1:
        # A turn from a wider lane below would else bulge past the last lane's far side.
        top -= max(0.0, (widths[-2] - widths[-1]) / 2)
    bottoms = [top - sum(widths[i:]) - (lanes - 1 - i) * septum for i in range(lanes)]
    if bottoms[0] - septum <= v_lo + 1.0:
        raise CannotFold(f"{lanes} lanes so wide leave nothing for the chamber")
    radii, reaches = _radii(widths, septum), _reaches(widths, septum)
    # Turns are centred between the middles of their lanes; the throat's is level with the middle of its septum.
    middles = [b + w / 2 for b, w in zip(bottoms, widths, strict=True)]
    tips = [bottoms[0] - septum / 2, *((a + b) / 2 for a, b in itertools.pairwise(middles))]
    turns = []
    for i, tip in enumerate(tips):
        line = turning(reaches[i]).intersection(LineString([(u_lo - 1, tip), (u_hi + 1, tip)]))
        if line.is_empty:
            raise CannotFold(f"no room for a turn {2 * reaches[i]:.1f} mm across")
        turns.append(line.bounds[0] if i % 2 == 0 else line.bounds[2])
    # Below its turn the throat goes straight on to the chamber, beside a wall that may lean inwards.
    beside = shapes.free_stretches(room, u_lo, u_hi, tips[0] - septum / 2, tips[0])
    turns[0] = max(
        turns[0], *(start + reaches[0] for start, stop in beside if start - shapes.EPS <= turns[0] <= stop), u_lo
    )
    first = widths[0]
    steps: list[path.Step] = [
        ("throat", septum / 2, 0.0, first, first),
        ("bend 1", radii[0] * math.pi / 2, -90.0, first, first),
    ]
    for i in range(lanes - 1):
        straight = abs(turns[i + 1] - turns[i])
        if (turns[i + 1] - turns[i]) * (1 if i % 2 == 0 else -1) < 0:
            raise CannotFold("the lanes are shorter than their turns")
        steps.append((f"lane {i + 1}", straight, 0.0, widths[i], widths[i]))
        half_turn = 180.0 if i % 2 == 0 else -180.0
        steps.append((f"bend {i + 2}", radii[i + 1] * math.pi, half_turn, widths[i], widths[i + 1]))
    # The last lane is drawn well past any wall; `_open` cuts it where it leaves the plan.
    steps.append((f"lane {lanes}", 2 * (u_hi - u_lo), 0.0, widths[-1], widths[-1]))
    return path.chain(turns[0] - radii[0], bottoms[0] - septum, 90.0, tuple(steps))


def _chamber(room: BaseGeometry, runs: tuple[Run, ...]) -> BaseGeometry:
    u_lo, v_lo, u_hi, _ = room.bounds
    return room.intersection(box(u_lo - 1, v_lo - 1, u_hi + 1, runs[0].y))


def _check_way_out(plan: Plan, rules: BodyRules, key: FoldKey) -> None:
    """Raise CannotFold at once if the last lane leads away from the face that the mouth shall open through."""
    if rules.mouth_face == "auto":
        return
    u = 1.0 if (key.lanes % 2 == 1) != key.flip_u else -1.0
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
    if min(h[2] for h in hits) < rules.least_web_mm or max(h[2] for h in hits) > math.dist(a, b) - rules.least_web_mm:
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
    return (*before, cut_run), _on_face(plan, face, hits[0][2])


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


def _on_face(plan: Plan, face: str, along: float) -> FacePlace:
    a, b = shapes.face_line(plan, face)
    length = math.dist(a, b)
    c, s = (b[0] - a[0]) / length, (b[1] - a[1]) / length
    return FacePlace(face, along, a[0] + along * c, a[1] + along * s, s, -c)


def duct(fold: Fold, overlap_mm: float = 0.0) -> Ring:
    """Return the duct as swept, running on past the face that it opens through.

    With an overlap it also starts a little inside the chamber, so that cutting both leaves nothing between them.
    """
    return _duct(fold.runs, overlap_mm)


def _duct(runs: tuple[Run, ...], overlap: float = 0.0, sagitta_mm: float = path.SAGITTA_MM) -> Ring:
    first, *between, last = runs
    x, y, _ = path.at(first, -overlap / first.length_mm)
    first = replace(first, x=x, y=y, length_mm=first.length_mm + overlap)
    last = replace(last, length_mm=last.length_mm + last.width_out_mm)
    return path.sweep((first, *between, last), sagitta_mm)


def guide_air(plan: Plan, fold: Fold) -> Ring:
    """Return the air of the guide within the plan."""
    return shapes.rings_of(_largest(Polygon(duct(fold)).intersection(shapes.polygon(plan.outline))))[0]


# --- driver and terminals ---------------------------------------------------------------------------------------


def _place_driver(plan: Plan, rules: BodyRules, chamber: Polygon, guide: Polygon) -> FacePlace:
    if rules.stack == "facing":
        centre = polylabel(chamber, tolerance=0.5)
        clear = chamber.exterior.distance(centre)
        if clear < rules.bore_mm / 2:
            raise CannotFold(
                f"the chamber takes a circle of {2 * clear:.0f} mm, the driver needs {rules.bore_mm:.0f} mm"
            )
        return FacePlace("front", 0.0, round(centre.x, 2), round(centre.y, 2), 0.0, 0.0)
    a, b = shapes.face_line(plan, "front")
    x0, _, x1, _ = chamber.bounds
    free = shapes.free_stretches(chamber, x0, x1, rules.front_wall_mm, max(rules.reach_mm, rules.front_wall_mm + 1.0))
    half, seat = rules.bore_mm / 2, rules.seat_width_mm / 2
    lo, hi = a[0] + seat + rules.least_web_mm, b[0] - seat - rules.least_web_mm
    best: float | None = None
    for start, stop in free:
        low, high = max(start + half, lo), min(stop - half, hi)
        if low <= high:
            x = min(max((start + stop) / 2, low), high)
            if best is None or abs(x) < abs(best) - 1e-6:
                best = x
    if best is None:
        widest = max((stop - start for start, stop in free), default=0.0)
        raise CannotFold(
            f"behind the front a width of {widest:.0f} mm is free to a depth of {rules.reach_mm:.0f} mm, "
            f"the driver needs {rules.bore_mm:.0f} mm and its ring {rules.seat_width_mm:.0f} mm of front"
        )
    best = round(best, 2)
    pocket = box(best - seat, 0.0, best + seat, rules.thickness_mm)
    if pocket.distance(guide) < rules.least_web_mm:
        raise CannotFold("the driver's ring would come too near the guide")
    return _on_face(plan, "front", best - a[0])


def _terminal_faces(plan: Plan, rules: BodyRules) -> tuple[str, ...]:
    if rules.terminal_face != "auto":
        return (rules.terminal_face,)
    names = [f for f in shapes.face_names(plan) if f != "front" or rules.stack == "facing"]
    # The back is where a cable is least in the way.
    return tuple(sorted(names, key=lambda f: (f != "back", names.index(f))))


def _place_terminal(plan: Plan, rules: BodyRules, face: str, chamber: Polygon, driver: FacePlace) -> FacePlace:
    a, b = shapes.face_line(plan, face)
    room = shapes.in_face_frame(chamber, a, b)
    wall = rules.terminal_wall_mm
    if face == "front" and rules.stack == "upright":
        raise CannotFold("the terminals cannot share the front with the driver")
    width = rules.plate_width_mm + 2 * rules.fit_mm
    margin = rules.least_web_mm
    free = shapes.free_stretches(room, margin, math.dist(a, b) - margin, wall, wall + rules.post_depth_mm)
    if rules.stack == "facing":
        inside_driver = box(driver.x_mm, driver.y_mm, driver.x_mm, driver.y_mm).buffer(rules.bore_mm / 2)
    else:
        half = rules.bore_mm / 2
        inside_driver = box(driver.x_mm - half, 0.0, driver.x_mm + half, rules.reach_mm)
    places = [
        round(low + width / 2 + k * 2.0, 3)
        for low, high in free
        for k in range(int((high - low - width) // 2.0) + 1)
        if high - low >= width
    ]
    middle = sum(longest) / 2 if (longest := shapes.longest(free)) else 0.0
    for along in sorted(places, key=lambda p: (round(abs(p - middle), 3), p)):
        posts = Polygon(shapes.face_rectangle(a, b, along, width, 0.0, wall + rules.post_depth_mm))
        if posts.distance(inside_driver) >= rules.least_web_mm:
            return _on_face(plan, face, along)
    raise CannotFold(f"the chamber does not reach the {face} face where the terminals need {width:.0f} mm of it")


# --- all folds of a plan ----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Folds:
    """All folds that fit, and how often each reason stood in the way of the others."""

    folds: tuple[Fold, ...]
    refused: tuple[tuple[str, int], ...]


def all_folds(
    plan: Plan,
    rules: BodyRules,
    *,
    least_duct_mm: float,
    least_length_mm: float = 0.0,
    step_mm: float = 1.0,
    most_lanes: int = 12,
    tapers: tuple[float, ...] = (1.0,),
) -> Folds:
    """Try every fold on a grid of widths, lane counts and tapers. Folds that sound alike are kept once.

    Tapered guides are tried at every other width.
    """
    rooms = _Rooms(plan, rules)
    folds: list[Fold] = []
    alike: set[tuple[float, ...]] = set()
    refused: dict[str, int] = {}
    x0, y0, x1, y1 = shapes.polygon(plan.outline).bounds
    for along in (False, True):
        across_mm = (x1 - x0) if along else (y1 - y0)
        # The chamber of an upright body lies behind its front; lanes from side to side must lie behind that.
        flips_v = (False, True) if along or rules.stack == "facing" else (False,)
        for flip_v in flips_v:
            for flip_u in (False, True):
                for lanes, taper in itertools.product(range(1, most_lanes + 1), tapers):
                    if lanes == 1 and taper != 1.0:
                        continue
                    step = step_mm if taper == 1.0 else 2 * step_mm
                    # The narrowest lane keeps the least width.
                    width = least_duct_mm * (1 + taper) / (2 * min(1.0, taper))
                    while lanes * (width + rules.separator_mm) < across_mm and width <= 60.0:
                        key = FoldKey(along, flip_u, flip_v, lanes, round(width, 3), taper)
                        width += step
                        try:
                            found = _fold(rooms, key, least_length_mm)
                        except CannotFold as error:
                            refused[str(error)] = refused.get(str(error), 0) + 1
                            if "leave nothing" in str(error):
                                break
                            continue
                        sound = (
                            lanes,
                            taper,
                            key.width_mm,
                            round(found.length_mm, 2),
                            round(found.chamber_area_mm2, 0),
                        )
                        if sound not in alike:
                            alike.add(sound)
                            folds.append(found)
    order = sorted(refused.items(), key=lambda item: (-item[1], item[0]))
    return Folds(tuple(folds), tuple(order))
