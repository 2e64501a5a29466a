"""The outcome of a comparison as values. A is the earlier package, B the later one."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Moved:
    """A headline number that is not what it was; None on a side that does not have it."""

    name: str
    a: float | None
    b: float | None
    unit: str
    word: str  # "louder", "fewer", ...: what B is, seen from A
    decimals: int = 1  # that the number is worth


@dataclass(frozen=True, slots=True)
class PieceChange:
    """A piece that is new, gone or changed."""

    id: str
    body: int
    kind: str  # "new", "gone" or "changed"
    area_a_mm2: float | None = None
    area_b_mm2: float | None = None
    moved_mm: float | None = None  # greatest distance between the old lines and the new ones; None: not comparable
    fields: tuple[str, ...] = ()  # other facts that differ: "layer", "role", ...


@dataclass(frozen=True, slots=True)
class LevelChange:
    """A check or a line of the safety list whose level is not what it was; None where it is absent."""

    id: str
    a: str | None
    b: str | None
    word: str  # "better", "worse", "new", "gone" or "changed"
    text: str


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two packages side by side."""

    name_a: str
    name_b: str
    same_spec: bool
    numbers: tuple[Moved, ...]
    pieces: tuple[PieceChange, ...]
    placed_elsewhere: int  # pieces of one shape that lie in another place or on another sheet
    checks: tuple[LevelChange, ...]
    safety: tuple[LevelChange, ...]
    others: tuple[str, ...]  # parts of the report that differ without showing in any of the above

    @property
    def same(self) -> bool:
        """Whether the bench would notice nothing; the spec's own bytes and the program's version do not count."""
        return not (self.numbers or self.pieces or self.placed_elsewhere or self.checks or self.safety or self.others)
