"""The report: every number of a build, under the names of the package contract."""

from __future__ import annotations

import math
from typing import Any

from kerfwave.acoustics.targets import MOUTH_VELOCITY_M_S
from kerfwave.cut import Share
from kerfwave.model.acoustic import Response
from kerfwave.model.parts import SheetProgram
from kerfwave.stages.facts import Facts
from kerfwave.stages.field import Compared
from kerfwave.stages.labels import SHA256
from kerfwave.stages.shop import FORMAT, shop
from kerfwave.writers.report import fields_of


def report_data(facts: Facts) -> dict[str, Any]:
    """Return the report as plain data."""
    spec, built = facts.spec, facts.built
    placed = {p.piece: p for p in facts.nest.placements}
    return {
        "format": FORMAT,
        "name": spec.name,
        "spec_sha256": SHA256,
        "version": facts.source.version,
        "outcome": {
            "failed_checks": [c.id for c in facts.checks if c.level == "fail"],
            "safety": facts.assessed.outcome,
        },
        **shop(spec, tuple(facts.recipes.of(kind.stock.name) for kind in facts.kinds), facts.kinds, _coupons(facts)),
        "acoustics": _acoustics(facts),
        "field": _field(facts.compared),
        "body": {
            "stack": built.body.rules.stack,
            "plan": [list(p) for p in built.body.skin],
            "height_mm": built.body.counts.height_mm,
            "fold": fields_of(built.body.fold.key),
            "guide_mm": built.body.fold.length_mm,
            "air": [fields_of(p) for p in built.body.air],
        },
        "count": spec.count,
        "layers": [fields_of(layer) for layer in facts.sliced.layers],
        "right_layers": [fields_of(layer) for layer in facts.sliced.right],
        "openings": [{k: v for k, v in fields_of(o).items() if v is not None} for o in built.body.openings],
        "pieces": [
            {
                **fields_of(piece),
                "mass_g": facts.piece_mass_g(piece),
                "placement": {k: v for k, v in fields_of(placed[piece.id]).items() if k != "piece"},
            }
            for piece in facts.pieces
        ],
        "nest": {
            "sheets": [fields_of(sheet) for sheet in facts.nest.sheets],
            "utilisation": facts.nest.utilisation,
            "outline_utilisation": facts.nest.outline_utilisation,
            "bound": facts.nest.bound,
            **({"cut_down": [fields_of(o) for o in facts.cut_down.plan.cut_down]} if facts.cut_down.line else {}),
        },
        "cut": _cut(facts),
        "checks": [fields_of(c) for c in facts.checks],
        "safety": [fields_of(line) for line in facts.assessed.lines],
    }


def _cut(facts: Facts) -> dict[str, Any]:
    """Return what the machine does: ways, time and energy, and where each program may be taken up again."""
    programs = facts.paths.programs
    shares = {p.name: share for p, share in zip(programs, facts.paths.shares, strict=True)}
    return {
        "length_mm": math.fsum(c.length_mm for p in programs for c in p.contours if c.kind != "mark"),
        "scored_mm": math.fsum(c.length_mm for p in programs for c in p.contours if c.kind == "mark"),
        "travel_mm": math.fsum(p.travel_mm for p in programs),
        "time_s": math.fsum(p.time_s for p in programs),
        "energy_kj": facts.paths.usage.energy_kj,
        "beam_h": facts.paths.usage.beam_h,
        "electric_kwh": facts.paths.usage.electric_kwh,
        "bridges": [
            {"program": name, "piece": piece, "at_mm": list(point)}
            for name, piece, point in sorted(
                {(p.name, c.piece, point) for p in programs for c in p.contours for point in c.bridges}
            )
        ],
        "restarts": [
            {
                "program": p.name,
                "points": [
                    {**fields_of(point), "line": line} for point, line in zip(points, facts.begins[p.name], strict=True)
                ],
            }
            for p, points in zip(programs, facts.paths.restarts, strict=True)
        ],
        "programs": [
            {
                "name": p.name,
                "length_mm": p.cut_mm,
                "travel_mm": p.travel_mm,
                "time_s": p.time_s,
                **_share(shares.get(p.name)),
            }
            for p in (*programs, *(c.program for c in facts.paths.coupons), *_line(facts))
        ],
    }


def _share(share: Share | None) -> dict[str, Any]:
    """Return what a program cuts, where it has one piece only: which, and after which."""
    if share is None or not share.piece:
        return {}
    return {"sheet": share.sheet, "piece": share.piece, "after": list(share.after)}


def _coupons(facts: Facts) -> dict[str, tuple[str, ...]]:
    """Return the names of the test cuts, by the name of the sheets that they are for."""
    made = [coupon.program for coupon in facts.paths.coupons]
    return {kind.stock.name: tuple(p.name for p in made if p.stock == kind.stock.name) for kind in facts.kinds}


def _line(facts: Facts) -> tuple[SheetProgram, ...]:
    """Return the program of the straight line by which large sheets are cut down, if there are any."""
    return () if facts.cut_down.line is None else (facts.cut_down.line,)


def _acoustics(facts: Facts) -> dict[str, Any]:
    spec, built, result = facts.spec, facts.built, facts.as_built
    network = fields_of(built.network)
    target = spec.target
    promised = facts.sized.designs[built.rank].design
    return {
        "air": fields_of(result.air),
        "drive_volts": spec.drive.volts,
        "distance_m": spec.listening.distance_m,
        "space": spec.listening.space,
        "target": fields_of(target),
        "driver": [p._asdict() for p in facts.driver],
        "network": network,
        "response": fields_of(result.response),
        "closed_same_size": {
            "chamber_m3": built.closed.chamber_m3,
            "response": _curves(result.closed),
        },
        "relief": {
            "from_hz": target.relief_from_hz,
            "to_hz": target.relief_to_hz,
            "least_db": result.relief_least_db,
            "mean_db": result.relief_mean_db,
        },
        "figures": {
            "level_1m_db": result.level_1m_db,
            "ripple_db": result.ripple_db,
            "bass_gain_db": result.bass_gain_db,
            "excursion_mm": result.excursion_mm,
            "mouth_velocity_peak_m_s": result.mouth_m_s,
            "mouth_velocity_advice_m_s": MOUTH_VELOCITY_M_S,
        },
        "listening": fields_of(facts.at_listener.heard),
        "limits": {
            **fields_of(facts.at_listener.limits),
            "by_limit": {name: list(levels) for name, levels in facts.at_listener.limits.by_limit},
            "closed_same_size": {
                "level_db": list(facts.at_listener.closed_limits.level_db),
                "binding": list(facts.at_listener.closed_limits.binding),
            },
            "loudest": [fields_of(row) for row in facts.at_listener.loudest],
            "bass_control": fields_of(facts.at_listener.bass),
        },
        "spread": {
            **fields_of(facts.strayed.spread),
            "figures": [{**fields_of(f), "shares": dict(f.shares)} for f in facts.strayed.spread.figures],
            "tolerances": fields_of(facts.strayed.tolerances),
        },
        "thickness": fields_of(facts.strayed.thickness),
        "fill": [{"place": f.place, "grams": f.grams, "text": f.text} for f in facts.fill],
        "measured": fields_of(facts.learned.measured)["values"],
        "as_measured": None if facts.learned.response is None else fields_of(facts.learned.response),
        "shaping": None if facts.shaped is None else fields_of(facts.shaped),
        "sizing": {
            "folds": facts.sized.folds,
            "tried": facts.sized.tried,
            "feasible": facts.sized.feasible,
            "taken": built.rank + 1,
            "strayed_db": built.strayed_db,
            "promised": {
                "level_db": promised.level_db,
                "ripple_db": promised.ripple_db,
                "relief_db": promised.relief_db,
                "bass_gain_db": promised.bass_gain_db,
            },
        },
    }


def _field(compared: Compared | None) -> dict[str, Any] | None:
    """Return the field beside the network, without its pictures; None if the spec leaves it out."""
    if compared is None:
        return None
    return {key: value for key, value in fields_of(compared).items() if key != "pictures"}


def _curves(response: Response) -> dict[str, Any]:
    return {
        "frequency_hz": list(response.frequency_hz),
        "spl_db": list(response.spl_db),
        "excursion_peak_mm": list(response.excursion_peak_mm),
        "impedance_ohm": list(response.impedance_ohm),
    }
