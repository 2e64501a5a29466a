"""The lines on what lies under the beam: the sheet and the glue in it."""

from __future__ import annotations

from kerfwave.model.parts import SafetyLine
from kerfwave.safety import sources
from kerfwave.safety.job import Job
from kerfwave.safety.lines import line
from kerfwave.safety.materials import POLICIES, find

_GLUES = {
    "uf": ("urea-formaldehyde", "EN 314-2 class 1, interior"),
    "muf": ("melamine-urea-formaldehyde", "EN 314-2 class 2, semi-exterior"),
    "pf": ("phenol-formaldehyde", "EN 314-2 class 3, exterior"),
}


def material_lines(job: Job) -> tuple[SafetyLine, ...]:
    """Judge the stock's material and glue. What is not in the table stops the job."""
    material = find(job.stock.material)
    if material is None:
        return (
            line(
                "material-sheet",
                "stop",
                f"The material '{_harmless(job.stock.material)}' is not in the table, so what it gives off is not "
                "known: do not cut it. Ask its maker for the safety data sheet, and use a sheet that is known.",
                source=POLICIES,
                status="unknown",
            ),
        )
    if material.standing == "forbidden":
        text = f"Do not laser-cut {material.name}: {material.reason}. Use another sheet."
        return (line("material-sheet", "stop", text, source=material.source, status="published"),)
    if material.standing == "doubtful":
        text = f"{_capital(material.name)}: {material.reason}. Before you cut it: {material.find_out}."
        sheet = line("material-sheet", "fix-first", text, source=material.source, status="published")
    else:
        sheet = line(
            "material-sheet",
            "duty",
            f"{_capital(material.name)}: {material.reason}. Keep its safety data sheet at hand, cut only bare sheet "
            "(no film, paint, label or tape), and follow the rules of your workshop.",
            source=material.source,
            status="published",
        )
    return (sheet, _glue(job, material.glued))


def _glue(job: Job, glued: bool) -> SafetyLine:
    glue = job.stock.glue
    if glue in ("uf", "muf"):
        name, grade = _GLUES[glue]
        return line(
            "material-glue",
            "duty",
            f"Its glue is {name} ({grade}): hot, it gives off isocyanic acid and ammonia on top of the wood's smoke, "
            "an amount this list cannot put a number on. An E1 label speaks of room temperature, not of cutting. "
            "Lead the fume outdoors.",
            source=f"{sources.GLUE_FUME}; poplar plywood technical page",
            status="published",
        )
    if glue == "pf":
        return line(
            "material-glue",
            "fix-first",
            "Its glue is phenol-formaldehyde (EN 314-2 class 3, exterior): it chars to a hard residue, and the fume of "
            "phenolic panels was studied as a hazard. Ask for the safety data sheet, and prove the cut on a coupon "
            "with the fume led outdoors before the first sheet, or take an interior grade.",
            source="abstract on laser cutting of phenolic panels; laser users' forum threads; poplar plywood "
            "technical page",
            status="published",
        )
    if glue == "none" and not glued:
        return line(
            "material-glue",
            "note",
            "No glue in the sheet, as the stock says.",
            source="the stock file",
            status="assumed",
        )
    said = "says it has none, which a glued sheet cannot be" if glue == "none" else "does not say which"
    return line(
        "material-glue",
        "fix-first",
        f"The glue of the sheet is not known: the stock {said}. Ask the seller for the glue class (EN 314-2: class 1 "
        "interior, class 2 semi-exterior, class 3 exterior) and the safety data sheet.",
        source=POLICIES,
        status="unknown",
    )


def _harmless(word: str) -> str:
    """Keep what a key may hold, so that a spec cannot put anything else into a text."""
    return "".join(c for c in word[:40] if c.isascii() and (c.isalnum() or c in "-_ ")) or "(no name)"


def _capital(text: str) -> str:
    return text[0].upper() + text[1:]
