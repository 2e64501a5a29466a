"""One sheet while it is being filled: what lies on it, and where the next piece could go."""

from __future__ import annotations

from kerfwave.nest.areas import Area
from kerfwave.nest.items import Form
from kerfwave.nest.maps import Maps

_Wanted = tuple[Form, int, Form | None]  # form, turn and shell, as `Board.free` has them
_Laid = tuple[tuple[int, int], int]  # raster and turn, and the number of the place


class Past:
    """Where forms found their place on boards of one area, filled one after the other.

    Of many layouts that are tried a good part begins like one before. What lies on a board is known by a number, the
    same for all boards on which the same was laid in the same order.
    """

    def __init__(self) -> None:
        self.numbers: dict[tuple[int, _Laid], int] = {}  # by the number before, and what was laid on top
        self.places: dict[tuple[int, _Wanted, bool], tuple[int, int] | None] = {}


class Board:
    """What lies on one area, in cells. Free places are worked out lazily, piece by piece, and kept."""

    def __init__(self, maps: Maps, area: Area, past: Past | None = None) -> None:
        self.maps = maps
        self.area = area
        self._past = past or Past()
        self._number = 0
        self._lying: list[_Laid] = []
        self._blocked: dict[tuple[int, int], tuple[int, int]] = {}
        self._full: set[_Wanted] = set()  # what has found no place finds none later

    def put(self, form: Form, turn: int, x: int, y: int) -> None:
        """Lay a form down with the corner of its box of cells at (x, y)."""
        laid = ((self.maps.raster_id(form), turn), y * self.maps.stride + x)
        self._lying.append(laid)
        self._number = self._past.numbers.setdefault((self._number, laid), len(self._past.numbers) + 1)

    def place(self, form: Form, turn: int, shell: Form | None, across: bool) -> tuple[int, int] | None:
        """Return the first place that is left for a form, from the past or by `lowest`; None where there is none."""
        wanted = (form, turn, shell)
        if wanted in self._full:
            return None
        key = (self._number, wanted, across)
        known = self._past.places
        if key not in known:
            free = self.free(form, turn, shell)
            known[key] = self.lowest(free, across) if free else None
            if not free:
                known[self._number, wanted, not across] = None
        if known[key] is None:
            self._full.add(wanted)
        return known[key]

    def blocked(self, form: Form, turn: int) -> int:
        """Bits of the places that what lies here denies to a form."""
        wanted = self.maps.raster_id(form)
        bits, seen = self._blocked.get((wanted, turn), (0, 0))
        if seen == len(self._lying):
            return bits
        known = self.maps.known(wanted, turn)
        for lying, place in self._lying[seen:]:
            found = known.get(lying)
            more, back = found or self.maps.blocked(*lying, wanted, turn)
            shift = place - back
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
