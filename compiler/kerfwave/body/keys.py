"""What tells one fold from another."""

from __future__ import annotations

from dataclasses import dataclass

from kerfwave.body.storeys import Arrangement


@dataclass(frozen=True, slots=True, order=True)
class FoldKey:
    """What tells one fold from another.

    Lanes lie side by side, straight, along an axis of the plan, or, with `walls`, along those of its faces, one after
    the other, about the chamber.
    """

    along: bool  # lanes run from front to back instead of from side to side
    flip_u: bool
    flip_v: bool
    lanes: int
    width_mm: float  # mean of the lanes
    taper: float = 1.0  # width of the last lane / width of the first
    storeys: int = 1
    under: float = 0.0  # see `storeys.Arrangement`
    walls: tuple[int, ...] = ()  # edges of the outline that the lanes follow, in its order; `flip_u`: against it

    @property
    def arrangement(self) -> Arrangement:
        """How the guide's storeys lie to the chamber."""
        return Arrangement(self.storeys, self.under)

    @property
    def widths_mm(self) -> tuple[float, ...]:
        """Widths of all lanes on all storeys, throat first, in even steps; a turn goes evenly from one to the other."""
        count = self.lanes * self.storeys
        first = 2 * self.width_mm / (1 + self.taper)
        step = (self.taper - 1) * first / max(1, count - 1)
        return tuple(round(first + i * step, 6) for i in range(count)) if count > 1 else (self.width_mm,)
