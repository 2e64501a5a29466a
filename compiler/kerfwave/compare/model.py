"""The outcome of a comparison as values. A is the earlier package, B the later one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


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
class SpecChange:
    """One leaf of the spec, or of a shelf file that it names, that is not what it was; None where nobody gives it."""

    path: str  # "stock.sheets[0].price"
    a: Any
    b: Any
    word: str  # "changed", "added" or "removed"
    place: str = ""  # file and line in B, or in A if it is gone there


@dataclass(frozen=True, slots=True)
class StageReach:
    """What a change did to one stage of the build."""

    stage: str
    word: str  # "untouched", "same outcome" (it ran, and made what it made before) or "changed"


@dataclass(frozen=True, slots=True)
class PieceUse:
    """A piece of A that is already cut, and the piece of B that it can be."""

    id: str
    serves_as: str | None
    why_not: str


@dataclass(frozen=True, slots=True)
class SheetUse:
    """A sheet of A that is already cut, and what it is still good for."""

    sheet: int
    word: str  # "usable", "in part" or "not usable"
    pieces: tuple[PieceUse, ...]


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
    sheets: tuple[SheetUse, ...] = ()
    to_cut: tuple[str, ...] = ()  # pieces of B that nothing cut for A can be
    notes: tuple[str, ...] = ()  # on what is already cut
    reached: tuple[StageReach, ...] = ()
    spec_changes: tuple[SpecChange, ...] | None = None  # None: not known, as of packages
    spec_sha256_a: str = ""
    spec_sha256_b: str = ""

    @property
    def same(self) -> bool:
        """Whether nothing differs: no value of the specs (where they are known), nothing the bench would notice.

        The spec's own bytes (a comment, say) and the program's version do not count.
        """
        told = (self.spec_changes, self.numbers, self.pieces, self.checks, self.safety, self.others)
        return not (any(told) or self.placed_elsewhere)
