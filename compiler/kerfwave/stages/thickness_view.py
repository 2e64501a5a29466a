"""What the guide says of sheets of different thickness: where pieces come from, and what it does to the tuning."""

from __future__ import annotations

from kerfwave.acoustics.thickness import JUDGED_HZ
from kerfwave.numfmt import fixed, several
from kerfwave.stages.facts import Facts
from kerfwave.writers.guide_model import Table
from kerfwave.writers.words import listed, mm

SOURCES = {
    "stated": "the tolerance in the stock",
    "measured": "lowest and highest reading",
    "assumed": "one reading only, so the band that sanded plywood keeps (EN 315, from makers' tables)",
}


def sheets_of_pieces(facts: Facts) -> dict[str, str]:
    """Return of each piece which sheet it is cut from, with the thickness where sheets differ."""
    several = len(facts.kinds) > 1
    names = {
        sheet.number: f"sheet-{sheet.number:02d}" + (f" ({mm(sheet.thickness_mm or 0.0, 2)})" if several else "")
        for sheet in facts.nest.sheets
    }
    return {placement.piece: names[placement.sheet] for placement in facts.nest.placements}


def thickness_table(facts: Facts) -> Table:
    """Return what becomes of the tuning if all layers are as thin, or as thick, as their sheets may be."""
    found = facts.strayed.thickness
    spans = [
        f"{several(kind.layers, 'layer')} of {fixed(kind.low_mm, 2)} to {fixed(kind.high_mm, 2)} mm "
        f"({SOURCES[kind.source]})"
        for kind in found.kinds
    ]
    low, high = JUDGED_HZ
    caption = (
        f"What the sheets' thickness does to the tuning: {listed(tuple(spans))}. Differences are the greatest from "
        f"{low:g} to {high:g} Hz, against the sheets as measured"
    )
    tuned = any(case.tuning_hz is not None for case in found.cases)
    columns = ("sheets", "inside, mm", "chamber, l", *(("cone rests most, Hz",) if tuned else ()))
    rows = tuple(
        (
            case.name,
            fixed(inside, 2),
            fixed(1e3 * case.chamber_m3, 3),
            *((fixed(case.tuning_hz or 0.0, 1),) if tuned else ()),
            f"{fixed(case.response_db, 2)} at {fixed(case.response_hz, 0)} Hz",
            f"{fixed(case.excursion_percent, 1)} at {fixed(case.excursion_hz, 0)} Hz",
            fixed(case.excursion_mm, 2),
        )
        for case, inside in zip(found.cases, found.inside_mm, strict=True)
    )
    return Table(caption, (*columns, "response, dB", "excursion, %", "greatest, mm"), rows)
