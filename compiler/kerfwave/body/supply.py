"""Which sheets the layers come from, and how high each layer lies.

Layers take the kinds of sheet in the order in which the stock lists them, from layer 1 up: as many layers of each as it
holds, so that what was cut from one sheet lies together in the stack. Floor and lid may come from sheets of another
label (`plates_mm`). What a kind holds is counted by whole plans side by side, before anything is folded; a number that
the person wrote goes before that. The kind listed last takes all that is left, unless its number was written.

Heights are sums of whole micrometres, so they add up exactly and round to what is written.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from kerfwave.model.kinds import Kind
from kerfwave.model.spec import Plan


@dataclass(frozen=True, slots=True)
class Source:
    """One kind of sheet that layers are cut from."""

    kind: int  # among the kinds of the stock, from 0
    thickness_mm: float
    most: int | None = None  # layers of one body; None: no end to them


@dataclass(frozen=True, slots=True)
class Supply:
    """The sheets of a body: what its layers come from, in the order in which they are taken."""

    layers: tuple[Source, ...]
    plates: tuple[Source, ...] = ()  # for floor and lid; none: they come from those of all other layers

    @property
    def insets_mm(self) -> float:
        """Thickness of the sheets that the insets are cut from: the first of those for all other layers."""
        return self.layers[0].thickness_mm

    @property
    def thinnest_mm(self) -> float:
        """Least thickness of a layer between floor and lid."""
        return min(source.thickness_mm for source in self.layers)


def uniform(thickness_mm: float) -> Supply:
    """Return a supply without end of one thickness."""
    return Supply((Source(0, thickness_mm),))


def taken(sources: Sequence[Source], start: int, count: int) -> tuple[Source, ...] | None:
    """Return from what `count` layers come, if `start` were cut before them; None if there is not enough."""
    found: list[Source] = []
    left = start + count
    for source in sources:
        most = left if source.most is None else min(source.most, left)
        found += [source] * most
        left -= most
    return tuple(found[start:]) if left == 0 else None


def stacked(supply: Supply, floor: int, inner: int, lid: int) -> tuple[Source, ...] | None:
    """Return from what each layer comes, from layer 1 up; None if the sheets do not hold as many."""
    if not supply.plates:
        return taken(supply.layers, 0, floor + inner + lid)
    below, above = taken(supply.plates, 0, floor), taken(supply.plates, floor, lid)
    between = taken(supply.layers, 0, inner)
    return None if below is None or above is None or between is None else (*below, *between, *above)


def heights_mm(thickness_mm: Iterable[float]) -> tuple[float, ...]:
    """Return where layers begin and end along the stack, one value more than there are layers.

    >>> heights_mm([0.1] * 3)
    (0.0, 0.1, 0.2, 0.3)
    """
    micrometres = [0]
    for thickness in thickness_mm:
        micrometres.append(micrometres[-1] + round(1000 * thickness))
    return tuple(value / 1000 for value in micrometres)


def supply_of(
    kinds: tuple[Kind, ...],
    plan: Plan,
    *,
    plates_mm: float | None,
    label_mm: float,
    bed_mm: tuple[float, float],
    margin_mm: float,
    spacing_mm: float,
    bodies: int,
    insets_mm2: float,
) -> Supply:
    """Return what the layers of one body come from.

    Args:
        kinds: of the stock, as listed.
        plan: of the body.
        plates_mm: label of the sheets for floor and lid; None: those of all other layers.
        label_mm: label of the sheets for all other layers.
        bed_mm: width and height of the machine's bed.
        margin_mm: along every edge of a sheet, kept free.
        spacing_mm: between two pieces.
        bodies: that share the sheets.
        insets_mm2: of the rectangles around the insets of one body; room for them is kept on the first sheets.

    Raises:
        ValueError: if no sheet has a label that is asked for.
    """
    if len(kinds) == 1:
        return Supply((Source(0, kinds[0].thickness_mm, kinds[0].layers),))
    xs, ys = [x for x, _ in plan.outline], [y for _, y in plan.outline]
    size = (max(xs) - min(xs) + spacing_mm, max(ys) - min(ys) + spacing_mm)

    def sources(label: float, reserved: int) -> tuple[Source, ...]:
        fitting = [index for index, kind in enumerate(kinds) if label in kind.labels_mm]
        if not fitting:
            raise ValueError(f"no sheet has the label {label:g} mm")
        found = []
        for index in fitting:
            most = kinds[index].layers
            if most is None and index != fitting[-1]:
                places = sum(
                    _places(kinds[index], n, size, bed_mm, margin_mm, spacing_mm) for n in _range(kinds[index])
                )
                most = max(0, places - (reserved if index == fitting[0] else 0)) // bodies
            found.append(Source(index, kinds[index].thickness_mm, most))
        return tuple(found)

    reserved = int(-(-bodies * insets_mm2 // (size[0] * size[1])))
    layers = sources(label_mm, reserved)
    plates = () if plates_mm is None or plates_mm == label_mm else sources(plates_mm, 0)
    return Supply(layers, plates)


def _range(kind: Kind) -> range:
    return range(len(kind.stock.sheets))


def _places(
    kind: Kind,
    entry: int,
    size: tuple[float, float],
    bed_mm: tuple[float, float],
    margin_mm: float,
    spacing_mm: float,
) -> int:
    """Return how many whole plans the sheets of one entry hold, side by side; by area where none fits in one piece."""
    sheet = kind.stock.sheets[entry]
    width, height = (
        min(a, b) - 2 * margin_mm + spacing_mm for a, b in zip((sheet.width_mm, sheet.height_mm), bed_mm, strict=True)
    )
    turns = {None: (size, size[::-1]), "x": (size,), "y": (size[::-1],)}[kind.stock.grain]
    each = max(int(width // w) * int(height // h) for w, h in turns)
    # A sheet larger than the bed is cut down to it first.
    blanks = sheet.count * max(1, int(sheet.width_mm // bed_mm[0])) * max(1, int(sheet.height_mm // bed_mm[1]))
    return each * blanks if each else int(blanks * width * height // (size[0] * size[1]))
