"""Pairs: a body and its mirror image, for left and right.

The left one is the body as it was designed, the right one is mirrored in x. Ids end in -L and -R, so no two pieces of a
pair have the same, and a piece of the right body has the letters of its twin.
"""

from __future__ import annotations

from dataclasses import replace

from kerfwave.body import shapes
from kerfwave.body.slices import Slices
from kerfwave.model.parts import Check, Opening, Piece, Ring

LEFT, RIGHT = "L", "R"


def mirrored_ring(ring: Ring) -> Ring:
    """Return a line mirrored in x, run through the other way, so that a ring keeps its sense."""
    return tuple((-x + 0.0, y) for x, y in reversed(ring))


def mirrored_piece(piece: Piece) -> Piece:
    """Return the mirror image of a piece that carries no marks yet: letters do not mirror.

    Raises:
        ValueError: if it does carry some.
    """
    if piece.marks:
        raise ValueError(f"{piece.id} is marked already, and letters do not mirror")
    mirror = shapes.polygon(mirrored_ring(piece.outline), [mirrored_ring(hole) for hole in piece.holes])
    outline, holes = shapes.rings_of(mirror)
    return replace(piece, outline=outline, holes=holes)


def mirrored_opening(opening: Opening) -> Opening:
    """Return the mirror image of an opening."""
    (x, y, z), (nx, ny, nz) = opening.centre_mm, opening.normal
    return replace(opening, centre_mm=(-x + 0.0, y, z), normal=(-nx + 0.0, ny, nz))


def left_and_right(sliced: Slices) -> tuple[Slices, Slices]:
    """Return the slices of both bodies of a pair."""
    layers = [
        tuple(replace(layer, pieces=tuple(f"{name}-{side}" for name in layer.pieces)) for layer in sliced.layers)
        for side in (LEFT, RIGHT)
    ]
    return Slices(layers[0], lefts(sliced.pieces)), Slices(layers[1], rights(sliced.pieces))


def lefts(pieces: tuple[Piece, ...]) -> tuple[Piece, ...]:
    """Return pieces as those of the left body."""
    return tuple(replace(piece, id=f"{piece.id}-{LEFT}", body=1) for piece in pieces)


def rights(pieces: tuple[Piece, ...]) -> tuple[Piece, ...]:
    """Return the mirror images of pieces as those of the right body."""
    return tuple(replace(mirrored_piece(piece), id=f"{piece.id}-{RIGHT}", body=2) for piece in pieces)


def check_pair(sliced: Slices) -> Check:
    """Say how many pieces a pair has."""
    count = len(sliced.pieces)
    text = f"two bodies, mirror images of each other, of {count} pieces in layers each; ids end in -L and -R"
    return Check("pair", "ok", text, 2.0)
