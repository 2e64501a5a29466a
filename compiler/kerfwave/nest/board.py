"""One sheet while it is being filled: what lies on it, and where the next piece could go."""

from __future__ import annotations

from kerfwave.nest.areas import Area
from kerfwave.nest.items import Form
from kerfwave.nest.maps import Maps


class Board:
    """What lies on one area, in cells. Free places are worked out lazily, piece by piece, and kept."""

    def __init__(self, maps: Maps, area: Area) -> None:
        self.maps = maps
        self.area = area
        self._lying: list[tuple[int, int, int, int]] = []
        self._blocked: dict[tuple[int, int, bool], tuple[int, int]] = {}

    def put(self, form: Form, turn: int, x: int, y: int) -> None:
        """Lay a form down with the corner of its box of cells at (x, y)."""
        self._lying.append((self.maps.raster_id(form), turn, x, y))

    def blocked(self, form: Form, turn: int, across: bool = False) -> int:
        """Bits of the places that what lies here denies to a form."""
        wanted = self.maps.raster_id(form)
        key = (wanted, turn, across)
        bits, seen = self._blocked.get(key, (0, 0))
        if seen == len(self._lying):
            return bits
        stride = self.maps.stride
        known = self.maps.known(wanted, turn, across)
        for lying, lying_turn, x, y in self._lying[seen:]:
            found = known.get((lying, lying_turn))
            more, back = found or self.maps.blocked(lying, lying_turn, wanted, turn, across)
            shift = (x * stride + y if across else y * stride + x) - back
            bits |= more << shift if shift >= 0 else more >> -shift
        self._blocked[key] = (bits, len(self._lying))
        return bits

    def free(self, form: Form, turn: int, across: bool = False, shell: Form | None = None) -> int:
        """Bits of the places that are left for a form; with `shell`, for that among the pieces that lie here."""
        places = self.maps.places(form, turn, self.area, across)
        return places ^ (places & self.blocked(shell or form, turn, across)) if places else 0

    def lowest(self, bits: int, across: bool = False) -> tuple[int, int]:
        """First place of some: the lowest, then leftmost (`across`: the leftmost, then lowest)."""
        # Lowest one bit. Negative numbers, as in bits & -bits, would be several times slower at this length.
        major, minor = divmod((bits ^ (bits - 1)).bit_length() - 1, self.maps.stride)
        return (major, minor) if across else (minor, major)
