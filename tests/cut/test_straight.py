"""The straight line by which large sheets are cut down, and the drawing of where it is used."""

import math
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest

from cut_samples import MACHINE, RECIPE
from kerfwave import cut
from kerfwave.cut.settings import settings_of
from kerfwave.model.breakdown import Opened, Part, StraightCut
from kerfwave.writers.breakdown import breakdown_svg
from kerfwave.writers.captions import cut_text
from kerfwave.writers.gcode import render
from rs274 import interpret

TALL = replace(MACHINE, bed_width_mm=300.0)
HEAD = replace(MACHINE, focus_axis=True)
DEEPER = replace(settings_of(RECIPE), focus_step_mm=1.0)


@pytest.mark.parametrize(("machine", "recipe"), [(MACHINE, RECIPE), (TALL, RECIPE), (HEAD, DEEPER)])
def test_every_pass_runs_the_whole_line_at_the_recipes_power(machine, recipe):
    program, depths = cut.straight_program(machine, recipe, "ply")
    text = render(program, machine, recipe, depths)
    size = (machine.bed_width_mm, machine.bed_height_mm)
    assert all(c.level == "ok" for c in cut.safe(text, machine, *size))
    lit = [s for s in interpret(text).strokes if s.power > 0]
    ends = set(cut.line_of(machine))
    assert len(lit) == recipe.passes
    assert all({s.points[0], s.points[-1]} == ends and len(s.points) == 2 for s in lit)
    assert {(s.power, s.feed) for s in lit} == {(machine.power_scale, recipe.feed_mm_min)}
    longest = max(size)
    assert math.dist(*ends) == longest - 10
    assert len(set(depths)) == (3 if depths else 0)
    assert sum(contour.length_mm for contour in program.contours) == recipe.passes * math.dist(*ends)


def test_the_faint_dot_goes_along_the_line_and_back():
    program, _ = cut.straight_program(MACHINE, RECIPE, "ply")
    outline = cut.outline_program(program, MACHINE)
    ways = [(m.x_mm, m.y_mm) for m in outline.contours[0].moves]
    start, end = cut.line_of(MACHINE)
    assert ways == [start, end, start, end, start]
    text = render(outline, MACHINE, cut.outline_recipe(RECIPE, MACHINE))
    faint = MACHINE.outline_power_percent
    assert all(c.level == "ok" for c in cut.safe(text, MACHINE, 400, 400, most_percent=faint))


def test_the_plan_numbers_its_cuts_and_names_what_becomes_of_each_part():
    cuts = (
        StraightCut((400.1, 0.0), (400.1, 610.0), 400.0, 400.1, 2),
        StraightCut((0.0, 400.1), (400.0, 400.1), 400.0, 400.1, 1),
    )
    parts = (
        Part(1, 0.0, 0.0, 400.0, 400.0, False),
        Part(None, 0.0, 400.2, 400.0, 209.8, False),
        Part(2, 400.2, 0.0, 300.0, 610.0, True),
    )
    text = breakdown_svg(Opened(1, 0, 700.2, 610.0, (), parts, cuts), title="Large <sheet>", stock="ply & more")
    root = ET.fromstring(text)
    said = " ".join("".join(e.itertext()) for e in root.iter("{http://www.w3.org/2000/svg}text"))
    for words in ("sheet 1", "sheet 2", "left over", "quarter turn", "400 mm × 209.8 mm", "700.2 mm", "Large <sheet>"):
        assert words in said
    ids = {e.get("id") for e in root.iter()}
    assert {"break-down-01-cut-1", "break-down-01-cut-2"} <= ids
    assert "from the left edge" in cut_text(1, cuts[0]) and "2 times" in cut_text(1, cuts[0])
    assert "from the lower edge" in cut_text(2, cuts[1]) and "once" in cut_text(2, cuts[1])
    assert "400.1 mm" in cut_text(1, cuts[0])


def test_the_line_runs_in_the_middle_of_the_bed():
    start, end = cut.line_of(replace(MACHINE, bed_width_mm=310.0))
    assert start[0] == end[0] == 155.0
