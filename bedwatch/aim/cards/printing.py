"""Pages of plain shapes as files that print true to scale: SVG (one page a file) and PDF (all pages)."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from bedwatch.aim.cards.sheet import Page, Words
from bedwatch.bed.model import Points

_POINTS_PER_MM = 72.0 / 25.4
_FONT = "Helvetica"
_EM = 0.53  # mean width of its letters, of their size: near enough to centre a word


def svg(page: Page) -> bytes:
    """A page in the units of its viewBox, which are millimetres on paper (SVG 1.1, W3C 2011)."""
    width, height = page.size_mm
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}mm" height="{height:g}mm" viewBox="0 0 {width:g} {height:g}">',
        f'<rect width="{width:g}" height="{height:g}" fill="#fff"/>',
        '<g shape-rendering="crispEdges">',
    ]
    for shape in page.shapes:
        out.append(f'<polygon points="{_listed(shape.corners_mm)}" fill="{"#fff" if shape.white else "#000"}"/>')
    out.append('</g>\n<g fill="none" stroke="#000">')
    for stroke in page.strokes:
        out.append(f'<polyline points="{_listed(stroke.places_mm)}" stroke-width="{stroke.width_mm:g}"/>')
    out.append(f'</g>\n<g font-family="{_FONT}, Arial, sans-serif">')
    for words in page.words:
        (x, y), anchor = words.at_mm, ' text-anchor="middle"' if words.centred else ""
        out.append(f'<text x="{x:.3f}" y="{y:.3f}" font-size="{words.size_mm:.3f}"{anchor}>{escape(words.text)}</text>')
    out.append("</g>\n</svg>\n")
    return "\n".join(out).encode()


def pdf(pages: Sequence[Page]) -> bytes:
    """A plain PDF 1.6 (ISO 32000-1) of all pages, with the wish that viewers print it unscaled (table 150 there)."""
    first = 4  # 1 catalogue, 2 page tree, 3 font; then two objects a page
    kids = " ".join(f"{first + 2 * i} 0 R" for i in range(len(pages)))
    bodies = [
        b"<< /Type /Catalog /Pages 2 0 R /ViewerPreferences << /PrintScaling /None >> >>",
        f"<< /Type /Pages /Kids [{kids}] /Count {len(pages)} >>".encode(),
        f"<< /Type /Font /Subtype /Type1 /BaseFont /{_FONT} /Encoding /WinAnsiEncoding >>".encode(),
    ]
    for i, page in enumerate(pages):
        width, height = (side * _POINTS_PER_MM for side in page.size_mm)
        bodies.append(
            f"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 {width:.3f} {height:.3f}] "
            f"/Resources << /Font << /F 3 0 R >> >> /Contents {first + 2 * i + 1} 0 R >>".encode()
        )
        drawn = _drawn(page)
        bodies.append(b"<< /Length %d >>\nstream\n%s\nendstream" % (len(drawn), drawn))
    out = bytearray(b"%PDF-1.6\n%\xe2\xe3\xcf\xd3\n")
    places = []
    for number, body in enumerate(bodies, start=1):
        places.append(len(out))
        out += b"%d 0 obj\n%s\nendobj\n" % (number, body)
    table = len(out)
    out += b"xref\n0 %d\n0000000000 65535 f \n" % (len(bodies) + 1)
    out += b"".join(b"%010d 00000 n \n" % place for place in places)
    out += b"trailer\n<< /Size %d /Root 1 0 R >>\nstartxref\n%d\n%%%%EOF\n" % (len(bodies) + 1, table)
    return bytes(out)


def _drawn(page: Page) -> bytes:
    """The page's content stream, in millimetres with y down turned to points with y up."""
    height = page.size_mm[1]
    scale = f"{_POINTS_PER_MM:.8f}"
    out = [f"{scale} 0 0 {scale} 0 0 cm"]
    for shape in page.shapes:
        out.append(f"{int(shape.white)} g {_path(shape.corners_mm, height)} h f")
    out.append("0 g 0 G")
    for stroke in page.strokes:
        out.append(f"{stroke.width_mm:g} w {_path(stroke.places_mm, height)} S")
    for words in page.words:
        x, y = words.at_mm
        x -= _width_mm(words) / 2 if words.centred else 0.0
        text = words.text.replace("\\", r"\\").replace("(", r"\(").replace(")", r"\)")
        out.append(f"BT /F {words.size_mm:.3f} Tf {x:.3f} {height - y:.3f} Td ({text}) Tj ET")
    return "\n".join(out).encode("ascii")


def _width_mm(words: Words) -> float:
    return _EM * words.size_mm * len(words.text)


def _path(places_mm: Points, height_mm: float) -> str:
    turned = [f"{x:.4f} {height_mm - y:.4f}" for x, y in places_mm.tolist()]
    return " ".join([f"{turned[0]} m", *(f"{place} l" for place in turned[1:])])


def _listed(places_mm: Points) -> str:
    return " ".join(f"{x:.4f},{y:.4f}" for x, y in places_mm.tolist())


__all__ = ["pdf", "svg"]
