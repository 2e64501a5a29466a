"""The one place where the trades are wired into the engine: what is made from what.

Each stage is a function in a module of its own, so that a change of code runs again just what depends on it, and
gets the narrowest view of the spec that it can do with. Inputs are by position.
"""

from __future__ import annotations

from kerfwave.engine import Stage

STAGES: tuple[Stage, ...] = (
    Stage(
        "sizing",
        run="kerfwave.stages.sizing:run",
        output="kerfwave.stages.sizing:Sized",
        inputs=(
            "spec.driver",
            "spec.target",
            "spec.enclosure",
            "spec.stock.measured_mm",
            "spec.drive.volts",
            "spec.listening.space",
        ),
    ),
    Stage(
        "body",
        run="kerfwave.stages.body:run",
        output="kerfwave.stages.body:Built",
        inputs=("sizing", "spec.driver", "spec.enclosure", "spec.drive.volts", "spec.listening.space"),
    ),
    Stage(
        "response",
        run="kerfwave.stages.response:run",
        output="kerfwave.stages.response:AsBuilt",
        inputs=("body", "sizing", "spec.driver", "spec.target", "spec.drive.volts", "spec.listening"),
    ),
    Stage(
        "field",
        run="kerfwave.stages.field:run",
        output="kerfwave.stages.field:Solved",
        inputs=("body", "spec.checks.field", "spec.target.relief_from_hz", "spec.drive.volts"),
    ),
    Stage(
        "slices",
        run="kerfwave.stages.slices:run",
        output="kerfwave.stages.slices:Sliced",
        inputs=(
            "body.body",
            "spec.driver",
            "spec.enclosure.terminals",
            "spec.enclosure.panel_hz",
            "spec.stock.name",
            "spec.stock.grain",
            "spec.stock.density_kg_m3",
            "spec.stock.youngs_gpa",
            "spec.enclosure.split",
            "spec.stock.sheets",
            "spec.stock.edge_margin_mm",
            "spec.machine.bed_width_mm",
            "spec.machine.bed_height_mm",
        ),
    ),
    Stage(
        "nest",
        run="kerfwave.stages.nest:run",
        output="kerfwave.model.parts:Nest",
        inputs=(
            "slices.pieces",
            "slices.insets",
            "spec.stock.sheets",
            "spec.stock.edge_margin_mm",
            "spec.stock.spacing_mm",
            "spec.stock.grain",
            "spec.machine.bed_width_mm",
            "spec.machine.bed_height_mm",
        ),
    ),
    Stage(
        "recipe",
        run="kerfwave.stages.recipe:run",
        output="kerfwave.cut:Settings",
        inputs=(
            "spec.recipes",
            "spec.machine.laser",
            "spec.machine.max_feed_mm_min",
            "spec.machine.air_on",
            "spec.stock",
            "spec.acknowledge",
        ),
    ),
    Stage(
        "paths",
        run="kerfwave.stages.paths:run",
        output="kerfwave.stages.paths:Programs",
        inputs=("nest", "slices.pieces", "slices.insets", "recipe", "spec.machine", "spec.stock"),
    ),
    Stage(
        "safety",
        run="kerfwave.stages.safety:run",
        output="kerfwave.stages.safety:Assessed",
        inputs=(
            "paths.programs",
            "recipe",
            "response.level_db",
            "spec.stock",
            "spec.machine",
            "spec.room",
            "spec.listening",
            "spec.drive.volts",
            "spec.driver.power_w",
            "spec.driver.re_ohm",
        ),
    ),
    Stage(
        "shaping",
        run="kerfwave.stages.shaping:run",
        output="kerfwave.stages.shaping:ShapedSound",
        inputs=("response.response", "spec.shaping", "spec.target", "spec.drive", "spec.driver.xmax_mm"),
    ),
    Stage(
        "learned",
        run="kerfwave.stages.learned:run",
        output="kerfwave.stages.learned:Learned",
        inputs=("measured", "body", "response", "spec.drive.volts", "spec.listening"),
    ),
    Stage(
        "package",
        run="kerfwave.stages.package:run",
        output="kerfwave.stages.package:Package",
        inputs=(
            "source",
            "spec",
            "sizing",
            "body",
            "response",
            "slices",
            "nest",
            "recipe",
            "paths",
            "safety",
            "field",
            "shaping",
            "learned",
        ),
    ),
)
