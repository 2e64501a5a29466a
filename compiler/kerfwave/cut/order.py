"""The order of contours and where each is entered: short travel, children before parents.

Each closed contour is a set of points, of which one is visited (it is left where it was entered); the way leads
from the origin through all of them and back. Nearest neighbour builds it, a Viterbi pass picks the best points
for a fixed order exactly, 2-opt and Or-opt better the order with the points fixed; the last two alternate.
Distances are whole micrometres, so that ties and gains never hang on the last bit of a float, and the rounds are
counted, so that a slow machine finds what a fast one does.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import numpy.typing as npt

Points = npt.NDArray[np.float64]  # shape (k, 2), mm
Lengths = npt.NDArray[np.int64]  # micrometres
ROUNDS = 20  # of order and points in turn
SWEEPS = 60  # of 2-opt and Or-opt within a round
_LONGEST_SEGMENT = 3


def tour(
    entries: Sequence[Points], parents: Sequence[int | None], home: tuple[float, float] = (0.0, 0.0)
) -> tuple[tuple[int, int], ...]:
    """Return (contour, index of its entry point) in the order of cutting.

    Parameters
    ----------
    entries
        the points at which each contour can be entered, at least one each, mm.
    parents
        for each contour the one that must come later, or None. No cycles.
    home
        where the way begins and ends, mm.
    """
    if not entries:
        return ()
    origin = np.array([home])
    sequence = nearest_neighbour(entries, parents, origin)
    best = total_um(sequence, entries, origin)
    for _ in range(ROUNDS):
        tried = _choose_entries([contour for contour, _ in sequence], entries, origin)
        tried = _reorder(tried, entries, parents, origin)
        length = total_um(tried, entries, origin)
        if length >= best:
            break
        sequence, best = tried, length
    return tuple(sequence)


def nearest_neighbour(
    entries: Sequence[Points], parents: Sequence[int | None], origin: Points
) -> list[tuple[int, int]]:
    """Go to the nearest point of any contour whose children are done; of equals, the first."""
    waiting = [0] * len(entries)
    for parent in parents:
        if parent is not None:
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
        parent = parents[contour]
        if parent is not None:
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


def _reorder(
    sequence: list[tuple[int, int]], entries: Sequence[Points], parents: Sequence[int | None], origin: Points
) -> list[tuple[int, int]]:
    """Shorten the way by reversals and by moving short segments, with the entry points kept."""
    count = len(sequence)
    if count < 2:
        return sequence
    stops = np.concatenate([origin, [entries[contour][k] for contour, k in sequence], origin])
    way = _between(stops, stops)  # index 0 and count + 1 are the origin, i + 1 is sequence[i]
    label = {contour: i + 1 for i, (contour, _) in enumerate(sequence)}
    above = np.zeros(count + 2, dtype=np.int64)  # label of the parent, 0 for none
    below: list[list[int]] = [[] for _ in range(count + 2)]
    for contour, parent in enumerate(parents):
        if parent is not None:
            above[label[contour]] = label[parent]
            below[label[parent]].append(label[contour])
    path = np.arange(count + 2)
    for _ in range(SWEEPS):
        moved = _reversals(path, way, above)
        moved = _shifts(path, way, above, below) or moved
        if not moved:
            break
    return [sequence[i - 1] for i in path[1:-1]]


def _positions(path: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    position = np.empty_like(path)
    position[path] = np.arange(len(path))
    return position


def _reversals(path: npt.NDArray[np.int64], way: Lengths, above: Lengths) -> bool:
    """One sweep of 2-opt: for every first element the best legal reversal, in place. True if anything moved."""
    moved = False
    last = len(path) - 1
    for i in range(1, last - 1):
        position = _positions(path)
        parent_at = np.where(above[path] > 0, position[above[path]], last)
        to = np.arange(i + 1, last)
        legal = np.minimum.accumulate(parent_at[i:last])[1:] > to
        old = way[path[i - 1], path[i]] + way[path[to], path[to + 1]]
        gain = np.where(legal, old - way[path[i - 1], path[to]] - way[path[i], path[to + 1]], 0)
        best = int(np.argmax(gain))
        if gain[best] > 0:
            j = i + 1 + best
            path[i : j + 1] = path[i : j + 1][::-1].copy()
            moved = True
    return moved


def _shifts(path: npt.NDArray[np.int64], way: Lengths, above: Lengths, below: list[list[int]]) -> bool:
    """One sweep of Or-opt: move one to three neighbours elsewhere, either way round, in place."""
    moved = False
    last = len(path) - 1
    for size in range(1, _LONGEST_SEGMENT + 1):
        for i in range(1, last - size + 1):
            j = i + size - 1
            position = _positions(path)
            members = path[i : j + 1]
            inside = set(members.tolist())
            parents = [int(above[m]) for m in members]
            earliest = max((int(position[c]) for m in inside for c in below[m] if c not in inside), default=0)
            latest = min((int(position[p]) for p in parents if p and p not in inside), default=last)
            turns = not any(p in inside for p in parents)
            # The segment goes between path[k] and path[k + 1].
            gaps = np.concatenate([np.arange(earliest, i - 1), np.arange(j + 1, latest)])
            if not len(gaps):
                continue
            freed = way[path[i - 1], path[i]] + way[path[j], path[j + 1]] - way[path[i - 1], path[j + 1]]
            here, then = path[gaps], path[gaps + 1]
            forward = way[here, path[i]] + way[path[j], then] - way[here, then]
            reverse = way[here, path[j]] + way[path[i], then] - way[here, then]
            added = np.minimum(forward, reverse) if turns else forward
            best = int(np.argmin(added))
            if added[best] >= freed:
                continue
            k = int(gaps[best])
            segment = members.copy() if forward[best] == added[best] else members[::-1].copy()
            rest = np.concatenate([path[:i], path[j + 1 :]])
            at = k + 1 if k < i else k + 1 - size
            path[:] = np.concatenate([rest[:at], segment, rest[at:]])
            moved = True
    return moved
