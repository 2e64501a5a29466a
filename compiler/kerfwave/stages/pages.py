"""Pages: the files that speak of everything, and those that no drawing is."""

from __future__ import annotations

from kerfwave.body.mounts import HANG_SCREWS, check_load
from kerfwave.model.parts import Check, Nest
from kerfwave.model.spec import Spec
from kerfwave.numfmt import several
from kerfwave.stages.bill import bill_rows
from kerfwave.stages.body import Built
from kerfwave.stages.breakdown import CutDown
from kerfwave.stages.facts import Facts, mass_g, proved_least
from kerfwave.stages.field import Solved
from kerfwave.stages.files import Files
from kerfwave.stages.guide_view import guide_model
from kerfwave.stages.learned import Learned
from kerfwave.stages.listening import AtTheListener
from kerfwave.stages.package import Package
from kerfwave.stages.paths import Programs
from kerfwave.stages.programs import Whole
from kerfwave.stages.recipe import Recipes
from kerfwave.stages.reporting import report_data
from kerfwave.stages.response import AsBuilt
from kerfwave.stages.rules import Ruled
from kerfwave.stages.safety import Assessed
from kerfwave.stages.shaping import ShapedSound
from kerfwave.stages.sizing import Sized
from kerfwave.stages.slices import Sliced
from kerfwave.stages.source import Source
from kerfwave.stages.spread import Strayed
from kerfwave.stages.supply import Supplied
from kerfwave.writers.bill import render_bill
from kerfwave.writers.filters import filters_csv, filters_json
from kerfwave.writers.guide import render_guide
from kerfwave.writers.guide_model import Charts
from kerfwave.writers.report import render_report


def run(
    source: Source,
    spec: Spec,
    supplied: Supplied,
    sized: Sized,
    built: Built,
    as_built: AsBuilt,
    sliced: Sliced,
    ruled: Ruled,
    nest: Nest,
    cut_down: CutDown,
    recipes: Recipes,
    paths: Programs,
    assessed: Assessed,
    solved: Solved,
    sound: ShapedSound,
    learned: Learned,
    at_listener: AtTheListener,
    strayed: Strayed,
    charts: Charts,
    whole: Whole,
    *drawn: Files,
) -> Package:
    """Run the stage; `drawn` are the drawings of the body, of the sheets and of the test cuts."""
    design = (
        *as_built.checks,
        *built.checks,
        *solved.checks,
        *sound.checks,
        *at_listener.checks,
        *strayed.checks,
        *ruled.checks,
        *sliced.checks,
        *_shop_checks(nest, recipes, paths, assessed),
        *_load(spec, sliced),
    )
    failed = tuple(c.text for c in design if c.level == "fail")
    facts = Facts(
        source=source,
        spec=spec,
        supplied=supplied,
        sized=sized,
        built=built,
        as_built=as_built,
        sliced=sliced,
        nest=nest,
        cut_down=cut_down,
        recipes=recipes,
        paths=paths,
        assessed=assessed,
        shaped=sound.shaped,
        learned=learned,
        compared=solved.compared,
        at_listener=at_listener,
        strayed=strayed,
        charts=charts.charts,
        joints_mm2=ruled.joints_mm2,
        checks=(*design, *whole.checks),
        begins=dict(whole.begins),
    )
    files = dict(whole.files)
    if sound.shaped is not None:
        files["filters/shaping.json"] = filters_json(sound.shaped.filters, spec.shaping.sample_rate_hz)
        files["filters/shaping.csv"] = filters_csv(sound.shaped.filters)
    rows = bill_rows(facts)
    files["bom.csv"] = render_bill(rows)
    files["report.json"] = render_report(report_data(facts))
    files["guide.html"] = render_guide(guide_model(facts, rows, dict(file for some in drawn for file in some.files)))
    return Package(tuple(sorted(files.items())), failed, assessed.outcome)


def _load(spec: Spec, sliced: Sliced) -> tuple[Check, ...]:
    """Return what a body that hangs puts on its screws."""
    if spec.enclosure.hang_screw_mm is None:
        return ()
    grams = sum(mass_g(p, spec.stock.density_kg_m3) for p in (*sliced.pieces, *sliced.insets) if p.body == 1)
    return (check_load(grams * 1e-3, HANG_SCREWS),)


def _shop_checks(nest: Nest, recipes: Recipes, paths: Programs, assessed: Assessed) -> tuple[Check, ...]:
    used = {program.stock for program in paths.programs}
    verified = all(recipe.verified for recipe in recipes.kinds if recipe.stock in used)
    words = {"stop": "stop: do not cut", "fix-first": "something is to be put right first", "proceed": "duties to keep"}
    return (
        Check(
            "recipe",
            "ok" if verified else "warn",
            "the recipe was measured" if verified else "the recipe is an estimate: cut the coupons first",
        ),
        Check(
            "sheets",
            "ok",
            f"{several(len(nest.sheets), 'sheet')}, {proved_least(nest)}",
            float(len(nest.sheets)),
            float(nest.bound),
        ),
        Check("safety", "ok" if assessed.outcome == "proceed" else "warn", f"safety: {words[assessed.outcome]}"),
    )
