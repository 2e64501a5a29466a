"""A shorter order of the same stops: 2-opt (turn a stretch round) and Or-opt (move up to three neighbours elsewhere).

What must come later stays later. A row that offered nothing is not looked at again until something beside it moved;
when all rows rest, every row is looked at once more, so the end is a true local optimum. A kick out of it lets two
neighbouring stretches change places (a seeded generator). Work is counted, not timed.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Lengths = npt.NDArray[np.int64]
SWEEPS = 60
_LONGEST_SEGMENT = 3
_KICK = 30  # stops that a kick reaches over, at most


@dataclass(slots=True)
class _Way:
    """The order while it is bettered. Labels 0 and n + 1 are the home, i + 1 is stop i of the order given."""

    um: Lengths  # shape (n + 2, n + 2): the way from label to label
    later: npt.NDArray[np.int64]  # shape (n + 2, k): labels that must come later, filled up with n + 1
    sooner: npt.NDArray[np.int64]  # likewise those that must come before, filled up with 0
    path: npt.NDArray[np.int64]
    place: npt.NDArray[np.int64]  # of each label in `path`
    awake: list[npt.NDArray[np.bool_]]  # by kind of move, then label

    def put(self, first: int, stretch: npt.NDArray[np.int64]) -> None:
        """Write `stretch` over the path from `first` on, and wake what stands at and beside its ends."""
        last = first + len(stretch)
        self.path[first:last] = stretch
        self.place[stretch] = np.arange(first, last)

    def length(self) -> int:
        """Return the whole way."""
        return int(self.um[self.path[:-1], self.path[1:]].sum())

    def wake(self, *places: int) -> None:
        """Wake the labels at these places of the path."""
        for awake in self.awake:
            awake[self.path[[p for p in places if 0 <= p < len(self.path)]]] = True


def reorder(um: Lengths, later: Sequence[tuple[int, ...]]) -> list[int]:
    """Return a legal order of the stops 0 ... n - 1 that is no longer than the one given.

    Parameters
    ----------
    um
        shape (n + 2, n + 2): whole lengths from stop to stop; the first and the last row are the home.
    later
        for each stop those that must come after it; the order given keeps to it.
    """
    count = len(later)
    if count < 2:
        return list(range(count))
    way = _way(um, later)
    _settle(way)
    return [int(label) - 1 for label in way.path[1:-1]]


def kicked(um: Lengths, later: Sequence[tuple[int, ...]], dice: random.Random) -> list[int] | None:
    """Return another order of at least four stops, after one kick; None if it was not legal.

    `um` and `later` are those of `reorder`.
    """
    way = _way(um, later)
    if not _kick(way, dice):
        return None
    return [int(label) - 1 for label in way.path[1:-1]]


def _way(um: Lengths, later: Sequence[tuple[int, ...]]) -> _Way:
    """Return the order given, all rows awake."""
    count = len(later)
    sooner: list[list[int]] = [[] for _ in later]
    for stop, those in enumerate(later):
        for other in those:
            sooner[other].append(stop)
    return _Way(
        um,
        _padded(later, count + 1),
        _padded(sooner, 0),
        np.arange(count + 2),
        np.arange(count + 2),
        [np.ones(count + 2, dtype=np.bool_) for _ in range(1 + _LONGEST_SEGMENT)],
    )


def _settle(way: _Way) -> None:
    """Better the order until all rows rest, even after being woken once more."""
    fresh = True  # every row is awake
    for _ in range(SWEEPS):
        moved = _reversals(way)
        for size in range(1, _LONGEST_SEGMENT + 1):
            moved = _shifts(way, size) or moved
        if not moved and fresh:
            break
        fresh = not moved
        if fresh:
            for awake in way.awake:
                awake[:] = True


def _kick(way: _Way, dice: random.Random) -> bool:
    """Let two neighbouring stretches change places, if what must come later allows it; return whether it did."""
    last = len(way.path) - 1  # stops stand at 1 ... last - 1
    span = min(_KICK, last - 1)
    width = 2 + int(dice.random() * (span - 1))
    first = 1 + int(dice.random() * (last - width))
    middle = first + 1 + int(dice.random() * (width - 1))
    end = first + width
    before, after = way.path[first:middle], way.path[middle:end]
    held = way.place[way.later[before]]
    if ((held >= middle) & (held < end)).any():
        return False
    way.put(first, np.concatenate([after, before]))
    return True


def _padded(lists: Sequence[Sequence[int]], filler: int) -> npt.NDArray[np.int64]:
    table = np.full((len(lists) + 2, max(1, max(map(len, lists)))), filler, dtype=np.int64)
    for row, labels in enumerate(lists, 1):
        table[row, : len(labels)] = [label + 1 for label in labels]
    return table


def _reversals(way: _Way) -> bool:
    """One sweep of 2-opt: for every first element the best legal reversal. True if anything moved."""
    moved = False
    path, last, awake = way.path, len(way.path) - 1, way.awake[0]
    first_later = way.place[way.later].min(axis=1)[path]  # by place: where the first that must come later stands
    if not awake.any():
        return False
    for label in path[awake[path]].tolist():
        i = int(way.place[label])
        if not 0 < i < last - 1:
            awake[label] = False
            continue
        stop = int(first_later[i:last].min())  # no reversal from i reaches past this in any case
        # The stretch [i..j] is legal if nothing that must come later than a member lies in it.
        bound = np.minimum.accumulate(first_later[i:last])
        reach = int(np.argmax(bound <= np.arange(i, last))) if stop < last else 0
        end = i + reach if reach else last  # j runs up to end - 1
        if end <= i + 1:
            awake[path[i]] = False
            continue
        here, before = path[i + 1 : end], way.um[path[i - 1]]
        after = path[i + 2 : end + 1]
        old = before[path[i]] + way.um[here, after]
        gain = old - before[here] - way.um[path[i]][after]
        best = int(np.argmax(gain))
        if gain[best] <= 0:
            awake[path[i]] = False
            continue
        j = i + 1 + best
        way.put(i, path[i : j + 1][::-1].copy())
        way.wake(i - 1, i, j, j + 1)
        first_later = way.place[way.later].min(axis=1)[path]
        moved = True
    return moved


def _shifts(way: _Way, size: int) -> bool:
    """One sweep of Or-opt with stretches of `size`: move each to where it is best, either way round."""
    moved = False
    path, place, last, awake = way.path, way.place, len(way.path) - 1, way.awake[size]
    for label in path[awake[path]].tolist():
        i = int(place[label])
        awake[label] = False
        if not 0 < i <= last - size:
            continue
        j = i + size - 1
        members = path[i : j + 1]
        earliest = _outermost(place[way.sooner[members]].ravel(), i, j, default=0)
        latest = -_outermost(-place[way.later[members]].ravel(), -j, -i, default=-last)
        # The stretch goes between path[k] and path[k + 1]: k in earliest ... i - 2, or in j + 1 ... latest - 1.
        here = np.concatenate([path[earliest : max(earliest, i - 1)], path[j + 1 : latest]])
        if not len(here):
            continue
        then = np.concatenate([path[earliest + 1 : max(earliest + 1, i)], path[j + 2 : latest + 1]])
        head, tail = way.um[path[i]], way.um[path[j]]
        freed = way.um[path[i - 1], path[i]] + way.um[path[j], path[j + 1]] - way.um[path[i - 1], path[j + 1]]
        gap = way.um[here, then]
        forward = head[here] + tail[then] - gap
        best = int(np.argmin(forward))
        added, turned = int(forward[best]), False
        if size > 1 and not ((place[way.later[members]] >= i) & (place[way.later[members]] <= j)).any():
            reverse = tail[here] + head[then] - gap
            other = int(np.argmin(reverse))
            if reverse[other] < added:
                best, added, turned = other, int(reverse[other]), True
        if added >= freed:
            continue
        k = earliest + best if best < max(0, i - 1 - earliest) else j + 1 + best - max(0, i - 1 - earliest)
        stretch = members[::-1].copy() if turned else members.copy()
        if k < i:
            way.put(k + 1, np.concatenate([stretch, path[k + 1 : i]]))
            way.wake(k, k + 1, k + size, k + size + 1, j, j + 1, i - 1, i)
        else:
            way.put(i, np.concatenate([path[j + 1 : k + 1], stretch]))
            way.wake(i - 1, i, k - size, k - size + 1, k, k + 1)
        moved = True
    return moved


def _outermost(places: npt.NDArray[np.int64], i: int, j: int, *, default: int) -> int:
    """Return the largest of `places` that lies outside [i, j], at least `default`."""
    outside = places[(places < i) | (places > j)]
    return max(default, int(outside.max())) if len(outside) else default
