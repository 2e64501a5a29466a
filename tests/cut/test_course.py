"""The course of a program: the same moves, and power and feed by what the recipe calls them."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cut_samples import MACHINE, RECIPE, lying, piece, rectangle
from kerfwave.cut import course_of, prove, sheet_job, silent, verify
from kerfwave.cut.check import safe
from kerfwave.cut.course import BOTH, CUT, NEITHER, SCORE
from kerfwave.cut.readback import read
from kerfwave.cut.settings import settings_of
from kerfwave.model.parts import Mark
from kerfwave.writers import gcode

HOLED = replace(
    piece("a", rectangle(60, 60, 50, 40), rectangle(70, 70, 20, 20)), marks=(Mark("id", "", (((92, 72), (105, 72)),)),)
)
SHORT = replace(MACHINE, power_scale=1.0)
FULL = settings_of(RECIPE)


def job_at(recipe, machine=MACHINE):
    return sheet_job(1, lying(HOLED), (HOLED,), recipe, machine)


def code_at(recipe, machine=MACHINE):
    job = job_at(recipe, machine)
    return gcode.code(job.program, machine, recipe, job.depths_mm)


def words(line, recipe=FULL, machine=MACHINE):
    return course_of(line, recipe, machine).text


@pytest.mark.parametrize(
    ("line", "course"),
    [
        ("M4 S1000", f"M4 S{CUT}"),
        ("G1 X1 F250 S1000.4", f"G1 X1 F{CUT} S{CUT}"),
        ("G1 X1 F250.6 S1000.6", f"G1 X1 F{NEITHER} S{NEITHER}"),
        ("G1 X1 F250.53 S999.6", f"G1 X1 F{NEITHER} S{CUT}"),
        ("M4 S200 F1500", f"M4 S{SCORE} F{SCORE}"),  # a fifth of the power and 1500 mm/min where a recipe is silent
        ("M4 S1 F2", f"M4 S{NEITHER} F{NEITHER}"),  # no number of the text is taken for what replaces one
        ("M5 S0", "M5 S0"),
        ("s 1000 (S250)", f"S{CUT}"),
        ("(S1000 F250)", ""),
        ("G2 X1 I-0.5 ; F250", "G2 X1 I-0.5"),
        ("G1 X1 (F250", "G1 X1 (F250"),  # what is wrong stays as it is, for the reader to say
    ],
)
def test_words_of_power_and_feed_say_what_they_are_for(line, course):
    assert words(line) == course


def test_a_word_can_be_for_both():
    same = replace(FULL, score_power_percent=100.0, score_feed_mm_min=250.3)
    assert words("M4 S1000 F250", same) == f"M4 S{BOTH} F{BOTH}"
    assert words("F249.6\nF250.7", same) == f"F{CUT}\nF{SCORE}"
    faint = replace(FULL, score_power_percent=0.001)  # less than a step: the writer gives it one
    assert words("S1\nS1.6", faint) == f"S{SCORE}\nS{NEITHER}"
    assert words("S0.001\nS0.0016", faint, SHORT) == f"S{SCORE}\nS{NEITHER}"


settings_drawn = st.builds(
    lambda power, feed, share, score: replace(
        FULL, power_percent=power, feed_mm_min=feed, score_power_percent=share, score_feed_mm_min=score
    ),
    st.floats(5, 100).map(lambda x: round(x, 1)),
    st.floats(20, 5900).map(lambda x: round(x, 1)),
    st.floats(0.1, 4.7).map(lambda x: round(x, 1)),
    st.floats(20, 5900).map(lambda x: round(x, 1)),
)


@given(settings_drawn, settings_drawn, st.sampled_from([MACHINE, SHORT]))
def test_another_power_and_feed_leave_the_course_alone(one, other, machine):
    if abs(one.feed_mm_min - one.score_feed_mm_min) < 1 or abs(other.feed_mm_min - other.score_feed_mm_min) < 1:
        return  # then one word does for both
    here, there = (course_of(code_at(recipe, machine).text, recipe, machine) for recipe in (one, other))
    assert here == there


@given(settings_drawn)
def test_the_course_goes_where_the_program_goes(recipe):
    text = code_at(recipe).text
    whole, course = read(text).motions, read(course_of(text, recipe, MACHINE).text).motions
    assert len(whole) == len(course) > 30
    for a, b in zip(whole, course, strict=True):
        assert (a.line, a.rapid, a.depth_mm, a.power > 0) == (b.line, b.rapid, b.depth_mm, b.power > 0)
        assert np.array_equal(a.points, b.points)
        if b.power > 0:
            cuts = b.power in (CUT, BOTH) and b.feed_mm_min in (CUT, BOTH)
            meant = recipe.power_percent * 10 if cuts else recipe.score_power_percent * 10
            assert abs(a.power - max(meant, 1)) <= 0.5 + 1e-9
            assert a.feed_mm_min == pytest.approx(recipe.feed_mm_min if cuts else recipe.score_feed_mm_min, abs=0.05)


@pytest.mark.parametrize("more", [{"passes": 2}, {"kerf_mm": 0.26}, {"focus_step_mm": 0.2}])
def test_what_the_recipe_says_of_the_way_is_in_the_course(more):
    machine = replace(MACHINE, focus_axis=True)
    other = replace(FULL, **more)
    courses = [course_of(code_at(r, machine).text, r, machine) for r in (FULL, other)]
    assert courses[0] != courses[1]
    here = [prove(course, (HOLED,), lying(HOLED).placements, machine, 400, 400) for course in courses]
    assert {check.level for checks in here for check in checks} == {"ok"}
    crossed = replace(courses[0], text=courses[1].text)
    checks = prove(crossed, (HOLED,), lying(HOLED).placements, machine, 400, 400)
    assert "fail" in {check.level for check in checks}


def test_a_course_proves_as_its_program_does_whatever_the_recipe_says_later():
    course = course_of(code_at(FULL).text, FULL, MACHINE, name="sheet-01")
    proved = prove(course, (HOLED,), lying(HOLED).placements, MACHINE, 400, 400)
    for feed in (111.0, 4000.0):
        recipe = replace(FULL, feed_mm_min=feed)
        job = job_at(recipe)
        text = gcode.rendered(job.program, MACHINE, recipe, job.depths_mm).text
        assert f"F{feed:.0f}" in text
        assert verify(text, (HOLED,), lying(HOLED).placements, recipe, MACHINE, 400, 400, name="sheet-01") == proved


def test_lines_of_the_machine_are_told_as_they_are():
    own = replace(MACHINE, start=("M62 P0 S1000", "G4 P1"), end=("m101 f250",))
    recipe = replace(FULL, feed_mm_min=250.0)
    checks = verify(code_at(recipe, own).text, (HOLED,), lying(HOLED).placements, recipe, own, 400, 400)
    (said,) = [c for c in checks if c.level != "ok"]
    assert said.id == "program-machine-lines" and said.text.endswith(": M62 P0 S1000, M101 F250")
    assert said in safe(code_at(recipe, own).text, own, 400, 400)
    strange = replace(own, start=("M62 P0 S999", "G4 P1"))
    checks = verify(code_at(recipe, own).text, (HOLED,), lying(HOLED).placements, recipe, strange, 400, 400)
    assert {c.id for c in checks if c.level == "fail"} == {"program-read"}


@pytest.mark.parametrize("comments", ["parentheses", "semicolon", "none"])
def test_a_header_is_silent(comments):
    machine = replace(MACHINE, comments=comments)
    job = job_at(FULL)
    head = gcode.header(replace(job.program, notes=("G1 X9) S1000", "M3\nM4")), machine, FULL)
    assert (head == "") == (comments == "none")
    assert silent(head).level == "ok"
    code = gcode.code(job.program, machine, FULL)
    whole = gcode.headed(head, code)
    assert whole.text == head + code.text
    assert [whole.text.split("\n")[n - 1] for n in whole.lines] == [code.text.split("\n")[n - 1] for n in code.lines]


@pytest.mark.parametrize(
    ("head", "said"),
    [
        ("(a)\nM3 S1000\n", "line 2 of the header: more than a comment"),
        ("(a) G0 X1\n", "line 1 of the header: more than a comment"),
        ("(a\n", "line 1 of the header: a parenthesis without its partner"),
        ("(a)\n(caf\u00e9)\n", "line 2 of the header: a character that is not printable ASCII"),
    ],
)
def test_a_header_that_says_more_is_refused(head, said):
    assert (silent(head, name="x").level, silent(head, name="x").text) == ("fail", said)
    assert silent(head, name="x").id == "x-header"
