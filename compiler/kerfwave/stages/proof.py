"""Proof: the course of every program, read back by an independent reader and held against the pieces.

No package is made of programs that do not prove. Power and feed are not in a course, but for what the recipe calls
them: what was proved holds for every feed that keeps it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from kerfwave import cut
from kerfwave.engine.errors import StageError
from kerfwave.engine.sharing import Beside, shared
from kerfwave.model.parts import Check, Nest, Piece, Placement, Sheet
from kerfwave.model.spec import Machine


@dataclass(frozen=True, slots=True)
class Proof:
    """The checks of one program or sheet, and the name that begins their ids."""

    name: str
    checks: tuple[Check, ...]


@dataclass(frozen=True, slots=True)
class Proved:
    """By which rules the programs cut what they are to cut."""

    proofs: tuple[Proof, ...]


def run(
    courses: tuple[cut.Course, ...],
    shares: tuple[cut.Share, ...],
    nest: Nest,
    pieces: tuple[Piece, ...],
    insets: tuple[Piece, ...],
    machine: Machine,
    *,
    beside: Beside,
) -> Proved:
    """Run the stage; `shares` are those of the `courses`, one each.

    Raises:
        StageError: if a program does not prove.
    """
    cut_pieces = (*pieces, *insets)
    sheets = {sheet.number: sheet for sheet in nest.sheets}
    lying = {number: tuple(p for p in nest.placements if p.sheet == number) for number in sheets}
    calls = [
        (course, share, sheets[share.sheet], lying[share.sheet], cut_pieces, machine)
        for course, share in zip(courses, shares, strict=True)
    ]
    found = [Proof(course.name, checks) for course, checks in zip(courses, shared(proved, calls, beside), strict=True)]
    for number in sheets:
        cut_by = [
            (course.name, share.piece)
            for course, share in zip(courses, shares, strict=True)
            if share.sheet == number and share.piece
        ]
        if cut_by:
            name = f"sheet-{number:02d}"
            found.append(Proof(name, cut.shared_out(cut_by, cut_pieces, lying[number], name=name)))
    hold(found)
    return Proved(tuple(found))


def proved(
    course: cut.Course,
    share: cut.Share,
    sheet: Sheet,
    on_sheet: tuple[Placement, ...],
    pieces: tuple[Piece, ...],
    machine: Machine,
) -> tuple[Check, ...]:
    """Return what the reader finds in one course."""
    return cut.prove(
        course,
        pieces,
        tuple(p for p in on_sheet if share.takes(p)),
        machine,
        sheet.width_mm,
        sheet.height_mm,
        outline=sheet.outline,
        keep_out=[(place.what, place.outline, place.clearance_mm) for place in sheet.keep_out],
        others=[p for p in on_sheet if not share.takes(p)],
    )


def hold(proofs: Sequence[Proof]) -> None:
    """Let nothing pass that does not prove.

    Raises:
        StageError: if a check failed. Lines are counted after the header.
    """
    broken = [f"{proof.name}: {c.text}" for proof in proofs for c in proof.checks if c.level == "fail"]
    if broken:
        raise StageError("the programs do not prove, so no package is made: " + "; ".join(broken))


def summed_up(proofs: Sequence[Proof]) -> tuple[Check, ...]:
    """Return one check for each rule that all programs were proved by, with the worst value."""
    by_rule: dict[str, list[Check]] = {}
    for proof in proofs:
        for check in proof.checks:
            by_rule.setdefault(check.id.removeprefix(f"{proof.name}-"), []).append(check)
    found = []
    for rule, those in sorted(by_rule.items()):
        worst = max(those, key=lambda c: (c.value if c.value is not None else 0.0, c.id))
        found.append(
            Check(f"program-{rule}", "ok", f"all {len(those)} programs: {worst.text}", worst.value, worst.limit)
        )
    return tuple(found)
