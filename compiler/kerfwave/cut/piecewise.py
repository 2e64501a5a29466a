"""One program a piece: the pieces of a sheet stay where they lie, and each has a file of its own.

Files are numbered in an order that never cuts a loose piece: that of the sheet's short way (`order.tour`), by the
outline of each piece. Whatever must come before a piece has its outline cut before (`precedence`), so its file does.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from kerfwave.cut.order import tour
from kerfwave.cut.routes import Planned, Route, entries_of, route
from kerfwave.model.parts import Placement


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


def piece_routes(plan: Planned) -> tuple[tuple[Route, Share], ...]:
    """Return a route for each piece of a sheet, in the order in which they are to be cut.

    Lead-ins, bridges and passes are those of `sheet_job`.
    """
    number = plan.sheet.number
    outlines = {i: line.piece for i, line in enumerate(plan.lines) if line.hole is None}
    order = [outlines[i] for i, _ in tour([entries_of(line) for line in plan.lines], plan.later) if i in outlines]
    sooner: dict[int, set[int]] = {k: set() for k in order}
    for i, line in enumerate(plan.lines):
        for j in plan.later[i]:
            if plan.lines[j].piece != line.piece:
                sooner[plan.lines[j].piece].add(line.piece)
    found = []
    digits = max(2, len(str(len(order))))
    for n, k in enumerate(order, start=1):
        piece = plan.names[k]
        after = tuple(plan.names[j] for j in order if j in sooner[k])
        name = f"sheet-{number:02d}-{n:0{digits}d}-{file_word(piece)}"
        found.append((route(name, plan, (k,)), Share(number, piece, n, len(order), after)))
    return tuple(found)


def file_word(piece: str) -> str:
    """Return an id as it may stand in a file name: letters, digits and hyphens; the number before it tells it apart."""
    return re.sub(r"[^A-Za-z0-9]+", "-", piece).strip("-")[:40] or "piece"
