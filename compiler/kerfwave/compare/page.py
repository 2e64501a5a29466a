"""A comparison as one HTML page that needs nothing else: tables, both designs' curves and layers one over the other."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from html import escape
from typing import Any

from kerfwave.compare import words
from kerfwave.compare.headlines import curve
from kerfwave.compare.model import Comparison
from kerfwave.engine.why import plain

Report = Mapping[str, Any]
OLD, NEW = "#b34700", "#0072b2"  # Okabe and Ito's vermilion, darker, and blue; A is dashed as well
_CHARTS = (
    ("Response", "spl_db", "level, dB", 45.0),
    ("Excursion", "excursion_peak_mm", "peak, mm", None),
    ("Impedance", "impedance_ohm", "ohm", None),
)  # title, curve, label, span of the scale below the greatest value
_STYLE = """
:root{color-scheme:light dark;--ink:#1f1d1a;--quiet:#5d574c;--paper:#fff;--line:#cfc9bd}
@media (prefers-color-scheme:dark){:root{--ink:#ece8e0;--quiet:#b9b2a5;--paper:#1b1a18;--line:#4a463f}}
body{font:16px/1.5 system-ui,sans-serif;color:var(--ink);background:var(--paper);
  max-width:62rem;margin:0 auto;padding:1rem}
h1{font-size:1.5rem;line-height:1.25}h2{font-size:1.2rem;margin:2rem 0 .5rem}
p.quiet,figcaption,.quiet{color:var(--quiet)}
.wide{overflow-x:auto}table{border-collapse:collapse;width:100%}
td{overflow-wrap:anywhere}th,td{text-align:left;padding:.3rem .8rem .3rem 0;border-bottom:1px solid var(--line);
  vertical-align:top}
td:first-child{white-space:nowrap}td.n{font-variant-numeric:tabular-nums;white-space:nowrap}
figure{margin:1rem 0;break-inside:avoid}figure svg{max-width:100%;height:auto;background:#fff;display:block}
.layers{display:grid;grid-template-columns:repeat(auto-fill,minmax(17rem,1fr));gap:1rem}.layers figure{margin:0}
.a{border-bottom:3px dashed #b34700}.b{border-bottom:3px solid #0072b2}
@media print{body{max-width:none}h2{break-after:avoid}}
"""


def render_page(comparison: Comparison, a: Report, b: Report) -> str:
    """Return the page. Every text of a spec or report goes through `_text`, and there is no script in it."""
    name_a, name_b = comparison.name_a or "A", comparison.name_b or "B"
    main = [
        f"<h1>{_text(name_a)} → {_text(name_b)}</h1>",
        f"<p><strong>{_text(words.verdict(comparison))}</strong> ({_text(words.spec_words(comparison))}).</p>",
        '<p>In the pictures: <span class="a">A, before: dashed</span>, <span class="b">B, after: solid</span>.</p>',
    ]
    if comparison.spec_changes is None and not comparison.same_spec:
        digests = f"{comparison.spec_sha256_a[:12]} → {comparison.spec_sha256_b[:12]}"
        main.append(f'<p class="quiet">Spec digests: {_text(digests)}</p>')
    rows = [words.spec_row(change) for change in comparison.spec_changes or ()]
    main += _table("Spec", ("", "value", "from → to", "where"), rows)
    if comparison.reached:
        main += _list("Stages", words.reach_lines(comparison))
    main += _table(
        "Numbers", ("", "number", "from → to", "by"), [words.number_row(moved) for moved in comparison.numbers]
    )
    charts = [] if comparison.same else _charts(a, b)
    main += ["<h2>Curves</h2>", *charts] if charts else []
    if not comparison.same and comparison.sheets:
        main += _table(
            "Sheets already cut", ("sheet", "", "pieces"), [words.sheet_row(use) for use in comparison.sheets]
        )
        main += _items(words.cut_lines(comparison))
    if comparison.pieces or comparison.placed_elsewhere:
        rows = [words.piece_row(change) for change in comparison.pieces]
        title = words.pieces_title(comparison)
        main += _table(title[:1].upper() + title[1:], ("", "piece", "what"), rows) or [f"<h2>{_text(title)}</h2>"]
    drawings = _layers(comparison, a, b)
    if drawings:
        main += ["<h2>Outlines that changed</h2>", '<div class="layers">', *drawings, "</div>"]
    for title, changes in (("Checks", comparison.checks), ("Safety", comparison.safety)):
        main += _table(title, ("", "line", "level", "text"), [words.level_row(change) for change in changes])
    if comparison.others:
        main += _list("Also not the same", comparison.others)
    head = (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">\n"
        f"<title>{_text(name_a)} → {_text(name_b)}</title>\n<style>{_STYLE}</style>\n</head>\n<body>\n<main>\n"
    )
    return head + "\n".join(main) + "\n</main>\n</body>\n</html>\n"


def _text(text: str) -> str:
    return escape(plain(text, 400).replace("->", "→"))


def _table(title: str, head: Sequence[str], rows: Iterable[Sequence[str]]) -> list[str]:
    lines = [f"<tr>{''.join(_cell(cell) for cell in (*row, *[''] * (len(head) - len(row))))}</tr>" for row in rows]
    if not lines:
        return []
    top = "".join(f'<th scope="col">{_text(cell or "change")}</th>' for cell in head)
    opening = f'<div class="wide"><table><thead><tr>{top}</tr></thead><tbody>'
    return [f"<h2>{_text(title)}</h2>", opening, *lines, "</tbody></table></div>"]


def _cell(text: str) -> str:
    """Return a cell; a difference such as (+0.074) stays on one line, however narrow the page."""
    kind = ' class="n"' if text.startswith(("(+", "(-")) else ""
    return f"<td{kind}>{_text(text)}</td>"


def _list(title: str, lines: Sequence[str]) -> list[str]:
    return [f"<h2>{_text(title)}</h2>", *_items(lines)]


def _items(lines: Sequence[str]) -> list[str]:
    return ["<ul>", *(f"<li>{_text(line)}</li>" for line in lines), "</ul>"] if lines else []


def _charts(a: Report, b: Report) -> list[str]:
    """Return a figure for each curve that both have; A's line lies on top, so that its dashes show where they agree."""
    from kerfwave.writers.charts import Series, line_chart  # heavy

    figures = []
    for title, name, label, span in _CHARTS:
        before, after = curve(a, name), curve(b, name)
        if before is None or after is None:
            continue
        lines = (
            Series("B, after", tuple(after[0]), tuple(after[1]), 0),
            Series("A, before", tuple(before[0]), tuple(before[1]), 1),
        )
        seen = [y for line in lines for x, y in zip(line.x, line.y, strict=True) if 20.0 <= x <= 2000.0]
        if not seen:
            continue
        low = 0.0 if span is None else 5.0 * ((max(max(seen) - span, min(seen))) // 5.0)
        drawing = line_chart(lines, title=f"{title}, A and B", y_label=label, y_from=low, ident=f"chart-{name}")
        figures.append(f"<figure>{drawing}<figcaption>{_text(title)}: A dashed, B solid.</figcaption></figure>")
    return figures


def _layers(comparison: Comparison, a: Report, b: Report) -> list[str]:
    """Return a figure of each layer, or inset, that holds a piece which is new, gone or moved."""
    touched = {(change.body, change.id) for change in comparison.pieces if change.kind != "changed" or change.moved_mm}
    groups: dict[tuple[int, int, str], tuple[list[Any], list[Any]]] = {}
    for side, report in enumerate((a, b)):
        for piece in report.get("pieces", ()):
            body, layer = piece.get("body", 1), piece.get("layer")
            key = (body, layer, "") if isinstance(layer, int) else (body, 10**6, str(piece["id"]))
            groups.setdefault(key, ([], []))[side].append(piece)
    return [
        _overlay(index, _caption(key), *groups[key])
        for index, key in enumerate(sorted(groups))
        if any((piece.get("body", 1), piece["id"]) in touched for side in groups[key] for piece in side)
    ]


def _caption(key: tuple[int, int, str]) -> str:
    body, layer, name = key
    return (f"inset {name}" if name else f"layer {layer}") + (f", body {body}" if body != 1 else "")


def _overlay(index: int, caption: str, a: Sequence[Mapping[str, Any]], b: Sequence[Mapping[str, Any]]) -> str:
    from kerfwave.writers.svg import bounds, finish, n, outline_data, page  # heavy

    rings = [[ring for piece in side for ring in (piece["outline"], *piece.get("holes", ()))] for side in (a, b)]
    x0, y0, x1, y1 = bounds(ring for side in rings for ring in side)
    unit = max(x1 - x0, y1 - y0, 1.0) / 100
    edge = 3 * unit
    title = f"{caption}, A and B"
    drawing = page(
        f"overlay-{index}",
        0.0,
        0.0,
        x1 - x0 + 2 * edge,
        y1 - y0 + 2 * edge,
        title=title,
        desc=f"{title}: A dashed, B solid.",
    )
    for side, colour, fill, dash in (
        (rings[1], NEW, "#dceaf4", ""),
        (rings[0], OLD, "none", f"{n(2 * unit)} {n(1.4 * unit)}"),
    ):
        if side:
            data = outline_data(side, lambda p: (p[0] - x0 + edge, y1 - p[1] + edge))
            more = {"stroke_dasharray": dash} if dash else {}
            drawing.add(
                drawing.path(d=data, fill=fill, fill_rule="evenodd", stroke=colour, stroke_width=n(0.7 * unit), **more)
            )
    return f"<figure>{finish(drawing)}<figcaption>{_text(caption[:1].upper() + caption[1:])}</figcaption></figure>"
