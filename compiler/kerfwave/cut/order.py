"""The order of contours and where each is entered: short travel, children before parents.

Each closed contour is a set of points, of which one is visited (it is left where it was entered); the way leads
from the origin through all of them and back. Nearest neighbour builds it, a Viterbi pass picks the best points
for a fixed order exactly, 2-opt and Or-opt better the order with the points fixed (`kerfwave.cut.better`); the last
two alternate, at the end after kicks out of the local optimum, each judged by the way with its points chosen anew.
Distances are whole micrometres, so that ties and gains never hang on the last bit of a float, and the kicks are
counted, so that a slow machine finds what a fast one does.
"""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from kerfwave.cut.better import kicked, reorder

Points = npt.NDArray[np.float64]  # shape (k, 2), mm
Lengths = npt.NDArray[np.int64]  # micrometres
Parents = Sequence[int | tuple[int, ...] | None]
ROUNDS = 20  # of order and points in turn
KICKS_A_CONTOUR = 3
MOST_KICKS = 100
KICKED_ROWS = 5_000  # kicks times contours: a kick costs more on a large sheet
HOPE = 1.02  # a kicked way that is longer by more than this is dropped at once


def tour(
    entries: Sequence[Points], parents: Parents, home: tuple[float, float] = (0.0, 0.0)
) -> tuple[tuple[int, int], ...]:
    """Return (contour, index of its entry point) in the order of cutting.

    Parameters
    ----------
    entries
        the points at which each contour can be entered, at least one each, mm.
    parents
        for each contour the one, or those, that must come later, or None. No cycles.
    home
        where the way begins and ends, mm.
    """
    if not entries:
        return ()
    origin = np.array([home])
    later = later_of(parents)
    way = _settled(nearest_neighbour(entries, parents, origin), entries, later, origin)
    dice = random.Random(1)
    count = len(entries)
    for _ in range(min(KICKS_A_CONTOUR * count, MOST_KICKS, KICKED_ROWS // count) if count > 3 else 0):
        stops, after = _stops(way.sequence, entries, later, origin)
        order = kicked(stops, after, dice)
        if order is None:
            continue
        tried = _settled([way.sequence[i] for i in order], entries, later, origin, hope=HOPE * way.um)
        way = min(tried, way, key=lambda w: w.um)  # of equals the new one, which leads on
    return tuple(way.sequence)


class _Tour(NamedTuple):
    sequence: list[tuple[int, int]]
    um: int


def _settled(
    sequence: list[tuple[int, int]],
    entries: Sequence[Points],
    later: Sequence[tuple[int, ...]],
    origin: Points,
    hope: float = math.inf,
) -> _Tour:
    """Choose points and better the order in turn, until neither shortens the way or it is still longer than `hope`."""
    way = _chosen([contour for contour, _ in sequence], entries, origin)
    for _ in range(ROUNDS):
        order = reorder(*_stops(way.sequence, entries, later, origin))
        tried = _chosen([way.sequence[i][0] for i in order], entries, origin)
        if tried.um >= way.um:
            break
        way = tried
        if way.um > hope:
            break
    return way


def _chosen(contours: list[int], entries: Sequence[Points], origin: Points) -> _Tour:
    sequence = _choose_entries(contours, entries, origin)
    return _Tour(sequence, total_um(sequence, entries, origin))


def _stops(
    sequence: list[tuple[int, int]], entries: Sequence[Points], later: Sequence[tuple[int, ...]], origin: Points
) -> tuple[Lengths, list[tuple[int, ...]]]:
    """Return what `reorder` asks for: the ways between the stops of `sequence`, and what must come later."""
    stops = np.concatenate([origin, [entries[contour][k] for contour, k in sequence], origin])
    return _between(stops, stops), _relabelled(later, [contour for contour, _ in sequence])


def later_of(parents: Parents) -> list[tuple[int, ...]]:
    """Return for each contour those that must come later."""
    return [() if p is None else (p,) if isinstance(p, int) else p for p in parents]


def nearest_neighbour(entries: Sequence[Points], parents: Parents, origin: Points) -> list[tuple[int, int]]:
    """Go to the nearest point of any contour whose children are done; of equals, the first."""
    waiting = [0] * len(entries)
    later = later_of(parents)
    for parent in (p for those in later for p in those):
        waiting[parent] += 1
    owner = np.concatenate([np.full(len(points), i) for i, points in enumerate(entries)])
    first = np.concatenate([[0], np.cumsum([len(points) for points in entries])])
    everything = np.concatenate(list(entries))
    free = np.array([waiting[i] == 0 for i in owner])
    at = origin[0]
    sequence: list[tuple[int, int]] = []
    for _ in entries:
        ways = np.where(free, _between(at[None, :], everything)[0], np.iinfo(np.int64).max)
        pick = int(np.argmin(ways))
        contour = int(owner[pick])
        sequence.append((contour, pick - int(first[contour])))
        at = everything[pick]
        free[first[contour] : first[contour + 1]] = False
        for parent in later[contour]:
            waiting[parent] -= 1
            if waiting[parent] == 0:
                free[first[parent] : first[parent + 1]] = True
    return sequence


def total_um(sequence: Sequence[tuple[int, int]], entries: Sequence[Points], origin: Points) -> int:
    """Return the length of the way from the origin through `sequence` and back, in micrometres."""
    stops = np.concatenate([origin, [entries[contour][k] for contour, k in sequence], origin])
    steps = stops[1:] - stops[:-1]
    return int(np.rint(1000 * np.hypot(steps[:, 0], steps[:, 1])).astype(np.int64).sum())


def _between(a: Points, b: Points) -> Lengths:
    step = a[:, None, :] - b[None, :, :]
    um: Lengths = np.rint(1000 * np.hypot(step[..., 0], step[..., 1])).astype(np.int64)
    return um


def _choose_entries(contours: list[int], entries: Sequence[Points], origin: Points) -> list[tuple[int, int]]:
    """Return the entry points that make the way through `contours` in this order shortest (Viterbi, exact)."""
    cost = _between(origin, entries[contours[0]])[0]
    back: list[npt.NDArray[np.intp]] = []
    for before, after in pairwise(contours):
        ways = cost[:, None] + _between(entries[before], entries[after])
        back.append(np.argmin(ways, axis=0))
        cost = ways.min(axis=0)
    chosen = [int(np.argmin(cost + _between(entries[contours[-1]], origin)[:, 0]))]
    for links in reversed(back):
        chosen.append(int(links[chosen[-1]]))
    return list(zip(contours, reversed(chosen), strict=True))


def _relabelled(later: Sequence[tuple[int, ...]], order: Sequence[int]) -> list[tuple[int, ...]]:
    """Return for each place in `order` the places that must come later."""
    place = {contour: i for i, contour in enumerate(order)}
    return [tuple(place[p] for p in later[contour]) for contour in order]
