"""Package: everything that the bench needs, as text, proved before it is let out.

The programs are read back by an independent reader and held against the pieces; a package whose programs do not
prove is not made. A design check that failed is written into every program's header and into the guide.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from kerfwave import cut
from kerfwave.engine.errors import StageError
from kerfwave.model.parts import Check, Nest, Recipe, SheetProgram
from kerfwave.model.spec import Spec
from kerfwave.stages.bill import bill_rows
from kerfwave.stages.body import Built
from kerfwave.stages.facts import Facts
from kerfwave.stages.field import Solved
from kerfwave.stages.guide_view import guide_model
from kerfwave.stages.learned import Learned
from kerfwave.stages.listening import AtTheListener
from kerfwave.stages.paths import Programs
from kerfwave.stages.reporting import report_data
from kerfwave.stages.response import AsBuilt
from kerfwave.stages.safety import Assessed
from kerfwave.stages.shaping import ShapedSound
from kerfwave.stages.sizing import Sized
from kerfwave.stages.slices import Sliced
from kerfwave.stages.source import Source
from kerfwave.stages.spread import Strayed
from kerfwave.writers import drawings, gcode
from kerfwave.writers.bill import render_bill
from kerfwave.writers.filters import filters_csv, filters_json
from kerfwave.writers.guide import render_guide
from kerfwave.writers.mesh import body_stl
from kerfwave.writers.report import render_report


@dataclass(frozen=True, slots=True)
class Package:
    """The files of a package, by name, and how it stands to its checks."""

    files: tuple[tuple[str, str], ...]
    failed: tuple[str, ...]  # sentences of the checks that failed
    outcome: str  # of the safety list


def run(
    source: Source,
    spec: Spec,
    sized: Sized,
    built: Built,
    as_built: AsBuilt,
    sliced: Sliced,
    nest: Nest,
    recipe: Recipe,
    paths: Programs,
    assessed: Assessed,
    solved: Solved,
    sound: ShapedSound,
    learned: Learned,
    at_listener: AtTheListener,
    strayed: Strayed,
) -> Package:
    """Run the stage.

    Raises:
        StageError: if a program does not prove.
    """
    design = (
        *as_built.checks,
        *built.checks,
        *solved.checks,
        *sound.checks,
        *at_listener.checks,
        *strayed.checks,
        *sliced.checks,
        *_shop_checks(nest, recipe, assessed),
    )
    failed = tuple(c.text for c in design if c.level == "fail")
    pieces = (*sliced.pieces, *sliced.insets)
    files: dict[str, str] = {}
    proofs: list[Check] = []
    begins: dict[str, tuple[int, ...]] = {}
    for program, depths in zip(paths.programs, paths.depths_mm, strict=True):
        told = cut.corrected(_warned(program, failed, assessed), spec.machine)
        rendered = gcode.rendered(told, spec.machine, recipe, depths)
        text, begins[program.name] = rendered.text, rendered.lines
        sheet = next(s for s in nest.sheets if f"sheet-{s.number:02d}" == program.name)
        here = tuple(p for p in nest.placements if p.sheet == sheet.number)
        size = (sheet.width_mm, sheet.height_mm)
        held = sorted({(c.piece, point) for c in program.contours for point in c.bridges})
        proofs += cut.verify(
            text,
            pieces,
            here,
            recipe,
            spec.machine,
            *size,
            name=program.name,
            bridges=held,
            outline=sheet.outline,
            keep_out=[(place.what, place.outline, place.clearance_mm) for place in sheet.keep_out],
        )
        files[f"gcode/{program.name}.nc"] = text
        files[f"sheets/{program.name}.svg"] = drawings.sheet_svg(
            sheet,
            here,
            pieces,
            title=f"{spec.name}, sheet {sheet.number}",
            stock=spec.stock.name,
            verified=recipe.verified,
        )
    for coupon in paths.coupons:
        name, program = coupon.program.name, coupon.program
        text = gcode.render(cut.corrected(_warned(program, (), assessed), spec.machine), spec.machine, recipe)
        proofs += cut.safe(text, spec.machine, program.width_mm, program.height_mm, name=name)
        files[f"gcode/{name}.nc"] = text
        files[f"sheets/{name}.svg"] = drawings.coupon_svg(program, coupon.pieces, name, placements=coupon.placements)
    faint = spec.machine.outline_power_percent
    for program in paths.outlines:
        size = (program.width_mm, program.height_mm)
        told = cut.corrected(_warned(program, failed, assessed), spec.machine)
        text = gcode.render(told, spec.machine, cut.outline_recipe(recipe, spec.machine))
        proofs += cut.safe(text, spec.machine, *size, name=program.name, most_percent=faint)
        files[f"gcode/{program.name}.nc"] = text
    broken = [c.text for c in proofs if c.level == "fail"]
    if broken:
        raise StageError("the programs do not prove, so no package is made: " + "; ".join(broken))

    facts = Facts(
        source=source,
        spec=spec,
        sized=sized,
        built=built,
        as_built=as_built,
        sliced=sliced,
        nest=nest,
        recipe=recipe,
        paths=paths,
        assessed=assessed,
        shaped=sound.shaped,
        learned=learned,
        compared=solved.compared,
        at_listener=at_listener,
        strayed=strayed,
        checks=(*design, *_summed_up(proofs)),
        begins=begins,
    )
    files |= facts.drawings
    files["drawings/body.stl"] = body_stl(sliced.layers, sliced.pieces)
    if sliced.right:
        files["drawings/right-body.stl"] = body_stl(sliced.right, sliced.pieces)
    if sound.shaped is not None:
        files["filters/shaping.json"] = filters_json(sound.shaped.filters, spec.shaping.sample_rate_hz)
        files["filters/shaping.csv"] = filters_csv(sound.shaped.filters)
    rows = bill_rows(facts)
    files["bom.csv"] = render_bill(rows)
    files["report.json"] = render_report(report_data(facts))
    files["guide.html"] = render_guide(guide_model(facts, rows, files))
    return Package(tuple(sorted(files.items())), failed, assessed.outcome)


def _warned(program: SheetProgram, failed: tuple[str, ...], assessed: Assessed) -> SheetProgram:
    """Return the program with what stands against it in its header."""
    notes = [f"DESIGN CHECK FAILED: {text}" for text in failed]
    if assessed.outcome != "proceed":
        notes.append(f"SAFETY: {assessed.outcome.replace('-', ' ')}, see guide.html before anything is cut")
    return replace(program, notes=(*notes, *program.notes))


def _shop_checks(nest: Nest, recipe: Recipe, assessed: Assessed) -> tuple[Check, ...]:
    words = {"stop": "stop: do not cut", "fix-first": "something is to be put right first", "proceed": "duties to keep"}
    return (
        Check(
            "recipe",
            "ok" if recipe.verified else "warn",
            "the recipe was measured" if recipe.verified else "the recipe is an estimate: cut the coupons first",
        ),
        Check(
            "sheets",
            "ok",
            f"{len(nest.sheets)} sheets; no layout needs fewer than {nest.bound}",
            float(len(nest.sheets)),
            float(nest.bound),
        ),
        Check("safety", "ok" if assessed.outcome == "proceed" else "warn", f"safety: {words[assessed.outcome]}"),
    )


def _summed_up(proofs: list[Check]) -> tuple[Check, ...]:
    """Return one check for each rule that all programs were proved by, with the worst value."""
    by_rule: dict[str, list[Check]] = {}
    for proof in proofs:
        by_rule.setdefault(_rule(proof.id), []).append(proof)
    found = []
    for rule, checks in sorted(by_rule.items()):
        worst = max(checks, key=lambda c: (c.value if c.value is not None else 0.0, c.id))
        found.append(
            Check(f"program-{rule}", "ok", f"all {len(checks)} programs: {worst.text}", worst.value, worst.limit)
        )
    return tuple(found)


def _rule(check_id: str) -> str:
    """Return the rule in "sheet-01-kerf"."""
    return check_id.split("-", 2)[2]
