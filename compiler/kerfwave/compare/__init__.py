"""What moved between two packages: the spec, the numbers a maker cares for, the pieces, sheets already cut, the checks.

`load_report` reads a package's report, `compare` tells two of them apart as data, `render_text`, `to_json`,
`render_markdown` and `render_page` put that into words; `spec_changes` and `reached_in_builds` add what is known
when both are specs, and `revision.fetch` gets a spec as it stood at a git revision. Only the
comparison of outlines and the pictures of the page need a heavy library, and it is imported when it is needed.
"""

from kerfwave.compare.difference import compare
from kerfwave.compare.load import load_report
from kerfwave.compare.markdown import render_markdown
from kerfwave.compare.model import Comparison, LevelChange, Moved, PieceChange, SheetUse, SpecChange, StageReach
from kerfwave.compare.page import render_page
from kerfwave.compare.reach import reached_in_builds
from kerfwave.compare.spec_changes import spec_changes
from kerfwave.compare.words import render_text, to_json

__all__ = [
    "Comparison",
    "LevelChange",
    "Moved",
    "PieceChange",
    "SheetUse",
    "SpecChange",
    "StageReach",
    "compare",
    "load_report",
    "reached_in_builds",
    "render_markdown",
    "render_page",
    "render_text",
    "spec_changes",
    "to_json",
]
