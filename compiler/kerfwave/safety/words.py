"""How airflows, concentrations and the room model are worded."""

from __future__ import annotations

from kerfwave.safety import smoke
from kerfwave.safety.job import Job
from kerfwave.safety.lines import number


def cubic_metres(flow_m3_h: float) -> str:
    """Word an airflow, with the trade's cubic feet per minute beside it."""
    return f"{number(flow_m3_h)} m³/h ({number(flow_m3_h / 1.69901)} cfm)"


def spread(low: float, high: float) -> str:
    """Word a range of concentrations."""
    return f"about {amount(high)}" if low == high else f"about {amount(low)} to {amount(high)}"


def amount(mg_m3: float) -> str:
    """Word a concentration, in micrograms where that reads better."""
    return f"{number(mg_m3)} mg/m³" if mg_m3 >= 0.1 else f"{number(mg_m3 * 1e3)} µg/m³"


def room_formula(job: Job, limit: smoke.AirLimit, *, extracted: bool, share: float) -> str:
    """Write out the room model with this job's inputs."""
    day = smoke.day(job, limit.pollutant.high_g_g, extracted=extracted, share=share)
    cutting, rest = day.phases[0], day.phases[-1]
    run_on = f" and {number(60 * day.phases[1].hours)} min after" if len(day.phases) > 2 else ""
    return (
        f"V dC/dt = G - (Q/K) C, worst {number(limit.window_h)} h mean; V = {number(day.volume_m3)} m³, K = 3, "
        f"Q = {number(cutting.flow_m3_h)} m³/h while cutting{run_on}, then {number(rest.flow_m3_h)} m³/h, "
        f"G = {number(cutting.emission_mg_h)} mg/h for {number(cutting.hours)} h"
        + (f" a day, {day.days} days" if day.days > 1 else "")
        + (f", {number(100 * share)} % caught" if share else "")
    )
