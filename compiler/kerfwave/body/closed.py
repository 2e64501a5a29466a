"""A body without a guide: everything inside is chamber."""

from __future__ import annotations

from kerfwave.body import shapes
from kerfwave.body.fold import Fold
from kerfwave.body.keys import FoldKey
from kerfwave.body.places import CannotFold, place_driver, place_terminal, terminal_faces
from kerfwave.body.rooms import room_behind
from kerfwave.body.rules import BodyRules
from kerfwave.model.spec import Plan

NO_GUIDE = FoldKey(along=False, flip_u=False, flip_v=False, lanes=0, width_mm=0.0)


def closed_fold(plan: Plan, rules: BodyRules) -> Fold:
    """Return the plan of a closed box, as a fold of no lanes.

    Raises:
        CannotFold: if driver or terminals find no place, with the reason.
    """
    reason = "no face has room for the terminals beside the driver"
    for terminal_face in terminal_faces(plan, rules):
        room = room_behind(plan, rules, terminal_face)
        driver = place_driver(plan, rules, room, lambda _from_y_mm: None)
        try:
            terminal = place_terminal(plan, rules, terminal_face, room, driver)
        except CannotFold as error:
            reason = str(error)
            continue
        return Fold(
            key=NO_GUIDE,
            runs=(),
            chamber=shapes.rings_of(room)[0],
            chamber_area_mm2=room.area,
            room_area_mm2=room.area,
            length_mm=0.0,
            mouth=None,
            driver=driver,
            terminal=terminal,
        )
    raise CannotFold(reason)
