"""Nesting: pieces of any outline on rectangular sheets, small ones in the windows of large ones.

`pack` is the whole of it. It searches on a grid of about 1 mm, where a free place is a proven place, counts its work in
layouts tried, and proves the result with exact distances. Limits: quarter turns only; rectangular sheets; the number
of sheets is the fewest found, and `Nest.bound` says what no layout could beat.
"""

from kerfwave.nest.errors import DoesNotFit, NotEnoughSheets
from kerfwave.nest.exact import NestFault
from kerfwave.nest.packing import pack

__all__ = ["DoesNotFit", "NestFault", "NotEnoughSheets", "pack"]
