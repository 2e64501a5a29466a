"""How much wood this job turns into smoke, what the smoke carries, and how much of it the hood is counted to catch."""

from __future__ import annotations

import math
from dataclasses import dataclass

from kerfwave.safety import air, airflow, sources
from kerfwave.safety.job import Job

DEFAULT_AIR_CHANGES = 0.5  # per hour, closed room
DAY_H = 8.0  # most cutting counted in one day: longer jobs are spread over days
FACE_M_S = 0.5  # into every gap of a box
CAPTURE_M_S = 0.5  # at the spot, for a nozzle in quiet air
CAPTURE_BLOWN_M_S = 1.0  # the same with air assist blowing across
BOX_SHARE = 0.99  # assumed share of the fume that a box caught, once its airflow is enough
NOZZLE_SHARE = 0.9  # the same for a nozzle
TYPICAL_DUCT_MM = 100.0


@dataclass(frozen=True, slots=True)
class Pollutant:
    """One thing in the smoke: mass given off per mass of wood removed, from a low to a high estimate."""

    key: str
    name: str
    low_g_g: float
    high_g_g: float
    source: str


@dataclass(frozen=True, slots=True)
class AirLimit:
    """The most of it that a home's air should hold, as a mean over a time."""

    key: str
    pollutant: Pollutant
    window_h: float
    limit_mg_m3: float
    source: str


PM25 = Pollutant("pm25", "fine particles (PM2.5)", 0.04, 0.15, sources.STOVE_PM)
CARBON_MONOXIDE = Pollutant("co", "carbon monoxide", 0.115, 0.115, sources.STOVE_CO)
FORMALDEHYDE = Pollutant("formaldehyde", "formaldehyde", 0.001, 0.001, sources.STOVE_HCHO)
POLLUTANTS = (PM25, CARBON_MONOXIDE, FORMALDEHYDE)
AIR_LIMITS = (
    AirLimit("pm25", PM25, 24.0, 0.015, sources.WHO_PM),
    AirLimit("co-1h", CARBON_MONOXIDE, 1.0, 30.0, f"{sources.WHO_CO}: 30 mg/m³ as a 1 h mean"),
    AirLimit("co-8h", CARBON_MONOXIDE, 8.0, 10.0, f"{sources.WHO_CO}: 10 mg/m³ as an 8 h mean"),
    AirLimit("co-24h", CARBON_MONOXIDE, 24.0, 4.0, sources.WHO_CO_DAY),
    AirLimit("formaldehyde", FORMALDEHYDE, 0.5, 0.1, sources.WHO_HCHO),
)


def removed_g(job: Job) -> float:
    """Return the wood that the kerf takes away, g: width, thickness, length once, density. Passes do not add to it."""
    volume_m3 = job.recipe.kerf_mm * job.thickness_mm * job.cut_length_mm * 1e-9
    return volume_m3 * job.stock.density_kg_m3 * 1e3


def natural_flow_m3_h(job: Job, default: float = DEFAULT_AIR_CHANGES) -> float:
    """Return the airflow of the room left to itself; by the default air change rate (1/h) where none is stated."""
    rate = job.room.air_changes_per_h
    return (default if rate is None else rate) * job.room_volume_m3


def outdoors_flow_m3_h(job: Job) -> float:
    """Return what the extraction moves outdoors; air that comes back into the room counts for nothing."""
    extraction = job.room.extraction
    return extraction.flow_m3_h if extraction is not None and extraction.outdoors else 0.0


def hood_flow_m3_h(job: Job) -> float | None:
    """Return the airflow that the stated hood needs, or None where the spec does not say enough."""
    extraction = job.room.extraction
    if extraction is None:
        return None
    if extraction.capture == "enclosure":
        if extraction.open_area_cm2 is None:
            return None
        return 3600.0 * airflow.box_flow(extraction.open_area_cm2 * 1e-4, FACE_M_S)
    if extraction.capture != "nozzle" or extraction.nozzle_distance_mm is None:
        return None
    area = math.pi / 4.0 * ((extraction.duct_mm or TYPICAL_DUCT_MM) * 1e-3) ** 2
    return 3600.0 * airflow.nozzle_flow(extraction.nozzle_distance_mm * 1e-3, area, capture_m_s(job))


def capture_m_s(job: Job) -> float:
    """Return the capture velocity to reach at the spot."""
    return CAPTURE_BLOWN_M_S if job.recipe.air_assist else CAPTURE_M_S


def hood_share(job: Job) -> float:
    """Return the share of the fume counted as caught at the source: 0 unless it goes outdoors and the hood has its air.

    The two shares are assumptions, not published values.
    """
    extraction, needed = job.room.extraction, hood_flow_m3_h(job)
    if extraction is None or not extraction.outdoors or needed is None or not 0 < needed <= extraction.flow_m3_h:
        return 0.0
    return BOX_SHARE if extraction.capture == "enclosure" else NOZZLE_SHARE


def fan_flow_m3_h(job: Job) -> float:
    """Return the airflow while the fan blows outdoors: the larger of its own and the room's, not their sum; else 0."""
    fan = outdoors_flow_m3_h(job)
    return max(fan, natural_flow_m3_h(job, 0.0)) if fan > 0 else 0.0


def purge_h(job: Job) -> float:
    """Return how long the fan runs on, h: until 5 % of what hangs in the room is left; 0 without outdoor extraction."""
    flow = fan_flow_m3_h(job)
    return air.purge_hours(1.0, 0.05, flow, job.room_volume_m3) if flow > 0 else 0.0


def day(job: Job, emission_g_g: float, *, extracted: bool, share: float = 0.0) -> air.Day:
    """Return the day that a job makes in its room: cutting (at most `DAY_H`), the fan running on, the room by itself.

    `share` is caught at the source. An air change rate that is not stated is the default in a room without extraction;
    where a fan blows outdoors it is none at all, the worst case, for there the result hardly rests on it.
    """
    hours = job.cut_time_s / 3600.0
    days = max(1, math.ceil(hours / DAY_H))
    rate = 0.0 if hours == 0 else removed_g(job) * 1e3 * emission_g_g * (1.0 - share) / hours
    fan = fan_flow_m3_h(job)
    if not extracted or fan == 0:
        own = natural_flow_m3_h(job)
        phases: tuple[air.Phase, ...] = (air.Phase(hours / days, rate, own), air.Phase(0.0, 0.0, own))
    else:
        phases = (
            air.Phase(hours / days, rate, fan),
            air.Phase(purge_h(job), 0.0, fan),
            air.Phase(0.0, 0.0, natural_flow_m3_h(job, 0.0)),
        )
    return air.Day(job.room_volume_m3, phases, days)


def worst_means(job: Job, limit: AirLimit, *, extracted: bool, share: float = 0.0) -> tuple[float, float]:
    """Return the worst mean, mg/m^3, over the limit's time by the low and the high estimate (it is linear in both)."""
    high = limit.pollutant.high_g_g
    mean = air.worst_mean(day(job, high, extracted=extracted, share=share), limit.window_h)
    return mean * (limit.pollutant.low_g_g / high), mean
