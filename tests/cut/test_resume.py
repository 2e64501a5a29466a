"""The rest of a stopped program, the faint outline, and what a job takes."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from cut_samples import MACHINE, RECIPE, circle, demo, layout, lying, nested, piece, rectangle
from kerfwave.cut import (
    corrected,
    estimate,
    outline_program,
    prove_rest,
    rest_of,
    restart_points,
    safe,
    sheet_job,
    usage,
)
from kerfwave.cut.outline import outline_recipe, used_area
from kerfwave.cut.settings import settings_of
from kerfwave.model.parts import Contour, Move, SheetProgram
from kerfwave.writers.gcode import render, rendered
from rs274 import interpret

DIALECTS = (
    {},
    {"arcs": False, "decimals": 2, "comments": "semicolon"},
    {"comments": "none", "home": "g28", "program_end": "M30"},
    {"focus_axis": True, "start": ("G4 P1",), "end": ("G4 P1",), "air_on": "M8", "air_off": "M9"},
    {"power_on_moves": False, "axis_scale": (1.002, 0.999), "skew_deg": 0.1},
)


@settings(max_examples=10, phases=[Phase.explicit, Phase.reuse, Phase.generate])
@given(st.integers(0, 2**32 - 1), st.sampled_from(DIALECTS), st.booleans(), st.data())
def test_the_rest_does_what_the_whole_does_from_there_on(seed, dialect, by_sheet, data):
    nest, pieces = layout(seed)
    machine = replace(MACHINE, support_gap_mm=12.0, **dialect)
    recipe = replace(settings_of(RECIPE), pass_order="sheet" if by_sheet else "contour", focus_step_mm=0.5)
    recipe = replace(recipe, air_assist=True)
    job = sheet_job(1, nest, pieces, recipe, machine)
    whole = rendered(corrected(job.program, machine), machine, recipe, job.depths_mm)
    points = restart_points(job.program, job.labels)
    assert len(whole.lines) == len(points) == len(job.program.contours)
    k = data.draw(st.integers(0, len(points) - 1))
    rest = rest_of(whole.text, whole.lines[0], whole.lines[k])
    proof = prove_rest(whole.text, rest, whole.lines[k], machine, 400, 400)
    assert [c.text for c in proof if c.level == "fail"] == []
    if k == 0:
        assert rest == whole.text
    if machine.home == "none":  # the tests' interpreter does not know home
        a, b = interpret(whole.text), interpret(rest)
        burns = b.burns()
        assert burns == a.burns()[len(a.burns()) - len(burns) :] and b.ended and not b.lit
        assert b.air == a.air
        fed = [(s.feed, s.power) for s in b.strokes if s.power]
        assert fed == [(s.feed, s.power) for s in a.strokes if s.power][-len(fed) :]


def test_the_times_add_up_to_the_whole():
    nest, pieces = demo()
    job = sheet_job(1, nest, pieces, RECIPE, MACHINE)
    points = restart_points(job.program, job.labels)
    assert points[0].done_s == 0 and all(a.done_s < b.done_s for a, b in pairwise(points))
    last = job.program.contours[-1]
    at = job.program.contours[-2].moves[-1]
    total = points[-1].done_s + estimate([*last.moves, Move("rapid", 0.0, 0.0)], MACHINE, (at.x_mm, at.y_mm))
    assert total == pytest.approx(job.program.time_s, abs=1e-6)
    assert {p.what for p in points if p.piece == "terminal-plate"} == {"hole 1", "hole 2", "outline"}


@pytest.mark.parametrize(
    "spoil",
    [
        lambda t: t.replace("F250", "F240"),
        lambda t: t.replace("S1000", "S900", 1),
        lambda t: t.replace("\nG1 X", "\nG1 X1", 1),
        lambda t: "\n".join(line for k, line in enumerate(t.split("\n")) if k != 40),
        lambda t: t.replace("M4 S1000\n", "M4 S1000\nG1 X50 Y50 F250\n", 1),
        lambda t: t.replace("G17 G21 G90 G94\n", "G17 G21 G90 G94\nM4 S9\n", 1),
    ],
)
def test_a_rest_that_is_not_the_rest_is_noticed(spoil):
    nest, pieces = demo()
    job = sheet_job(1, nest, pieces, RECIPE, MACHINE)
    whole = rendered(job.program, MACHINE, RECIPE)
    rest = rest_of(whole.text, whole.lines[0], whole.lines[9])
    spoilt = spoil(rest)
    assert spoilt != rest
    spoilt = spoilt.replace("M4 S9\n(", "M4 S9\nG0 X9 Y9\n(", 1)
    checks = prove_rest(whole.text, spoilt, whole.lines[9], MACHINE, 400, 400)
    assert any(c.level == "fail" for c in checks)


def test_the_outline_goes_round_everything_that_is_lit_and_no_further():
    nest, pieces = demo()
    job = sheet_job(1, nest, pieces, RECIPE, MACHINE)
    outline = outline_program(job.program, MACHINE)
    text = render(outline, MACHINE, outline_recipe(RECIPE, MACHINE))
    lit = np.array([p for line in interpret(render(job.program, MACHINE, RECIPE)).burns() for p in line])
    (dot,) = interpret(text).burns()
    for axis in (0, 1):
        assert np.array(dot)[:, axis].min() == pytest.approx(lit[:, axis].min(), abs=0.002)
        assert np.array(dot)[:, axis].max() == pytest.approx(lit[:, axis].max(), abs=0.002)
    assert dot[0] == dot[-1] and max(s.power for s in interpret(text).strokes) == 10
    assert "Nothing is cut" in text and "power 1 percent" in text
    assert all(c.level == "ok" for c in safe(text, MACHINE, 400, 400, most_percent=1.0))
    bright = safe(text.replace("S10\n", "S12\n"), MACHINE, 400, 400, most_percent=1.0)
    assert [c.id for c in bright if c.level == "fail"] == ["program-faint"]


def test_an_arc_reaches_further_than_its_ends():
    disc = piece("a", circle(100, 100, 30))
    left, low, right, top = used_area(sheet_job(1, lying(disc), (disc,), RECIPE, MACHINE).program)
    assert right >= 130.098 and left <= 69.902 and top >= 130.098 and low <= 69.902
    assert max(right - left, top - low) <= 60.2 + 2.01  # a lead may stand out by 2 mm


def test_nothing_to_cut_has_no_outline():
    assert outline_program(sheet_job(1, nested(), (), RECIPE, MACHINE).program, MACHINE) is None


def test_usage_by_hand():
    """600 mm at 300 mm/min and 80 % of 5.5 W: 120 s, 528 J."""
    moves = (Move("rapid", 0.0, 0.0), Move("line", 600.0, 0.0, 0.8, 300.0), Move("line", 700.0, 0.0, 0.0, 300.0))
    program = SheetProgram("a", "s", 9.0, 9.0, (Contour("a", "mark", moves, 600.0),), 600.0, 0.0, 150.0, True)
    found = usage((program,), replace(MACHINE, electric_w=90.0))
    assert found.energy_kj == pytest.approx(0.528) and found.beam_h == pytest.approx(120 / 3600)
    assert found.machine_h == pytest.approx(150 / 3600) and found.electric_kwh == pytest.approx(90 * 150 / 3.6e6)
    assert usage((program,), MACHINE).electric_kwh is None
    square = piece("a", rectangle(10, 10, 30, 30))
    job = sheet_job(1, lying(square), (square,), RECIPE, MACHINE)
    lit = job.program.cut_mm / RECIPE.feed_mm_min * 60
    assert usage((job.program,), MACHINE).beam_h * 3600 == pytest.approx(lit)
