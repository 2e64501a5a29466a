"""A small graph of pure functions for the engine's tests: a diamond behind one root value.

    root -> grow -> left  -\
                 -> right --> join
    root.remark is read by nobody but `label`.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from kerfwave.engine import Stage, StageError

RAN: list[str] = []  # which functions really ran, for the tests to look at


@dataclass(frozen=True, slots=True)
class Inner:
    size: float = 2.0
    parity: int = 0


@dataclass(frozen=True, slots=True)
class Root:
    size: float
    remark: str = ""
    inner: Inner = field(default_factory=Inner)
    maybe: Inner | None = None


@dataclass(frozen=True, slots=True)
class Grown:
    whole: int
    halves: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Number:
    value: float


def grow(size, inner):
    RAN.append("grow")
    if size < 0:
        raise StageError("size must not be negative", where=("size",))
    return Grown(int(size), (size / 2, inner.size))


def left(whole):
    RAN.append("left")
    return Number(whole % 2)


def right(halves, progress):
    RAN.append("right")
    progress(0.5, "half way")
    return Number(sum(halves))


def join(a, b):
    RAN.append("join")
    return Number(a.value + b.value)


def label(remark):
    RAN.append("label")
    return Number(len(remark))


STAGES = (
    Stage("join", inputs=("left", "right"), run=join, output=Number),
    Stage("left", inputs=("grow.whole",), run=left, output=Number),
    Stage("right", inputs=("grow.halves",), run=right, output=Number),
    Stage("grow", inputs=("root.size", "root.inner"), run=grow, output=Grown),
    Stage("label", inputs=("root.remark",), run=label, output=Number),
)
