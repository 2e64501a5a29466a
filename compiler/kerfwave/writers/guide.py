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
from functools import cache
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import jinja2
from markupsafe import Markup, escape

from kerfwave.numfmt import fixed
from kerfwave.writers.assembly import Step
from kerfwave.writers.guide_model import GuideModel
from kerfwave.writers.words import duration, listed, mm, mm_and_inches, plain, significant, slug

# A plain path, as importlib.resources would add its import time to every build.
TEMPLATES = Path(__file__).with_name("templates")
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
                or ("(" in value and local != "aria-label" and FETCHES.search(value))
            ):
                raise ValueError(f"a drawing holds the attribute {local}={value!r}")
    return Markup(svg.strip())


FETCHES = re.compile(r"url\((?!#)", re.IGNORECASE)
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
    return _without_blank_lines((TEMPLATES / name).read_text(encoding="utf-8"))


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
        loader=jinja2.FileSystemLoader(TEMPLATES),
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
