"""Programs that do not prove stop the build, and what stands against a design is in the header of its programs."""

from dataclasses import replace

import pytest

from cut_samples import MACHINE, RECIPE, lying, piece, rectangle
from kerfwave import cut
from kerfwave.cut.settings import settings_of
from kerfwave.engine.errors import StageError
from kerfwave.engine.sharing import in_turn
from kerfwave.model.breakdown import Breakdown
from kerfwave.model.parts import Check
from kerfwave.stages import programs, proof
from kerfwave.stages.breakdown import CutDown
from kerfwave.stages.paths import Programs
from kerfwave.stages.recipe import Beam, Recipes
from kerfwave.writers import gcode

SQUARE = piece("a", rectangle(60, 60, 40, 40))
NEST = lying(SQUARE)
SETTINGS = settings_of(RECIPE)
RECIPES = Recipes(SETTINGS, (SETTINGS,), (Beam(0.2, None),), (True,), 0.2)
SHARE = cut.Share(1)


def made():
    job = cut.sheet_job(1, NEST, (SQUARE,), SETTINGS, MACHINE)
    code = gcode.code(job.program, MACHINE, SETTINGS)
    course = cut.course_of(code.text, SETTINGS, MACHINE, name=job.program.name)
    return job.program, code, course


def proved(course):
    return proof.run((course,), (SHARE,), NEST, (SQUARE,), (), MACHINE, beside=in_turn)


def whole(program, code, outcome="proceed", *design):
    paths = Programs((program,), (code,), (), (SHARE,), (), ((),), (), cut.usage([program], MACHINE))
    none = CutDown(Breakdown((), 0.0), None, (), None)
    return programs.run(paths, proof.Proved(()), none, RECIPES, MACHINE, outcome, *design)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("G1 X", "G1 X1", "sheet-01: "),
        ("M4 S1\n", "M4 S2\n", "cuts at a power that is that of scoring"),
        ("M2", "M9", "does not end"),
    ],
)
def test_a_course_that_does_not_prove_stops_the_build(old, new, said):
    *_, course = made()
    assert {check.level for one in proved(course).proofs for check in one.checks} == {"ok"}
    spoilt = replace(course, text=course.text.replace(old, new))
    assert spoilt != course
    with pytest.raises(StageError, match="do not prove, so no package is made") as told:
        proved(spoilt)
    assert said in str(told.value)


def test_what_stands_against_the_design_is_in_the_header_before_any_code():
    program, code, _ = made()
    design = (Check("a", "ok", "fine"), Check("b", "fail", "leaks (a lot)"))
    made_so = whole(program, code, "fix-first", design)
    (file,) = made_so.files
    assert file[0] == "gcode/sheet-01.nc" and file[1].endswith(code.text)
    head = file[1].removesuffix(code.text)
    assert "DESIGN CHECK FAILED: leaks a lot" in head and "SAFETY: fix first" in head and "fine" not in head
    assert [check.id for check in made_so.checks] == ["program-header"]
    assert "DESIGN" not in whole(program, code).files[0][1]


def test_each_contour_begins_where_the_program_says():
    program, code, _ = made()
    found = whole(program, code, "stop")
    lines = found.files[0][1].split("\n")
    ((name, begins),) = found.begins
    assert name == "sheet-01" and [lines[n - 1] for n in begins] == ["(a outline)"]


def test_programs_are_summed_up_by_rule_with_the_worst_value():
    proofs = [
        proof.Proof(
            name, (Check(f"{name}-kerf", "ok", f"kerf of {name}", value, 0.02), Check(f"{name}-end", "ok", "ends"))
        )
        for name, value in (("sheet-01", 0.002), ("sheet-02", 0.004), ("sheet-03", 0.001))
    ]
    assert proof.summed_up(proofs) == (
        Check("program-end", "ok", "all 3 programs: ends"),
        Check("program-kerf", "ok", "all 3 programs: kerf of sheet-02", 0.004, 0.02),
    )
