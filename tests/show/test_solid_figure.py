"""The shaded solid: the right way round, the nearest face in front, and as large as it is."""

from __future__ import annotations

import numpy as np
import pytest
from show_cases import lines, require_legible, words

from shadewright.errors import MakeError
from shadewright.show.solid_view import DOTS, Eye, eye_at, greys, shaded, solid_figure

BOX_FACES = np.array(
    [
        (0, 1, 3), (0, 3, 2), (4, 6, 7), (4, 7, 5), (0, 4, 5), (0, 5, 1),
        (2, 3, 7), (2, 7, 6), (0, 2, 6), (0, 6, 4), (1, 5, 7), (1, 7, 3),
    ]
)  # fmt: skip


def box(low: tuple[float, float, float], high: tuple[float, float, float]) -> np.ndarray:
    return np.array(
        [[x, y, z] for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (low[2], high[2])]
    )


def test_the_faces_of_the_box_look_outwards() -> None:
    corners = box((-1, -1, -1), (1, 1, 1))[BOX_FACES]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    assert np.all(np.sum(normals * corners.mean(axis=1), axis=1) > 0)


def test_behind_the_camera_right_is_right_and_from_the_front_it_is_left() -> None:
    behind, front = eye_at(0.0, -90.0), eye_at(0.0, 90.0)
    np.testing.assert_allclose(behind.towards, (0, 0, -1), atol=1e-12)
    np.testing.assert_allclose(behind.right, (1, 0, 0), atol=1e-12)
    np.testing.assert_allclose(front.right, (-1, 0, 0), atol=1e-12)
    np.testing.assert_allclose(front.up, (0, 1, 0), atol=1e-12)
    # A block on the camera's right is drawn right of the middle from behind, and left of it from the front.
    vertices = box((5, -2, -2), (9, 2, 2))
    for eye, side in ((behind, np.s_[DOTS // 2 :]), (front, np.s_[: DOTS // 2])):
        picture = shaded(vertices, BOX_FACES, eye, middle=np.zeros(2), span=20.0)
        drawn = picture < 0.999
        assert drawn.any()
        assert drawn[:, side].sum() == drawn.sum()


@pytest.mark.parametrize("eye", [eye_at(26.0, 52.0), eye_at(26.0, -52.0), eye_at(-40.0, 170.0)])
def test_a_box_covers_its_projected_area(eye: Eye) -> None:
    sides = np.array([30.0, 20.0, 10.0])
    picture = shaded(
        box((0, 0, 0), tuple(sides)), BOX_FACES, eye, middle=np.array([15.0, 10.0]) * 0, span=90.0
    )
    faces = np.array([sides[1] * sides[2], sides[0] * sides[2], sides[0] * sides[1]])
    area = float(np.sum(faces * np.abs(eye.towards)))
    covered = np.mean(picture < 0.999) * 90.0**2
    # Dots that are covered in part count whole: half a dot along the outline, which is shorter than 120 mm.
    assert covered == pytest.approx(area, abs=120.0 * 90.0 / DOTS)


def test_faces_have_the_grey_of_their_slope() -> None:
    eye = eye_at(26.0, 52.0)
    picture = shaded(box((-10, -10, -10), (10, 10, 10)), BOX_FACES, eye, middle=np.zeros(2), span=60.0)
    for normal in np.eye(3):
        # The middle of each face that is turned towards the eye.
        place = 10.0 * normal
        column, row = ((np.array([place @ eye.right, place @ eye.up]) / 60.0 + 0.5) * DOTS).astype(int)
        assert picture[row, column] == pytest.approx(greys(normal[None, :], eye)[0])


def test_the_nearer_part_stands_in_front() -> None:
    eye = eye_at(0.0, -90.0)
    # From behind the camera the face at smaller z hides the tilted one ahead of it, whichever comes first.
    near = np.array([[-2.0, -2.0, 0.0], [2.0, -2.0, 0.0], [0.0, 3.0, 0.0]])
    far = np.array([[-6.0, -6.0, 5.0], [6.0, -6.0, 9.0], [0.0, 9.0, 5.0]])
    flat = greys(np.array([[0.0, 0.0, -1.0]]), eye)[0]
    for vertices in (np.concatenate([near, far]), np.concatenate([far, near])):
        faces = np.array([(0, 2, 1), (3, 5, 4)])
        picture = shaded(vertices, faces, eye, middle=np.zeros(2), span=20.0)
        middle = picture[DOTS // 2, DOTS // 2]
        beside = picture[DOTS // 2 - DOTS // 5, DOTS // 2]
        assert middle == pytest.approx(flat)
        assert beside != pytest.approx(flat)
        assert beside < 0.999


def test_the_figure_tells_the_size_and_a_scale() -> None:
    figure = solid_figure(box((0, 0, -12), (96, 50, 55)), BOX_FACES, title="A box")
    text = words(figure)
    assert "96.0 mm wide, 50.0 mm high, 67.0 mm from back to front" in text
    line = lines(figure, "scale")[0]
    assert f"{line[1, 0] - line[0, 0]:.0f} mm" in text
    assert "sensor's side" in text
    assert "From the front" in text
    assert all(axes.get_aspect() == 1.0 for axes in figure.axes)
    require_legible(figure)


def test_many_triangles_are_drawn_as_they_are() -> None:
    turn, along = np.meshgrid(np.radians(np.arange(0, 360, 1.0)), np.linspace(0, 60, 141), indexing="ij")
    vertices = np.stack([40 * np.cos(turn), 40 * np.sin(turn), along], axis=-1).reshape(-1, 3)
    n, m = along.shape
    i, j = np.meshgrid(np.arange(n), np.arange(m - 1), indexing="ij")
    a, b = i * m + j, ((i + 1) % n) * m + j
    faces = np.concatenate(
        [np.stack([a, b, b + 1], -1).reshape(-1, 3), np.stack([a, b + 1, a + 1], -1).reshape(-1, 3)]
    )
    assert len(faces) > 100_000
    figure = solid_figure(vertices, faces, title="A pipe")
    for image in (axes.get_images()[0] for axes in figure.axes):
        assert 0.1 < np.mean(np.asarray(image.get_array()) < 0.999) < 0.9


@pytest.mark.parametrize(
    ("vertices", "faces"),
    [
        (np.zeros((3, 3)), np.zeros((0, 3), int)),
        (np.zeros((3, 3)), np.array([(0, 1, 3)])),
        (np.full((3, 3), np.nan), np.array([(0, 1, 2)])),
    ],
)
def test_broken_meshes_are_refused(vertices: np.ndarray, faces: np.ndarray) -> None:
    with pytest.raises(MakeError, match="cannot be drawn"):
        solid_figure(vertices, faces, title="Broken")
