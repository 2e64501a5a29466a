"""Going on with a program that was stopped: where it can be taken up again, and the text from there on."""

from __future__ import annotations

from dataclasses import dataclass

from kerfwave.cut.check import safe
from kerfwave.cut.readback import Motion, read
from kerfwave.model.parts import Check, SheetProgram
from kerfwave.model.spec import Machine


@dataclass(frozen=True, slots=True)
class RestartPoint:
    """One contour of a program: where it begins, and how long all before it takes."""

    number: int  # from 1, in the order of cutting
    piece: str
    what: str  # "outline", "hole 2", with "pass 3" where passes do not follow each other
    done_s: float


def restart_points(program: SheetProgram, labels: tuple[str, ...]) -> tuple[RestartPoint, ...]:
    """Return a point for each contour; `labels` say what each is."""
    found = []
    done = 0.0
    for number, (contour, label, time_s) in enumerate(zip(program.contours, labels, program.times_s, strict=True), 1):
        found.append(RestartPoint(number, contour.piece, label, done))
        done += time_s
    return tuple(found)


def rest_of(text: str, first_line: int, line: int) -> str:
    """Return the program that begins with the contour at `line`: the head of `text`, then all from there on.

    Parameters
    ----------
    text
        a whole program of ours, in which every contour begins dark and states its own power, feed and place.
    first_line, line
        lines (from 1) on which the first contour and the wanted one begin.
    """
    lines = text.split("\n")
    return "\n".join([*lines[: first_line - 1], *lines[line - 1 :]])


def prove_rest(
    text: str, rest: str, line: int, machine: Machine, width_mm: float, height_mm: float, *, name: str = "rest"
) -> tuple[Check, ...]:
    """Prove that `rest` does what `text` does from `line` on, nothing else, and is safe by itself."""
    how = {"focus": machine.focus_axis, "home": machine.home == "g28"}
    own = (*machine.start, *machine.end)
    wanted = [m for m in read(text, own, **how).motions if m.line >= line]
    found = list(read(rest, own, **how).motions)
    head = len(found) - len(wanted)
    same = head >= 0 and not any(m.power > 0 for m in found[:head]) and _alike(wanted, found[head:])
    level, said = ("ok", "does") if same else ("fail", "does not do")
    sentence = f"It {said} what the whole program does from line {line} on, and nothing else"
    return (Check(f"{name}-rest", level, sentence), *safe(rest, machine, width_mm, height_mm, name=name))


def _alike(wanted: list[Motion], found: list[Motion]) -> bool:
    """Return whether the motions are the same, but for where the first of them comes from."""

    def key(motion: Motion, first: bool) -> tuple[object, ...]:
        points = motion.points[-1:] if first else motion.points
        return motion.rapid, points.tolist(), motion.power, 0.0 if motion.rapid else motion.feed_mm_min, motion.depth_mm

    return all(key(a, k == 0) == key(b, k == 0) for k, (a, b) in enumerate(zip(wanted, found, strict=True)))
