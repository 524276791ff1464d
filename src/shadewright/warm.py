"""Compiles the kernels once, at set-up, so that no command waits for a compiler."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from shadewright.model.camera import Camera


def main() -> None:
    """Run every kernel on a small job; the compiled code is kept beside the package."""
    import numpy as np

    from shadewright.clearance.check import check
    from shadewright.clearance.keepout import pupil_only_rim
    from shadewright.design.fit import fit
    from shadewright.design.weigh import candidate
    from shadewright.make.inspect import inspect_mesh
    from shadewright.measure.forward import warm as warm_forward
    from shadewright.model.camera import Camera
    from shadewright.model.hood import Hood
    from shadewright.model.lens import Front, Lens, State
    from shadewright.model.shape import MeshHood
    from shadewright.show.solid_view import solid_figure

    started = time.perf_counter()
    state = State(focal_length=35.0, f_number=2.0, reach=1.0, pupil_depth=20.0)
    lens = Lens(document="lens", version=1, name="warm", front=Front(rim_diameter=60.0), state=(state,))
    camera = Camera(document="camera", version=1, name="warm", format="135")
    fitting = fit(lens, camera, Hood(document="hood", version=1, name="warm"))
    candidate("warm", fitting, cells=21)
    triangle = MeshHood(np.array([[40.0, 0, 5], [41.0, 0, 5], [40.0, 1, 5]]), np.array([[0, 1, 2]]))
    check(fitting.job, triangle)
    warm_traced(camera)
    warm_forward()
    warm_photographs()
    warm_wall_light()
    one = np.ones(1)
    pupil_only_rim(40.0, np.arange(4.0), half_width=one, half_height=one, pupil=one, depth=one)
    plate = np.array([[0.0, 0, 0], [9, 0, 0], [0, 9, 0], [0, 0, 9]])
    faces = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]])
    inspect_mesh(plate, faces)
    solid_figure(plate, faces, title="warm")
    print(f"kernels ready in {time.perf_counter() - started:.1f} s")


def warm_photographs() -> None:
    """Reduce small pictures of 8 and 16 bits to blocks."""
    from pathlib import Path

    import numpy as np

    from shadewright.measure.blocks import blocks_of
    from shadewright.measure.curves import linear
    from shadewright.measure.frames import About, Frame

    one = np.ones(1)
    for kind, size in ((np.uint8, 256), (np.uint16, 65536)):
        samples, pattern = np.full((64, 64), size // 2, kind), np.zeros((1, 1), np.int64)
        blocks_of(Frame(Path("warm"), samples, pattern, ("grey",), linear(size), 0 * one, one, About(), developed=False))


def warm_traced(camera: Camera) -> None:
    """Trace a small lens, near and far, spheres and aspheres, and ask of its beams what is asked of any."""
    import numpy as np

    from shadewright.clearance.keepout import keep_out
    from shadewright.clearance.loss import sensor_view
    from shadewright.model.lens import Front, Lens, Placement
    from shadewright.model.prescription import Prescription, PrescriptionSetting, Surface
    from shadewright.model.shape import Rim, RoundHood, RoundWall
    from shadewright.optics.beam import job
    from shadewright.optics.trace import trace

    surfaces = (
        Surface(thickness=2.0, semi_diameter=8.0, stop=True),
        Surface(radius=60.0, thickness=4.0, index=1.5, semi_diameter=14.0, aspheric=(1e-7,)),
        Surface(radius=-60.0, conic=-0.5, semi_diameter=14.0),
    )
    prescription = Prescription(
        document="prescription", version=1, name="warm", surface=surfaces, setting=(PrescriptionSetting(name="far"),)
    )
    lens = Lens(
        document="lens", version=1, name="warm", front=Front(rim_diameter=60.0), prescription=prescription,
        placement=(Placement(setting="far", vertex_reach=1.0),),
    )  # fmt: skip
    work = job(lens, camera)
    beam = work.beam(work.resolved.settings[0])
    wall = RoundWall((0.0,), (35.0,))
    keepout = keep_out([beam])
    rim = keepout.rim(wall, np.arange(0.0, 360.0, 30.0), cap=50.0)
    sensor_view(beam, RoundHood(wall, Rim.plain(float(rim.value.min()))), columns=3, rows=3)
    keepout.touches(np.array([[[40.0, 0, 5], [41.0, 0, 5], [40.0, 1, 5]]]))
    system = work.resolved.settings[0].traced
    assert system is not None
    trace(system.main, np.zeros((2, 3)), np.array([[0.0, 0, 1], [0.1, 0, 1]]), path=True)


def warm_wall_light() -> None:
    """Wall light by every method, in a convex scene and in one of any kind, of a plain finish and a shiny one."""
    import numpy as np

    from shadewright.light.finish import Finish, Harvey
    from shadewright.light.scene import Vane, bare_scene
    from shadewright.light.wall_light import Method, Sky, wall_light
    from shadewright.model.shape import MeshHood, Rim, RoundHood, RoundWall, TunnelHood, TunnelRim, TunnelWall

    plain, shiny = Finish("plain", 0.1), Finish("shiny", 0.1, lobe=Harvey(1.0, 0.1, -2.5), index=1.5)
    tube = RoundHood(RoundWall((0.0,), (40.0,)), Rim.plain(20.0))
    mesh = MeshHood(np.array([[40.0, 0, 5], [41.0, 0, 5], [40.0, 1, 5]]), np.array([[0, 1, 2]]))
    scenes = (
        bare_scene(30.0, tube), bare_scene(30.0, TunnelHood(TunnelWall(40.0, 35.0), TunnelRim(20.0, 20.0, 20.0, 20.0))),
        bare_scene(30.0, tube, vanes=(Vane(10.0, 36.0),), frame_depth=1.0), bare_scene(30.0, mesh),
    )  # fmt: skip
    sky = Sky(2, 2)
    for scene in scenes:
        for finish in (plain, shiny):
            wall_light(scene, finish, sky=sky, samples=64)
        wall_light(scene, shiny, sky=sky, method=Method.REFERENCE, samples=64)
    wall_light(scenes[0], plain, sky=sky, method=Method.STAGED, samples=64)


if __name__ == "__main__":
    main()
