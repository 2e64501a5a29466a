"""Which pieces are new, gone or changed, and by how much."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from kerfwave.compare.alike import alike
from kerfwave.compare.model import PieceChange

LEAST_MM = 0.0005  # half of the last decimal that a report gives a coordinate; below it a line has not moved
_FACTS = 1e-3  # relative: what follows from a shape, such as a weight, is rounded more coarsely than the shape
_SHAPE = ("outline", "holes")
_ELSEWHERE = ("placement", "marks")  # told apart; or scored only: a piece with its name in another place is still good

Key = tuple[int, str]


def compare_pieces(a: Sequence[Mapping[str, Any]], b: Sequence[Mapping[str, Any]]) -> tuple[PieceChange, ...]:
    """Return what happened to the pieces, matched by body and id, in the order of their ids."""
    old, new = by_key(a), by_key(b)
    found = []
    for key in sorted(old.keys() | new.keys()):
        body, name = key
        if key not in old:
            found.append(PieceChange(name, body, "new", None, area_mm2(new[key])))
        elif key not in new:
            found.append(PieceChange(name, body, "gone", area_mm2(old[key])))
        else:
            change = _changed(key, old[key], new[key])
            if change is not None:
                found.append(change)
    return tuple(found)


def count_placed_elsewhere(a: Sequence[Mapping[str, Any]], b: Sequence[Mapping[str, Any]]) -> int:
    """Return how many pieces that both have lie in another place or on another sheet."""
    old, new = by_key(a), by_key(b)
    places = [(old[key].get("placement"), new[key].get("placement")) for key in old.keys() & new.keys()]
    return sum(not alike(before, after, absolute=LEAST_MM) for before, after in places)


def area_mm2(piece: Mapping[str, Any]) -> float:
    """Return the area of wood in a piece, holes taken off.

    >>> area_mm2({"outline": [[0, 0], [4, 0], [4, 3], [0, 3]], "holes": [[[1, 1], [1, 2], [2, 2], [2, 1]]]})
    11.0
    """
    return _ring_area(piece["outline"]) - sum(_ring_area(hole) for hole in piece.get("holes", ()))


def _ring_area(ring: Sequence[Sequence[float]]) -> float:
    """Return the area within a ring, whichever way round it goes (shoelace formula)."""
    return abs(sum(p[0] * q[1] - q[0] * p[1] for p, q in zip(ring, [*ring[1:], ring[0]], strict=True))) / 2


def by_key(pieces: Sequence[Mapping[str, Any]]) -> dict[Key, Mapping[str, Any]]:
    """Return pieces by body and id; a report that knows of one body only means the first."""
    bodies = [piece.get("body", 1) for piece in pieces]
    return {(b if isinstance(b, int) else 1, str(piece["id"])): piece for b, piece in zip(bodies, pieces, strict=True)}


def _changed(key: Key, a: Mapping[str, Any], b: Mapping[str, Any]) -> PieceChange | None:
    names = (a.keys() | b.keys()) - {*_SHAPE, *_ELSEWHERE}
    fields = tuple(name for name in sorted(names) if not alike(a.get(name), b.get(name), _FACTS))
    moved = 0.0
    if any(a.get(name) != b.get(name) for name in _SHAPE):
        moved = line_distance_mm(a, b)
    if not fields and moved < LEAST_MM:
        return None
    return PieceChange(key[1], key[0], "changed", area_mm2(a), area_mm2(b), moved, fields)


def line_distance_mm(a: Mapping[str, Any], b: Mapping[str, Any]) -> float:
    """Return the greatest distance from a point on the lines of one piece to the nearest line of the other.

    The Hausdorff distance between the two sets of lines (outlines and holes), taken at the corners and at points that
    split each edge in ten; a hole that is new or gone counts with how far it is from what was there.
    """
    import shapely  # heavy, and only needed when something changed

    lines = [
        shapely.multilinestrings([shapely.linearrings(ring) for ring in (piece["outline"], *piece.get("holes", ()))])
        for piece in (a, b)
    ]
    return float(shapely.hausdorff_distance(lines[0], lines[1], densify=0.1))
