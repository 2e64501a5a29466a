"""What a person measured on the finished speaker and wrote down beside its spec."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class MeasuredValue:
    """One value that stands, with the day it was found."""

    quantity: str  # a key of the records file, such as "chamber_l"
    meaning: str
    unit: str
    value: float
    standard: float | None  # standard uncertainty
    date: str
    source: str


@dataclass(frozen=True, slots=True)
class Measured:
    """All values that stand; none where nothing was measured yet."""

    values: tuple[MeasuredValue, ...] = ()

    def of(self, quantity: str) -> float | None:
        """Return the value of a quantity, None if it was not measured."""
        return next((v.value for v in self.values if v.quantity == quantity), None)
