"""Feet and keyholes that a body cannot have."""

from __future__ import annotations

from collections.abc import Iterator

from kerfwave.findings import Finding
from kerfwave.model import spec as model
from kerfwave.spec.places import Places


def check(body: model.Enclosure, place: model.Listening, at: Places) -> Iterator[Finding]:
    """Yield what does not go together with feet, or with hanging on a wall."""
    if body.foot_mm is not None and body.stack == "facing":
        message = "foot_mm is given, and a facing stack stands on the edges of its layers, where no place can be marked"
        yield at.finding(("enclosure", "foot_mm"), "K418", message, "", "leave it out, and stick feet on by eye")
    if body.hang_screw_mm is None:
        return
    path = ("enclosure", "hang_screw_mm")
    if place.mounting == "in-wall":
        message = "hang_screw_mm is given, and mounting is in-wall: what is let into a wall does not hang on it"
        yield at.finding(path, "K418", message, "", "one of the two")
    if body.stack != "upright":
        return
    if "back" not in body.plan.faces:
        message = "hang_screw_mm is given, and no face of the plan is called back"
        why = f"the plan's faces: {', '.join(body.plan.faces)}"
        yield at.finding(path, "K418", message, why, "call the face that lies on the wall back")
    for key in ("mouth_face", "terminal_face"):
        if getattr(body, key) == "back":
            message = f"{key} is back, and hang_screw_mm puts the back on a wall"
            yield at.finding(("enclosure", key), "K418", message, "", "another face, or auto")
