"""How long a level may be listened to. Levels in dB(A), times in hours."""

from __future__ import annotations

import math


def niosh_hours(level_db: float) -> float:
    """Return NIOSH's allowed time a day: 8 h at 85 dB, halved every 3 dB (NIOSH 98-126)."""
    return float(8.0 / 2.0 ** ((level_db - 85.0) / 3.0))


def osha_hours(level_db: float) -> float:
    """Return OSHA's allowed time a day: 8 h at 90 dB, halved every 5 dB (29 CFR 1910.95, table G-16a)."""
    return float(8.0 / 2.0 ** ((level_db - 90.0) / 5.0))


def leisure_hours(level_db: float, reference_db: float = 80.0) -> float:
    """Return the time a week in WHO-ITU H.870: 40 h at 80 dB (75 dB: sensitive listeners), halved every 3 dB."""
    return float(40.0 * 2.0 ** ((reference_db - level_db) / 3.0))


def leisure_level(hours_a_week: float, reference_db: float = 80.0) -> float:
    """Return the level that may be listened to for so long: the inverse of `leisure_hours`."""
    return reference_db + 3.0 * math.log2(40.0 / hours_a_week)


def dose_percent(hours: float, allowed_hours: float) -> float:
    """Return the dose of one stretch of listening, 100 % at the allowed time."""
    return 100.0 * hours / allowed_hours
