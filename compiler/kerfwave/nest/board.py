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
        self._blocked: dict[tuple[int, int], tuple[int, int]] = {}
        self._full: set[tuple[Form, int, Form | None]] = set()  # what has found no place finds none later

    def put(self, form: Form, turn: int, x: int, y: int) -> None:
        """Lay a form down with the corner of its box of cells at (x, y)."""
        self._lying.append((self.maps.raster_id(form), turn, x, y))

    def blocked(self, form: Form, turn: int) -> int:
        """Bits of the places that what lies here denies to a form."""
        wanted = self.maps.raster_id(form)
        bits, seen = self._blocked.get((wanted, turn), (0, 0))
        if seen == len(self._lying):
            return bits
        stride = self.maps.stride
        known = self.maps.known(wanted, turn)
        for lying, lying_turn, x, y in self._lying[seen:]:
            found = known.get((lying, lying_turn))
            more, back = found or self.maps.blocked(lying, lying_turn, wanted, turn)
            shift = y * stride + x - back
            bits |= more << shift if shift >= 0 else more >> -shift
        self._blocked[wanted, turn] = (bits, len(self._lying))
        return bits

    def free(self, form: Form, turn: int, shell: Form | None = None) -> int:
        """Bits of the places that are left for a form; with `shell`, for that among the pieces that lie here."""
        key = (form, turn, shell)
        if key in self._full:
            return 0
        places = self.maps.places(form, turn, self.area)
        found = places ^ (places & self.blocked(shell or form, turn)) if places else 0
        if not found:
            self._full.add(key)
        return found

    def lowest(self, bits: int, across: bool = False) -> tuple[int, int]:
        """First place of some: the lowest, then leftmost (`across`: the leftmost, then lowest)."""
        stride = self.maps.stride
        if not across:
            y, x = divmod(_lowest_bit(bits), stride)
            return x, y
        x = _lowest_bit(self._folded(bits))
        rows = -(-bits.bit_length() // stride)
        return x, _lowest_bit((bits >> x) & self.maps.column(rows)) // stride

    def _folded(self, bits: int) -> int:
        """All rows laid on each other: upper half on lower half, and again."""
        rows = -(-bits.bit_length() // self.maps.stride)
        while rows > 1:
            rows = (rows + 1) // 2
            cut = rows * self.maps.stride
            upper = bits >> cut
            bits = (bits ^ (upper << cut)) | upper
        return bits


def _lowest_bit(bits: int) -> int:
    # Negative numbers, as in bits & -bits, would be several times slower at this length.
    return (bits ^ (bits - 1)).bit_length() - 1
