"""A shorter order of the same stops: 2-opt (turn a stretch round) and Or-opt (move up to three neighbours elsewhere).

What must come later stays later. A row that offered nothing is not looked at again until something beside it moved;
when all rows rest, every row is looked at once more, so the end is a true local optimum. A kick out of it lets two
neighbouring stretches change places (a seeded generator). Work is counted, not timed.

Lists, not arrays: a sheet has some tens of contours, and so short a row is done before an array is made.
"""

from __future__ import annotations

import random
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

Lengths = npt.NDArray[np.int64]
SWEEPS = 60
_LONGEST_SEGMENT = 3
_KICK = 30  # stops that a kick reaches over, at most


@dataclass(slots=True)
class _Way:
    """The order while it is bettered. Labels 0 and n + 1 are the home, i + 1 is stop i of the order given."""

    um: list[list[int]]  # the way from label to label
    later: list[tuple[int, ...]]  # for each label those that must come later
    sooner: list[tuple[int, ...]]  # likewise those that must come before
    path: list[int]
    place: list[int]  # of each label in `path`
    gaps: list[int]  # by place: the way to the next
    awake: list[list[bool]]  # by kind of move, then label

    def put(self, first: int, stretch: list[int]) -> None:
        """Write `stretch` over the path from `first` on."""
        last = first + len(stretch)
        self.path[first:last] = stretch
        for place, label in enumerate(stretch, first):
            self.place[label] = place
        ends = self.path[first - 1 : last + 1]
        self.gaps[first - 1 : last] = [self.um[a][b] for a, b in pairwise(ends)]

    def wake(self, *places: int) -> None:
        """Wake the labels at these places of the path."""
        for place in places:
            if 0 <= place < len(self.path):
                for awake in self.awake:
                    awake[self.path[place]] = True


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
    return [label - 1 for label in way.path[1:-1]]


def kicked(um: Lengths, later: Sequence[tuple[int, ...]], dice: random.Random) -> list[int] | None:
    """Return another order of at least four stops, after one kick; None if it was not legal.

    `um` and `later` are those of `reorder`.
    """
    way = _way(um, later)
    if not _kick(way, dice):
        return None
    return [label - 1 for label in way.path[1:-1]]


def _way(um: Lengths, later: Sequence[tuple[int, ...]]) -> _Way:
    """Return the order given, all rows awake."""
    count = len(later)
    sooner: list[list[int]] = [[] for _ in range(count + 2)]
    after: list[tuple[int, ...]] = [(), *(tuple(stop + 1 for stop in those) for those in later), ()]
    for label, those in enumerate(after):
        for other in those:
            sooner[other].append(label)
    rows: list[list[int]] = um.tolist()
    return _Way(
        rows,
        after,
        [tuple(those) for those in sooner],
        list(range(count + 2)),
        list(range(count + 2)),
        [rows[k][k + 1] for k in range(count + 1)],
        [[True] * (count + 2) for _ in range(1 + _LONGEST_SEGMENT)],
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
                awake[:] = [True] * len(awake)


def _kick(way: _Way, dice: random.Random) -> bool:
    """Let two neighbouring stretches change places, if what must come later allows it; return whether it did."""
    last = len(way.path) - 1  # stops stand at 1 ... last - 1
    span = min(_KICK, last - 1)
    width = 2 + int(dice.random() * (span - 1))
    first = 1 + int(dice.random() * (last - width))
    middle = first + 1 + int(dice.random() * (width - 1))
    end = first + width
    before, after = way.path[first:middle], way.path[middle:end]
    if any(middle <= way.place[label] < end for one in before for label in way.later[one]):
        return False
    way.put(first, after + before)
    return True


def _reversals(way: _Way) -> bool:
    """One sweep of 2-opt: for every first element the best legal reversal. True if anything moved."""
    moved = False
    path, place, gaps, last, awake = way.path, way.place, way.gaps, len(way.path) - 1, way.awake[0]
    for label in [label for label in path if awake[label]]:
        i = place[label]
        awake[label] = False
        if not 0 < i < last - 1:
            continue
        # A stretch [i..j] is legal if nothing that must come later than a member lies in it.
        end = last
        for j in range(i, last):
            if j >= end:
                break
            for other in way.later[path[j]]:
                end = min(end, place[other])
        before, first = way.um[path[i - 1]], way.um[label]
        gains = [
            gap - before[here] - first[after]
            for here, after, gap in zip(path[i + 1 : end], path[i + 2 : end + 1], gaps[i + 1 : end], strict=True)
        ]
        if not gains or (most := max(gains)) + before[label] <= 0:
            continue
        j = i + 1 + gains.index(most)
        awake[label] = True
        way.put(i, path[i : j + 1][::-1])
        way.wake(i - 1, i, j, j + 1)
        moved = True
    return moved


def _shifts(way: _Way, size: int) -> bool:
    """One sweep of Or-opt with stretches of `size`: move each to where it is best, either way round."""
    moved = False
    path, place, gaps, last, awake = way.path, way.place, way.gaps, len(way.path) - 1, way.awake[size]
    for label in [label for label in path if awake[label]]:
        i = place[label]
        awake[label] = False
        if not 0 < i <= last - size:
            continue
        j = i + size - 1
        members = path[i : j + 1]
        earliest = max(_outside(way, way.sooner, members, i, j), default=0)
        latest = min(_outside(way, way.later, members, i, j), default=last)
        # The stretch goes between path[k] and path[k + 1]: k in earliest ... i - 2, or in j + 1 ... latest - 1.
        here = path[earliest : max(earliest, i - 1)] + path[j + 1 : latest]
        if not here:
            continue
        then = path[earliest + 1 : max(earliest + 1, i)] + path[j + 2 : latest + 1]
        gap = gaps[earliest : max(earliest, i - 1)] + gaps[j + 1 : latest]
        head, tail = way.um[path[i]], way.um[path[j]]
        freed = gaps[i - 1] + gaps[j] - way.um[path[i - 1]][path[j + 1]]
        forward = [head[a] + tail[b] - g for a, b, g in zip(here, then, gap, strict=True)]
        added, turned = min(forward), False
        best = forward.index(added)
        if size > 1 and not any(i <= place[other] <= j for one in members for other in way.later[one]):
            reverse = [tail[a] + head[b] - g for a, b, g in zip(here, then, gap, strict=True)]
            if (other := min(reverse)) < added:
                best, added, turned = reverse.index(other), other, True
        if added >= freed:
            continue
        k = earliest + best if best < max(0, i - 1 - earliest) else j + 1 + best - max(0, i - 1 - earliest)
        stretch = members[::-1] if turned else members
        if k < i:
            way.put(k + 1, stretch + path[k + 1 : i])
            way.wake(k, k + 1, k + size, k + size + 1, j, j + 1, i - 1, i)
        else:
            way.put(i, path[j + 1 : k + 1] + stretch)
            way.wake(i - 1, i, k - size, k - size + 1, k, k + 1)
        moved = True
    return moved


def _outside(way: _Way, those: Sequence[tuple[int, ...]], members: Iterable[int], i: int, j: int) -> Iterable[int]:
    """Return the places of the labels that `those` name for the members, where they lie outside [i, j]."""
    return (at for one in members for other in those[one] if not i <= (at := way.place[other]) <= j)
