"""One program a piece: the pieces of a sheet stay where they lie, and each has a file of its own.

Files are numbered in an order that never cuts a loose piece: that of the sheet's short way (`order.tour`), by the
outline of each piece. Whatever must come before a piece has its outline cut before (`precedence`), so its file does.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from shapely import STRtree
from shapely.geometry import Polygon

from kerfwave.cut.lead import KeepOut
from kerfwave.cut.order import tour
from kerfwave.cut.paths import SheetJob, job, planned
from kerfwave.cut.placing import place
from kerfwave.model.parts import Check, Nest, Piece, Placement, Recipe, Ring
from kerfwave.model.spec import Machine

_SAY = 3


@dataclass(frozen=True, slots=True)
class Share:
    """What part of which sheet a program cuts: all of it, or one piece that comes after some others."""

    sheet: int
    piece: str = ""  # "": every piece of the sheet
    number: int = 0  # of the files of this sheet, from 1 in their order; 0: the only one
    of: int = 0
    after: tuple[str, ...] = ()  # pieces that must be cut before this one, those in its windows among them

    def takes(self, placement: Placement) -> bool:
        """Whether the program cuts what lies there."""
        return placement.sheet == self.sheet and self.piece in ("", placement.piece)

    @property
    def notes(self) -> tuple[str, ...]:
        """What the head of the program says of it."""
        if not self.piece:
            return ()
        after = f", after {', '.join(self.after)}" if self.after else ""
        return (
            f"File {self.number} of {self.of} for sheet {self.sheet}: cuts {self.piece} alone{after}. Cut the files of "
            "a sheet in the order of their numbers, and leave the sheet where it lies until the last",
        )


def piece_jobs(
    number: int,
    nest: Nest,
    pieces: tuple[Piece, ...],
    recipe: Recipe,
    machine: Machine,
    *,
    outline: Ring = (),
    keep_out: Sequence[KeepOut] = (),
) -> tuple[tuple[SheetJob, Share], ...]:
    """Return a program for each piece of sheet `number`, in the order in which they are to be cut.

    Lead-ins, bridges and passes are those of `sheet_job`, which also says what is raised.
    """
    plan = planned(number, nest, pieces, recipe, machine, outline=outline, keep_out=keep_out)
    outlines = {i: line.piece for i, line in enumerate(plan.lines) if line.hole is None}
    order = [outlines[i] for i, _ in tour(plan.entries, plan.later) if i in outlines]
    sooner: dict[int, set[int]] = {k: set() for k in order}
    for i, line in enumerate(plan.lines):
        for j in plan.later[i]:
            if plan.lines[j].piece != line.piece:
                sooner[plan.lines[j].piece].add(line.piece)
    found = []
    digits = max(2, len(str(len(order))))
    for n, k in enumerate(order, start=1):
        piece = plan.pieces[k][0].id
        after = tuple(plan.pieces[j][0].id for j in order if j in sooner[k])
        name = f"sheet-{number:02d}-{n:0{digits}d}-{file_word(piece)}"
        found.append((job(name, plan, (k,), recipe, machine), Share(number, piece, n, len(order), after)))
    return tuple(found)


def file_word(piece: str) -> str:
    """Return an id as it may stand in a file name: letters, digits and hyphens; the number before it tells it apart."""
    return re.sub(r"[^A-Za-z0-9]+", "-", piece).strip("-")[:40] or "piece"


def shared_out(
    files: Sequence[tuple[str, str]], pieces: Sequence[Piece], placements: Sequence[Placement], *, name: str
) -> tuple[Check, ...]:
    """Prove that the files of one sheet share its pieces out, and cut none loose before its turn.

    `files` are the name of each file and the one piece that it was proved to cut (`check.verify`), `placements` all
    that lies on the sheet. There are checks for two rules, their ids begun with `name`: each piece is cut by one file,
    and what lies in a window of a piece has its file before that piece's. Files are taken in the order of their names.
    """
    cut = [piece for _, piece in sorted(files)]
    lying = sorted(p.piece for p in placements)
    wrong = [f"{piece} is cut by {cut.count(piece)} files" for piece in lying if cut.count(piece) != 1]
    wrong += [f"{piece} does not lie on the sheet" for piece in sorted(set(cut) - set(lying))]
    by_id = {piece.id: piece for piece in pieces}
    shapes = [(p.piece, place(by_id[p.piece], p)) for p in placements]
    windows = [(piece, Polygon(ring)) for piece, shape in shapes for ring in shape.interiors]
    early = []
    tree = STRtree([window for _, window in windows])
    for piece, shape in shapes:
        for k in sorted(tree.query(shape, predicate="within").tolist()):
            around = windows[k][0]
            if piece in cut and around in cut and cut.index(piece) > cut.index(around):
                early.append(f"{around} is cut before {piece}, which lies in its window")
    return (
        _check(f"{name}-once", "Each piece of the sheet is cut by one file", wrong),
        _check(f"{name}-order", "What lies in a window is cut before the piece around it", early),
    )


def _check(id_: str, good: str, bad: Sequence[str]) -> Check:
    more = f"; and {len(bad) - _SAY} more" if len(bad) > _SAY else ""
    return Check(id_, "fail", "; ".join(bad[:_SAY]) + more) if bad else Check(id_, "ok", good)
