"""The main job on an invented kit, for the lighthouse job: what `make demo` runs."""

from __future__ import annotations

import json
from collections.abc import Callable
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING

from shadewright.files import write_whole
from shadewright.model.shape import MeshHood

if TYPE_CHECKING:
    from shadewright.design.fit import Fitting

Progress = Callable[[str, float], None]

KIT = ("zoom", "wide", "long", "shift", "prime")
"""The lenses of the kit; each has a lens document and a hood document of wishes."""


def copy_documents(out: Path) -> Path:
    """Write the demo's documents into `out`/documents, to be read and changed; returns that folder."""
    folder = out / "documents"
    for entry in sorted(resources.files("shadewright").joinpath("demo").iterdir(), key=lambda item: item.name):
        if entry.name.endswith(".toml"):
            write_whole(folder / entry.name, entry.read_text("utf-8"))
    return folder


def run(out: Path, *, progress: Progress = lambda _step, _share: None) -> list[str]:
    """Fit, check, weigh, make and show the kit's hoods into `out`; returns what to say about it."""
    from shadewright.clearance.check import check
    from shadewright.design.fit import fit
    from shadewright.design.weigh import weigh
    from shadewright.make.workshop import make_files
    from shadewright.model.documents import read_camera, read_hood, read_lens
    from shadewright.model.writing import to_toml
    from shadewright.report import check_report, weigh_report
    from shadewright.show.gallery import all_pictures, weighing_pictures

    folder = copy_documents(out)
    camera = read_camera(folder / "camera.toml")
    lines = [f"The kit, on {camera.name}:"]
    for index, name in enumerate(KIT):
        lens, wishes = read_lens(folder / f"{name}.toml"), read_hood(folder / f"{name}-hood.toml")
        place = out / name

        def step(word: str, share: float, *, index: int = index, lens_name: str = lens.name) -> None:
            progress(f"{lens_name}: {word}", (index + share) / len(KIT))

        step("fit", 0.0)
        fitting = fit(lens, camera, wishes)
        write_whole(place / f"{name}-hood.toml", to_toml(fitting.hood, heading=f"Fitted for {fitting.hood.made_for}."))
        step("check", 0.15)
        verdict = check(fitting.job, fitting.shape, allowance=wishes.wishes.allowance, accessories=wishes.accessory)
        report = check_report(verdict, lens=lens.name, camera=camera.name, hood=wishes.name)
        write_whole(place / f"{name}.check.json", json.dumps(report, indent=1) + "\n")
        step("weigh", 0.3)
        weighing = weigh(lens, camera, wishes)
        write_whole(
            place / f"{name}.weigh.json",
            json.dumps(weigh_report(weighing, lens=lens.name, camera=camera.name), indent=1) + "\n",
        )
        weighing_pictures(lens, camera, wishes, weighing, place / name)
        step("make", 0.5)
        make_files(fitting.job, fitting.hood, fitting.shape, out=place, stem=name, warnings=fitting.warnings)
        step("show", 0.8)
        all_pictures(fitting.job, fitting.hood, fitting.shape, place / name)
        lines += _summary(fitting, verdict.shows, verdict.worst.stops, weighing.choice)
    lines.append(f"Documents, pictures and files to print or cut are in {out}; begin with {out / 'zoom'}.")
    return lines


def _summary(fitting: Fitting, shows: bool, worst: float, choice: str) -> list[str]:
    assert not isinstance(fitting.shape, MeshHood)
    rim = fitting.shape.rim
    state = f"worst loss {worst:.2f} stop" if shows else "clear everywhere"
    lines = [
        f"  {fitting.job.lens.name:<16} {fitting.hood.rim.shape!s:<10} {rim.shallowest:5.1f} to {rim.deepest:5.1f} mm deep, "
        f"{state}; made as asked; weighing would choose {choice}"
    ]
    lines += [
        f"    ESTIMATE {e.estimate.field}: measuring it could deepen the rim by up to {e.deeper_anywhere:.1f} mm"
        for e in fitting.effects
    ]
    return lines
