"""The one value that the safety list is computed from."""

from __future__ import annotations

import math
from dataclasses import dataclass

from kerfwave.model.parts import Recipe
from kerfwave.model.spec import Listening, Machine, Room, Stock


@dataclass(frozen=True, slots=True)
class Job:
    """Everything the safety list needs to know about one job.

    `cut_length_mm` is the length of all cut lines counted **once**: further passes along the same line remove no more
    wood than the kerf holds. `cut_time_s` is the time the machine runs, all passes and all travel.

    Raises:
        ValueError: if a number is negative, not finite, or a job that cuts something takes no time.
    """

    stock: Stock
    machine: Machine
    recipe: Recipe
    room: Room
    listening: Listening
    cut_length_mm: float
    cut_time_s: float
    level_db_at_listener: float | None  # at the asked drive; None: not known
    drive_volts: float  # r.m.s.
    driver_power_w: float  # rated
    driver_re_ohm: float

    def __post_init__(self) -> None:
        laser, room = self.machine.laser, self.room
        _number("cut_length_mm", self.cut_length_mm)
        _number("cut_time_s", self.cut_time_s)
        _number("drive_volts", self.drive_volts)
        _number("driver_power_w", self.driver_power_w)
        _number("driver_re_ohm", self.driver_re_ohm, above_zero=True)
        _number("laser optical_power_w", laser.optical_power_w, above_zero=True)
        _number("room volume", room.width_m * room.depth_m * room.height_m, above_zero=True)
        if laser.focal_ratio is not None:
            _number("laser focal_ratio", laser.focal_ratio, above_zero=True)
        if self.cut_length_mm > 0 and self.cut_time_s == 0:
            raise ValueError("cut_time_s must be above zero where something is cut")
        if self.level_db_at_listener is not None and not math.isfinite(self.level_db_at_listener):
            raise ValueError(f"level_db_at_listener must be finite or None: {self.level_db_at_listener!r}")

    @property
    def thickness_mm(self) -> float:
        """Mean of the calliper readings, or the label's thickness where there are none."""
        readings = self.stock.measured_mm
        return math.fsum(readings) / len(readings) if readings else self.stock.thickness_mm

    @property
    def room_volume_m3(self) -> float:
        """Volume of the room."""
        return self.room.width_m * self.room.depth_m * self.room.height_m

    @property
    def room_diagonal_m(self) -> float:
        """Longest straight line inside the room, corner to corner."""
        return math.hypot(self.room.width_m, self.room.depth_m, self.room.height_m)


def _number(name: str, value: float, *, above_zero: bool = False) -> None:
    """Refuse what no formula of the list could be right for; the schema has already told a person so, kindly."""
    if not math.isfinite(value) or value < 0 or (above_zero and value == 0):
        raise ValueError(f"{name} must be a finite number, {'above zero' if above_zero else 'not negative'}: {value!r}")
