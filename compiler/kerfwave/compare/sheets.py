"""Whether sheets that were already cut for A can still be used for B, piece by piece."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from kerfwave.compare.alike import alike
from kerfwave.compare.model import PieceUse, SheetUse
from kerfwave.compare.pieces import LEAST_MM, Key, by_key, line_distance_mm
from kerfwave.numfmt import fixed

Report = Mapping[str, Any]


def compare_sheets(a: Report, b: Report) -> tuple[tuple[SheetUse, ...], tuple[str, ...]]:
    """Return what each sheet of A is still good for, and the ids of the pieces of B that no cut piece can be.

    A piece is still good if B has one of the same outline, holes and thickness: first of the same id, then of any
    other (a stack that grew by a layer renumbers what lies above it), which then needs its number written anew.
    """
    old, new = by_key(a.get("pieces", ())), by_key(b.get("pieces", ()))
    thick_a, thick_b = _thicknesses(a), _thicknesses(b)
    serves = {key: key for key in old if key in new and not _why_not(old[key], new[key], thick_a[key], thick_b[key])}
    free = sorted(new.keys() - set(serves.values()))
    for key in sorted(old.keys() - serves.keys()):
        twin = next((other for other in free if _twins(old[key], new[other], thick_a[key], thick_b[other])), None)
        if twin is not None:
            serves[key] = twin
            free.remove(twin)
    uses: dict[int, list[PieceUse]] = {}
    for key, piece in sorted(old.items()):
        sheet = _sheet(piece)
        if sheet is None:
            continue
        if key in serves:
            use = PieceUse(_name(key), _name(serves[key]), "")
        elif key in new:
            use = PieceUse(_name(key), None, _why_not(piece, new[key], thick_a[key], thick_b[key]))
        else:
            use = PieceUse(_name(key), None, "no longer needed")
        uses.setdefault(sheet, []).append(use)
    return tuple(_use(sheet, tuple(uses[sheet])) for sheet in sorted(uses)), tuple(_name(key) for key in free)


def cutting_notes(a: Report, b: Report) -> tuple[str, ...]:
    """Return what else a person with cut sheets in hand has to know: kerf, settings and material."""
    notes = []
    before, after = (_dict(report.get("recipe")) for report in (a, b))
    if not alike(before.get("kerf_mm"), after.get("kerf_mm")):
        notes.append(
            f"kerf {_shown(before.get('kerf_mm'))} -> {_shown(after.get('kerf_mm'))} mm: pieces already cut keep the "
            "size that their real kerf gave them; if B's figure is the truer one, check the fit of an inset first"
        )
    if any(not alike(before.get(name), after.get(name)) for name in ("passes", "feed_mm_min", "power_percent")):
        notes.append("the cutting settings changed: run B's programs, and B's coupon first, for what is still to cut")
    before, after = (_dict(report.get("stock")) for report in (a, b))
    if before.get("material") != after.get("material"):
        notes.append(f"the material changed: {before.get('material')} -> {after.get('material')}")
    return tuple(notes)


def _use(sheet: int, pieces: tuple[PieceUse, ...]) -> SheetUse:
    good = sum(piece.serves_as is not None for piece in pieces)
    word = "usable" if good == len(pieces) else "in part" if good else "not usable"
    return SheetUse(sheet, word, pieces)


def _why_not(a: Mapping[str, Any], b: Mapping[str, Any], thick_a: float | None, thick_b: float | None) -> str:
    """Return why a piece cannot stand for its namesake, nothing if it can."""
    if not alike(thick_a, thick_b, absolute=LEAST_MM):
        return f"thickness {_shown(thick_a)} -> {_shown(thick_b)} mm"
    if a["outline"] == b["outline"] and a.get("holes", []) == b.get("holes", []):
        return ""
    moved = line_distance_mm(a, b)
    return f"lines moved up to {fixed(moved, 3)} mm" if moved >= LEAST_MM else ""


def _twins(a: Mapping[str, Any], b: Mapping[str, Any], thick_a: float | None, thick_b: float | None) -> bool:
    return alike(thick_a, thick_b, absolute=LEAST_MM) and all(
        alike(a.get(name, []), b.get(name, []), absolute=LEAST_MM) for name in ("outline", "holes")
    )


def _thicknesses(report: Report) -> dict[Key, float | None]:
    """Return the thickness of each piece in mm: its own, or its layer's where an older report gives only that."""
    layers = {layer.get("index"): layer.get("thickness_mm") for layer in report.get("layers", ())}
    pieces = by_key(report.get("pieces", ()))
    return {key: piece.get("thickness_mm", layers.get(piece.get("layer"))) for key, piece in pieces.items()}


def _sheet(piece: Mapping[str, Any]) -> int | None:
    number = _dict(piece.get("placement")).get("sheet")
    return number if isinstance(number, int) else None


def _name(key: Key) -> str:
    return key[1] if key[0] == 1 else f"{key[1]} (body {key[0]})"


def _shown(value: Any) -> str:
    return fixed(value, 3) if isinstance(value, (int, float)) else "none"


def _dict(value: Any) -> Mapping[str, Any]:
    return value if isinstance(value, Mapping) else {}
