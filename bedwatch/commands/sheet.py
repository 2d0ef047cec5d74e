"""`bedwatch sheet`: the printable cards by which a bed is found when it is not found without them."""

from __future__ import annotations

from pathlib import Path

from bedwatch.aim.cards.marks import CLEAR_MM, FACTORS, factor_for
from bedwatch.aim.cards.printing import pdf, svg
from bedwatch.aim.cards.sheet import PAPERS, Paper, pages
from bedwatch.bed import read_bed
from bedwatch.errors import UserError
from bedwatch.files import check_places, write_bytes


def run_sheet(bed_file: Path, out: Path, paper: str) -> int:
    """Write the cards of the size that suits the bed: a PDF of all pages, or SVG, one file a page."""
    bed = read_bed(bed_file)
    kind = out.suffix.lower()
    if kind not in (".pdf", ".svg"):
        raise UserError(f'--out: found "{out}", expected a name ending in .pdf or .svg')
    chosen = paper_of(paper)
    factor = factor_for(bed)
    if factor is None:
        across = min(bed.width_mm, bed.length_mm)
        raise UserError(
            f"{bed_file}: found a bed {across:g} mm across, expected {CLEAR_MM * FACTORS[0]:.0f} mm or more for four cards to "
            "lie in it; aim without cards"
        )
    made = pages(factor, chosen)
    content = {out: pdf(made)} if kind == ".pdf" else dict(zip(_names(out, len(made)), map(svg, made), strict=True))
    check_places({f"--out ({path.name})": path for path in content}, keep={"the bed file": bed_file})
    for path, data in content.items():
        write_bytes(path, data)
    print(
        f"Written: {', '.join(map(str, content))}: four cards for {bed.name}, {len(made)} page{'s'[: len(made) - 1]}."
    )
    print("Print at actual size, lay them in as they say, measure from the top of the wall down to the cards, then:")
    print(
        f'bedwatch aim SOURCE --bed {bed_file} --out AIM.toml --marks --marks-below-rim "95 mm"   (what you measured)'
    )
    return 0


def paper_of(text: str) -> Paper:
    """The paper of that name. Raises UserError when there is none."""
    for paper in PAPERS:
        if paper == text.lower():
            return paper
    raise UserError(f'--paper: found "{text}", expected {" or ".join(PAPERS)}')


def _names(out: Path, count: int) -> list[Path]:
    return [out] if count == 1 else [out.with_stem(f"{out.stem}-{number}") for number in range(1, count + 1)]
