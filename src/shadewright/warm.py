"""Compiles the kernels once, at set-up, so that no command waits for a compiler."""

from __future__ import annotations

import time


def main() -> None:
    """Run every kernel on a small job; the compiled code is kept beside the package."""
    import numpy as np

    from shadewright.clearance.check import check
    from shadewright.clearance.keepout import pupil_only_rim
    from shadewright.design.fit import fit
    from shadewright.design.weigh import candidate
    from shadewright.make.inspect import inspect_mesh
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
    one = np.ones(1)
    pupil_only_rim(40.0, np.arange(4.0), half_width=one, half_height=one, pupil=one, depth=one)
    plate = np.array([[0.0, 0, 0], [9, 0, 0], [0, 9, 0], [0, 0, 9]])
    faces = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]])
    inspect_mesh(plate, faces)
    solid_figure(plate, faces, title="warm")
    print(f"kernels ready in {time.perf_counter() - started:.1f} s")


if __name__ == "__main__":
    main()
