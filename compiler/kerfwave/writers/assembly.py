"""The steps from sorted pieces to a speaker that plays, worked out from the layers, openings and insets."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from kerfwave.model.parts import Layer, Opening, Piece
from kerfwave.numfmt import fixed
from kerfwave.writers.openings import crosses
from kerfwave.writers.words import INSETS, listed, mm_and_inches

KINDS = ("prepare", "layer", "fill", "wire", "close", "inset", "terminals", "driver", "leak", "sound")
CLAMP_EVERY = 4  # layers that are wet at once before they begin to slide: common practice


@dataclass(frozen=True, slots=True)
class FillNote:
    """Loose fibre: where it goes, how much, and why it is there."""

    place: str  # "rear chamber", "left pass"
    grams: float
    text: str = ""
    before: int | None = None  # the layer that covers the place; None: the lid does


@dataclass(frozen=True, slots=True)
class FloorNote:
    """A floor between two storeys: its layers, and what it parts."""

    first: int
    last: int
    below: str  # "storey 2 of the guide", "the chamber"
    above: str


@dataclass(frozen=True, slots=True)
class WireNote:
    """The channel for the wire: the layer that carries it, and whether there is a hole for a tie."""

    layer: int
    tied: bool


@dataclass(frozen=True, slots=True)
class Step:
    """One step at the bench. `layer` is the layer it glues, or, between two layers, the one it comes before."""

    id: str
    kind: str  # one of KINDS
    title: str
    do: tuple[str, ...]
    caution: str = ""
    layer: int | None = None


def assembly_steps(
    layers: Iterable[Layer],
    pieces: Iterable[Piece],
    openings: Iterable[Opening] = (),
    *,
    lid: int,
    stack: str = "upright",
    fill: Iterable[FillNote] = (),
    screw_count: int = 4,
    screw_hole_mm: float | None = None,
    wire: WireNote | None = None,
    pair: bool = False,
    dowels: tuple[str, ...] = (),
    floors: Iterable[FloorNote] = (),
    chamber_covered_by: int | None = None,
    sheets: Mapping[str, str] | None = None,
    mounting: Iterable[Step] = (),
) -> tuple[Step, ...]:
    """Return all steps in the order of the work.

    `lid` is the first layer above all air of chamber and guide: what has to be inside (wire, fibre, a last clean) comes
    just before it, or before the floor that covers the place: `chamber_covered_by` is the layer over the chamber, if it
    is not the lid. Times and pressures are left to the label of the glue; `dowels` says how they are cut and how
    the stack is clamped round them, if there are any.
    `sheets` says of each piece which sheet it was cut from; `mounting` are the steps that come last.
    """
    layers, openings, fill = tuple(layers), tuple(openings), tuple(fill)
    by_id, sheets = {p.id: p for p in pieces}, sheets or {}
    covered = lid if chamber_covered_by is None else chamber_covered_by
    wired = min(wire.layer + 1, covered) if wire else covered
    over = {floor.first: floor for floor in floors}
    has_mouth = any(o.kind == "mouth" for o in openings)
    steps = [
        _prepare(len(layers), stack, pair),
        _dry(layers, has_mouth, dowels[:1]),
        _how(stack, dowels[1:], has_mouth),
    ]
    for position, layer in enumerate(layers):
        if layer.index == wired:
            steps.append(_channel(wire, layer.index) if wire else _wire(layer.index))
        if layer.index == lid or layer.index in over:
            here = None if layer.index == lid else layer.index
            steps += _fibre(layer.index, tuple(note for note in fill if note.before == here), last=here is None)
            steps.append(_before_the_lid(lid) if here is None else _before_a_floor(over[layer.index]))
        parts = tuple(by_id[i] for i in layer.pieces)
        through = tuple(o for o in openings if crosses(o, layer))
        steps.append(_layer(layer, parts, through, position, len(layers), _whence(layer.pieces, sheets)))
    insets = sorted((p for p in by_id.values() if p.role in INSETS), key=lambda p: p.role == _PLATE)
    for piece in insets:  # posts are soldered on the bench, before their plate is glued in: no hot tip inside the body
        steps += [_terminals()] if piece.role == _PLATE else []
        steps.append(_inset(piece, _whence((piece.id,), sheets)))
    steps += [_driver(screw_count, screw_hole_mm), *_proof(has_mouth)]
    return (*steps, *mounting)


def _prepare(count: int, stack: str, pair: bool) -> Step:
    front = "the front edge towards you" if stack == "upright" else "the front face down"
    return Step(
        "prepare",
        "prepare",
        "Get ready",
        (
            "Wipe soot off every face that will be glued: glue does not hold on soot. Char on the cut edges may stay.",
            "Cover a flat board with baking paper, and stand a straight batten or a square along one edge of it.",
            f"Work with {front}, and with layer 1 at the bottom.",
            *(_TWO if pair else ()),
            f"Have ready: glue, a small brush, a damp cloth, clamps or weights for {count} layers.",
        ),
    )


def _dry(layers: tuple[Layer, ...], has_mouth: bool, dowels: tuple[str, ...]) -> Step:
    path = ("Look along the path of the air as it builds up: it must be open from the chamber to the mouth.",)
    return Step(
        "dry-stack",
        "prepare",
        "Stack it dry",
        (
            *dowels,
            f"Stack all {len(layers)} layers without glue, each against its drawing, and press the outer faces flush.",
            "Try the insets in their seats, and the driver and the posts in the insets.",
            *(path if has_mouth else ()),
            "Where something rocks or stands proud, sand it now. Then take the stack down in order.",
        ),
    )


def _how(stack: str, dowels: tuple[str, ...], has_mouth: bool) -> Step:
    air, narrows = ("air path", " It narrows the guide.") if has_mouth else ("chamber", "")
    arrow = "its arrow towards you" if stack == "upright" else "its arrow to the top edge"
    return Step(
        "how",
        "prepare",
        "How each layer goes",
        (
            "Glue: brush a thin, even film on the layer below, where the drawing of the next one is dotted, right up "
            f"to the edges of the {air}: every seam there has to be airtight.",
            f"Lay: the pieces as drawn, the side with the id up, {arrow}, outer faces flush with those below.",
            f"Wipe: squeezed-out glue comes off the {air} with the damp cloth before it sets.{narrows}",
            "Clamp: over a flat board, as long as the label of the glue says. Check with the square before you go.",
            *dowels,
        ),
    )


def _whence(names: Iterable[str], sheets: Mapping[str, str]) -> tuple[str, ...]:
    """Return the line that says from which sheet each piece comes; none if that is not known."""
    by_sheet: dict[str, list[str]] = {}
    for name in names:
        if name in sheets:
            by_sheet.setdefault(sheets[name], []).append(name)
    if not by_sheet:
        return ()
    return ("Take " + "; ".join(f"{listed(tuple(found))} from {sheet}" for sheet, found in by_sheet.items()) + ".",)


def _layer(
    layer: Layer,
    parts: tuple[Piece, ...],
    through: tuple[Opening, ...],
    position: int,
    count: int,
    whence: tuple[str, ...],
) -> Step:
    names = listed(layer.pieces)
    do = [*whence, f"Lay {names} on the board, as drawn: this is the floor, with no glue underneath."]
    if position:
        loose = f" {len(parts)} pieces: keep the gaps as drawn." if len(parts) > 1 else ""
        do = [*whence, "Glue on the layer below, where the drawing is dotted.", f"Lay {names}.{loose}"]
        seats = tuple(dict.fromkeys(_SEATS[o.kind] for o in through if o.kind in _SEATS))
        if seats:
            do.append(f"No glue in {listed(seats)}: the insets come later.")
        do.append("Wipe the air path clean.")
        if position % CLAMP_EVERY == 0 or position == count - 1:
            do.append("Clamp, and let the glue set before you go on.")
    return Step(f"layer-{layer.index:02d}", "layer", f"Layer {layer.index}: {names}", tuple(do), layer=layer.index)


_TWO = (
    "There are two bodies. Sort the pieces by the end of their ids: -L is the body that these steps show, -R its "
    "mirror image, with drawings of its own (right-layer). Build one after the other, so that they never mix.",
)
_PLATE = "terminal-plate"
_SEATS = {"driver": "the seat of the driver", "terminal": "the seat of the terminals"}


def _channel(wire: WireNote, before: int) -> Step:
    """Return the step that lays the wire into its channel, once the layer that carries it is set."""
    tie = (
        ("Pass a thin cable tie or waxed thread through the small hole and round the wire, and pull it tight.",)
        if wire.tied
        else ("Knot the wire at the terminals' end of the channel, behind a dab of glue.",)
    )
    return Step(
        "wire",
        "wire",
        f"Lay the wire into layer {wire.layer}",
        (
            f"Press the two-core wire, edge up, into the channel of layer {wire.layer}, from the seat of the terminals "
            "to the bore behind the driver; where the channel ends it goes on along the wall.",
            *tie,
            "Leave a hand's breadth free at each end, and mark the core that will be positive at both ends.",
            "A dab of sealant every few centimetres, flush with the wall: a loose wire rattles, and a proud one keeps "
            "the next layer up.",
        ),
        layer=before,
    )


def _wire(before: int) -> Step:
    """Return the step that lays the wire where no channel is cut for it."""
    return Step(
        "wire",
        "wire",
        "Lay the wire",
        (
            "Lay the two-core wire from the seat of the terminals to the bore behind the driver, along the walls.",
            "Leave a hand's breadth free at each end, and mark the core that will be positive at both ends.",
            "Fix it with small dabs of glue or tape every few centimetres: a loose wire rattles.",
            "Where it has to pass from one room of the air into another, seal round it.",
        ),
        layer=before,
    )


def _fibre(before: int, fill: tuple[FillNote, ...], *, last: bool) -> list[Step]:
    """Return the step that puts in the fibre whose place a layer covers, if there is any."""
    if not fill:
        return []
    return [
        Step(
            "fill" if last else f"fill-{before:02d}",
            "fill",
            "Put the fibre in",
            (
                *(f"{note.place}: {_grams(note)} of loose fibre. {note.text}".strip() for note in fill),
                "Weigh it, tease it loose and spread it evenly. Packed tight or in lumps it does something else.",
                "Keep it off the cone and the magnet's vent, and hold it back with a few strands of thread.",
            ),
            "Wear a dust mask and gloves if the label of the fibre asks for them.",
            layer=before,
        )
    ]


def _before_the_lid(lid: int) -> Step:
    """Return what has to be done while the body is still open at the top."""
    return Step(
        "close",
        "close",
        "Last look inside",
        (
            "Shine a light along the whole path: no beads of glue, no offcuts, no shavings.",
            "Run a bead of glue along any seam that lets light through.",
            "Pull gently on both ends of the wire. What is loose now stays loose.",
        ),
        layer=lid,
    )


def _before_a_floor(floor: FloorNote) -> Step:
    """Return what has to be done before a floor covers a storey."""
    alone = floor.first == floor.last
    layers = f"Layer {floor.first} is" if alone else f"Layers {floor.first} to {floor.last} are"
    return Step(
        f"close-{floor.first:02d}",
        "close",
        f"Before layer {floor.first} covers {floor.below}",
        (
            f"{layers} the floor between {floor.below} and {floor.above}. The one rectangular hole in "
            f"{'it' if alone else 'them'} is the passage for the air: hold the layer up to the drawing and see that "
            "it lies as drawn, open below and above.",
            "Shine a light along what it covers: no beads of glue, no offcuts, no shavings. No hand comes here again.",
            "Glue every lane's wall right along, so that the sound finds no short cut, and wipe round the passage.",
        ),
        layer=floor.first,
    )


def _grams(note: FillNote) -> str:
    return f"{fixed(note.grams, 1)} g"


def _inset(piece: Piece, whence: tuple[str, ...]) -> Step:
    what = INSETS[piece.role][0].lower()
    plate = piece.role == _PLATE
    seat = "terminals" if plate else "driver"
    hold = "hold it with tape or a clamp beside the posts" if plate else "weigh it down"
    return Step(
        f"inset-{piece.id}",
        "inset",
        f"Glue in the {what} {piece.id}",
        (
            *whence,
            f"Sand the seat of the {seat} flush, and try {piece.id}: it should slide in by hand, without play.",
            "Brush glue on the seat and on the back of the inset, all the way round: this joint has to be airtight.",
            *(("Tuck the wire in behind it, so that nothing pulls at it and nothing can rattle.",) if plate else ()),
            f"Press it home until it lies flush with the face, wipe, and {hold} while the glue sets.",
        ),
    )


def _terminals() -> Step:
    return Step(
        "terminals",
        "terminals",
        "Posts and wire",
        (
            "Draw the wire's end out through the seat of the terminals; the plate is not glued in yet.",
            "Trim both cores to one length, a hand's breadth more than they need, and strip 6 mm of each.",
            "Fit the two posts in the plate, with a washer or a smear of sealant: the holes must not leak.",
            "Solder or crimp the marked core to the red (+) post and the other to the black (−) post.",
            "Pull each joint, then check with a meter that the posts are not joined to each other.",
        ),
        "The tip of a soldering iron burns at a touch. Solder with air moving away from your face, use lead-free "
        "solder if you can, and wash your hands afterwards.",
    )


def _driver(count: int, hole_mm: float | None) -> Step:
    pilot = f", {mm_and_inches(hole_mm)} across," if hole_mm is not None else ""
    return Step(
        "driver",
        "driver",
        "The driver",
        (
            f"Check the {count} pilot holes{pilot} against the driver's flange before you turn a screw.",
            "Join the marked core to the driver's positive tag, the other to the negative one.",
            "Lay the gasket on the ring with no gap at its ends, set the driver in, and start all screws by hand.",
            "Tighten crosswise, a little at a time, until the gasket is just pressed. Too tight bends the frame.",
            "Touch a 1.5 V cell to the posts for an instant, plus to plus: the cone should jump outwards. If it jumps "
            "inwards, swap the two cores (common practice).",
        ),
        "The magnet pulls tools and screws: keep one hand on the screwdriver's tip and the blade away from the cone. "
        "Keep magnets away from pacemakers and other implants.",
    )


def _proof(has_mouth: bool) -> list[Step]:
    cover = "Lay your palm flat over the mouth, or tape a card over it. " if has_mouth else ""
    return [
        Step(
            "leak",
            "leak",
            "Is it tight?",
            (
                f"{cover}Press the cone in slowly and evenly with two or three fingertips, and let go: in a tight "
                "body it creeps back, in a leaky one it springs back at once (common practice).",
                "Play a soft low tone and hold a strip of tissue along each seam: where it flutters, air comes out.",
                "Mend a leak with a thin bead of glue from outside, let it set, and try again.",
            ),
        ),
        Step(
            "sound",
            "sound",
            "First sound",
            (
                "Turn the amplifier all the way down, connect plus to plus, and only then switch it on.",
                "Begin with speech, softly. If something buzzes, look for a loose wire, a leak, a proud screw.",
                "Sweep a soft tone from 30 Hz up to 500 Hz and listen for rattles, then turn up step by step.",
                "Let it play softly for an hour before you measure.",
            ),
            "Loud sound harms hearing, and does so without pain. Keep to the level and the hours in the safety list. "
            "Use only an amplifier whose mains part is closed and approved.",
        ),
    ]
