"""Nesting: pieces of any outline on sheets of any outline, small ones in the windows of large ones.

`pack` is the whole of it. It searches on a grid of about 1 mm, where a free place is a proven place, counts its work in
layouts tried, and proves the result with exact distances. Sheets may be offcuts, and have places to keep out of: knots,
clamps, magnets. `divide` and `break_down` are for sheets larger than the bed: into which blanks, and by which cuts.
Limits: angles other than quarter turns come from a short list; the number of sheets is the fewest found, and
`Nest.bound` says what no layout could beat.
"""

from kerfwave.nest.blanks import LEAST_MM, Blank, Division, divide, divide_all
from kerfwave.nest.breakdown import break_down, pack_divided, taken
from kerfwave.nest.errors import DoesNotFit, NotEnoughSheets
from kerfwave.nest.exact import NestFault
from kerfwave.nest.joining import joined, joined_breakdowns
from kerfwave.nest.packing import pack
from kerfwave.nest.spacing import CHAR_MM, least_spacing_mm

__all__ = [
    "CHAR_MM",
    "LEAST_MM",
    "Blank",
    "Division",
    "DoesNotFit",
    "NestFault",
    "NotEnoughSheets",
    "break_down",
    "divide",
    "divide_all",
    "joined",
    "joined_breakdowns",
    "least_spacing_mm",
    "pack",
    "pack_divided",
    "taken",
]
