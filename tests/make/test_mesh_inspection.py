"""Inspection of meshes whose faults and thickness are known."""

from __future__ import annotations

import manifold3d as m3
import numpy as np
import pytest
from solid_cases import box_mesh

from shadewright.make.inspect import inspect_mesh
from shadewright.model.shape import Array


def mesh_of(body: m3.Manifold) -> tuple[Array, np.ndarray]:
    mesh = body.to_mesh64()
    return np.array(mesh.vert_properties)[:, :3], np.array(mesh.tri_verts).astype(np.int64)


def test_a_box_is_as_thin_as_its_shortest_side() -> None:
    vertices, faces = box_mesh(10.0, 20.0, 3.0)
    found = inspect_mesh(vertices, faces)
    assert found.problems == ()
    assert (found.closed, found.oriented, found.bodies) == (True, True, 1)
    assert found.volume == pytest.approx(600.0, rel=1e-12)
    assert found.thickness == pytest.approx(3.0, abs=1e-9)
    assert found.low == (0.0, 0.0, 0.0)
    assert found.high == (10.0, 20.0, 3.0)


@pytest.mark.parametrize("shift", [0.0, 0.5, 1.5, 1.9])
def test_a_tube_with_its_bore_off_centre_is_thin_on_one_side(shift: float) -> None:
    outer = m3.Manifold.cylinder(20.0, 12.0, -1.0, 240)
    bore = m3.Manifold.cylinder(30.0, 10.0, -1.0, 240).translate((shift, 0.0, -5.0))
    found = inspect_mesh(*mesh_of(outer - bore))
    assert found.thickness == pytest.approx(2.0 - shift, abs=0.005)
    assert found.thinnest_at is not None
    if shift:
        assert found.thinnest_at[0] > 9.0


def test_a_pocket_from_behind_is_found() -> None:
    plate = m3.Manifold.cube((40.0, 40.0, 5.0))
    pocket = m3.Manifold.cube((6.0, 6.0, 4.7)).translate((30.0, 5.0, 0.0))
    found = inspect_mesh(*mesh_of(plate - pocket))
    assert found.thickness == pytest.approx(0.3, abs=1e-9)
    assert found.thinnest_at is not None
    assert 30.0 <= found.thinnest_at[0] <= 36.0
    assert len(found.problems) == 1
    assert "only 0.30 mm thick" in found.problems[0]


def test_a_wedge_is_not_taken_for_a_thin_wall() -> None:
    wedge = m3.Manifold.hull_points(
        np.array([[x, y, z] for y in (0.0, 20.0) for x, z in ((0.0, 0.0), (10.0, 0.0), (10.0, 10.0))])
    )
    found = inspect_mesh(*mesh_of(wedge))
    assert found.problems == ()


def test_a_missing_triangle_is_found() -> None:
    vertices, faces = box_mesh(10.0, 10.0, 10.0)
    found = inspect_mesh(vertices, faces[1:])
    assert not found.closed
    assert "3 edges belong to one triangle only" in found.problems[0]


def test_a_triangle_turned_over_is_found() -> None:
    vertices, faces = box_mesh(10.0, 10.0, 10.0)
    faces[4] = faces[4][::-1]
    found = inspect_mesh(vertices, faces)
    assert found.closed
    assert not found.oriented
    assert "opposite ways at 3 edges" in found.problems[0]


def test_a_mesh_inside_out_is_found() -> None:
    vertices, faces = box_mesh(10.0, 10.0, 10.0)
    found = inspect_mesh(vertices, faces[:, ::-1])
    assert not found.oriented
    assert any("face inwards" in problem for problem in found.problems)


def test_two_pieces_are_found() -> None:
    vertices, faces = box_mesh(10.0, 10.0, 10.0)
    twice = np.concatenate([vertices, vertices + (50.0, 0.0, 0.0)])
    found = inspect_mesh(twice, np.concatenate([faces, faces + len(vertices)]))
    assert found.bodies == 2
    assert found.volume == pytest.approx(2000.0)
    assert any("2 separate pieces" in problem for problem in found.problems)


def test_an_edge_shared_by_four_triangles_is_found() -> None:
    vertices, faces = box_mesh(10.0, 10.0, 10.0)
    # A second box that touches the first along one vertical edge and shares its two corners.
    other = vertices + (10.0, 10.0, 0.0)
    joined = np.concatenate([vertices, other])
    place = {tuple(v): k for k, v in enumerate(vertices)}
    renamed = np.array([place.get(tuple(v), len(vertices) + k) for k, v in enumerate(other)])
    found = inspect_mesh(joined, np.concatenate([faces, renamed[faces]]))
    assert not found.closed
    assert any("more than two triangles" in problem for problem in found.problems)


def test_nothing_and_nonsense_are_said_to_be_so() -> None:
    vertices, faces = box_mesh(1.0, 1.0, 1.0)
    assert "no triangles" in inspect_mesh(vertices, faces[:0]).problems[0]
    vertices[0, 0] = np.nan
    assert "not a number" in inspect_mesh(vertices, faces).problems[0]


def test_thickness_agrees_with_an_independent_ray_caster() -> None:
    # The same rays through the same mesh, cast by the modelling library.
    body = m3.Manifold.sphere(10.0, 32) - m3.Manifold.sphere(7.0, 32).translate((0.8, 0.3, -0.5))
    vertices, faces = mesh_of(body)
    found = inspect_mesh(vertices, faces)
    corner = vertices[faces]
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    least = np.inf
    for middle, n in zip(corner.mean(axis=1), normal, strict=True):
        hits = body.ray_cast(tuple(middle - 1e-6 * n), tuple(middle - 30.0 * n))
        least = min(least, hits[0].distance * (30.0 - 1e-6) + 1e-6)
    assert found.thickness is not None
    assert found.thickness <= least + 1e-6
    assert found.thickness == pytest.approx(least, abs=0.02)
