"""What is to be varied, as written on the command line, and the variants that follow from it."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from random import Random

from kerfwave.numfmt import fixed
from kerfwave.spec.scalars import Refusal, plain

Value = str | int | float | bool | None
Step = str | int

MOST = 20_000  # variants of one run: a typing error shall not fill the disk
_KEY = re.compile(r"[a-z][a-z0-9_]*(?:\[\d{1,3}\])*(?:\.[a-z][a-z0-9_]*(?:\[\d{1,3}\])*)*")
_RANGE = re.compile(r"(?P<low>[^.,/]+(?:\.\d+)?)\.\.(?P<high>[^,/]+)(?:/(?P<count>\d+))?")


class VaryError(ValueError):
    """A variation that cannot be read, with what would be right."""


@dataclass(frozen=True, slots=True)
class Vary:
    """One key and the values that it may take: a list, or anything from `low` to `high`."""

    key: str
    values: tuple[Value, ...] = ()
    low: float = math.nan
    high: float = math.nan

    @property
    def steps(self) -> tuple[Step, ...]:
        """The way to the value: ("recipes", 0, "feed_mm_min")."""
        return tuple(int(one) if one.isdigit() else one for one in re.findall(r"[a-z][a-z0-9_]*|\d+", self.key))


def read_vary(text: str) -> Vary:
    """Read ``KEY=V1,V2,...``, ``KEY=FROM..TO/COUNT`` (evenly spaced) or ``KEY=FROM..TO`` (for a sample).

    Raises:
        VaryError: if it is none of these.
    """
    key, sign, rest = text.partition("=")
    key = key.strip()
    if not sign or not _KEY.fullmatch(key):
        raise VaryError(f"'{text}': write KEY=VALUES, such as enclosure.plan.depth_mm=200,212,224")
    spread = _RANGE.fullmatch(rest.strip())
    if spread is None:
        values = tuple(_scalar(key, one.strip()) for one in rest.split(","))
        if len(set(map(repr, values))) < len(values):
            raise VaryError(f"{key}: a value is there twice")
        return Vary(key, values)
    low, high = (_number(key, spread[end]) for end in ("low", "high"))
    if not low < high:
        raise VaryError(f"{key}: {spread['low']}..{spread['high']} does not rise")
    if spread["count"] is None:
        return Vary(key, low=low, high=high)
    count = int(spread["count"])
    if not 2 <= count <= MOST:
        raise VaryError(f"{key}: a range takes 2 to {MOST} steps, not {count}")
    return Vary(key, tuple(_rounded(low + (high - low) * i / (count - 1)) for i in range(count)))


def grid(varied: Sequence[Vary]) -> tuple[tuple[Value, ...], ...]:
    """Return every combination, the last key turning fastest.

    Raises:
        VaryError: for a range without a count, a key twice, or too many variants.
    """
    _check(varied)
    for one in varied:
        if not one.values:
            raise VaryError(
                f"{one.key}: how many steps? Write {fixed(one.low, 4)}..{fixed(one.high, 4)}/5, or --sample"
            )
    if (count := math.prod(len(one.values) for one in varied)) > MOST:
        raise VaryError(f"{count} variants are too many; {MOST} at most, or take a --sample")
    return tuple(itertools.product(*(one.values for one in varied)))


def sample(varied: Sequence[Vary], count: int, seed: int) -> tuple[tuple[Value, ...], ...]:
    """Return `count` combinations drawn by a seeded generator: evenly over ranges, each value of a list alike.

    Only the generator's `random()` is used, whose results Python keeps the same between its versions.

    Raises:
        VaryError: for a key twice, or too many variants.
    """
    _check(varied)
    if not 1 <= count <= MOST:
        raise VaryError(f"a sample of 1 to {MOST} variants, not {count}")
    chance = Random(seed)

    def draw(one: Vary) -> Value:
        at = chance.random()
        if one.values:
            return one.values[int(at * len(one.values))]
        return _rounded(one.low + (one.high - one.low) * at)

    return tuple(tuple(draw(one) for one in varied) for _ in range(count))


def _check(varied: Sequence[Vary]) -> None:
    keys = [one.key for one in varied]
    for key in keys:
        if keys.count(key) > 1:
            raise VaryError(f"{key} is varied twice")


def _rounded(value: float) -> float | int:
    """Return a number with five digits: what a person would write, and what the table shows is what was built."""
    short = float(f"{value:.5g}")
    return int(short) if short.is_integer() and abs(short) < 1e15 else short


def _number(key: str, text: str) -> float:
    value = _scalar(key, text.strip())
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise VaryError(f"{key}: '{text.strip()}' is no number")
    return float(value)


def _scalar(key: str, text: str) -> Value:
    if not text:
        raise VaryError(f"{key}: a value is missing")
    value = plain(text)
    if isinstance(value, Refusal):
        raise VaryError(f"{key}: '{text}' could be read in two ways, or in none")
    return value
