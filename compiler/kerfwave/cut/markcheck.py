"""Proof of what is scored: the marks of the pieces, all of them and nothing else, before the first cut."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from shapely.geometry import LineString, MultiLineString

from kerfwave.cut.course import BOTH, CUT, SCORE
from kerfwave.cut.follow import TOLERANCE_MM, Run
from kerfwave.cut.readback import Motion
from kerfwave.cut.verdict import verdict
from kerfwave.model.parts import Check, Ring

_LEFT_OUT_MM = 0.05  # of a line, at its ends and corners: from rounding


def sorted_out(motions: Iterable[Motion]) -> tuple[tuple[Motion, ...], tuple[Motion, ...]]:
    """Return the motions of a course twice: with what is scored taken for dark, and with all but that taken for dark.

    A motion scores if it has the power and the feed of scoring, and not those of the cut.
    """
    cutting, scoring = [], []
    for motion in motions:
        scores = _like(motion, SCORE) and not _like(motion, CUT)
        cutting.append(_dark(motion) if scores else motion)
        scoring.append(motion if scores else _dark(motion))
    return tuple(cutting), tuple(scoring)


def _like(motion: Motion, what: int) -> bool:
    return motion.power in (what, BOTH) and motion.feed_mm_min in (what, BOTH)


def _dark(motion: Motion) -> Motion:
    return Motion(motion.line, motion.rapid, motion.points, 0.0, motion.feed_mm_min, motion.depth_mm)


def check_marks(
    runs: Sequence[Run], lines: Sequence[tuple[str, Ring]], first_cut: int | None, name: str
) -> tuple[Check, ...]:
    """Prove that `runs` score `lines` (piece, where it lies on the sheet); nothing to prove where there is neither."""
    if not runs and not lines:
        return ()
    bad = [f"the score from line {run.line} on comes after a cut" for run in runs if first_cut and run.line > first_cut]
    meant = MultiLineString([line for _, line in lines])
    near = meant.buffer(TOLERANCE_MM, quad_segs=4)
    paths = [LineString(run.points) for run in runs]
    strays = [run.line for run, path in zip(runs, paths, strict=True) if path.difference(near).length > 0]
    bad += [f"the score from line {line} on lies on no mark" for line in strays]
    done = MultiLineString(paths).buffer(TOLERANCE_MM, quad_segs=4)
    open_ = sorted({piece for piece, line in lines if LineString(line).difference(done).length > _LEFT_OUT_MM})
    bad += [f"a mark of {piece} is not scored in full" for piece in open_]
    return (verdict(f"{name}-marks", "The marks of every piece are scored, before the first cut", bad),)
