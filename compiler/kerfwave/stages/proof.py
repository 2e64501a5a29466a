"""Proof: every program as text, read back by an independent reader and held against the pieces.

No package is made of programs that do not prove. A design check that failed, and a safety list that does not say
"proceed", are written into every program's header.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from kerfwave import cut
from kerfwave.engine.errors import StageError
from kerfwave.engine.sharing import Beside, shared
from kerfwave.model.parts import Check, Nest, Piece, Placement, Sheet, SheetProgram
from kerfwave.model.spec import Machine
from kerfwave.stages.breakdown import CutDown
from kerfwave.stages.paths import Programs
from kerfwave.stages.recipe import Recipes
from kerfwave.writers import gcode


@dataclass(frozen=True, slots=True)
class Proved:
    """The programs, and by which rules they hold."""

    files: tuple[tuple[str, str], ...]  # of the package, by name
    begins: tuple[tuple[str, tuple[int, ...]], ...]  # by program: the line on which each contour begins
    checks: tuple[Check, ...]  # one a rule, with the worst value of all programs


def run(
    paths: Programs,
    nest: Nest,
    pieces: tuple[Piece, ...],
    insets: tuple[Piece, ...],
    cut_down: CutDown,
    recipes: Recipes,
    machine: Machine,
    outcome: str,
    *design: tuple[Check, ...],
    beside: Beside,
) -> Proved:
    """Run the stage; `design` are the checks of all stages before.

    Raises:
        StageError: if a program does not prove.
    """
    failed = tuple(check.text for checks in design for check in checks if check.level == "fail")
    files: dict[str, str] = {}
    proofs: list[tuple[str, tuple[Check, ...]]] = []  # with the name that begins their ids
    begins: dict[str, tuple[int, ...]] = {}
    cut_pieces = (*pieces, *insets)
    sheets = {sheet.number: sheet for sheet in nest.sheets}
    calls = [
        (
            _told(program, failed, outcome, machine, share.notes),
            share,
            depths,
            sheets[share.sheet],
            tuple(p for p in nest.placements if p.sheet == share.sheet),
            cut_pieces,
            recipes.of(program.stock),
            machine,
        )
        for program, share, depths in zip(paths.programs, paths.shares, paths.depths_mm, strict=True)
    ]
    for (program, *_), (rendered, checks) in zip(calls, shared(proved, calls, beside), strict=True):
        begins[program.name] = rendered.lines
        proofs.append((program.name, checks))
        files[f"gcode/{program.name}.nc"] = rendered.text
    for sheet in nest.sheets:
        on_sheet = [p for p in nest.placements if p.sheet == sheet.number]
        cut_by = [
            (program.name, share.piece)
            for program, share in zip(paths.programs, paths.shares, strict=True)
            if share.sheet == sheet.number and share.piece
        ]
        if cut_by:
            name = f"sheet-{sheet.number:02d}"
            proofs.append((name, cut.shared_out(cut_by, cut_pieces, on_sheet, name=name)))
    for program in (coupon.program for coupon in paths.coupons):
        text = gcode.render(_told(program, (), outcome, machine), machine, recipes.of(program.stock))
        size = (program.width_mm, program.height_mm)
        proofs.append((program.name, cut.safe(text, machine, *size, name=program.name)))
        files[f"gcode/{program.name}.nc"] = text
    faint = machine.outline_power_percent
    for program in (*paths.outlines, *(() if cut_down.outline is None else (cut_down.outline,))):
        text = gcode.render(
            _told(program, failed, outcome, machine), machine, cut.outline_recipe(recipes.of(program.stock), machine)
        )
        size = (program.width_mm, program.height_mm)
        whole = program.name.removesuffix("-outline")
        proofs.append((whole, cut.safe(text, machine, *size, name=program.name, most_percent=faint)))
        files[f"gcode/{program.name}.nc"] = text
    if cut_down.line is not None:
        line = cut_down.line
        text = gcode.render(_told(line, failed, outcome, machine), machine, recipes.of(line.stock), cut_down.depths_mm)
        proofs.append((line.name, cut.safe(text, machine, line.width_mm, line.height_mm, name=line.name)))
        files[f"gcode/{line.name}.nc"] = text
    broken = [f"{name}: {c.text}" for name, checks in proofs for c in checks if c.level == "fail"]
    if broken:
        raise StageError("the programs do not prove, so no package is made: " + "; ".join(broken))
    return Proved(tuple(sorted(files.items())), tuple(sorted(begins.items())), _summed_up(proofs))


def proved(
    program: SheetProgram,
    share: cut.Share,
    depths_mm: tuple[float, ...],
    sheet: Sheet,
    on_sheet: tuple[Placement, ...],
    pieces: tuple[Piece, ...],
    recipe: cut.Settings,
    machine: Machine,
) -> tuple[gcode.Rendered, tuple[Check, ...]]:
    """Return a program as text, and what the reader finds in that."""
    rendered = gcode.rendered(program, machine, recipe, depths_mm)
    checks = cut.verify(
        rendered.text,
        pieces,
        tuple(p for p in on_sheet if share.takes(p)),
        recipe,
        machine,
        sheet.width_mm,
        sheet.height_mm,
        name=program.name,
        bridges=sorted({(c.piece, point) for c in program.contours for point in c.bridges}),
        outline=sheet.outline,
        keep_out=[(place.what, place.outline, place.clearance_mm) for place in sheet.keep_out],
        others=[p for p in on_sheet if not share.takes(p)],
    )
    return rendered, checks


def _told(
    program: SheetProgram, failed: tuple[str, ...], outcome: str, machine: Machine, notes_before: tuple[str, ...] = ()
) -> SheetProgram:
    """Return the program as this machine takes it, with what stands against it in its header."""
    notes = [f"DESIGN CHECK FAILED: {text}" for text in failed]
    if outcome != "proceed":
        notes.append(f"SAFETY: {outcome.replace('-', ' ')}, see guide.html before anything is cut")
    return cut.corrected(replace(program, notes=(*notes, *notes_before, *program.notes)), machine)


def _summed_up(proofs: list[tuple[str, tuple[Check, ...]]]) -> tuple[Check, ...]:
    """Return one check for each rule that all programs were proved by, with the worst value."""
    by_rule: dict[str, list[Check]] = {}
    for name, checks in proofs:
        for check in checks:
            by_rule.setdefault(check.id.removeprefix(f"{name}-"), []).append(check)
    found = []
    for rule, those in sorted(by_rule.items()):
        worst = max(those, key=lambda c: (c.value if c.value is not None else 0.0, c.id))
        found.append(
            Check(f"program-{rule}", "ok", f"all {len(those)} programs: {worst.text}", worst.value, worst.limit)
        )
    return tuple(found)
