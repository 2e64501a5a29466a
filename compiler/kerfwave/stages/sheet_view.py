"""What the build guide says of each sheet: its programs, what to see to, and where a stopped one is taken up again."""

from __future__ import annotations

from collections.abc import Mapping

from kerfwave.model.parts import SheetProgram
from kerfwave.numfmt import several
from kerfwave.stages.facts import Facts
from kerfwave.writers.guide_model import PieceProgram, SheetView, Table


def sheet_view(facts: Facts, number: int, files: Mapping[str, str]) -> SheetView:
    """Return a sheet with its program, or with one for each piece."""
    shares = facts.paths.shares
    mine = [(p, share) for p, share in zip(facts.paths.programs, shares, strict=True) if share.sheet == number]
    programs = [program for program, _ in mine]
    name = f"sheet-{number:02d}"
    recipe = facts.recipes.of(programs[0].stock)
    lying = tuple(p.piece for p in facts.nest.placements if p.sheet == number)
    return SheetView(
        number=number,
        svg=files[f"sheets/{name}.svg"],
        program=f"gcode/{name}.nc",
        time_s=sum(p.time_s for p in programs),
        pieces=lying,
        bare=tuple(p.id for p in facts.pieces if p.id in lying and not any(m.kind == "id" for m in p.marks)),
        recipe=f"{recipe.power_percent:g} % power, {recipe.feed_mm_min:g} mm/min, "
        f"{several(recipe.passes, 'pass', 'passes')}, kerf {recipe.kerf_mm:g} mm",
        stock=recipe.stock,
        verified=recipe.verified,
        cut_mm=sum(p.cut_mm for p in programs),
        notes=(*_placing(facts, name), *dict.fromkeys(note for p in programs for note in p.notes)),
        restarts=_restarts(facts, name, programs),
        programs=tuple(
            PieceProgram(f"gcode/{p.name}.nc", share.piece, p.time_s, share.after) for p, share in mine if share.piece
        ),
    )


def _placing(facts: Facts, name: str) -> tuple[str, ...]:
    """Return what to do before a sheet's program: the faint outline."""
    if not any(program.name == f"{name}-outline" for program in facts.paths.outlines):
        return ()
    faint = f"{facts.spec.machine.outline_power_percent:g} %"
    return (f"Check placing, eyewear on: gcode/{name}-outline.nc runs a faint dot ({faint}) round the used area",)


def _restarts(facts: Facts, name: str, programs: list[SheetProgram]) -> Table:
    """Return where stopped programs of a sheet can be taken up again: rows are counted anew in each."""
    known = {p.name: points for p, points in zip(facts.paths.programs, facts.paths.restarts, strict=True)}
    rows = tuple(
        (str(point.number), point.piece, point.what, str(line), _clock(point.done_s))
        for program in programs
        for point, line in zip(known[program.name], facts.begins[program.name], strict=True)
    )
    told = f"kerfwave resume out/{facts.source.stem}"
    if [p.name for p in programs] == [name]:
        caption = f"{told} {name} ROW writes the rest of the program, from that row on"
    else:
        caption = f"{told} PROGRAM ROW, for instance {programs[0].name} 1, writes the rest of a piece's program"
    return Table(caption, ("row", "piece", "contour", "line", "h:min before"), rows)


def _clock(seconds: float) -> str:
    hours, minutes = divmod(round(seconds / 60), 60)
    return f"{hours}:{minutes:02d}"
