"""Storeys: which layers hold which stretch of the guide, and the passages through the floors between them.

```
  one plane            beside the chamber         under it (facing: behind it)
  +-------------+      +-------------+            +-------------+
  |      |      |      |      |storey|            |   chamber   |
  | cham-| guide|      | cham-|==  ==|  floor     |====  =======|  floor with a passage
  |  ber |      |      |  ber |storey|            |   storey 1  |
  +-------------+      +-------------+            +-------------+
```

All storeys have equally many layers, so that the guide keeps its section but for what its sheets differ, and a passage
is as long along the guide as a storey is high: the air that turns into it meets no narrower place.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

from kerfwave.body import path, shapes
from kerfwave.body.path import GRID_DECIMALS, Run
from kerfwave.body.rules import BodyRules, LayerCount, Span, plate_span, ring_mm, seat_span
from kerfwave.model.parts import Ring


@dataclass(frozen=True, slots=True, order=True)
class Arrangement:
    """How many storeys the guide has, and where the chamber is."""

    storeys: int = 1
    under: float = 0.0  # 0: beside the chamber; else under it, with this share of the layers that it can do without

    @property
    def in_one_plane(self) -> bool:
        """Whether chamber and guide lie side by side on one storey."""
        return self.storeys == 1 and not self.under


IN_ONE_PLANE = Arrangement()


@dataclass(frozen=True, slots=True)
class Levels:
    """The layers of the chamber and of every storey of the guide, throat first; of the driver's ring and the plate."""

    chamber: Span
    storeys: tuple[Span, ...]
    seat: Span  # of the driver's ring; of a facing stack, which has none, all layers in front of the chamber
    plate: Span  # of the terminals

    @property
    def middle(self) -> int:
        """Twice the height of the chamber's middle, in layers: driver and terminals are centred there."""
        return self.chamber[0] + self.chamber[1]

    @property
    def lid(self) -> int:
        """Number of the first layer above all air of chamber and guide, whatever seats and pockets are cut into it."""
        return 1 + max(high for _, high in (self.chamber, *self.storeys))


def levels(rules: BodyRules, counts: LayerCount, arrangement: Arrangement) -> Levels | None:
    """Return what an arrangement makes of a stack; None if the stack is too low for it.

    Floors are whole layers, together no thinner than a separator; what cannot be shared out evenly goes into them.
    """
    low, high = counts.floor, counts.floor + counts.inner
    if arrangement.in_one_plane:
        return _with_insets(rules, counts, (low, high), ((low, high),))
    # Where layers differ, as many are taken as it needs of the thinnest.
    t, number = rules.supply.thinnest_mm, arrangement.storeys
    floor = max(1, math.ceil(rules.separator_mm / t - 1e-9))
    least = max(1, math.ceil(rules.least_duct_mm / t - 1e-9))
    if not arrangement.under:
        each, over = divmod(counts.inner - (number - 1) * floor, number)
        if each < least:
            return None
        return _with_insets(rules, counts, (low, high), _upwards(low, number, each, floor, over))
    spare = counts.inner - number * floor - _chamber_layers(rules, counts)
    each = int(spare * arrangement.under / number + 1e-9)
    if each < least:
        return None
    taken = number * (each + floor)
    if rules.stack == "facing":  # the front layers are the lowest: the guide lies behind the chamber
        storeys = _upwards(high - taken + floor, number, each, floor, 0)
        return _with_insets(rules, counts, (low, high - taken), storeys)
    return _with_insets(rules, counts, (low + taken, high), _upwards(low, number, each, floor, 0)[::-1])


def _with_insets(rules: BodyRules, counts: LayerCount, chamber: Span, storeys: tuple[Span, ...]) -> Levels | None:
    """Return levels with the places of ring and plate; None if one of them has no room."""
    seat = seat_span(rules, counts, chamber) if rules.stack == "upright" else (0, chamber[0])
    plate = plate_span(rules, counts, chamber)
    return None if seat is None or plate is None else Levels(chamber, storeys, seat, plate)


def _upwards(low: int, number: int, each: int, floor: int, over: int) -> tuple[Span, ...]:
    """Return storeys from a layer upwards; the lowest floors are a layer thicker for each that is left over."""
    found = []
    for i in range(number):
        found.append((low, low + each))
        low += each + floor + (1 if i < over else 0)
    return tuple(found)


def _chamber_layers(rules: BodyRules, counts: LayerCount) -> int:
    """Return how many layers the chamber needs for the driver, its ring and the terminal plate.

    The ring of an upright body may reach into floor and lid, but the outermost layers stay whole.
    """
    t = rules.supply.thinnest_mm
    plate = math.ceil((rules.plate_height_mm + 2 * rules.fit_mm) / t - 1e-9) + 1
    if rules.stack == "facing":
        return max(math.ceil((rules.reach_mm - counts.z_mm[counts.floor]) / t - 1e-9), plate, 3)
    ring = math.ceil(ring_mm(rules) / t - 1e-9)
    # Centred on a joint or on a layer, as the chamber has an even number of layers or an odd one.
    ring += ring % 2 - 2 * (counts.lid - 1)
    return max(math.ceil(rules.bore_mm / t - 1e-9), ring, plate, 3)


@dataclass(frozen=True, slots=True)
class Floor:
    """The layers between two rooms that lie over each other: a storey by its number, the chamber is -1."""

    span: Span
    below: int
    above: int


def floors(found: Levels, arrangement: Arrangement) -> tuple[Floor, ...]:
    """Return the floors of a stack, the lowest first."""
    rooms = [(span, n) for n, span in enumerate(found.storeys)]
    rooms = sorted([(found.chamber, -1), *rooms] if arrangement.under else rooms)
    return tuple(Floor((low[1], high[0]), below, above) for (low, below), (high, above) in itertools.pairwise(rooms))


# --- passages ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Passage:
    """A hole through a floor: from the chamber (storey -1) or from the end of one storey to the start of the next."""

    from_storey: int
    to_storey: int
    outline: Ring
    span: Span  # of the floor
    width_mm: float


def passages(runs: tuple[Run, ...], found: Levels, arrangement: Arrangement, counts: LayerCount) -> tuple[Passage, ...]:
    """Return the passages of a guide, throat first."""
    if arrangement.in_one_plane:
        return ()
    gap = gap_mm(found, counts)
    holes: list[Passage] = []
    if arrangement.under:
        holes.append(
            Passage(-1, 0, _hole(runs[0], 0.0, gap), _between(found.chamber, found.storeys[0]), runs[0].width_in_mm)
        )
    for before, after in itertools.pairwise(runs):
        if after.storey != before.storey:
            span = _between(found.storeys[before.storey], found.storeys[after.storey])
            hole = _hole(before, before.length_mm - gap, before.length_mm)
            if before.width_out_mm != after.width_in_mm:  # the floor is open where both lanes are
                both = shapes.polygon(hole).intersection(shapes.polygon(_hole(after, 0.0, gap)))
                hole = shapes.rings_of(max(shapes.parts_of(both), key=lambda part: part.area))[0]
            width = min(before.width_out_mm, after.width_in_mm)
            holes.append(Passage(before.storey, after.storey, hole, span, width))
    return tuple(holes)


def gap_mm(found: Levels, counts: LayerCount) -> float:
    """Return how long a passage is along the guide: as long as the highest storey is high."""
    return max(counts.between_mm(storey) for storey in found.storeys)


def long_enough(runs: tuple[Run, ...], found: Levels, arrangement: Arrangement, counts: LayerCount) -> bool:
    """Return whether every run with passages at its ends is longer than they are."""
    if arrangement.in_one_plane:
        return True
    gap = gap_mm(found, counts)
    return all(run.length_mm >= n * gap + 1.0 for run, n in zip(runs, passages_of_runs(runs, arrangement), strict=True))


def passages_of_runs(runs: tuple[Run, ...], arrangement: Arrangement) -> tuple[int, ...]:
    """Return for each run how many of its two ends lie under or over a passage."""
    return tuple(sum(end_passages(runs, i, arrangement)) for i in range(len(runs)))


def end_passages(runs: tuple[Run, ...], i: int, arrangement: Arrangement) -> tuple[bool, bool]:
    """Return whether a run begins, and whether it ends, with a passage."""
    begins = runs[i - 1].storey != runs[i].storey if i else bool(arrangement.under)
    ends = i + 1 < len(runs) and runs[i + 1].storey != runs[i].storey
    return begins, ends


def _between(one: Span, other: Span) -> Span:
    return (min(one[1], other[1]), max(one[0], other[0]))


def _hole(run: Run, start_mm: float, stop_mm: float) -> Ring:
    """Return the rectangle of a straight run's duct between two places along it."""
    corners = [
        path.at(run, along / run.length_mm, side * path.width_at(run, along / run.length_mm) / 2)
        for along, side in ((start_mm, -1), (stop_mm, -1), (stop_mm, 1), (start_mm, 1))
    ]
    return tuple((round(x, GRID_DECIMALS) + 0.0, round(y, GRID_DECIMALS) + 0.0) for x, y, _ in corners)
