"""The lens cut open: what is drawn lies where the lens has it."""

from __future__ import annotations

import matplotlib.pyplot as plt
import numpy as np
import pytest

from lenses import camera, prime
from prescription_cases import job_of
from shadewright.errors import OpticsError
from shadewright.model.shape import Rim, RoundHood, RoundWall
from shadewright.optics.beam import job
from shadewright.show.lens_section import lens_section_figure


@pytest.mark.parametrize("name", ["wide-22", "aspheric-31"])
def test_surfaces_stop_and_rays_are_drawn_where_they_are(name: str) -> None:
    work = job_of(name)
    setting = work.resolved.settings[0]
    assert setting.traced is not None
    lens = setting.traced.main
    hood = RoundHood(RoundWall((0.0,), (30.0,)), Rim.plain(12.0))
    figure = lens_section_figure(work, setting, hood=hood, title="cut open")
    (axes,) = figure.axes
    origin = setting.reach + setting.traced.plane
    bends = np.nonzero(np.abs(np.diff(lens.index)) > 1e-9)[0]
    surfaces = [line.get_xydata() for line in axes.lines if line.get_gid() == "surface"]
    assert len(surfaces) == len(bends)
    for k, arc in zip(bends, surfaces, strict=True):
        np.testing.assert_allclose(arc[len(arc) // 2], (origin - lens.vertices[k], 0.0), atol=1e-9)
        np.testing.assert_allclose(np.abs(arc[[0, -1], 1]), lens.semi[k])
        np.testing.assert_allclose(arc[:, 0], origin - lens.vertices[k] - lens.sag(k, arc[:, 1]), atol=1e-9)
    stops = [line.get_xydata() for line in axes.lines if line.get_gid() == "stop"]
    assert len(stops) == 2
    for bar in stops:
        np.testing.assert_allclose(bar[:, 0], origin - lens.vertices[lens.stop])
        assert np.abs(bar[:, 1]).min() == pytest.approx(lens.stop_semi)
    rays = [line.get_xydata() for line in axes.lines if line.get_gid() == "ray"]
    assert len(rays) == 9
    for ray in rays:
        assert len(ray) == len(lens) + 2
        # Drawn rays pass the lens, but for what the table is wider than the beam.
        assert np.all(np.abs(ray[1:-1, 1]) <= lens.semi + 0.05)
        assert ray[-1, 0] == pytest.approx(origin - lens.vertices[-1])
    assert len([patch for patch in axes.patches if patch.get_gid() == "glass"]) == np.sum(lens.index[1:-1] > 1.05)
    assert len([patch for patch in axes.patches if patch.get_gid() == "wall"]) == 2
    plt.close(figure)


def test_a_lens_known_by_windows_cannot_be_cut_open() -> None:
    work = job(prime(), camera())
    with pytest.raises(OpticsError, match="prescription"):
        lens_section_figure(work, work.resolved.settings[0], title="cut open")
