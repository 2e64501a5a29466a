"""The lines on hearing: the loudspeaker at the listening place, and the workshop."""

from __future__ import annotations

from kerfwave.model.parts import SafetyLine
from kerfwave.safety import hearing, sources
from kerfwave.safety.job import Job
from kerfwave.safety.lines import line, number

_TAKEN_AS = "the level, taken as dB(A): a little too strict for bass"


def sound_lines(job: Job) -> tuple[SafetyLine, ...]:
    """Return dose and daily time at the asked drive; an unknown level is to be found out first."""
    workshop = line(
        "sound-workshop",
        "duty",
        "Fan, air pump and sander can be louder than the loudspeaker: measure, and wear ear protection from 85 "
        "dB(A) on.",
        source=sources.NIOSH_NOISE,
        status="published",
        value=85.0,
        unit="dB",
    )
    level = job.level_db_at_listener
    if level is None:
        unknown = line(
            "sound-week",
            "fix-first",
            "The level at the listening place is not known, so neither is how long it may be listened to: measure "
            "it there.",
            source=sources.LEISURE,
            status="unknown",
            unit="%",
            limit=100.0,
        )
        return (unknown, workshop)
    return (_week(job, level), _children(job, level), *_day(job, level), workshop)


def _weekly_hours(job: Job) -> float:
    return job.listening.hours_per_day * job.listening.days_per_week


def _week(job: Job, level: float) -> SafetyLine:
    hours, allowed = _weekly_hours(job), hearing.leisure_hours(level)
    dose = hearing.dose_percent(hours, allowed)
    over = dose > 100.0
    mend = (
        f" Too much: turn it down to {number(hearing.leisure_level(hours))} dB, or listen less, and say so in the spec."
        if over
        else ""
    )
    return line(
        "sound-week",
        "fix-first" if over else "duty",
        f"{number(level)} dB for {number(hours)} h a week is {number(dose)} % of the dose for leisure"
        + (
            f"; {_time(allowed)} a week would fill it.{mend}"
            if allowed < 168.0
            else "; a whole week would not fill it."
        ),
        source=sources.LEISURE,
        status="computed",
        value=dose,
        unit="%",
        limit=100.0,
        formula=f"T = 40 h × 2^((80 - L) / 3), dose = 100 t / T; L = {number(level)} dB ({_TAKEN_AS}), "
        f"t = {number(hours)} h",
    )


def _children(job: Job, level: float) -> SafetyLine:
    hours = _weekly_hours(job)
    dose = hearing.dose_percent(hours, hearing.leisure_hours(level, 75.0))
    over = dose > 100.0
    return line(
        "sound-children",
        "duty" if over else "note",
        f"For children and sensitive ears the same week is {number(dose)} % of their dose"
        + (f": keep it below {number(hearing.leisure_level(hours, 75.0))} dB where they listen." if over else "."),
        source=sources.LEISURE_CHILDREN,
        status="computed",
        value=dose,
        unit="%",
        limit=100.0,
        formula=f"T = 40 h × 2^((75 - L) / 3), dose = 100 t / T; L = {number(level)} dB, t = {number(hours)} h",
    )


def _day(job: Job, level: float) -> tuple[SafetyLine, ...]:
    hours = job.listening.hours_per_day
    niosh, osha = hearing.niosh_hours(level), hearing.osha_hours(level)
    over = hours > niosh
    return (
        line(
            "sound-day",
            "fix-first" if over else "note",
            f"{number(hours)} h a day are asked for; the advice for workplaces is {_day_time(niosh)}."
            + (" Too long: turn it down or listen less." if over else ""),
            source=sources.NIOSH_NOISE,
            status="computed",
            value=min(niosh, 24.0),
            unit="h",
            formula=f"T = 8 h / 2^((L - 85) / 3), no more than 24 h; L = {number(level)} dB ({_TAKEN_AS})",
        ),
        line(
            "sound-day-osha",
            "note",
            f"The older rule for workplaces in the USA says {_day_time(osha)}; it protects less.",
            source=sources.OSHA_NOISE,
            status="computed",
            value=min(osha, 24.0),
            unit="h",
            formula=f"T = 8 h / 2^((L - 90) / 5), no more than 24 h; L = {number(level)} dB",
        ),
    )


def _time(hours: float) -> str:
    return f"{number(hours)} h" if hours >= 1 else f"{number(60 * hours)} min"


def _day_time(hours: float) -> str:
    return f"at most {_time(hours)} a day" if hours < 24.0 else "no limit within a day"
