"""Which sheets may go under the beam, which want a question answered first, and which never.

Reasons are those of published workshop policies (UT Austin, UI Chicago, Carnegie Mellon, Iowa State, a Swedish
workshop page). Reasons that are printed there but are chemically wrong (chlorine from polycarbonate, hydrogen fluoride
from acetal, cyanide from viscose) are left out. A material that is not in the table is not allowed.
"""

from __future__ import annotations

from dataclasses import dataclass

POLICIES = "university laser policies"
FROM_MEMORY = "from memory"


@dataclass(frozen=True, slots=True)
class Material:
    """One kind of sheet and how it stands: "accepted", "doubtful" (find something out first) or "forbidden"."""

    key: str
    name: str
    standing: str
    reason: str
    find_out: str = ""  # doubtful ones: the question whose answer decides
    source: str = POLICIES
    glued: bool = False  # held together by a glue whose kind matters


def _accepted(key: str, name: str, reason: str, *, glued: bool = False) -> Material:
    return Material(key, name, "accepted", reason, glued=glued)


def _doubtful(
    key: str, name: str, reason: str, find_out: str, source: str = POLICIES, *, glued: bool = False
) -> Material:
    return Material(key, name, "doubtful", reason, find_out, source, glued)


def _forbidden(key: str, name: str, reason: str, source: str = POLICIES) -> Material:
    return Material(key, name, "forbidden", reason, source=source)


_PLY = "some workshops' policies allow it, one forbids all plywood for its glue fume"
_SHEET = "ask for the safety data sheet and the binder; cut only with the fume led outdoors, if your rules allow it"
_MIRROR = "throws the beam back and to the side"

MATERIALS: tuple[Material, ...] = (
    _accepted("birch-plywood", "birch plywood", _PLY, glued=True),
    _accepted("poplar-plywood", "poplar plywood", _PLY, glued=True),
    _accepted("basswood-plywood", "basswood (lime) plywood", _PLY, glued=True),
    _accepted("plywood", "plywood, other species", _PLY, glued=True),
    _accepted("solid-wood", "solid wood, untreated", "it burns and smokes as plywood does, without the glue"),
    _accepted("cardboard", "cardboard, uncoated", "it catches fire more easily than wood does: one pass, eyes on it"),
    _accepted("paper", "paper, uncoated", "it catches fire more easily than wood does: one pass, eyes on it"),
    _doubtful(
        "mdf",
        "medium-density fibreboard",
        "holds much resin, and urea-formaldehyde boards give off isocyanic acid and ammonia when heated",
        _SHEET,
        "BioResources 7(4) 2012 p. 4600",
        glued=True,
    ),
    _doubtful(
        "hdf", "high-density fibreboard", "as medium-density fibreboard, and denser", _SHEET, FROM_MEMORY, glued=True
    ),
    _doubtful(
        "particleboard",
        "particleboard",
        "its cutting fume was studied as a toxic and carcinogenic hazard",
        _SHEET,
        "abstract on laser cutting of particleboard and phenolic panels",
        glued=True,
    ),
    _doubtful("hardboard", "hardboard", "binder and oil differ from maker to maker", _SHEET, FROM_MEMORY, glued=True),
    _doubtful("bamboo-plywood", "bamboo board", "much glue, seldom declared", _SHEET, FROM_MEMORY, glued=True),
    _doubtful(
        "phenolic-plywood",
        "phenolic-glued (exterior) plywood",
        "its dark glue chars to a hard residue and cuts badly, and phenolic panels' fume was studied as a hazard",
        "ask for the glue class (EN 314-2) and the safety data sheet, and cut a coupon with the fume led outdoors",
        "abstract on laser cutting of particleboard and phenolic panels; laser users' forum threads",
        glued=True,
    ),
    _doubtful(
        "osb",
        "oriented strand board",
        "its binder is seldom declared and may be an isocyanate resin",
        _SHEET,
        "university laser policies; the kind of resin from memory",
        glued=True,
    ),
    _doubtful(
        "wool-felt",
        "wool felt",
        "the policies disagree: one forbids it for hydrogen cyanide, two allow it",
        "make sure that it is all wool, and that your rules allow it",
    ),
    _doubtful(
        "leather-vegetable",
        "vegetable-tanned leather",
        "one policy allows it, but chrome-tanned leather looks the same",
        "have the tannage in writing",
    ),
    _forbidden("pvc", "PVC", "gives off hydrogen chloride, about 0.58 g for each gram burnt, and corrodes the machine"),
    _forbidden("vinyl", "vinyl", "chlorinated: gives off hydrogen chloride"),
    _forbidden("imitation-leather", "imitation leather", "often PVC: gives off hydrogen chloride"),
    _forbidden("chlorinated-plastic", "any chlorinated plastic", "gives off hydrogen chloride"),
    _forbidden("abs", "ABS", "gives off hydrogen cyanide, melts and catches fire"),
    _forbidden("polycarbonate", "polycarbonate", "flames, discolours and cuts badly"),
    _forbidden("ptfe", "PTFE", "gives off carbonyl fluoride; three quarters of its mass is fluorine"),
    _forbidden("fluoropolymer", "any fluoropolymer", "gives off carbonyl fluoride"),
    _forbidden("fibreglass", "fibreglass", "gives off resin fume with hydrogen cyanide, and fibres"),
    _forbidden("carbon-fibre", "carbon fibre", "gives off resin fume with hydrogen cyanide, and fibres"),
    _forbidden("epoxy", "epoxy board", "gives off resin fume with hydrogen cyanide"),
    _forbidden("polyurethane", "polyurethane", "gives off hydrogen cyanide"),
    _forbidden("foam", "plastic foam", "burns very fast and drips"),
    _forbidden("polystyrene-foam", "polystyrene foam", "burns very fast and drips; named as a leading cause of fires"),
    _forbidden("polypropylene-foam", "polypropylene foam", "melts and drips while it burns"),
    _forbidden("polyethylene", "polyethylene (HDPE)", "melts and drips while it burns"),
    _forbidden("petg", "PETG", "melts and drips while it burns"),
    _forbidden("nylon", "nylon", "gives off hydrogen cyanide, melts"),
    _forbidden("leather-chrome", "chrome-tanned leather", "its smoke and ash can hold hexavalent chromium"),
    _forbidden("mirror", "mirror or mirrored sheet", _MIRROR),
    _forbidden("bare-metal", "bare or shiny metal", f"{_MIRROR}, and a few watts do not cut it"),
    _forbidden(
        "galvanised-metal",
        "galvanised metal",
        f"{_MIRROR}; struck at focus it gives off zinc oxide fume",
        "university laser policies; the zinc fume from memory",
    ),
    _forbidden(
        "coated-metal",
        "painted or unknown coated metal",
        "the coating's fume is not known and can hold heavy-metal pigments",
        "university laser policies; the pigments from memory",
    ),
    _forbidden("adhesive-backed", "adhesive-backed sheet", "what its adhesive gives off is not known"),
    _forbidden(
        "treated-wood",
        "treated wood (preservative, fire retardant)",
        "its smoke and ash can hold what it was treated with: copper, chromium, arsenic, boron",
        FROM_MEMORY,
    ),
    _forbidden(
        "laminate",
        "melamine or high-pressure laminate",
        "nitrogen-bearing and phenolic fume from its faces",
        FROM_MEMORY,
    ),
)

_BY_KEY = {material.key: material for material in MATERIALS}


def find(key: str) -> Material | None:
    """Return the material of that key, or None: not in the table, and so not allowed."""
    return _BY_KEY.get(key)
