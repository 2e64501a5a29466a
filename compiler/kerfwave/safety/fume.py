"""The lines on fume: what the job gives off, what that does to the room's air, and the glue and gases left out."""

from __future__ import annotations

from kerfwave.model.parts import SafetyLine
from kerfwave.safety import smoke, sources
from kerfwave.safety.extraction import extraction_lines
from kerfwave.safety.job import Job
from kerfwave.safety.lines import line, number
from kerfwave.safety.words import amount, room_formula, spread


def fume_lines(job: Job) -> tuple[SafetyLine, ...]:
    """Return the lines on fume. All concentrations are order-of-magnitude estimates and say so."""
    return (
        _removed(job),
        *(_emitted(job, pollutant) for pollutant in smoke.POLLUTANTS),
        _not_computed(),
        _air_changes(job),
        *(_bare(job, limit) for limit in smoke.AIR_LIMITS),
        *extraction_lines(job),
        line(
            "fume-co-alarm",
            "duty",
            "Put a carbon monoxide alarm (EN 50291) in the room, at head height where you sit. Headache, dizziness, "
            "sore eyes or a tight chest: stop, out into fresh air, and see a doctor if it does not pass.",
            source=sources.CO_ALARM,
            status="published",
        ),
    )


def _removed(job: Job) -> SafetyLine:
    mass = smoke.removed_g(job)
    kerf = job.recipe.kerf_mm
    return line(
        "fume-wood",
        "note",
        f"This job turns {number(mass)} g of wood into smoke and gas, however many passes it takes.",
        source=sources.KERF_MASS,
        status="computed" if job.recipe.verified and job.stock.measured_mm else "assumed",
        value=mass,
        unit="g",
        formula=f"m = w t rho L; w = {number(kerf)} mm ({'measured' if job.recipe.verified else 'estimated'}), "
        f"t = {number(job.thickness_mm)} mm, rho = {number(job.stock.density_kg_m3)} kg/m³, "
        f"L = {number(job.cut_length_mm / 1e3)} m",
    )


def _emitted(job: Job, pollutant: smoke.Pollutant) -> SafetyLine:
    wood = smoke.removed_g(job)
    low, high = wood * pollutant.low_g_g, wood * pollutant.high_g_g
    amount = f"{number(high)} g" if low == high else f"{number(low)} to {number(high)} g"
    factor = (
        f"{number(high / wood)} g/g"
        if low == high and wood
        else f"{number(pollutant.low_g_g)} to {number(pollutant.high_g_g)} g/g"
    )
    return line(
        f"fume-{pollutant.key}-emitted",
        "note",
        f"Of that about {amount} may be {pollutant.name}: an order of magnitude, borrowed from wood stoves.",
        source=pollutant.source,
        status="assumed",
        value=high,
        unit="g",
        formula=f"m × EF; m = {number(wood)} g, EF = {factor}",
    )


def _not_computed() -> SafetyLine:
    return line(
        "fume-left-out",
        "note",
        "Not computed, for want of figures: acrolein, benzene and other vapours, isocyanic acid and ammonia from "
        "the glue. That they have no number here does not mean that they are not there.",
        source=sources.GLUE_FUME,
        status="unknown",
    )


def _air_changes(job: Job) -> SafetyLine:
    rate, volume = job.room.air_changes_per_h, job.room_volume_m3
    flow = smoke.natural_flow_m3_h(job)
    formula = f"Q = n V; n = {number(flow / volume)} per hour, V = {number(volume)} m³"
    if rate is not None:
        level, status, source = "note", "assumed", sources.DILUTION
        text = f"The room by itself renews {number(flow)} m³/h of its air, {number(rate)} times an hour, says the spec."
    elif smoke.outdoors_flow_m3_h(job) >= flow:
        level, status, source = "note", "assumed", sources.AIR_CHANGES
        text = (
            "How often the room renews its own air is not stated: 0.5 times an hour, a closed room, in the lines "
            "without extraction; in those with it only the fan counts, the worst case."
        )
    else:
        level, status, source = "fix-first", "unknown", sources.AIR_CHANGES
        text = (
            "How often the room renews its air is not known: reckoned here with 0.5 times an hour, a closed room. "
            "Find out (a carbon dioxide meter shows how fast stale air goes), or state an extraction that blows "
            "outdoors."
        )
    return line("fume-air-changes", level, text, source=source, status=status, value=flow, unit="m³/h", formula=formula)


def _bare(job: Job, limit: smoke.AirLimit) -> SafetyLine:
    """Without extraction: a thing to mend if there is none, a reminder of what the fan is for if there is."""
    low, high = smoke.worst_means(job, limit, extracted=False)
    relies = smoke.outdoors_flow_m3_h(job) > 0
    over = high > limit.limit_mg_m3
    level = "fix-first" if over and not relies else "note"
    return line(
        f"fume-{limit.key}-bare",
        level,
        f"Without any extraction the room would hold {spread(low, high)} of {limit.pollutant.name} as the worst "
        f"{number(limit.window_h)} h mean, against {amount(limit.limit_mg_m3)}"
        + (
            ": too much, and an open window alone seldom mends it. Catch the fume at the source and lead it outdoors."
            if level == "fix-first"
            else ": this is what the extraction is for."
            if over
            else "."
        ),
        source=f"{limit.source}; {sources.DILUTION}; emission {limit.pollutant.source}",
        status="assumed",
        value=high,
        unit="mg/m³",
        limit=limit.limit_mg_m3,
        formula=room_formula(job, limit, extracted=False, share=0.0),
    )
