"""The build guide: one HTML file that works offline, on a phone beside the machine and on paper.

The guide holds no arithmetic and no opinion: `GuideModel` carries what is to be shown, in the words of the trades,
and `render_guide` sets it. Text is escaped by the template engine; drawings are looked through before they are set
in; a content security policy with the digests of our own style sheet and script forbids everything else, so that
nothing from a spec can act and nothing is fetched.
"""

from __future__ import annotations

import base64
import hashlib
import re
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from typing import Any
from xml.etree import ElementTree

import jinja2
from markupsafe import Markup, escape

from kerfwave.model.parts import Check, SafetyLine
from kerfwave.numfmt import fixed
from kerfwave.writers.assembly import FillNote, Step
from kerfwave.writers.bill import BillRow
from kerfwave.writers.words import duration, listed, mm, mm_and_inches, plain, significant, slug

Fact = tuple[str, str]  # a label and its value in words, e.g. ("Guide", "1.42 m long, 36 x 74 mm")


@dataclass(frozen=True, slots=True)
class Table:
    """A table with its caption; the first column heads its row."""

    caption: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class CouponView:
    """A test cut and how to read it."""

    name: str
    svg: str
    program: str  # file name, e.g. "gcode/coupon-kerf.nc"
    time_s: float
    what: str  # what it tells, one sentence
    steps: tuple[str, ...]
    table: Table | None = None  # to fill in, or to read off


@dataclass(frozen=True, slots=True)
class BreakdownView:
    """A sheet larger than the bed, and its cuts."""

    number: int
    svg: str
    cuts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PieceProgram:
    """The program of one piece of a sheet."""

    file: str
    piece: str
    time_s: float
    after: tuple[str, ...]  # pieces that must be cut before


@dataclass(frozen=True, slots=True)
class SheetView:
    """A sheet and what its program will do, or its programs."""

    number: int
    svg: str
    program: str
    time_s: float
    pieces: tuple[str, ...]
    recipe: str  # "full power, 250 mm/min, 8 passes, kerf 0.18 mm"
    stock: str
    verified: bool
    cut_mm: float | None = None
    notes: tuple[str, ...] = ()  # what to see to before and while it runs
    restarts: Table | None = None  # where a stopped program can be taken up again
    bare: tuple[str, ...] = ()  # pieces whose id is not scored
    programs: tuple[PieceProgram, ...] = ()  # one a piece, in the order of cutting; empty if there is one for all


@dataclass(frozen=True, slots=True)
class LayerView:
    """A layer as it is glued on the one below."""

    index: int
    svg: str
    text: str
    pieces: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class InsetView:
    """A piece that stands across the layers."""

    piece: str
    title: str
    svg: str
    text: str


@dataclass(frozen=True, slots=True)
class ChartView:
    """A chart, what it says in words, and its values."""

    title: str
    svg: str
    text: str
    table: Table | None = None


@dataclass(frozen=True, slots=True)
class CutRow:
    """One line of the cut list. Sizes are those of the finished piece's box."""

    piece: str
    role: str
    layer: int | None
    width_mm: float
    height_mm: float
    thickness_mm: float
    sheet: int | None


@dataclass(frozen=True, slots=True)
class GuideModel:
    """All that the guide shows, in its own words. Empty parts leave their section out."""

    name: str
    key: str  # tells the ticks of one revision from those of another: the stem and the digest of the spec
    summary: str  # what it is, a sentence or two
    outcome: str  # "stop", "fix first" or "proceed with these duties"
    outcome_text: str = ""
    notes: str = ""
    headline: tuple[Fact, ...] = ()
    safety: tuple[SafetyLine, ...] = ()
    tools: tuple[str, ...] = ()
    consumables: tuple[str, ...] = ()
    unverified: bool = False
    watch: tuple[str, ...] = ()  # while any sheet is cut
    coupons: tuple[CouponView, ...] = ()
    learn: str = ""  # the command that writes down what the coupons told
    cut_down: tuple[BreakdownView, ...] = ()  # before the sheets
    line_steps: tuple[str, ...] = ()  # how each of those cuts is made
    sheets: tuple[SheetView, ...] = ()
    pieces_svg: str = ""
    plan_svg: str = ""
    more_plans: tuple[str, ...] = ()  # of the storeys above the first
    stack_svg: str = ""
    layers: tuple[LayerView, ...] = ()
    insets: tuple[InsetView, ...] = ()
    fill: tuple[FillNote, ...] = ()
    steps: tuple[Step, ...] = ()
    acoustics: tuple[Fact, ...] = ()
    charts: tuple[ChartView, ...] = ()
    measuring: tuple[Step, ...] = ()  # how the finished speaker is measured
    bill: tuple[BillRow, ...] = ()
    bill_total: str = ""  # a sentence on mass and price of it all
    cut_list: tuple[CutRow, ...] = ()
    checks: tuple[Check, ...] = ()
    provenance: tuple[Fact, ...] = ()
    tables: tuple[Table, ...] = field(default=())  # further tables for the end


OUTCOMES = ("stop", "fix first", "proceed with these duties")
SAFETY_LEVELS = (
    ("stop", "Stop", "Do not start while one of these stands. Put it right, say so in the spec, and build again."),
    ("fix-first", "Fix first", "Put these right before the laser is switched on."),
    ("duty", "Duties", "Keep to these from the first cut to the last."),
    ("note", "Good to know", ""),
)
CHECK_WORDS = {"ok": "ok", "warn": "look", "fail": "fails"}


def render_guide(model: GuideModel) -> str:
    """Return the guide as one HTML document.

    Raises:
        ValueError: when the outcome is none of the three words, or a drawing is not the plain SVG that our writers
            make (a script, an event handler, a foreign element or a link to elsewhere).
    """
    if model.outcome not in OUTCOMES:
        raise ValueError(f"outcome must be one of {', '.join(OUTCOMES)}, not {model.outcome!r}")
    return render_page(
        "guide.html.jinja",
        script=_asset("guide.js"),
        m=model,
        safety_levels=SAFETY_LEVELS,
        check_words=CHECK_WORDS,
        steps_of=_steps_of(model.steps),
        layer_steps={step.layer: step for step in model.steps if step.kind == "layer"},
        before_layer=_before_layer(model.steps),
    )


def render_page(template: str, *, script: str = "", **values: Any) -> str:
    """Return a page from a template: one HTML document that works offline, and whose policy allows nothing else.

    The template gets `values`, the house's style sheet as `style`, `script`, and the policy that fits both.
    """
    style = _asset("guide.css")
    scripts = f"script-src {_digest(script)}; " if script else ""
    page = (
        _environment()
        .get_template(template)
        .render(
            **values,
            style=Markup(style),
            script=Markup(script),
            policy=f"default-src 'none'; style-src {_digest(style)}; {scripts}base-uri 'none'; form-action 'none'",
        )
    )
    return _without_blank_lines(page) + "\n"


def drawing(svg: str) -> Markup:
    """Return one of our drawings for setting into the page, after looking it through.

    Raises:
        ValueError: when it is not well-formed, or holds anything that could act or fetch.
    """
    try:
        root = ElementTree.fromstring(svg)
    except ElementTree.ParseError as error:
        raise ValueError(f"a drawing is not well-formed: {error}") from None
    for element in root.iter():
        name = str(element.tag).rpartition("}")[2]
        if name not in SVG_ELEMENTS:
            raise ValueError(f"a drawing holds a {name!r} element")
        for key, value in element.attrib.items():
            local = key.rpartition("}")[2].lower()
            if (
                local.startswith("on")
                or local in ("href", "style")
                or (local != "aria-label" and re.search(r"url\((?!#)", value, re.I))
            ):
                raise ValueError(f"a drawing holds the attribute {local}={value!r}")
    return Markup(svg.strip())


SVG_ELEMENTS = frozenset(["svg", "title", "desc", "defs", "pattern", "g", "path", "line", "rect", "circle", "text"])


def _steps_of(steps: tuple[Step, ...]) -> dict[str, tuple[Step, ...]]:
    groups: dict[str, tuple[Step, ...]] = {}
    for step in steps:
        groups[step.kind] = (*groups.get(step.kind, ()), step)
    return groups


def _before_layer(steps: tuple[Step, ...]) -> dict[int, tuple[Step, ...]]:
    """Return the steps that come between two layers, by the layer that they come before."""
    found: dict[int, tuple[Step, ...]] = {}
    for step in steps:
        if step.kind in ("fill", "wire", "close") and step.layer is not None:
            found[step.layer] = (*found.get(step.layer, ()), step)
    return found


@cache
def _asset(name: str) -> str:
    """Return a file beside the template, as it will stand in the page: the digest has to be of exactly that text."""
    return _without_blank_lines(files("kerfwave.writers").joinpath("templates", name).read_text(encoding="utf-8"))


def _without_blank_lines(text: str) -> str:
    return re.sub(r"\n\s*\n", "\n", text).strip()


def _digest(text: str) -> str:
    """Return the source expression that allows exactly this inline text (W3C Content Security Policy, level 2 on)."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


def _shown(value: Any) -> Any:
    """Return what an expression of the template prints: plain text, or numbers that were not formatted refused."""
    if isinstance(value, Markup):
        return value
    if isinstance(value, float):
        raise TypeError(f"a number reached the page unformatted: {value!r}")
    return plain(value) if isinstance(value, str) else value


def _coded(text: str) -> Markup:
    """Return text as it is, but for `what is to be typed`, which is set as code."""

    def code(typed: re.Match[str]) -> str:
        # A line may end between an option and the next, not behind its dashes.
        return "<code>" + re.sub(r"--[a-z-]+", r'<span class="option">\g<0></span>', typed[1]) + "</code>"

    return Markup(re.sub(r"`([^`]+)`", code, str(escape(plain(text)))))


@cache
def _environment() -> jinja2.Environment:
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("kerfwave.writers"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        finalize=_shown,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters |= {
        "coded": _coded,
        "drawing": drawing,
        "duration": duration,
        "fixed": fixed,
        "listed": listed,
        "mm": mm,
        "mm_and_inches": mm_and_inches,
        "significant": significant,
        "slug": slug,
    }
    return environment
