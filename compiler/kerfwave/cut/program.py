"""Contours become a program: lengths, time, and words for its header."""

from __future__ import annotations

import math
from collections.abc import Iterable

from kerfwave.cut.motion import length_mm
from kerfwave.cut.time import contour_times_s, estimate
from kerfwave.model.parts import Contour, Move, Point, SheetProgram
from kerfwave.model.spec import Machine

HOME: Point = (0.0, 0.0)


def assemble(
    name: str,
    stock: str,
    size_mm: tuple[float, float],
    contours: tuple[Contour, ...],
    machine: Machine,
    *,
    verified: bool,
    notes: Iterable[str] = (),
) -> SheetProgram:
    """Return the program of `contours` in this order, from the origin and back to it.

    `travel_mm` is the way with the beam off, the first and the last rapid included; `time_s` likewise.
    """
    moves = [move for contour in contours for move in contour.moves]
    home = Move("rapid", *HOME)
    dark, lit = lengths_mm([*moves, home])
    times_s = contour_times_s(contours, machine)
    last = (moves[-1].x_mm, moves[-1].y_mm) if moves else HOME
    return SheetProgram(
        name=name,
        stock=stock,
        width_mm=size_mm[0],
        height_mm=size_mm[1],
        contours=contours,
        cut_mm=lit,
        travel_mm=dark,
        time_s=math.fsum((*times_s, estimate([home], machine, last))),
        verified=verified,
        notes=tuple(plain(note) for note in notes),
        times_s=times_s,
    )


def lengths_mm(moves: Iterable[Move], start: Point = HOME) -> tuple[float, float]:
    """Return the lengths with the beam off and on."""
    dark: list[float] = []
    lit: list[float] = []
    at = start
    for move in moves:
        (lit if move.power > 0 else dark).append(length_mm(at, move))
        at = (move.x_mm, move.y_mm)
    return math.fsum(dark), math.fsum(lit)


def plain(text: str) -> str:
    """Return `text` as printable ASCII without anything that could end a comment or begin a word of code."""
    text = text.replace(";", ",")
    return " ".join("".join(c if " " <= c <= "~" and c not in "()%\\" else " " for c in text).split())
