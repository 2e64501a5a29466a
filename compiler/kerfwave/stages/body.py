"""Body: build the best design that comes out as it was promised.

Designs are tried best first. Each is built, sliced and measured, and its network made again from the measurements;
the first whose level stays within `as_built_db` of the promise is taken. If none does, the nearest is, and the check
says so.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from kerfwave.acoustics import sizing, targets
from kerfwave.acoustics.air import air as air_at
from kerfwave.acoustics.guide import Fill
from kerfwave.acoustics.network import responses
from kerfwave.body import air as body_air
from kerfwave.body import measure
from kerfwave.body.air import Body
from kerfwave.body.lips import check_lips, with_lips
from kerfwave.body.mounts import check_feet, check_hang
from kerfwave.body.recess import check_seat
from kerfwave.body.slices import slices
from kerfwave.body.wire import check_wire, with_wire
from kerfwave.engine.errors import StageError
from kerfwave.model.acoustic import Network
from kerfwave.model.parts import Check
from kerfwave.model.spec import Driver, Enclosure, Target
from kerfwave.stages.sizing import Sized, SizedDesign, setting_of

JUDGED_HZ = (50.0, 300.0)  # where as built and sized are compared


@dataclass(frozen=True, slots=True)
class Built:
    """The body, and its network as measured on it."""

    body: Body
    fill: Fill
    volumes: measure.Volumes
    network: Network
    closed: Network
    rank: int  # which of sizing's designs, from 0
    strayed_db: float  # from what sizing promised, greatest between 50 and 300 Hz
    checks: tuple[Check, ...]


def run(
    sized: Sized,
    driver: Driver,
    enclosure: Enclosure,
    target: Target,
    volts: float,
    space: str,
    *,
    progress: Callable[[float, str], None],
) -> Built:
    """Run the stage.

    Raises:
        StageError: if the body shall hang on a wall, and no design has the wood for it.
    """
    best: Built | None = None
    refused: list[str] = []
    for rank, design in enumerate(sized.designs):
        progress(rank / len(sized.designs), f"design {rank + 1}")
        built = _build(sized, design, rank, driver, enclosure, target, volts, space)
        refusal = _hangs_not(built, enclosure)
        if refusal:
            refused.append(refusal)
            continue
        if best is None or built.strayed_db < best.strayed_db - 1e-6:
            best = built
        if built.strayed_db <= enclosure.as_built_db:
            break
    if best is None:  # sizing never returns without a design
        raise StageError(_hang_none(refused, sized), ("enclosure", "hang_screw_mm"))
    return best


def _hang_none(refused: list[str], sized: Sized) -> str:
    """Say that none of the best bodies can hang, and if a target out of reach has chosen them, that too."""
    few = len(refused) == 1
    text = refused[0] if few else f"none of the {len(refused)} best bodies can hang; the first: {refused[0]}"
    if sized.reach:
        text += f". No body tried keeps {sized.out_of_reach} even by itself: put the target right first"
    return text


def _hangs_not(built: Built, enclosure: Enclosure) -> str:
    """Return why a body cannot hang on a wall as asked; nothing if it can."""
    if enclosure.hang_screw_mm is None:
        return ""
    mouth = built.body.fold.mouth
    if enclosure.stack == "upright" and mouth is not None and mouth.face == "back":
        return "the mouth would open into the wall that the body hangs on: a mouth_face other than back leaves it free"
    check = next(c for c in built.checks if c.id == "hang")
    return check.text if check.level == "fail" else ""


def _build(
    sized: Sized,
    design: SizedDesign,
    rank: int,
    driver: Driver,
    enclosure: Enclosure,
    target: Target,
    volts: float,
    space: str,
) -> Built:
    air = air_at()
    folded = body_air.body(enclosure.plan, sized.rules, driver, design.counts, design.fold)
    body = with_lips(with_wire(folded, enclosure.wire_mm), enclosure.lip_mm)
    volumes = measure.measured(body, slices(body, ""), driver)
    promise = design.design
    candidate = sizing.Candidate(
        0, design.counts.total, volumes.chamber_m3, volumes.closed_m3, volumes.guide, volumes.chamber, volumes.outside
    )
    setting = setting_of(enclosure, target, space)
    network = sizing.network(candidate, promise.network.driver, air, promise.fill, setting)
    f = targets.grid(*JUDGED_HZ, 24)
    both = responses((network, promise.network), f, air, volts, 1.0, space)
    strayed = float(abs(both.spl_db[0] - both.spl_db[1]).max())
    limit = enclosure.as_built_db
    check = Check(
        "as-built",
        "ok" if strayed <= limit else "fail",
        f"as built the response strays {strayed:.2f} dB from what sizing promised, {JUDGED_HZ[0]:.0f} to "
        f"{JUDGED_HZ[1]:.0f} Hz; {limit:g} dB allowed",
        round(strayed, 3),
        limit,
    )
    closed = sizing.closed_box(candidate, promise.network.driver, air, setting)
    wire = () if enclosure.wire_mm is None else (check_wire(body, enclosure.wire_mm),)
    lips = (check_lips(body, enclosure.lip_mm),) if enclosure.lip_mm > 0 else ()
    feet = () if enclosure.foot_mm is None else (check_feet(body.air, body.skin, enclosure.foot_mm),)
    hang = () if enclosure.hang_screw_mm is None else (check_hang(body.air, body.rules, body.plan.faces),)
    checks = (check, check_seat(body, driver), *wire, *lips, *feet, *hang)
    return Built(body, promise.fill, volumes, network, closed, rank, strayed, checks)
