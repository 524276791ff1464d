"""Writes docs/traced-lenses.md: how far simpler models are from traced published designs.

Run: python docs/build_traced_lenses.py
The designs are those of tests/prescriptions, each with its source. All numbers come from the functions the command line uses.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from shadewright.design.reduction import Comparison, ReducedState, compare
from shadewright.model.camera import Camera
from shadewright.model.documents import read_document
from shadewright.model.lens import Front, Lens, Placement
from shadewright.model.prescription import Prescription
from shadewright.optics.beam import Job, job
from shadewright.optics.system import setting_names

HERE = Path(__file__).parent
DESIGNS = HERE.parent / "tests" / "prescriptions"
MARGIN = 0.5
"""A margin on the rim that the page judges the windows by, mm."""
WALL = 6.0
"""The tube stands this far outside the clear front glass, mm."""


@dataclass(frozen=True)
class Case:
    """One design, the frame it is looked at with, and what kind of lens it is."""

    file: str
    kind: str
    frame: tuple[float, float]
    wall: float = WALL
    """How far the tube stands outside the clear front glass, mm."""


CASES = (
    Case("fisheye-10", "fisheye", (18.0, 12.0), wall=20.0),
    Case("aspheric-wide-14", "very wide, aspheric", (36.0, 24.0)),
    Case("wide-17-100-degrees", "very wide retrofocus", (24.0, 16.0)),
    Case("wide-22", "wide", (28.7, 19.1)),
    Case("symmetric-50", "symmetric", (36.0, 24.0)),
    Case("triplet-50", "normal, slow", (30.0, 20.0)),
    Case("double-gauss-50", "normal, fast", (36.0, 24.0)),
    Case("aspheric-31", "normal, aspheric", (22.7, 15.1)),
    Case("telephoto-127", "telephoto", (36.0, 24.0)),
    Case("telephoto-250", "telephoto", (36.0, 24.0)),
    Case("zoom-72-194", "zoom, all three positions", (36.0, 24.0)),
)

HEAD = """# Traced lenses: how far the simple models are off

Most hoods are worked out from less than the real beam: from the middle of the entrance pupil (a pinhole), from the pupil
as one disc, or from a few round windows such as a technician can measure. Here each of them is set against beams traced
through published designs, surface by surface, on a tube that stands {wall:g} mm outside the clear front glass ({fisheye:g} mm of the fisheye's).

* **traced**: the deepest clear rim of the traced beams, from its shallowest place (the corner of the frame) to its deepest.
* **too deep**: how far a model's rim stands at most inside the traced beam, mm. That hood shows; **costs** is the worst loss
  it causes anywhere in the frame, in stops against the same lens without a hood, at full aperture.
* **too shallow**: how much depth a model gives away at most, mm. That hood is clear and stops less stray light than it could.
* The **windows** are the pupil at one depth, the front glass and one rear window, fitted to the traced beams over the frame:
  the best that measuring could give; **wandering**: the same with a pupil whose depth may change with the field angle. All models are given the traced lens's true field, distortion and all, so that what
  differs is the beam alone.

| design | kind | frame | traced | pinhole: too deep | costs | pupil alone: too deep | costs | too shallow | windows: too deep | costs | too shallow | wandering: too deep | costs | too shallow |
|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|
"""
TAIL = """
\\* Clear semi-diameters are not published for this design: they are taken wide enough that nothing is cut off in the frame.

What the table says:

* The **pinhole** is unsafe every time, by {pin_low:.1f} to {pin_high:.0f} mm. What it leaves out is half the pupil's width, and a
  ray that far out reaches the tube earlier by that width over the ray's slope: long lenses and fast ones fare worst.
* The **pupil alone** errs to both sides. It gives depth away wherever the lens's own rims narrow the beam towards the corner
  (up to {pupil_shallow:.0f} mm), and it is unsafe, by up to {pupil_deep:.2f} mm, where the real pupil grows or moves forward off the axis.
* Three **windows** come within {win_low:.2f} to {win_high:.2f} mm on the unsafe side, and within {wander_high:.2f} mm when the pupil's depth
  may follow the field angle (`pupil_wander` in a lens document). {margin} taken off the rim covers {covered} of these {count} designs
  with a fixed pupil and {wander_covered} with a wandering one; the others need the prescription.

Real lenses differ from their published prescriptions by their tolerances and mounts, and these designs are textbook and
patent examples, not products. Between the positions that a zoom lists the groups are taken to move smoothly.

## The designs

"""


def rows() -> list[tuple[Case, Prescription, Job, list[ReducedState], Comparison]]:
    """Every case worked out."""
    found = []
    for case in CASES:
        prescription = read_document(DESIGNS / f"{case.file}.toml", Prescription)
        camera = Camera(document="camera", version=1, name="frame", frame=case.frame)
        placement = tuple(Placement(setting=name, vertex_reach=0.0) for name in setting_names(prescription))
        lens = Lens(
            document="lens", version=1, name=prescription.name, front=Front(rim_diameter=20.0), prescription=prescription,
            placement=placement,
        )  # fmt: skip
        work = job(lens, camera)
        semi = max(setting.front_radius for setting in work.resolved.settings)
        comparison, states = compare(work, radius=semi + case.wall, longest=600.0)
        found.append((case, prescription, work, states, comparison))
    return found


def page() -> str:
    """The whole page as Markdown."""
    text = HEAD.format(wall=WALL, fisheye=CASES[0].wall)
    every = rows()
    for case, prescription, _work, states, comparison in every:
        assert states[0].setting.traced is not None
        pin, pupil, windows, wandering = comparison.errors
        text += (
            f"| {prescription.name}{'*' if states[0].setting.traced.main.estimated else ''} | {case.kind} | {case.frame[0]:g} x {case.frame[1]:g} | {comparison.rim.min():.1f} to "
            f"{comparison.rim.max():.1f} | {pin.too_deep:.1f} | {pin.loss:.2f} | {pupil.too_deep:.2f} | {pupil.loss:.2f} | "
            f"{pupil.too_shallow:.1f} | {windows.too_deep:.2f} | {windows.loss:.2f} | {windows.too_shallow:.2f} | "
            f"{wandering.too_deep:.2f} | {wandering.loss:.2f} | {wandering.too_shallow:.2f} |\n"
        )
    pins, pupils, windows, wandering = zip(*(comparison.errors for *_rest, comparison in every), strict=True)
    text += TAIL.format(
        pin_low=min(e.too_deep for e in pins),
        pin_high=max(e.too_deep for e in pins),
        pupil_shallow=max(e.too_shallow for e in pupils),
        pupil_deep=max(e.too_deep for e in pupils),
        win_low=min(e.too_deep for e in windows),
        win_high=max(e.too_deep for e in windows),
        wander_high=max(e.too_deep for e in wandering),
        margin=f"{MARGIN:g} mm",
        covered=sum(e.too_deep <= MARGIN for e in windows),
        wander_covered=sum(e.too_deep <= MARGIN for e in wandering),
        count=len(windows),
    )
    for case, prescription, _work, states, _comparison in every:
        fields = ", ".join(f"{state.setting.focal_length:.2f} mm at f/{state.setting.f_number:.2f}" for state in states)
        text += f"* {prescription.name} ({case.file}): {fields}. {prescription.source.rstrip('.')}.\n"
    return text


if __name__ == "__main__":
    (HERE / "traced-lenses.md").write_text(page(), "utf-8")
