"""The lines on extraction: what the hood has to catch and move, and what the room is like with it."""

from __future__ import annotations

from kerfwave.model.parts import SafetyLine
from kerfwave.model.spec import Extraction
from kerfwave.safety import smoke, sources
from kerfwave.safety.duct import duct_lines, flue_line, make_up_line
from kerfwave.safety.job import Job
from kerfwave.safety.lines import line, number
from kerfwave.safety.words import amount, cubic_metres, room_formula, spread


def extraction_lines(job: Job) -> tuple[SafetyLine, ...]:
    """Return the lines on extraction, none stated, recirculating or outdoors."""
    extraction = job.room.extraction
    if extraction is None:
        missing = line(
            "fume-extraction",
            "fix-first",
            "No extraction is stated. Put a box round the machine, draw the air out of it through a metal duct and "
            f"blow it outdoors: with 200 cm² of gaps {cubic_metres(36.0)} keep the smoke in.",
            source=sources.BOX,
            status="unknown",
            value=0.0,
            unit="m³/h",
            limit=36.0,
            formula="Q = v A; v = 0.5 m/s, A = 200 cm²",
        )
        return (missing, _catch(job), flue_line(job))
    if not extraction.outdoors:
        return (
            _recirculating(job),
            _hood(job, extraction),
            _catch(job),
            _filter(job),
            _filter_limits(),
            flue_line(job),
        )
    return (
        *(_with(job, limit) for limit in smoke.AIR_LIMITS),
        _catch(job),
        *_portion(job),
        _hood(job, extraction),
        *duct_lines(extraction),
        make_up_line(extraction),
        flue_line(job),
        _purge(job),
        line(
            "fume-discharge",
            "duty",
            "Blow the fume out well away from windows, air intakes and neighbours; never into an attic, a shared "
            "shaft or a chimney that serves a heater. Ask the landlord.",
            source=sources.RE_ENTRY,
            status="published",
        ),
        _filter(job),
        _filter_limits(),
    )


def _with(job: Job, limit: smoke.AirLimit) -> SafetyLine:
    share = smoke.hood_share(job)
    low, high = smoke.worst_means(job, limit, extracted=True, share=share)
    if low > limit.limit_mg_m3:
        level = "fix-first"
        verdict = ": too much. More air, fewer gaps, a box instead of a nozzle, or less cut in a day."
    elif high > limit.limit_mg_m3:
        level = "duty"
        verdict = ": the estimate straddles the limit, so measure while you cut, and stop when it climbs."
    else:
        level, verdict = (
            "duty",
            ": within it, if the hood does catch that. Run it whenever the beam is on, and check with a meter.",
        )
    caught = (
        f"{number(100 * share)} % caught at the source (assumed)"
        if share
        else "nothing counted as caught at the source, for the hood is not shown to have enough air"
    )
    return line(
        f"fume-{limit.key}-extracted",
        level,
        f"With the stated extraction, {caught}: {spread(low, high)} of {limit.pollutant.name} as the worst "
        f"{number(limit.window_h)} h mean, against {amount(limit.limit_mg_m3)}{verdict}",
        source=f"{limit.source}; {sources.DILUTION}; emission {limit.pollutant.source}",
        status="assumed",
        value=high,
        unit="mg/m³",
        limit=limit.limit_mg_m3,
        formula=room_formula(job, limit, extracted=True, share=share),
    )


def _catch(job: Job) -> SafetyLine:
    """Return the share to catch: the means are proportional to what escapes, so 1 - limit / mean."""
    means = [(limit.limit_mg_m3, smoke.worst_means(job, limit, extracted=True)) for limit in smoke.AIR_LIMITS]
    low, high = (
        100.0 * max(max(0.0, 1.0 - limit / mean[estimate]) if mean[estimate] > 0 else 0.0 for limit, mean in means)
        for estimate in (0, 1)
    )
    return line(
        "fume-catch",
        "note",
        f"To hold every limit above with the airflow at hand, {low:.1f} to {high:.1f} % of the smoke has to be "
        "caught before it is in the room: catching it at the source does most of the work.",
        source=f"mass balance; {sources.DILUTION}",
        status="assumed",
        value=high,
        unit="%",
        formula="share = 1 - limit / mean, the largest over all pollutants, low and high estimate",
    )


def _portion(job: Job) -> tuple[SafetyLine, ...]:
    """Return how much may be cut in a day by the particle estimate, where the whole job is too much for one."""
    share, wood = smoke.hood_share(job), smoke.removed_g(job)
    if wood == 0:
        return ()
    limit = smoke.AIR_LIMITS[0]
    days = smoke.day(job, 0.0, extracted=True).days
    daily = job.cut_length_mm / 1e3 / days
    most, least = (
        daily * limit.limit_mg_m3 / mean for mean in smoke.worst_means(job, limit, extracted=True, share=share)
    )
    hours = job.cut_time_s / 3600.0 / days
    return (
        line(
            "fume-portion",
            "duty",
            f"Reckoned with {days} day{'s' if days > 1 else ''} of {number(hours)} h cutting. By the particle "
            f"estimate this room stands about {number(least)} to {number(most)} m of cut line a day; a "
            "particle meter in the room tells which end is nearer.",
            source=f"{sources.WHO_PM}; {sources.DILUTION}; emission {sources.STOVE_PM}",
            status="assumed",
            value=least,
            unit="m",
            formula=f"cut a day × limit / mean; {number(daily)} m a day, passes not counted",
        ),
    )


def _hood(job: Job, extraction: Extraction) -> SafetyLine:
    needed = smoke.hood_flow_m3_h(job)
    flow = extraction.flow_m3_h
    box = extraction.capture == "enclosure"
    if needed is None or needed <= 0:
        ask = (
            "the open area of the box's gaps"
            if box
            else "how far the nozzle's mouth is from the spot"
            if extraction.capture == "nozzle"
            else "whether the hood is a box or a nozzle"
        )
        return line(
            "fume-hood",
            "fix-first",
            f"Whether {cubic_metres(flow)} are enough for the hood is not known, for {ask} is not stated: measure "
            "it, and say it in the spec.",
            source=sources.BOX if box else sources.HOOD,
            status="unknown",
            value=flow,
            unit="m³/h",
        )
    if box:
        area = extraction.open_area_cm2 or 0.0
        formula = f"Q = v A; v = {number(smoke.FACE_M_S)} m/s, A = {number(area)} cm²"
        words = f"The box, with {number(area)} cm² of gaps, needs {cubic_metres(needed)} to keep the smoke in"
        mend = "close gaps or move more air"
    else:
        distance = extraction.nozzle_distance_mm or 0.0
        width = extraction.duct_mm or smoke.TYPICAL_DUCT_MM
        formula = (
            f"Q = v (10 x² + A); v = {number(smoke.capture_m_s(job))} m/s, x = {number(distance)} mm, A of "
            f"{number(width)} mm{'' if extraction.duct_mm else ' (assumed)'}"
        )
        words = (
            f"The nozzle, {number(distance)} mm ({number(distance / 25.4)} in) from the spot at its farthest, needs "
            f"{cubic_metres(needed)} to reach it"
        )
        mend = "bring it nearer, let it ride with the head, or build a box, which needs a small part of the air"
    enough = flow >= needed
    return line(
        "fume-hood",
        "duty" if enough else "fix-first",
        f"{words}; {cubic_metres(flow)} are stated. "
        + (
            "Prove it with a smouldering incense stick at the edges: the figures hold only if it does not leak."
            if enough
            else f"Too little: {mend}."
        ),
        source=sources.BOX if box else sources.HOOD,
        status="computed",
        value=flow,
        unit="m³/h",
        limit=needed,
        formula=formula,
    )


def _recirculating(job: Job) -> SafetyLine:
    return line(
        "fume-recirculating",
        "fix-first",
        "The extraction blows back into the room. A filter that is not described counts for nothing here; even a "
        "HEPA filter holds no gas, and plain carbon holds little formaldehyde and no carbon monoxide. Lead the air "
        "outdoors.",
        source=sources.FILTERS,
        status="published",
    )


def _purge(job: Job) -> SafetyLine:
    hours = smoke.purge_h(job)
    flow = smoke.fan_flow_m3_h(job)
    if hours == 0:
        return line(
            "fume-purge",
            "fix-first",
            "The stated extraction moves no air.",
            source=sources.DILUTION,
            status="computed",
            value=0.0,
            unit="m³/h",
            formula="Q = 0 m³/h, as stated",
        )
    return line(
        "fume-purge",
        "duty",
        f"After the last cut let the fan run on for {number(60 * hours)} min, unless something burns; then 5 % of what "
        "hung in the room is left.",
        source=sources.DILUTION,
        status="computed",
        value=60.0 * hours,
        unit="min",
        formula=f"t = (K V / Q) ln(C0 / C1); K = 3, V = {number(job.room_volume_m3)} m³, Q = {number(flow)} m³/h, "
        "C0 / C1 = 20",
    )


def _filter_limits() -> SafetyLine:
    return line(
        "fume-filter-limits",
        "note",
        "A HEPA filter (H13) holds 99.95 % of the particles and no gas. Carbon holds many vapours until it is full, "
        "but little formaldehyde and no carbon monoxide: a filter in the way out spares the neighbours, not more.",
        source=f"EN 1822 / ISO 29463; {sources.FILTERS}",
        status="published",
    )


def _filter(job: Job) -> SafetyLine:
    hours, since, life = job.cut_time_s / 3600.0, job.machine.filter_hours, job.machine.filter_life_hours
    life_text = "" if since is None else f" The filter will have run {number(since + hours)} h since it was changed."
    life_text += "" if life is None else f" The machine file gives it {number(life)} h."
    return line(
        "fume-filter",
        "duty",
        f"This job is {number(hours)} h of smoke for the filters and the duct.{life_text} Spark trap first, then "
        "fine, HEPA, carbon, fan last; metal duct near the cut. Tar in them is fuel: look, empty, change, outdoors "
        "and with gloves.",
        source=sources.MEMORY,
        status="assumed" if life is None else "computed",
        value=hours + (since or 0.0),
        unit="h",
        limit=life,
        formula="time of all programs" + ("" if since is None else " and the hours since it was changed"),
    )
