"""What the build guide says about one build, in words and pictures that are ready to be laid out."""

from __future__ import annotations

import math
from collections.abc import Mapping

from kerfwave import cut
from kerfwave.engine.codec import digest
from kerfwave.model.parts import Piece, SheetProgram
from kerfwave.numfmt import several
from kerfwave.stages.bench_view import WATCH, consumables, coupon_table, dowel_texts, joint_texts, measuring
from kerfwave.stages.bill import bill_total
from kerfwave.stages.driver_view import driver_table
from kerfwave.stages.facts import Facts, proved_least
from kerfwave.stages.labels import SHA256_START
from kerfwave.stages.learned_view import learned_tables
from kerfwave.stages.mount_view import mounting_steps
from kerfwave.stages.sheet_view import sheet_view
from kerfwave.stages.thickness_view import sheets_of_pieces, thickness_table
from kerfwave.writers.assembly import Step, assembly_steps
from kerfwave.writers.bill import BillRow
from kerfwave.writers.captions import cut_text, layer_text
from kerfwave.writers.guide_model import (
    BreakdownView,
    ChartView,
    CouponView,
    CutRow,
    Fact,
    GuideModel,
    InsetView,
    LayerView,
)
from kerfwave.writers.words import INSETS, duration, mm_and_inches, percent

OUTCOMES = {"stop": "stop", "fix-first": "fix first", "proceed": "proceed with these duties"}
TOOLS = (
    "the laser cutter, with its extraction",
    "laser eyewear as the safety list says, one for everybody in the room",
    "extinguisher and smoke alarm",
    "calliper, steel rule, sharp knife",
    "four or more clamps, or weights of 10 kg and more, and two flat boards",
    "soldering iron, screwdriver, wire stripper",
)


def guide_model(facts: Facts, bill: tuple[BillRow, ...], files: Mapping[str, str]) -> GuideModel:
    """Return the guide's content."""
    spec, rules = facts.spec, facts.built.body.rules
    failed = [c.text for c in facts.checks if c.level == "fail"]
    return GuideModel(
        name=spec.name,
        # Of its values: a new title or comment in the spec leaves the ticks in place.
        key=f"{facts.source.stem}-{digest(spec)}",
        summary=_summary(facts),
        outcome=OUTCOMES[facts.assessed.outcome],
        outcome_text="A design check failed: " + "; ".join(failed) if failed else "",
        notes=spec.notes,
        headline=_headline(facts),
        safety=facts.assessed.lines,
        tools=TOOLS,
        consumables=consumables(facts, bill),
        watch=WATCH,
        unverified=not all(facts.recipes.of(p.stock).verified for p in facts.paths.programs),
        coupons=_coupons(facts, files),
        learn=(
            'kerfwave learn recipe SPECS_FOLDER/recipes/mine.yaml --name "a name of your own" --package THIS_FOLDER '
            "--coupon coupon-kerf --date YEAR-MONTH-DAY --power PERCENT --feed MM_MIN --passes N --gap MM"
        ),
        cut_down=_cut_down(facts, files),
        line_steps=_line_steps(facts),
        sheets=tuple(sheet_view(facts, sheet.number, files) for sheet in facts.nest.sheets),
        pieces_svg=files["drawings/pieces.svg"],
        plan_svg=files["drawings/inside.svg"],
        more_plans=tuple(files[name] for name in sorted(files) if name.startswith("drawings/inside-")),
        stack_svg=files["drawings/stack.svg"],
        layers=_layers(facts, files),
        insets=tuple(_inset(p, files, rules.fit_mm) for p in facts.of_one_body if p.layer is None),
        fill=facts.fill,
        steps=_steps(facts),
        acoustics=_acoustics(facts),
        charts=(*facts.charts, *_field_pictures(facts, files)),
        measuring=measuring(facts),
        bill=bill,
        bill_total=bill_total(bill),
        cut_list=tuple(_cut_row(facts, p) for p in facts.pieces),
        checks=facts.checks,
        tables=(driver_table(facts), thickness_table(facts), *learned_tables(facts)),
        provenance=_provenance(facts),
    )


def _coupons(facts: Facts, files: Mapping[str, str]) -> tuple[CouponView, ...]:
    return tuple(
        CouponView(
            name=c.program.name,
            svg=files[f"sheets/{c.program.name}.svg"],
            program=f"gcode/{c.program.name}.nc",
            time_s=c.program.time_s,
            what=_coupon_words(facts, c.program),
            steps=c.reading,
            table=coupon_table(c, facts.recipes.of(c.program.stock).kerf_mm),
        )
        for c in facts.paths.coupons
    )


def _cut_down(facts: Facts, files: Mapping[str, str]) -> tuple[BreakdownView, ...]:
    return tuple(
        BreakdownView(
            o.number,
            files[f"sheets/break-down-{o.number:02d}.svg"],
            tuple(cut_text(k, c) for k, c in enumerate(o.cuts, start=1)),
        )
        for o in facts.cut_down.plan.cut_down
    )


def _layers(facts: Facts, files: Mapping[str, str]) -> tuple[LayerView, ...]:
    return tuple(
        LayerView(
            layer.index,
            files[f"drawings/layer-{layer.index:02d}.svg"],
            f"{layer_text(layer)}. {joint}",
            layer.pieces,
        )
        for layer, joint in zip(facts.sliced.layers, joint_texts(facts), strict=True)
    )


def _steps(facts: Facts) -> tuple[Step, ...]:
    spec, body = facts.spec, facts.built.body
    return assembly_steps(
        facts.sliced.layers,
        facts.of_one_body,
        body.openings,
        lid=body.levels.lid,
        stack=body.rules.stack,
        fill=facts.fill,
        wire=facts.wire,
        floors=facts.floors,
        chamber_covered_by=facts.covered_by(-1),
        pair=spec.count > 1,
        screw_count=spec.driver.screw_count,
        screw_hole_mm=spec.driver.screw_hole_mm,
        dowels=dowel_texts(facts),
        sheets=sheets_of_pieces(facts),
        mounting=mounting_steps(facts),
    )


def _acoustics(facts: Facts) -> tuple[Fact, ...]:
    spec, built, result = facts.spec, facts.built, facts.as_built
    return (
        ("Chamber", f"{1e3 * built.volumes.chamber_m3:.2f} l, as built"),
        *_guide_fact(facts),
        ("Closed box of the same size", f"{1e3 * built.closed.chamber_m3:.2f} l"),
        ("The cone rests most near", f"{result.tuning_hz:.0f} Hz"),
        ("As built against sized", f"within {built.strayed_db:.2f} dB, 50 to 300 Hz"),
        (
            "Further down",
            f"under {spec.target.relief_from_hz:g} Hz the cone reaches {result.below_mm:.2f} mm peak "
            "at this drive: boost bass only with a high-pass filter there",
        ),
        *_listening(facts),
    )


def _listening(facts: Facts) -> tuple[Fact, ...]:
    """Return how loud it goes, in a line of text, and how the builds differ in two."""
    found = facts.at_listener
    loud = ", ".join(f"{row.level_db:.0f} dB at {row.frequency_hz:g} Hz ({row.limit})" for row in found.loudest)
    figures = {f.name: f for f in facts.strayed.spread.figures}
    tuning, level = figures["tuning"], figures["level"]
    return (
        ("As loud as it goes", loud),
        (
            "From build to build",
            f"eight in ten lie within {tuning.low:.0f} to {tuning.high:.0f} Hz of tuning and {level.low:.1f} to "
            f"{level.high:.1f} dB of level; {percent(facts.strayed.spread.kept)} keep the whole target",
        ),
    )


def _field_pictures(facts: Facts, files: Mapping[str, str]) -> tuple[ChartView, ...]:
    """Return the pictures of the sound field; nothing if the spec leaves the field out."""
    return tuple(
        ChartView(
            picture.title,
            files[f"drawings/field-{number:02d}.svg"],
            f"Seen along the stack, at {facts.spec.drive.volts:g} V: {picture.driver_pa:.3g} Pa behind the driver, "
            f"{picture.mouth_pa:.3g} Pa in the mouth. Light is little pressure, dark is much.",
        )
        for number, picture in enumerate(facts.compared.pictures if facts.compared else (), 1)
    )


def _provenance(facts: Facts) -> tuple[Fact, ...]:
    air = facts.as_built.air
    return (
        ("Made by", f"kerfwave {facts.source.version}"),
        ("Spec", f"{facts.source.stem}, sha256 {SHA256_START}"),
        *(("Recipe", facts.recipes.of(kind.stock.name).provenance) for kind in facts.kinds),
        *(
            (
                "Sheet",
                f"{facts.spec.stock.name}, {mm_and_inches(kind.thickness_mm)} as measured, "
                f"{kind.stock.thickness_mm:g} mm on the label",
            )
            for kind in facts.kinds
        ),
        ("Air", f"{air.density:.4f} kg/m³, {air.speed:.2f} m/s (IEC 61094-2 at 20 °C, 50 %)"),
    )


COUPON_WORDS = {
    "coupon-passes": "It tells how many passes it takes to cut through.",
    "coupon-kerf": "It tells how wide the beam cuts, and whether small holes come out.",
}


def _coupon_words(facts: Facts, program: SheetProgram) -> str:
    """Return what a test cut tells, and of which sheets, where there are several."""
    word = next((text for name, text in COUPON_WORDS.items() if program.name.startswith(name)), "")
    return word if len(facts.kinds) == 1 else f"{word} Cut it from a scrap of {program.stock}."


def _guide_fact(facts: Facts) -> tuple[Fact, ...]:
    fold, runs = facts.built.body.fold, facts.built.volumes.guide
    if fold.mouth is None:
        return ()
    return (
        (
            "Guide",
            f"{1e3 * math.fsum(run.length_m for run in runs):.0f} mm long, "
            f"{fold.key.width_mm:g} × {1e3 * runs[0].height_m:.1f} mm, {_lanes(facts)}",
        ),
    )


def _inside_words(facts: Facts) -> str:
    fold = facts.built.body.fold
    if fold.mouth is None:
        return "It is a closed box: the chamber behind the driver has no other way out."
    lanes = "in one lane" if fold.key.lanes == 1 and fold.key.storeys == 1 else f"folded in {_lanes(facts)}"
    length_m = math.fsum(run.length_m for run in facts.built.volumes.guide)
    what = "A vent" if facts.spec.enclosure.case == "vented" else "A guide"
    return (
        f"{what} {length_m:.2f} m long, {lanes}, leads from the chamber behind the driver to a mouth in the "
        f"{fold.mouth.face} face."
    )


def _summary(facts: Facts) -> str:
    built, spec = facts.built, facts.spec
    counts = built.body.counts
    x0, x1 = _extent(facts, 0)
    y0, y1 = _extent(facts, 1)
    height = counts.height_mm
    one = "A loudspeaker body" if spec.count == 1 else "Two loudspeaker bodies, mirror images of each other, each"
    return (
        f"{one} of {counts.total} layers, {x1 - x0:.0f} by {y1 - y0:.0f} by {height:.0f} mm, around the "
        f"{spec.driver.name}. {_inside_words(facts)}"
    )


def _lanes(facts: Facts) -> str:
    """Return "6 lanes", "2 lanes along 3 walls about the chamber", or "3 lanes on each of 2 storeys beside it"."""
    key, stack = facts.built.body.fold.key, facts.built.body.rules.stack
    lanes = f"{key.lanes} lane{'s' if key.lanes > 1 else ''}"
    if key.walls:
        lanes += f" along {len(key.walls)} walls about the chamber" if len(key.walls) > 1 else " along a slanted wall"
    if key.arrangement.in_one_plane:
        return lanes
    place = "beside" if not key.under else ("under" if stack == "upright" else "behind")
    if key.walls:
        return f"{lanes}, on each of {key.storeys} storeys"
    if key.storeys == 1:
        return f"{lanes} on a storey {place} the chamber"
    return f"{lanes} on each of {key.storeys} storeys {place} the chamber"


def _extent(facts: Facts, axis: int) -> tuple[float, float]:
    values = [p[axis] for p in facts.built.body.plan.outline]
    return min(values), max(values)


def _headline(facts: Facts) -> tuple[Fact, ...]:
    result, target, spec = facts.as_built, facts.spec.target, facts.spec
    hours = sum(p.time_s for p in facts.paths.programs) / 3600
    found = [
        (
            "Level",
            f"{result.level_1m_db:.1f} dB at 1 m and {spec.drive.volts:g} V, {target.band_from_hz:g} to "
            f"{target.band_to_hz:g} Hz, within {result.ripple_db:.1f} dB",
        ),
        (
            "Cone against the closed box",
            f"{round(result.relief_mean_db, 1) + 0.0:.1f} dB less excursion on average, at least "
            f"{round(result.relief_least_db, 1) + 0.0:.1f} dB, {target.relief_from_hz:g} to {target.relief_to_hz:g} Hz",
        ),
    ]
    if target.bass_at_hz is not None:
        found.append(("Bass", f"{result.bass_gain_db:+.1f} dB against the closed box at {target.bass_at_hz:g} Hz"))
    found += [
        (
            "To cut",
            f"{several(len(facts.pieces), 'piece')} from {several(len(facts.nest.sheets), 'sheet')} "
            f"({proved_least(facts.nest)}), about {hours:.1f} h of laser",
        ),
        ("Mass", f"{sum(facts.piece_mass_g(p) for p in facts.pieces) / 1e3:.2f} kg of wood"),
    ]
    return tuple(found)


def _line_steps(facts: Facts) -> tuple[str, ...]:
    """Return how a straight cut through a sheet larger than the bed is made."""
    line = facts.cut_down.line
    if line is None:
        return ()
    faint = f"{facts.spec.machine.outline_power_percent:g} %"
    (x0, y0), (x1, y1) = cut.line_of(facts.spec.machine)
    way = f"along x at y = {y0:g} mm" if y0 == y1 else f"along y at x = {x0:g} mm"
    length = math.dist((x0, y0), (x1, y1))
    return (
        f"The program gcode/{line.name}.nc cuts one straight line, {length:g} mm long, {way} of the bed, in about "
        f"{duration(line.time_s)}; it serves for every cut, and the sheet is moved under it",
        "For each cut scribe a line on the sheet where the drawing has it, and lay it under the beam; or fix a "
        "straight batten parallel to the line as a stop, at the distance given, and push the sheet's edge against it",
        f"Check both ends, eyewear on: gcode/{line.name}-outline.nc runs a faint dot ({faint}) along the line and back",
        "Support the sheet on both sides of the cut at the height of the bed, and weigh it down",
        "A cut longer than the line is run again with the sheet pushed on, 10 mm over the end of the run before",
    )


def _inset(piece: Piece, files: Mapping[str, str], fit_mm: float) -> InsetView:
    name, text = INSETS[piece.role]
    text += f" The pocket leaves {fit_mm:g} mm of play on every side."
    return InsetView(piece.id, name, files[f"drawings/{piece.role}.svg"], text)


def _cut_row(facts: Facts, piece: Piece) -> CutRow:
    xs, ys = [p[0] for p in piece.outline], [p[1] for p in piece.outline]
    sheet = next((p.sheet for p in facts.nest.placements if p.piece == piece.id), None)
    return CutRow(piece.id, piece.role, piece.layer, max(xs) - min(xs), max(ys) - min(ys), piece.thickness_mm, sheet)
