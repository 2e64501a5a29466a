"""Scored marks: first, as meant, read back, and never taken for a cut or a cut for them."""

from dataclasses import replace

import pytest
from shapely.geometry import LineString

from cut_samples import MACHINE, RECIPE, nested, piece, rectangle
from kerfwave.cut import Settings, sheet_job, verify
from kerfwave.cut.placing import place_line
from kerfwave.cut.scored import _in_turn, placed_marks, score_settings, scored_lines
from kerfwave.cut.settings import settings_of
from kerfwave.model.parts import Mark, Move, Placement
from kerfwave.model.strokes import strokes
from kerfwave.writers.gcode import rendered
from rs274 import interpret

PLATE = replace(
    piece("plate", rectangle(0, 0, 60, 40), rectangle(40, 10, 10, 10)),
    marks=(Mark("id", "L08a", strokes("L08a", (5, 5), 4.0)), Mark("next", "", (((5, 30), (30, 35), (35, 25)),))),
)
PLAIN = piece("plain", rectangle(0, 0, 30, 30))
NEST = nested(Placement("plate", 1, 60.0, 20.0, 90.0), Placement("plain", 1, 100.0, 100.0, 0.0))
MEASURED = replace(settings_of(RECIPE), score_power_percent=12.0, score_feed_mm_min=2400.0)


def programmed(recipe=RECIPE, machine=MACHINE):
    job = sheet_job(1, NEST, (PLATE, PLAIN), recipe, machine)
    return job, rendered(job.program, machine, recipe, job.depths_mm).text


def proof(text, pieces=(PLATE, PLAIN), recipe=RECIPE, machine=MACHINE):
    return {c.id: c for c in verify(text, pieces, NEST.placements, recipe, machine, 400.0, 400.0)}


def failing(*arguments, **more):
    return {name for name, check in proof(*arguments, **more).items() if check.level == "fail"}


@pytest.mark.parametrize("recipe", [RECIPE, MEASURED, replace(MEASURED, focus_offset_mm=1.0, focus_step_mm=0.5)])
@pytest.mark.parametrize("machine", [MACHINE, replace(MACHINE, focus_axis=True, power_scale=255.0, decimals=2)])
def test_marks_come_first_and_lie_where_they_are_meant(recipe: Settings, machine):
    job, text = programmed(recipe, machine)
    assert job.labels[0] == "marks" and job.labels.count("marks") == 1
    assert proof(text, recipe=recipe, machine=machine)["program-marks"].level == "ok"
    assert failing(text, recipe=recipe, machine=machine) == set()
    share, feed = score_settings(recipe, machine)
    lit = [s for s in interpret(text).strokes if s.power > 0]
    scored = [abs(s.power - share * machine.power_scale) <= 0.5 and s.feed == feed for s in lit]
    assert any(scored) and scored == sorted(scored, reverse=True)
    meant = [LineString(place_line(line, NEST.placements[0])) for m in PLATE.marks for line in m.lines]
    assert sum(LineString(s.points).length for s, yes in zip(lit, scored, strict=True) if yes) == pytest.approx(
        sum(line.length for line in meant), abs=0.1
    )


def test_the_header_says_whether_scoring_was_measured():
    assert "an estimate" in " ".join(programmed()[0].program.notes)
    assert not any("an estimate" in note for note in programmed(MEASURED)[0].program.notes)
    alone = nested(NEST.placements[1])
    assert not sheet_job(1, alone, (PLAIN,), RECIPE, MACHINE).program.notes


def test_a_mark_left_out_moved_or_too_much_is_found():
    _, text = programmed()
    gone = replace(PLATE, marks=PLATE.marks[:1])
    moved = replace(PLATE, marks=(PLATE.marks[0], Mark("next", "", (((5, 30.2), (30, 35), (35, 25)),))))
    more = replace(PLATE, marks=(*PLATE.marks, Mark("next", "", (((10, 20), (20, 20)),))))
    for other in (gone, moved, more):
        assert failing(text, (other, PLAIN)) == {"program-marks"}


def test_a_score_at_cutting_power_and_a_cut_at_scoring_power_are_found():
    _, text = programmed()
    assert "program-marks" in failing(text.replace("M4 S200", "M4 S1000").replace("F1500", "F250"))
    weak = text.replace("M4 S1000", "M4 S200").replace("F250", "F1500")
    assert {"program-marks", "program-passes"} <= failing(weak)


def test_each_line_begins_at_its_end_that_is_nearest():
    lines = [((0.0, 0.0), (1.0, 0.0)), ((9.0, 0.0), (8.0, 1.0), (5.0, 0.0)), ((4.0, 0.0), (3.0, 2.0), (2.0, 0.0))]
    there, back, on = lines[0], lines[2][::-1], lines[1][::-1]
    assert _in_turn(lines) == (there, back, on)
    assert _in_turn([lines[0], back]) == (there, back)


def test_the_way_is_counted_from_where_the_last_line_ends():
    """By hand: from (10, 0) the hook's far end is 1 away; from (0, 0) or (5, 0) the dash would be nearer."""
    line = ((0.0, 0.0), (5.0, 0.0), (10.0, 0.0))
    dash = ((3.0, 2.0), (3.0, 4.0))
    hook = ((20.0, 0.0), (11.0, 9.0), (10.0, 1.0))
    assert _in_turn([line, dash, hook]) == (line, hook[::-1], dash)
    # Both ways into a hook are ways to its ends, not to its bend: (6, 0) is 4 away, the bend (9, 0) would be 1.
    bent, near = ((6.0, 0.0), (9.0, 0.0), (6.0, 30.0)), ((10.0, 3.0), (10.0, 40.0))
    assert _in_turn([line, bent, near]) == (line, near, bent[::-1])


def test_a_score_is_as_long_as_its_lines():
    power, feed = score_settings(MEASURED, MACHINE)
    corner, dot = ((1.0, 1.0), (4.0, 5.0), (4.0, 5.0), (4.0, 7.0)), ((9.0, 9.0), (9.0, 9.5))
    made = scored_lines("two", (corner, dot), MEASURED, MACHINE)
    assert made.length_mm == pytest.approx(5.0 + 2.0 + 0.5)
    assert made.moves == (
        Move("rapid", 1.0, 1.0),
        Move("line", 4.0, 5.0, power, feed),
        Move("line", 4.0, 7.0, power, feed),
        Move("rapid", 9.0, 9.0),
        Move("line", 9.0, 9.5, power, feed),
    )


def test_no_score_has_a_minus_before_a_zero():
    small = replace(PLAIN, marks=(Mark("next", "", (((-0.0004, 5.0), (3.0, -0.0004)),)),))
    (line,) = placed_marks(small, Placement("plain", 1, 0.0, 0.0, 0.0), 3)
    assert line == ((0.0, 5.0), (3.0, 0.0)) and "-" not in str(line)


def test_a_score_after_a_cut_is_found():
    job, _ = programmed()
    marks = tuple(c for c in job.program.contours if c.kind == "mark")
    cuts = tuple(c for c in job.program.contours if c.kind != "mark")
    late = replace(job.program, contours=(*cuts, *marks))
    assert failing(rendered(late, MACHINE, RECIPE).text) == {"program-marks"}
