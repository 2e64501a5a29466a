"""Neighbours that are not cut right after each other, where that costs little travel.

Two contours whose lines come within 4 mm of each other share the wood between them, and the second meets it hot
(the distance is an assumption). Contours are moved elsewhere in the order, one by one and the cheapest first, as long
as all detours together stay within a hundredth of the way; the entry points stay. Lengths are whole micrometres.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import numpy.typing as npt

HOT_MM = 4.0
DETOUR = 0.01  # of the way with the beam off, all detours together
_ROUNDS = 3

Visits = Sequence[tuple[int, int]]  # contour, entry
Hot = frozenset[tuple[int, int]]  # pairs of contours, both ways round


def spread(
    visits: Visits,
    entries: Sequence[npt.NDArray[np.float64]],
    later: Sequence[tuple[int, ...]],
    hot: Hot,
    home: tuple[float, float] = (0.0, 0.0),
) -> tuple[tuple[int, int], ...]:
    """Return `visits` with fewer hot neighbours in a row, where the detours allow it; legal if `visits` is."""
    order = list(visits)
    left = int(DETOUR * sum(_um(np.diff(_stops(order, entries, home), axis=0)).tolist()))
    sooner: list[set[int]] = [set() for _ in entries]
    for contour, those in enumerate(later):
        for other in those:
            sooner[other].add(contour)
    for _ in range(_ROUNDS):
        found = []
        for k, (a, b) in enumerate(pairwise(order)):
            if (a[0], b[0]) in hot:
                ways = (_cheapest(order, at, entries, sooner, later, hot, home) for at in (k, k + 1))
                found += [(way[0], order[way[1]]) for way in ways if way is not None]
        before = hot_pairs(order, hot)
        for added, visit in sorted(found):
            if added > left:
                break
            again = _cheapest(order, order.index(visit), entries, sooner, later, hot, home)
            if again is not None and again[0] <= left:  # others have moved since
                left -= max(0, again[0])
                order.insert(again[2], order.pop(again[1]))
        if hot_pairs(order, hot) == before:
            break
    return tuple(order)


def hot_pairs(visits: Visits, hot: Hot) -> int:
    """Return how many contours follow a hot neighbour at once."""
    return sum((a[0], b[0]) in hot for a, b in pairwise(visits))


def _stops(
    order: Visits, entries: Sequence[npt.NDArray[np.float64]], home: tuple[float, float]
) -> npt.NDArray[np.float64]:
    return np.array([home, *(entries[contour][k] for contour, k in order), home])


def _um(steps: npt.NDArray[np.float64]) -> npt.NDArray[np.int64]:
    um: npt.NDArray[np.int64] = np.rint(1000 * np.hypot(steps[:, 0], steps[:, 1])).astype(np.int64)
    return um


def _cheapest(
    order: list[tuple[int, int]],
    at: int,
    entries: Sequence[npt.NDArray[np.float64]],
    sooner: Sequence[set[int]],
    later: Sequence[tuple[int, ...]],
    hot: Hot,
    home: tuple[float, float],
) -> tuple[int, int, int] | None:
    """Return (added length, `at`, where to put it in what is left) of the cheapest move that lessens the hot pairs."""
    contour, entry = order[at]
    rest = order[:at] + order[at + 1 :]
    low = max((k + 1 for k, (c, _) in enumerate(rest) if c in sooner[contour]), default=0)
    high = min((k for k, (c, _) in enumerate(rest) if c in later[contour]), default=len(rest))
    stops = _stops(rest, entries, home)
    ways = _um(stops - entries[contour][entry])
    added = ways[:-1] + ways[1:] - _um(np.diff(stops, axis=0))

    def heated(to: int) -> int:
        """Return the hot pairs more that the contour makes between `rest[to - 1]` and `rest[to]`."""
        before = rest[to - 1][0] if to > 0 else -1
        after = rest[to][0] if to < len(rest) else -1
        return ((before, contour) in hot) + ((contour, after) in hot) - ((before, after) in hot)

    now = heated(at)
    for to in np.argsort(added[low : high + 1], kind="stable").tolist():
        if heated(low + to) < now:
            return int(added[low + to] - added[at]), at, low + to
    return None
