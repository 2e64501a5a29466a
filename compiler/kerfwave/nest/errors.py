"""What can go wrong with a nest, in words for the person who wrote the spec."""

from __future__ import annotations


class DoesNotFit(Exception):
    """Some pieces are too big for every sheet, alone and in every turn allowed.

    Attributes:
        pieces: their ids, sorted.
    """

    def __init__(self, message: str, pieces: tuple[str, ...]) -> None:
        super().__init__(message)
        self.pieces = pieces


class NotEnoughSheets(Exception):
    """Every piece fits a sheet, but there are too few sheets for all of them.

    Attributes:
        pieces: ids of those that found no place, sorted.
    """

    def __init__(self, message: str, pieces: tuple[str, ...]) -> None:
        super().__init__(message)
        self.pieces = pieces
