"""How strict the proof is: programs written by hand, whose beam runs where plane geometry says, and a little off."""

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from cut_by_hand import END, HALF, HEAD, SQUARE, cut, lap, moved, run_of
from cut_samples import MACHINE, RECIPE, lying, piece, rectangle
from kerfwave.cut import safe, verify
from kerfwave.cut.check import _as_deep, shared_out
from kerfwave.cut.correction import corrected, drawn
from kerfwave.cut.course import BOTH, CUT, NEITHER
from kerfwave.cut.course import SCORE as SCORED
from kerfwave.cut.follow import runs_of
from kerfwave.cut.markcheck import check_marks, sorted_out
from kerfwave.cut.settings import settings_of
from kerfwave.cut.verdict import verdict
from kerfwave.model.parts import Contour, Mark, Move, SheetProgram

FOCUS = replace(MACHINE, focus_axis=True)
DEEPER = replace(settings_of(RECIPE), focus_step_mm=1.0)


def proof(text, pieces=(SQUARE,), recipe=RECIPE, machine=MACHINE, **more):
    placements = lying(*pieces).placements
    return {
        c.id.removeprefix("program-"): c for c in verify(text, pieces, placements, recipe, machine, 400, 400, **more)
    }


def failing(*arguments, **more):
    return {name for name, check in proof(*arguments, **more).items() if check.level == "fail"}


# --- kerf, passes, settings, focus ----------------------------------------------------------------------------------


def test_what_is_right_passes_and_says_so():
    checks = proof(cut())
    assert {c.level for c in checks.values()} == {"ok"}
    assert checks["passes"].text == "Every contour is cut 3 times"
    assert checks["kerf"].text == "The beam runs 0.100 mm beside every finished edge, in the waste"
    assert checks["kerf"].value <= 0.002 and checks["kerf"].limit == 0.02
    assert set(checks) == {"read", "inside", "dark", "end", "settings", "passes", "kerf", "wood"}


@pytest.mark.parametrize("off", [0.018, -0.018, 0.021, -0.021])
def test_the_beam_may_run_two_hundredths_of_a_millimetre_off(off):
    checks = proof(cut(HALF + off))
    if abs(off) < 0.02:
        assert checks["kerf"].level == "ok" and checks["kerf"].value == pytest.approx(abs(off), abs=0.0021)
        assert checks["kerf"].value == round(checks["kerf"].value, 4)
    else:
        assert checks["kerf"].level == "fail" and checks["kerf"].value > 0.02


@pytest.mark.parametrize(("laps", "more", "ok"), [(3, "", True), (2, "", False), (4, "", False), (3, "G1 Y24\n", True)])
def test_laps_are_counted(laps, more, ok):
    check = proof(cut(laps=laps, more=more))["passes"]
    assert check.level == ("ok" if ok else "fail")
    assert ok or check.text == f"a, outline is cut {laps} times, the recipe means 3"


def test_most_of_a_lap_is_no_lap():
    h = HALF
    most = f"G1 X{10 - h} Y10\nG3 X10 Y{10 - h} I{h} J0\nG1 X40\nG3 X{40 + h} Y10 I0 J{h}\nG1 Y40\n"
    assert "is cut 2 times" in proof(cut(laps=2, more=most))["passes"].text


def test_a_beam_that_turns_back_is_found():
    forth_and_back = f"G1 Y24\nG1 Y25\n{lap()}"
    assert "the beam turns back" in proof(cut(laps=2, more=forth_and_back))["passes"].text


@pytest.mark.parametrize(("back", "ok"), [("24.038", True), ("24.042", False)])
def test_a_beam_may_tremble_but_not_turn(back, ok):  # 0.02 mm between points, of which each move has three
    text = cut(laps=2, more=f"G1 Y24\nG1 Y{back}\n{lap()}")
    assert ("turns back" in proof(text)["passes"].text) is not ok


def test_a_run_in_the_wood_is_found_on_its_side():
    inside = piece("a", rectangle(9.8, 9.8, 30.4, 30.4))  # as far from the beam, which now runs inside it
    assert {"wood"} <= failing(cut(), (inside,))


@pytest.mark.parametrize(("power", "ok"), [("1000.5", True), ("1000.6", False), ("999.5", True), ("999.4", False)])
def test_power_may_be_half_a_step_off(power, ok):
    assert ("settings" in failing(cut(power=power))) is not ok


@pytest.mark.parametrize(("feed", "ok"), [("250.5", True), ("250.6", False), ("249.5", True), ("249.4", False)])
def test_feed_may_be_half_a_millimetre_off(feed, ok):
    assert ("settings" in failing(cut(feed=feed))) is not ok


def test_on_a_short_scale_a_step_is_a_thousandth():
    short = replace(MACHINE, power_scale=99.0)
    assert failing(cut(power="99.0004"), machine=short) == set()
    assert failing(cut(power="99.01"), machine=short) == {"settings"}
    assert failing(cut(power="100.4"), machine=replace(MACHINE, power_scale=100.0)) == set()


def test_the_faintest_beam_counts_as_a_beam():
    stray = "M5 S0\nG0 X100 Y100\nM4 S1\nG1 X110\n"
    assert failing(cut(more=stray)) == {"settings", "kerf"}
    assert "cuts at a power that is not the recipe's" in proof(cut(more=stray))["settings"].text


def at_depths(*depths):
    """One lap at each depth."""
    text = HEAD
    for depth in depths:
        text += f"G0 Z-{depth}\nG0 X5 Y25\nM4 S1000 F250\nG1 X{10 - HALF}\n{lap()}M5 S0\n"
    return text + END


@pytest.mark.parametrize(
    ("depths", "ok"),
    [((0, 1, 2), True), ((2, 0, 1), True), ((0, 1, 1), False), ((0, 1, 3), False), ((0, 0, 0), False),
     ((0, 1, 2.001), False), ((0, 1.0004, 2), True)],
)  # fmt: skip
def test_each_depth_has_its_lap(depths, ok):
    assert failing(at_depths(*depths), recipe=DEEPER, machine=FOCUS) == (set() if ok else {"focus"})


@pytest.mark.parametrize(("end", "ok"), [("Y24", True), ("Y27", False)])
def test_half_a_lap_more_at_one_depth_is_too_much(end, ok):
    h = HALF
    half_a_lap = f"G1 X{10 - h} Y10\nG3 X10 Y{10 - h} I{h} J0\nG1 X40\nG3 X{40 + h} Y10 I0 J{h}\nG1 {end}\n"
    text = at_depths(0, 1, 2).replace(f"{lap()}M5 S0\nM5", f"{lap()}{half_a_lap}M5 S0\nM5")
    assert half_a_lap in text
    assert ("focus" in failing(text, recipe=DEEPER, machine=FOCUS)) is not ok


@pytest.mark.parametrize(
    ("turned", "bridged", "ok"),
    [(0.985, False, False), (0.995, False, True), (1.49, False, True), (1.51, False, False),
     (0.49, True, False), (0.52, True, True), (1.51, True, False)],
)  # fmt: skip
def test_how_much_of_a_lap_counts_at_a_depth(turned, bridged, ok):
    runs = [replace(run, depth_mm=depth) for depth, run in zip((0.0, 1.0, 1.0), run_of(cut()) * 3, strict=True)]
    meant = Counter({0.0: 1, 1.0: 2})
    assert _as_deep(runs, [turned, 1.0, 1.0], meant, bridged) is ok
    assert _as_deep(runs, [1.0, 1.0, 1.9], meant, bridged) and not _as_deep(runs, [1.0, 1.0, 2.01], meant, bridged)
    assert not _as_deep(runs[:2], [1.0, 0.9], meant, bridged)


def test_a_head_that_nothing_moves_stays_at_the_face():
    assert proof(cut(), machine=FOCUS)["focus"].level == "ok"
    assert failing(at_depths(1, 1, 1), machine=FOCUS) == {"focus"}


def test_a_ring_is_named():
    holed = piece("a", rectangle(10, 10, 30, 30), rectangle(15, 15, 5, 5), rectangle(25, 25, 5, 5))
    text = proof(cut(), (holed,))["passes"].text
    assert text == "a, hole 1 is cut 0 times, the recipe means 3; a, hole 2 is cut 0 times, the recipe means 3"


def test_only_a_machine_with_a_home_is_sent_there():
    text = cut().replace("G0 X0 Y0\n", "G28\nG0 X0 Y0\n")
    assert failing(text) == {"read"}
    assert failing(text, machine=replace(MACHINE, home="g28")) == set()


# --- wood, sheet, places to keep out of -----------------------------------------------------------------------------


@pytest.mark.parametrize(("gap", "met"), [(0.075, True), (0.085, False)])
def test_the_beam_keeps_nearly_half_a_kerf_from_what_others_cut(gap, met):
    beside = piece("b", rectangle(40 + HALF + gap, 10, 20, 30))
    (other,) = lying(beside).placements
    (mine,) = lying(SQUARE).placements
    checks = verify(cut(), (SQUARE, beside), (mine,), RECIPE, MACHINE, 400, 400, others=(other,))
    (wood,) = [c for c in checks if c.id == "program-wood"]
    assert wood.text == ("b is cut into from line 5 on" if met else "No cut goes through a piece")


@pytest.mark.parametrize(("clearance", "met"), [(5.0, False), (5.01, False), (5.03, True)])
def test_the_beam_keeps_off_clamps(clearance, met):
    clamp = ("clamp", rectangle(40 + HALF + 5, 10, 5, 5), clearance)
    check = proof(cut(), keep_out=(clamp,))["clear"]
    assert (check.level == "fail") is met and ("meets a clamp" in check.text) is met


def test_without_a_clearance_the_beam_may_go_close():
    knot = ("knot", rectangle(40 + HALF + 0.5, 10, 5, 5), 0.0)
    assert proof(cut(), keep_out=(knot,))["clear"].level == "ok"


@pytest.mark.parametrize(
    ("edge", "leaves"), [(40 + HALF, False), (40 + HALF - 0.019, False), (40 + HALF - 0.022, True)]
)
def test_the_beam_stays_on_an_odd_sheet(edge, leaves):
    odd = ((0, 0), (edge, 0), (edge, 60), (0, 50))
    check = proof(cut(), outline=odd)["clear"]
    assert (check.level == "fail") is leaves and ("leaves the sheet" in check.text) is leaves


# --- any program ----------------------------------------------------------------------------------------------------


def level(text, name, width=400, height=400, machine=MACHINE, **more):
    return {c.id: c.level for c in safe(text, machine, width, height, **more)}[f"program-{name}"]


@pytest.mark.parametrize(("word", "size"), [("X", (100, 300)), ("Y", (300, 100))])
@pytest.mark.parametrize(("at", "ok"), [(-0.019, True), (-0.021, False), (100.019, True), (100.021, False)])
def test_every_move_stays_on_the_sheet_and_on_the_bed(word, size, at, ok):
    text = f"{HEAD}G0 {word}{at}\nG0 X0 Y0\nM2\n"
    said = "ok" if ok else "fail"
    bed = replace(MACHINE, bed_width_mm=size[0], bed_height_mm=size[1])
    assert level(text, "inside", *size) == said
    assert level(text, "inside", machine=bed) == said
    assert level(text, "inside") == ("ok" if at > -0.02 else "fail")


def test_what_leaves_is_named_and_a_program_without_moves_leaves_nothing():
    (said,) = [c.text for c in safe(f"{HEAD}G0 X5\nG0 X500\nG0 X0\nM2\n", MACHINE, 400, 400) if c.id.endswith("inside")]
    assert said == "line 4 leaves the sheet or the bed; line 5 leaves the sheet or the bed"
    assert level("M5\nM2\n", "inside") == "ok"


@pytest.mark.parametrize(
    ("scale", "percent", "power", "ok"),
    [(1000, 10, "100.5", True), (1000, 10, "100.6", False), (1000, 0, "1.5", True), (1000, 0, "1.6", False),
     (1, 10, "0.1005", True), (1, 10, "0.1006", False), (1, 0, "0.0015", True), (1, 0, "0.0016", False)],
)  # fmt: skip
def test_a_faint_beam_is_faint(scale, percent, power, ok):
    machine = replace(MACHINE, power_scale=float(scale))
    text = f"{HEAD}M4 S{power}\nG1 X9 F100\n{END}"
    assert level(text, "faint", machine=machine, most_percent=percent) == ("ok" if ok else "fail")


def test_a_verdict_gives_three_examples():
    assert verdict("x", "good", []).text == "good"
    assert verdict("x", "good", ["a", "b", "c"]).text == "a; b; c"
    assert verdict("x", "good", iter("abcde"), 1.0, 2.0).text == "a; b; c; and 2 more"
    assert (verdict("x", "good", "a", 1.0, 2.0).value, verdict("x", "good", [], 1.0, 2.0).limit) == (1.0, 2.0)


# --- marks ----------------------------------------------------------------------------------------------------------

MARKED = replace(SQUARE, marks=(Mark("id", "", (((20, 20), (30, 20)),)),))
SCORE = replace(settings_of(RECIPE), score_power_percent=20.0, score_feed_mm_min=1500.0)


def scored(begin="20", end="30", y="20", power="200", feed="1500"):
    score = f"G0 X{begin} Y{y}\nM4 S{power} F{feed}\nG1 X{end}\nM5 S0\n"
    return cut().replace("G0 X5 Y25\n", score + "G0 X5 Y25\n", 1)


@pytest.mark.parametrize(
    ("change", "ok"),
    [
        ({}, True),
        ({"y": "20.018"}, True),
        ({"y": "20.021"}, False),
        ({"end": "29.94"}, True),  # 0.05 mm may be left, and the last 0.02 are under the beam
        ({"end": "29.928"}, False),
        ({"end": "30.018"}, True),
        ({"end": "30.025"}, False),
        ({"power": "200.5"}, True),
        ({"power": "200.6"}, False),
        ({"feed": "1500.5"}, True),
        ({"feed": "1500.6"}, False),
        ({"feed": "1499.4"}, False),
    ],
)
def test_marks_are_scored_where_and_as_they_are_meant(change, ok):
    found = failing(scored(**change), (MARKED,), SCORE)
    assert found == set() if ok else "marks" in found


def test_no_mark_is_scored_between_two_cuts():
    text = scored()
    score = text[text.index("G0 X20") : text.index("G0 X5 Y25")]
    between = cut(laps=1, more="M5 S0\n" + score + "M4 S1000 F250\n" + cut(laps=2).split("F250\n")[1][: -len(END)])
    between = between.replace("M4 S1000 F250\nG1 X9.9", "G0 X5 Y25\nM4 S1000 F250\nG1 X9.9")
    assert failing(text, (MARKED,), SCORE) == set()
    assert failing(between.replace("G0 X5 Y25\nG0 X5 Y25", "G0 X5 Y25"), (MARKED,), SCORE) == {"marks"}


@pytest.mark.parametrize(
    ("power", "feed", "scores"),
    [(SCORED, SCORED, True), (SCORED, BOTH, True), (BOTH, SCORED, True), (BOTH, BOTH, False), (CUT, CUT, False),
     (CUT, SCORED, False), (SCORED, CUT, False), (NEITHER, SCORED, False), (SCORED, NEITHER, False), (0, CUT, False)],
)  # fmt: skip
def test_what_scores_has_the_power_and_the_feed_for_it_and_not_those_of_the_cut(power, feed, scores):
    (cutting,), (scoring,) = sorted_out([moved(power, feed)])
    assert (cutting.power, scoring.power) == ((0, power) if scores else (power, 0))
    assert cutting.depth_mm == 0.5 and cutting.feed_mm_min == feed and cutting.line == 1


def test_nothing_to_score_is_nothing_to_prove():
    assert check_marks([], [], 7, "x") == ()
    late = runs_of([replace(moved(200, 1500), line=9)])
    lines = [("a", ((0.0, 0.0), (1.0, 0.0)))]
    assert [check_marks(late, lines, first, "x")[0].level for first in (None, 10, 8)] == ["ok", "ok", "fail"]


# --- files that share a sheet ---------------------------------------------------------------------------------------


def test_files_share_a_sheet_out():
    frame = piece("frame", rectangle(0, 0, 60, 60), rectangle(10, 10, 40, 40))
    pieces = (frame, piece("in", rectangle(20, 20, 5, 5)), piece("out", rectangle(80, 0, 9, 9)))
    placements = lying(*pieces).placements

    def said(*order, placed=placements):
        files = [(f"{k}.nc", name) for k, name in enumerate(order)]
        return [c.text for c in shared_out(files, pieces, placed, name="x") if c.level == "fail"]

    assert said("in", "frame", "out") == said("out", "in", "frame") == []
    assert said("frame", "in", "out") == ["frame is cut before in, which lies in its window"]
    assert said("in", "frame") == ["out is cut by 0 files"]
    assert said("in", "frame", "out", "out") == ["out is cut by 2 files"]
    assert said("in", "frame", "out", placed=placements[:2]) == ["out does not lie on the sheet"]
    ids = [c.id for c in shared_out([], (), (), name="x")]
    assert ids == ["x-once", "x-order"]


# --- axes -----------------------------------------------------------------------------------------------------------


def test_only_what_is_off_is_corrected():
    lean = replace(MACHINE, skew_deg=1.0)  # no scale given: both axes are as long as they say
    s, c = np.sin(np.radians(1.0)), np.cos(np.radians(1.0))
    assert drawn(np.array([[10.0, 20.0]]), lean)[0] == pytest.approx((10 + 20 * s, 20 * c))
    moves = (
        Move("rapid", 0.5, 0.5),
        Move("line", 10 + 20 * s, 20 * c, 1.0, 100.0),
        Move("line", 0.0, -1e-6, 1.0, 9.0),
        Move("line", -1e-6, 0.0, 1.0, 9.0),
    )
    contours = (Contour("a", "outline", moves, 1.0),)
    told = corrected(SheetProgram("x", "ply", 400.0, 400.0, contours, 1.0, 1.0, 1.0, True), lean).contours[0].moves
    assert (told[1].x_mm, told[1].y_mm) == (10.0, 20.0)
    assert not np.signbit([(m.x_mm, m.y_mm) for m in told]).any()  # no "-0" in a program
