"""Dual feasible functions: they change sizes so that what fitted together still does, and count more of the rest.

A function f of whole sizes 0 to C is dual feasible if sizes that add up to C at most have images that add up to f(C) at
most. All functions here are superadditive too, f(x) + f(y) <= f(x + y), so the same holds for any smaller room R and
f(R). Boxes that lie apart in a rectangle still do after their widths have gone through one such function and their
heights through another (Fekete, Schepers 2001, "New classes of fast lower bounds for bin packing problems", Math.
Programming 91, 11-31, and 2004, "A general framework for bounds for higher-dimensional orthogonal packing problems",
Math. Methods Oper. Res. 60, 311-329), so the products add up to at most that of the room.

Images are whole numbers, so nothing is lost to rounding; f(C) is left as large as it comes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

import numpy as np
import numpy.typing as npt

Whole = npt.NDArray[np.int64]
Dual = Callable[[Whole], Whole]

_STEPS = 6


def plain() -> Dual:
    """Return f(x) = x."""
    return lambda x: x


def stepped(k: int, capacity: int) -> Dual:
    """Return u^(k) of Fekete and Schepers: sizes become whole numbers of k-ths; whole (k + 1)-ths stay as they are."""

    def f(x: Whole) -> Whole:
        found: Whole = np.where((k + 1) * x % capacity == 0, k * x, capacity * ((k + 1) * x // capacity))
        return found

    return f


def without_small(least: int, capacity: int) -> Dual:
    """Return U^(e): sizes below `least` vanish, and what leaves less than that beside it becomes whole."""

    def f(x: Whole) -> Whole:
        found: Whole = np.where(x > capacity - least, capacity, np.where(x >= least, x, 0))
        return found

    return f


def counted(least: int, capacity: int) -> Dual:
    """Return the function that counts pieces of size `least`, by which Martello and Vigo bound a number of bins.

    (1998, "Exact solution of the two-dimensional finite bin packing problem", Management Science 44, 388-399; made as
    large as it may be by Carlier, Clautiaux and Moukrim, 2007, Computers & Operations Research 34, 2223-2250.) Small
    sizes count by how many they hold, large ones by how many they leave no room for.
    """

    def f(x: Whole) -> Whole:
        most = capacity // least
        large = 2 * (most - (capacity - x) // least)
        found: Whole = np.where(2 * x > capacity, large, np.where(2 * x == capacity, most, 2 * (x // least)))
        return found

    return f


def functions(sizes: Iterable[int], capacity: int) -> tuple[Dual, ...]:
    """Return functions that suit `sizes`. Of the same number of sizes there are as many, in the same order."""
    # A size itself, to keep it; of a large one what it leaves and a hair more, to make it whole.
    cuts = [min(max(1, s if 2 * s <= capacity else capacity - s + 1), capacity // 2) for s in sizes]
    return (
        plain(),
        *(stepped(k, capacity) for k in range(1, _STEPS + 1)),
        *(without_small(s, capacity) for s in cuts),
        *(counted(s, capacity) for s in cuts),
    )
