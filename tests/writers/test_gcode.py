import re
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cut_samples import MACHINE, RECIPE, demo, layout, lying, piece, rectangle
from kerfwave.cut import sheet_program, verify
from kerfwave.model.parts import Contour, Move, SheetProgram
from kerfwave.writers.gcode import comment, render
from rs274 import interpret

ATTACKS = [
    ")\nG1 X999 S1000 M3 (",
    ")G1 X999 S1000 M3(",
    "%",
    ";G1 X999",
    "a\r\nM3 S1000",
    "a\u2028M3 S1000",
    "\u2029G1 X1",
    "\uff08\uff09\uff1b",  # full-width parentheses and semicolon: compatibility forms of the real ones
    "\\nG1 X1",
    "!~?\x18\x00\x7f",
    "MSG,hello",
    " MSG , hello",
    "(((((",
    "$H",
    "[G1]",
    "\u202etxet",
    "caf\u00e9 \u2013 na\u00efve \u2460",
]


@pytest.mark.parametrize("text", ATTACKS)
def test_comments_are_comments(text):
    line = comment(text)
    assert re.fullmatch(r"\([A-Za-z0-9 .:,+\-=*/_'\"]*\)", line)
    assert not re.match(r"\(\s*\w+\s*,", line)
    assert interpret(line + "\n").strokes == []


@given(st.text(max_size=60))
def test_any_text_is_one_harmless_comment(text):
    run = interpret(comment(text) + "\n")
    assert run.strokes == [] and len(run.comments) == 1


def test_accents_are_dropped_and_words_stay():
    assert comment("caf\u00e9  Stra\u00dfe 4,5 mm") == "(cafe Stra e 4,5 mm)"


def moves_of(text):
    return [(s.word, s.points, s.power, s.feed) for s in interpret(text).strokes]


@pytest.mark.parametrize("attack", ATTACKS)
def test_names_from_a_spec_stay_comment_text(attack):
    """The same sheet with and without hostile names, stock, provenance and notes does exactly the same."""
    good = piece("L01a", rectangle(10, 10, 30, 30))
    bad = replace(good, id=attack)
    recipe = replace(RECIPE, stock=attack, provenance=attack)
    program = sheet_program(1, lying(bad), (bad,), recipe, MACHINE)
    program = replace(program, notes=(attack,), name=attack)
    text = render(program, MACHINE, recipe)
    plain = render(sheet_program(1, lying(good), (good,), RECIPE, MACHINE), MACHINE, RECIPE)
    assert moves_of(text) == moves_of(plain)
    assert text.isascii() and "\r" not in text and max(map(len, text.splitlines())) <= MACHINE.line_length


def sheet(**change):
    nest, pieces = demo()
    machine = replace(MACHINE, **change)
    return render(sheet_program(1, nest, pieces, RECIPE, machine), machine, RECIPE), machine


def test_every_rapid_follows_the_word_that_switches_off():
    lines = sheet()[0].splitlines()
    for before, line in pairwise(lines):
        if line.startswith("G0"):
            assert before == "M5 S0"
    assert sum(line.startswith("G0") for line in lines) == 20
    assert not any(line.startswith(("X", "Y")) and before.startswith("G0") for before, line in pairwise(lines))


def test_first_and_last_words_are_dark():
    text, _ = sheet(start=("G54",), end=("G4 P0.5",))
    code = [line for line in text.splitlines() if not line.startswith("(")]
    assert code[:5] == ["M5 S0", "G17 G21 G90 G94", "G54", "M5 S0", "G17 G21 G90 G94"]
    assert code[-5:] == ["M5 S0", "G0 X0 Y0", "G4 P0.5", "M5 S0", "M2"]


def test_a_start_line_in_inches_changes_nothing():
    """A machine file may leave other modes behind; the program states its own again."""
    one, _ = sheet()
    other, machine = sheet(start=("G20 G91",))
    assert moves_of(one) == moves_of(other)
    nest, pieces = demo()
    assert all(c.level == "ok" for c in verify(other, pieces, nest.placements, RECIPE, machine, 400, 400))


def test_the_machines_own_end_is_the_end():
    text, _ = sheet(end=("M30",))
    assert text.endswith("\nM30\n") and "M2" not in text
    assert interpret(text).ended


@pytest.mark.parametrize("line", ["M5\nM3 S1000", "", "M5 \u00e9", "M5\t"])
def test_machine_lines_are_single_lines_of_ascii(line):
    if line == "M5\t":
        assert interpret(sheet(start=(line,))[0]).ended  # blanks at the ends are dropped
        return
    with pytest.raises(ValueError, match="machine file"):
        sheet(start=(line,))


def test_power_is_in_the_machines_own_scale():
    nest, pieces = layout(2)
    recipe = replace(RECIPE, power_percent=83.3)
    for scale, word in ((1000.0, "S833"), (255.0, "S212"), (100.0, "S83"), (1.0, "S0.833")):
        machine = replace(MACHINE, power_scale=scale)
        text = render(sheet_program(1, nest, pieces, recipe, machine), machine, recipe)
        assert f"M4 {word}\n" in text
        assert all(c.level == "ok" for c in verify(text, pieces, nest.placements, recipe, machine, 400, 400))


def test_the_faintest_mark_is_still_a_step():
    faint = Contour("a", "mark", (Move("rapid", 1.0, 1.0), Move("line", 2.0, 1.0, 0.0001, 600.0)), 1.0)
    program = SheetProgram("coupon", "s", 9.0, 9.0, (faint,), 1.0, 3.0, 1.0, True)
    assert "M4 S1\n" in render(program, MACHINE, RECIPE)


def test_power_and_feed_may_change_on_the_way():
    moves = (
        Move("rapid", 1.0, 1.0),
        Move("line", 2.0, 1.0, 0.5, 600.0),
        Move("line", 3.0, 1.0, 0.25, 600.0),
        Move("line", 4.0, 1.0, 0.0, 900.0),
        Move("line", 5.0, 1.0, 0.25, 900.0),
    )
    program = SheetProgram("coupon", "s", 9.0, 9.0, (Contour("a", "mark", moves, 3.0),), 3.0, 3.0, 1.0, True)
    strokes = interpret(render(program, MACHINE, RECIPE)).strokes
    assert [(s.power, s.feed) for s in strokes[1:5]] == [(500, 600), (250, 600), (0, 900), (250, 900)]


def test_an_unverified_recipe_says_so_in_plain_words():
    nest, pieces = demo()
    recipe = replace(RECIPE, verified=False)
    head = render(sheet_program(1, nest, pieces, recipe, MACHINE), MACHINE, recipe).split("M5")[0]
    assert "UNVERIFIED RECIPE" in head and "Cut the coupons" in head
    assert "UNVERIFIED" not in sheet()[0]


def test_air():
    nest, pieces = layout(2)
    blown = replace(RECIPE, air_assist=True)
    machine = replace(MACHINE, air_on="M8", air_off="M9")
    assert interpret(render(sheet_program(1, nest, pieces, blown, machine), machine, blown)).air == ["M8", "M9"]
    assert interpret(render(sheet_program(1, nest, pieces, RECIPE, machine), machine, RECIPE)).air == ["M9", "M9"]
    by_hand = render(sheet_program(1, nest, pieces, blown, MACHINE), MACHINE, blown)
    assert "(Turn the air assist on by hand)" in by_hand


def test_lines_keep_to_the_machines_length():
    text, _ = sheet(line_length=60)
    assert max(map(len, text.splitlines())) <= 60
    with pytest.raises(ValueError, match="line_length"):
        sheet(line_length=40)
    with pytest.raises(ValueError, match="longer than the 60"):
        sheet(line_length=60, start=("G4 " + "P0.1 " * 20,))


def test_same_sheet_same_bytes():
    assert sheet()[0] == sheet()[0]
    assert sheet()[0].endswith("\n") and "\r" not in sheet()[0]


def test_comments_in_the_machines_own_style():
    one, _ = sheet()
    other, _ = sheet(comments="semicolon")
    bare, _ = sheet(comments="none")
    assert moves_of(one) == moves_of(other) == moves_of(bare)
    assert [c.strip() for c in interpret(other).comments] == interpret(one).comments
    assert "(" not in other and "(" not in bare and ";" not in bare
    assert interpret(bare).comments == []


@pytest.mark.parametrize("attack", ATTACKS)
@pytest.mark.parametrize("style", ["semicolon", "none"])
def test_names_stay_comment_text_in_every_style(attack, style):
    machine = replace(MACHINE, comments=style)
    good = piece("L01a", rectangle(10, 10, 30, 30))
    bad = replace(good, id=attack)
    recipe = replace(RECIPE, stock=attack, provenance=attack)
    program = replace(sheet_program(1, lying(bad), (bad,), recipe, machine), notes=(attack,), name=attack)
    text = render(program, machine, recipe)
    plain = render(sheet_program(1, lying(good), (good,), RECIPE, machine), machine, RECIPE)
    assert moves_of(text) == moves_of(plain) and text.isascii() and "\r" not in text
    assert all(re.fullmatch(r"; ?[A-Za-z0-9 .:,+\-=*/_'\"]*", line) for line in text.splitlines() if ";" in line)


def test_the_end_word_is_the_machines():
    assert sheet(program_end="M30")[0].endswith("M5 S0\nM30\n")
    assert sheet(program_end="M30", end=("M2",))[0].endswith("\nM2\n")


def test_home_comes_dark_and_before_everything_else():
    text, machine = sheet(home="g28", start=("G4 P0.5",))
    code = [line for line in text.splitlines() if not line.startswith("(")]
    assert code[:4] == ["M5 S0", "G17 G21 G90 G94", "G28", "G4 P0.5"] and code.count("G28") == 1
    nest, pieces = demo()
    checks = verify(text, pieces, nest.placements, RECIPE, machine, 400, 400)
    assert all(c.level == "ok" for c in checks)
    # From home the head must go to a whole place; and a machine without home knows no such word.
    half = text.replace("\nG0 X", "\nG0 Y", 1)
    half = re.sub(r"\nG0 Y([\d.]+) Y[\d.]+", r"\nG0 Y\1", half, count=1)
    for spoilt, told in ((half, machine), (text, replace(machine, home="none"))):
        checks = verify(spoilt, pieces, nest.placements, RECIPE, told, 400, 400)
        assert "program-read" in {c.id for c in checks if c.level == "fail"}


def test_power_on_a_line_of_its_own():
    moves = (
        Move("rapid", 1.0, 1.0),
        Move("line", 2.0, 1.0, 0.5, 600.0),
        Move("line", 3.0, 1.0, 0.25, 600.0),
        Move("line", 4.0, 1.0, 0.75, 900.0),
    )
    program = SheetProgram("coupon", "s", 9.0, 9.0, (Contour("a", "mark", moves, 3.0),), 3.0, 3.0, 1.0, True)
    machine = replace(MACHINE, power_on_moves=False)
    text = render(program, machine, RECIPE)
    assert moves_of(text) == moves_of(render(program, MACHINE, RECIPE))
    assert not any(re.match(r"(G1|X|Y).*S", line) for line in text.splitlines())
