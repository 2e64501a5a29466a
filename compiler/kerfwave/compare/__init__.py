"""What moved between two packages: the numbers a maker cares for, the pieces, the checks.

`load_report` reads a package's report, `compare` tells two of them apart as data, `render_text` and `to_json` put
that into words. Only the comparison of outlines needs a heavy library, and it is imported when two outlines differ.
"""

from kerfwave.compare.difference import compare
from kerfwave.compare.load import load_report
from kerfwave.compare.model import Comparison, LevelChange, Moved, PieceChange
from kerfwave.compare.words import render_text, to_json

__all__ = ["Comparison", "LevelChange", "Moved", "PieceChange", "compare", "load_report", "render_text", "to_json"]
