"""What the guide says of the work beside the drawings: tables to fill in, joints and glue, what to buy, measuring."""

from __future__ import annotations

from kerfwave.cut.coupon import Coupon
from kerfwave.numfmt import fixed
from kerfwave.stages.bill import GLUE_G_M2
from kerfwave.stages.facts import Facts
from kerfwave.writers.assembly import Step
from kerfwave.writers.bill import BillRow
from kerfwave.writers.guide_model import Table
from kerfwave.writers.words import mm

KERF_STEP_MM, KERF_ROWS = 0.02, 6  # the table of gaps goes so far to both sides of the recipe's kerf

WATCH = (
    "A small flame that follows the beam and goes out is usual. One that stays, or smoke from below the sheet, is not: "
    "stop the program, cut the air assist and the extraction, then put it out (safety list).",
    "A piece that tips, lifts or slips: stop before the head strikes it. Take it out, and go on from the next row of "
    "the table of restart points.",
    "Lines that no longer glow through at the last pass, or smoke that changes its colour: a dirty lens, a knot, the "
    "focus. Stop and look before the next sheet.",
    "If the program stops: leave the sheet where it lies, read in the table which row it had reached, and have the "
    "rest written by the command above the table.",
)


def coupon_table(coupon: Coupon, kerf_mm: float) -> Table | None:
    """Return what to fill in beside a test cut: what fell out, or which kerf a gap stands for."""
    if coupon.columns:
        return Table(f"To fill in: {coupon.program.name}", coupon.columns, coupon.rows)
    passes = [p.id.removeprefix("passes-") for p in coupon.pieces if p.id.startswith("passes-")]
    if passes:
        tried = tuple((str(k), count, "") for k, count in enumerate(passes, 1))
        return Table("To fill in: what fell out", ("ticks", "passes", "fell out?"), tried)
    strips = sum(p.id.startswith("strip-") for p in coupon.pieces)
    if strips == 0:
        return None
    kerfs = [kerf_mm + KERF_STEP_MM * k for k in range(-KERF_ROWS, KERF_ROWS + 1)]
    rows = tuple((fixed((strips + 1) * kerf, 2), fixed(kerf, 2)) for kerf in kerfs if kerf > 0)
    return Table(f"Gap beside the {strips} strips, and the kerf that it means", ("gap, mm", "kerf, mm"), rows)


def joint_texts(facts: Facts) -> tuple[str, ...]:
    """Return how much is glued below each layer: "Joint with the layer below: 105 cm², about 1.6 g of glue."."""
    joints = (
        f"Joint with the layer below, where wood lies on wood: {area / 100:.0f} cm², about "
        f"{fixed(area * 1e-6 * GLUE_G_M2, 1)} g of glue."
        for area in facts.joints_mm2
    )
    return ("No glue below it.", *joints)


def dowel_texts(facts: Facts) -> tuple[str, ...]:
    """Return how the dowels go in, and how to clamp a stack that they stand out of; nothing if there are none."""
    holes = [p for p in facts.built.body.air if p.kind == "dowel"]
    if not holes:
        return ()
    low, high = holes[0].from_z_mm, holes[0].to_z_mm
    through = [
        x.index for x in facts.sliced.layers if x.z_mm < high - x.thickness_mm / 2 and x.z_mm > low - x.thickness_mm / 2
    ]
    each = " for each body" if facts.spec.count > 1 else ""
    size = f"{mm(high - low)}, {facts.spec.enclosure.dowel_mm:g} mm across"
    return (
        f"Cut {len(holes)} dowels{each} of {size}, to stand in the holes of layers {through[0]} to {through[-1]}. "
        "They line the stack up, dry and when it is glued. One that is too long holds the next layer up.",
        "Dowels: keep glue off their holes. Draw them out before the board goes on, and push them back for the next "
        f"layers; or bore the board where they stand. From layer {through[-1]} on they stay in, and none stands out "
        "(common practice).",
    )


def consumables(facts: Facts, bill: tuple[BillRow, ...]) -> tuple[str, ...]:
    """Return what is used up on the way and is not worth a line of the bill, after what is."""
    named = tuple(
        f"{row.item}, {row.used_in}: {fixed(row.quantity, 1)} {row.unit}"
        for row in bill
        if row.item in ("Wood glue", "Loose polyester fibre")
    )
    return (
        "scrap of the same sheet for the test cuts (sizes in the bill)",
        *named,
        "a small brush, a damp cloth, baking paper",
        "sanding paper, 120 and 180 grit",
        "pencil, masking tape",
        "lead-free solder, a little airtight sealant for the posts",
        "a lidded metal can for hot scraps",
    )


def measuring(facts: Facts) -> tuple[Step, ...]:
    """Return how the finished speaker is measured, held against its promise, and taught to the next build."""
    stem = facts.source.stem
    package, spec = f"out/{stem}", f"{stem}.yaml"
    return (
        Step(
            "measure-impedance",
            "measure",
            "Impedance first: it is easy, and tells most",
            (
                "Measure impedance at the posts from 20 Hz to 2 kHz, softly, and keep it as a file z.txt with the "
                "columns Hz, ohm and, if the meter has them, degrees.",
                f"`kerfwave promise {package} --impedance z.txt` lays it over what was promised and says what "
                "explains the difference: a leak, another volume, a driver that is not as its sheet says.",
            ),
        ),
        Step(
            "measure-sound",
            "measure",
            "Then the sound",
            (
                f"`kerfwave sweep write sweep.wav --for {package}` writes a sweep that begins no lower than the guide "
                "holds the cone. Turn the amplifier down, play it, and record it 1 m away and once close to cone and "
                "mouth.",
                "`kerfwave sweep read recording.wav --sweep sweep.wav --gate 6` makes response and distortion of it.",
                f"`kerfwave promise {package} --response response.csv` compares them by third octaves.",
            ),
            "No ear near the driver, and nobody wears headphones while a sweep is played.",
        ),
        Step(
            "measure-learn",
            "measure",
            "Let the next build know",
            (
                "Driver not as on its sheet? `kerfwave fit` makes a driver file of its own impedance.",
                "Test cuts read? `kerfwave learn recipe` writes passes and kerf with their date.",
                f"`kerfwave learn measured {spec}` keeps what the promise showed; the next build draws it in.",
            ),
        ),
    )
