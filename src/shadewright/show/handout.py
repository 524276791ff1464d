"""The report that a customer is handed: one PDF with the verdict, the sizes, the pictures, what was assumed and cautions."""

from __future__ import annotations

import math
import tempfile
from collections.abc import Callable, Sequence
from datetime import date
from io import BytesIO
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import matplotlib
from reportlab.lib.colors import HexColor
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.lib.utils import ImageReader
from reportlab.pdfbase.pdfmetrics import registerFont, registerFontFamily
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    Flowable,
    Frame,
    Image,
    KeepTogether,
    PageTemplate,
    Paragraph,
    Spacer,
    Table,
)

from shadewright.clearance.check import Verdict, check
from shadewright.design.weigh import weighed_settings
from shadewright.files import write_whole
from shadewright.light.share import light_map
from shadewright.make.drawing import CAUTIONS
from shadewright.make.paper import SIZES, Paper
from shadewright.model.hood import Hood
from shadewright.model.shape import HoodShape, MeshHood, TunnelHood
from shadewright.optics.beam import Job
from shadewright.show.gallery import all_pictures

Progress = Callable[[str, float], None]

MARGIN = 15.0 * mm
FONT, BOLD = "DejaVuSans", "DejaVuSans-Bold"
INK, GREY = HexColor("#000000"), HexColor("#5f5f5f")
CELLS = 61
MOST_LISTED = 40
"""Settings that the table of losses lists."""
CAPTIONS = {
    "section": "The hood cut through the axis, with the outermost rays that reach the frame. The rim ends where they would begin to meet it.",
    "rim": "The rim unrolled: how far forward each part of it may reach, what stops it there, and the rim as made.",
    "opening": "The hood's opening as the lens looks out of it, laid over the frame.",
    "sensor": "What the sensor loses to the hood, beside a hood a few millimetres too deep.",
    "sky": "From which directions light still reaches the front glass: the darker, the better shaded.",
    "solid": "The hood as it is made.",
}
_SIGNS = {True: "\u2713", False: "\u2717"}


def write_handout(
    job: Job,
    document: Hood,
    shape: HoodShape,
    path: Path,
    *,
    paper: Paper = Paper.A4,
    warnings: Sequence[str] = (),
    made_on: date | None = None,
    progress: Progress = lambda _step, _share: None,
) -> Path:
    """Write the report of a hood as PDF. Raises OpticsError, MakeError, FileError."""
    progress("check", 0.0)
    verdict = check(job, shape, accessories=document.accessory, allowance=document.wishes.allowance)
    progress("light", 0.4)
    let_in = [
        (beam.label, light_map(beam, shape, cells=CELLS).let_in) for beam in map(job.beam, weighed_settings(job))
    ]
    with tempfile.TemporaryDirectory(prefix="shadewright-report-") as folder:
        named = Path(folder) / "hood"
        found = all_pictures(job, document, shape, named, progress=lambda word, share: progress(word, 0.5 + 0.4 * share))
        pictures = {entry.stem.removeprefix("hood-"): entry for entry in found if entry.suffix == ".png"}
        progress("report", 0.95)
        content = _bound(job, document, shape, verdict, let_in, pictures, paper, [*warnings], made_on or date.today())
    progress("done", 1.0)
    return write_whole(path, content)


def _styles() -> dict[str, ParagraphStyle]:
    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    for name in (FONT, BOLD):
        registerFont(TTFont(name, str(folder / f"{name}.ttf")))
    registerFontFamily(FONT, normal=FONT, bold=BOLD, italic=FONT, boldItalic=BOLD)
    plain = ParagraphStyle("plain", fontName=FONT, fontSize=9, leading=12.5, textColor=INK, splitLongWords=1)
    return {
        "plain": plain,
        "title": ParagraphStyle("title", plain, fontName=BOLD, fontSize=19, leading=23, spaceAfter=2),
        "under": ParagraphStyle("under", plain, textColor=GREY, spaceAfter=8),
        "head": ParagraphStyle("head", plain, fontName=BOLD, fontSize=11.5, leading=15, spaceBefore=9, spaceAfter=3),
        "verdict": ParagraphStyle("verdict", plain, fontName=BOLD, fontSize=12, leading=16),
        "small": ParagraphStyle("small", plain, fontSize=8, leading=11),
        "item": ParagraphStyle("item", plain, leftIndent=10, bulletIndent=0, spaceAfter=2),
    }


def _bound(
    job: Job, document: Hood, shape: HoodShape, verdict: Verdict, let_in: Sequence[tuple[str, float]], pictures: dict[str, Path],
    paper: Paper, warnings: Sequence[str], day: date,
) -> bytes:  # fmt: skip
    """The pages as bytes of a PDF, the same for the same report."""
    style = _styles()
    width, height = (side * mm for side in SIZES[paper])
    stream = BytesIO()
    foot = f"{document.name}, for {job.lens.name} on {job.camera.name}"

    def finish_page(canvas: Canvas, laid: BaseDocTemplate) -> None:
        canvas.setFont(FONT, 7.5)
        canvas.setFillColor(GREY)
        canvas.drawString(MARGIN, 9 * mm, foot if len(foot) < 110 else foot[:107] + "...")
        canvas.drawRightString(width - MARGIN, 9 * mm, f"{day.isoformat()}   page {laid.page}")

    pages = BaseDocTemplate(
        stream, pagesize=(width, height), leftMargin=MARGIN, rightMargin=MARGIN, topMargin=MARGIN, bottomMargin=MARGIN, invariant=1,
        title=f"Report: {document.name}", author="shadewright", subject="lens hood report",
    )  # fmt: skip
    frame = Frame(MARGIN, MARGIN, width - 2 * MARGIN, height - 2 * MARGIN, id="page", leftPadding=0, rightPadding=0, topPadding=0, bottomPadding=0)
    pages.addPageTemplates([PageTemplate("pages", [frame], onPage=finish_page)])
    room = (width - 2 * MARGIN, height - 2 * MARGIN)
    story = _first_page(job, document, shape, verdict, let_in, style, day)
    story += _pictured(pictures, style, room)
    story += _last_pages(job, document, verdict, warnings, style)
    pages.build(story)
    return stream.getvalue()


def _said(text: str, style: ParagraphStyle, *, bullet: str | None = None) -> Paragraph:
    return Paragraph(escape(text), style, bulletText=bullet)


def _first_page(
    job: Job, document: Hood, shape: HoodShape, verdict: Verdict, let_in: Sequence[tuple[str, float]], style: dict[str, ParagraphStyle],
    day: date,
) -> list[Flowable]:  # fmt: skip
    made_for = f"{job.lens.name} on {job.camera.name}"
    story: list[Flowable] = [
        _said(document.name, style["title"]),
        _said(f"A lens hood for {made_for}. {day.isoformat()}.", style["under"]),
        _boxed(_verdict_words(verdict), style),
        _said("Sizes", style["head"]),
        _listed(_sizes(document, shape), style),
        _said("Light from outside the frame", style["head"]),
        _said("Share of it that still reaches the front glass; without a hood it is 100 %.", style["small"]),
        _listed([(label, f"{share:.1%}") for label, share in let_in], style),
    ]
    ranges = [(entry.quantity, _range(entry.low, entry.high, entry.unit, entry.quantity)) for entry in verdict.ranges]
    if ranges:
        story += [_said("Nothing shows over", style["head"]), _listed(ranges, style)]
    return story


def _verdict_words(verdict: Verdict) -> str:
    count = len(verdict.settings)
    tried = "the one setting there is" if count == 1 else f"any of the {count} settings tried"
    if not verdict.shows:
        spare = f", and the rim has {verdict.deeper:.2f} mm to spare" if 0.005 <= verdict.deeper < math.inf else ""
        return f"{_SIGNS[True]}  The hood does not show at {tried}{spare}."
    worst = f"{verdict.worst.stops:.2f} stop at {verdict.worst.label}, {verdict.worst.where}"
    if verdict.passes:
        return f"{_SIGNS[True]}  The hood takes {worst} at most, within the {verdict.allowance:g} stop allowed."
    return f"{_SIGNS[False]}  The hood shows: it takes up to {worst}."


def _sizes(document: Hood, shape: HoodShape) -> list[tuple[str, str]]:
    build = document.build
    rows = []
    if isinstance(shape, MeshHood):
        size = shape.vertices.max(axis=0) - shape.vertices.min(axis=0)
        rows.append(("Size of the mesh", " x ".join(f"{v:.1f}" for v in size) + " mm"))
    elif isinstance(shape, TunnelHood):
        wall, rim = shape.wall, shape.rim
        rows.append(("Shape", "tunnel"))
        rows.append(("Inside, width x height", f"{2 * wall.half_width:.1f} x {2 * wall.half_height:.1f} mm"))
        rows += [(f"Lip, {name}", f"{getattr(rim, name):.1f} mm ahead of the seat") for name in ("top", "right", "bottom", "left")]
    else:
        rows.append(("Shape of the rim", str(document.rim.shape)))
        rows.append(("Inside diameter at the seat", f"{2 * float(shape.wall.radius_at(1e-9)):.1f} mm"))
        rows.append(("Deepest and shallowest", f"{shape.rim.deepest:.1f} and {shape.rim.shallowest:.1f} mm ahead of the seat"))
    rows.append(("Thickness of the wall", f"{build.thickness:g} mm"))
    seat = {"slip-on": f"slip-on, {build.fit} fit", "clamp": "split clamp", "thread": f"thread {build.thread or ''}".strip()}
    rows.append(("Seat", f"{seat[str(build.seat)]}, {build.seat_length:g} mm long"))
    if build.finish:
        rows.append(("Finish inside", build.finish))
    return rows


def _range(low: float | None, high: float | None, unit: str, quantity: str) -> str:
    if low is None or high is None:
        return "nowhere: it shows at all of them"
    if quantity == "f-number":
        return f"f/{low:.2g} to f/{high:.3g}"
    far = "infinity" if math.isinf(high) else f"{high:.4g} {unit}"
    return f"{low:.4g} {unit} to {far}"


def _boxed(words: str, style: dict[str, ParagraphStyle]) -> Table:
    box = Table([[_said(words, style["verdict"])]], colWidths="100%")
    box.setStyle([("BOX", (0, 0), (-1, -1), 1.2, INK), *(((side, (0, 0), (-1, -1), 7)) for side in _PADDING)])
    return box


_PADDING = ("LEFTPADDING", "RIGHTPADDING", "TOPPADDING", "BOTTOMPADDING")


def _listed(rows: Sequence[tuple[str, str]], style: dict[str, ParagraphStyle]) -> Table:
    cells = [[_said(name, style["plain"]), _said(value, style["plain"])] for name, value in rows]
    table = Table(cells, colWidths=("48%", "52%"))
    table.setStyle([("LINEBELOW", (0, 0), (-1, -1), 0.3, GREY), ("VALIGN", (0, 0), (-1, -1), "TOP"),
                    *(((side, (0, 0), (-1, -1), 2.2)) for side in ("TOPPADDING", "BOTTOMPADDING")), ("LEFTPADDING", (0, 0), (-1, -1), 0)])  # fmt: skip
    return table


def _pictured(pictures: dict[str, Path], style: dict[str, ParagraphStyle], room: tuple[float, float]) -> list[Flowable]:
    """The pictures with a line each, as large as fits; what belongs together stays together."""
    story: list[Flowable] = []
    for name in ("solid", "section", "rim", "opening", "sensor", "sky"):
        if name not in pictures:
            continue
        across, down = ImageReader(str(pictures[name])).getSize()
        tallest = {"opening": 0.33, "sensor": 0.56}.get(name, 0.46) * room[1]
        scale = min(room[0] / across, tallest / down)
        picture: Any = Image(str(pictures[name]), width=across * scale, height=down * scale)
        story.append(KeepTogether([Spacer(1, 10), picture, _said(CAPTIONS[name], style["small"])]))
    return story


def _last_pages(job: Job, document: Hood, verdict: Verdict, warnings: Sequence[str], style: dict[str, ParagraphStyle]) -> list[Flowable]:
    """What was assumed, what to know, and cautions."""
    story: list[Flowable] = []
    if verdict.shows:
        losses = [(s.label, f"{s.worst.stops:.2f} stop, {s.worst.where}") for s in verdict.settings if s.shows]
        story.append(_said("Where it shows", style["head"]))
        story.append(_listed(losses[:MOST_LISTED], style))
        if len(losses) > MOST_LISTED:
            story.append(_said(f"and at {len(losses) - MOST_LISTED} settings more.", style["small"]))
    if job.estimates:
        story.append(_said("Not measured", style["head"]))
        story += [
            _said(f"{e.field}: taken as {e.used:.1f} {e.unit}, may be {e.low:.1f} to {e.high:.1f}; {e.reason}.", style["item"], bullet="\u2022")
            for e in job.estimates
        ]
    notes = [*verdict.accessories, *verdict.warnings, *(w for w in warnings if w not in verdict.warnings)]
    if notes:
        story.append(_said("Notes", style["head"]))
        story += [_said(note, style["item"], bullet="\u2022") for note in notes]
    if document.notes:
        story += [_said("Remarks", style["head"]), _said(document.notes, style["plain"])]
    cautions = [_said("Cautions", style["head"]), *(_said(text, style["item"], bullet="!") for text in CAUTIONS)]
    story.append(KeepTogether(cautions))
    return story
