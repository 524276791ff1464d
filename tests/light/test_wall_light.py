"""The two methods against each other, and the manners of a run: threads, seeds, stopping, going on, refusals."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from lenses import beam_of
from shadewright.errors import FileError, LightError, LightStopped
from shadewright.light.finish import ABg, Finish, Harvey
from shadewright.light.scene import Finishes, Scene, Vane, bare_scene, scene_of
from shadewright.light.wall_light import Method, Sky, wall_light
from shadewright.model.shape import MeshHood, Rim, RoundHood, RoundWall, TunnelHood, TunnelRim, TunnelWall

Array = NDArray[np.float64]

AZIMUTH = np.arange(0.0, 360.0, 1.0)
PETAL = Rim.from_arrays(AZIMUTH, 30.0 - 8.0 * np.cos(np.radians(2 * AZIMUTH)))
TUBE = RoundHood(RoundWall((0.0,), (42.0,)), PETAL)
TUNNEL = TunnelHood(TunnelWall(46.0, 38.0), TunnelRim(40.0, 30.0, 35.0, 25.0))
SCENES: dict[str, Scene] = {
    "tube": bare_scene(32.0, TUBE),
    "cone": bare_scene(32.0, RoundHood(RoundWall((0.0, 40.0), (36.0, 50.0)), PETAL)),
    "narrowing": bare_scene(32.0, RoundHood(RoundWall((0.0, 40.0), (44.0, 36.0)), PETAL)),
    "as wide as the glass": bare_scene(42.0, TUBE),
    "tunnel": bare_scene(32.0, TUNNEL),
    "narrow tunnel": bare_scene(32.0, TunnelHood(TunnelWall(40.0, 26.0), TunnelRim(40.0, 30.0, 35.0, 25.0))),
    "vanes": bare_scene(32.0, TUBE, vanes=(Vane(12.0, 38.0), Vane(20.0, 38.0))),
    "stepped": bare_scene(32.0, RoundHood(RoundWall((0.0, 15.0, 15.0, 40.0), (36.0, 36.0, 42.0, 42.0)), PETAL)),
    "frame": bare_scene(32.0, TUBE, frame_depth=3.0),
    "mirror glass": bare_scene(32.0, TUBE, glass_reflectance=0.3),
    "set back": bare_scene(32.0, TUBE, reach=-4.0),
}
FINISHES = {
    "lambertian": Finish("l", 0.3),
    "coated": Finish("c", 0.1, index=1.5, gloss=0.8, roughness=0.2),
    "lobe": Finish("b", 0.05, lobe=Harvey(3.0, 0.05, -2.5)),
    "all": Finishes(Finish("a", 0.3, lobe=ABg(0.02, 0.01, 2.0), index=1.5), Finish("f", 0.1), Finish("v", 0.05)),
}
CELLS = Sky(4, 6)


def within_cells(each: int, seed: int) -> Array:
    """Even random directions within the cells of CELLS: (cells, each, 3)."""
    rng = np.random.default_rng(seed)
    shape = (CELLS.rows, CELLS.columns, each)
    uz = -1 + (np.arange(CELLS.rows)[:, None, None] + rng.random(shape)) * 2 / CELLS.rows
    psi = (np.arange(CELLS.columns)[None, :, None] + rng.random(shape)) * 2 * math.pi / CELLS.columns
    across = np.sqrt(1 - uz**2)
    return np.stack([across * np.cos(psi), across * np.sin(psi), uz], axis=-1).reshape(-1, each, 3)


@pytest.mark.parametrize("finish", FINISHES)
@pytest.mark.parametrize("name", SCENES)
def test_fast_method_agrees_with_the_reference(name: str, finish: str) -> None:
    """Cell means by random directions within each cell; errors of both, and of the choice of directions, are known."""
    scene, surface = SCENES[name], FINISHES[finish]
    reference = wall_light(scene, surface, sky=CELLS, method=Method.REFERENCE, samples=128_000, seed=7)
    each = 60
    towards = within_cells(each, 3)
    fast = wall_light(scene, surface, directions=towards.reshape(-1, 3), samples=2048, seed=8)
    for ours, theirs, error in (
        (fast.value, reference.value, reference.standard_error),
        (fast.direct, reference.direct, None),
    ):
        cells = ours.reshape(-1, each)
        chosen = cells.var(axis=1, ddof=1) / each
        if error is None:
            # The share p of rays that escape directly into a cell is π p / w.
            error = np.sqrt(theirs * math.pi / CELLS.solid_angle / 128_000)
            noise = np.zeros(len(cells))
        else:
            noise = fast.standard_error.reshape(-1, each).mean(axis=1) ** 2
        spread = np.sqrt(chosen + noise + error**2)
        busy = theirs > 0.02 * theirs.max()
        z = (cells.mean(axis=1) - theirs)[busy] / spread[busy]
        assert busy.sum() >= 5
        assert np.abs(z).max() < 4.5
        assert stats.chi2.sf(np.sum(z**2), busy.sum()) > 1e-4


@pytest.mark.parametrize("name", ["tube", "cone", "narrowing", "as wide as the glass"])
@pytest.mark.parametrize("reflectance", [0.05, 0.9])
def test_staged_rays_agree_with_the_reference(name: str, reflectance: float) -> None:
    """The same rays in single precision: cells, bounces and the balance, with other numbers so that both errors count."""
    finish = Finish("plain", reflectance)
    one, other = (
        wall_light(SCENES[name], finish, sky=CELLS, method=method, samples=n, seed=n)
        for method, n in ((Method.REFERENCE, 128_000), (Method.STAGED, 1_280_000))
    )
    spread = np.hypot(one.standard_error, other.standard_error)
    busy = one.value > 0.02 * one.value.max()
    z = (one.value - other.value)[busy] / spread[busy]
    assert np.abs(z).max() < 4.5
    assert stats.chi2.sf(np.sum(z**2), busy.sum()) > 1e-4
    assert one.balance is not None
    assert other.balance is not None
    for mine, theirs in (
        (one.balance.absorbed, other.balance.absorbed), (one.balance.returned, other.balance.returned),
        (one.balance.escaped, other.balance.escaped),
    ):  # fmt: skip
        assert abs(mine[0] - theirs[0]) < 4.5 * math.hypot(mine[1], theirs[1]) + 1e-6
    assert abs(other.balance.total[0] - 1.0) < 4.5 * other.balance.total[1] + 1e-6
    error = np.sqrt(one.by_bounces.mean(axis=1) / 4 * np.array([1, 1, 1]) / 128_000)
    assert np.all(np.abs(one.by_bounces.mean(axis=1) - other.by_bounces.mean(axis=1)) < 4.5 * error)


@pytest.mark.parametrize("name", ["narrowing", "cone", "tube", "tunnel", "stepped"])
def test_each_number_of_bounces_agrees(name: str) -> None:
    """Summed over the sky: one, two, three or more bounces, within 4.5 standard errors and the midpoint rule's 2e-3."""
    surface = Finish("bright", 0.6)
    reference = wall_light(SCENES[name], surface, sky=CELLS, method=Method.REFERENCE, samples=256_000, seed=9)
    goes = [wall_light(SCENES[name], surface, sky=Sky(60, 60), samples=4096, seed=s) for s in range(4)]
    ours = np.array([go.by_bounces.mean(axis=1) for go in goes])
    theirs = reference.by_bounces.mean(axis=1)
    # A share p of rays of weight w = 0.6^k gives the mean w p / 4 (π over the sphere's 4 π).
    weight = 0.6 ** np.array([1, 2, 3])
    error = np.sqrt(theirs * weight / 4 / 256_000)
    spread = np.hypot(error, ours.std(axis=0, ddof=1) / 2)
    assert np.all(np.abs(ours.mean(axis=0) - theirs) < 4.5 * spread + 2e-3 * theirs)


def test_white_walls_are_followed_to_the_end() -> None:
    """A reflectance of 0.99 with vanes: the fast method drops no bounce, however many there are."""
    finish = Finish("white", 0.99)
    reference = wall_light(SCENES["vanes"], finish, sky=CELLS, method=Method.REFERENCE, samples=64_000, seed=2)
    fast = wall_light(SCENES["vanes"], finish, sky=Sky(40, 24), samples=2048, seed=3)
    spread = math.hypot(float(np.mean(fast.standard_error)), float(np.sqrt(np.sum(reference.standard_error**2))) / 24)
    assert abs(fast.mean - reference.mean) < 4.5 * spread + 2e-3 * reference.mean


def test_light_from_behind_the_front_plane() -> None:
    """Over the valleys of a petal rim some comes from behind; behind a plain rim none does."""
    found = wall_light(SCENES["tube"], FINISHES["lambertian"], samples=4096)
    behind = found.directions[:, 2] < 0
    share = found.value[behind].sum() / found.value.sum()
    assert 0.002 < share < 0.1
    plain = bare_scene(32.0, RoundHood(RoundWall((0.0,), (42.0,)), Rim.plain(25.0)))
    assert np.all(wall_light(plain, FINISHES["lambertian"], samples=1024).value[behind] == 0.0)
    assert np.all(found.direct[behind] == 0.0)


@pytest.mark.parametrize("name", ["tube", "vanes"])
def test_mesh_of_the_same_hood(name: str) -> None:
    """A hood drawn as half-degree facets gives the same wall light as its wall of revolution."""
    step = np.radians(np.arange(0.0, 360.0, 0.5))
    rim = PETAL.z_at(np.degrees(step))
    circle = np.stack([42 * np.cos(step), 42 * np.sin(step), 0 * step], axis=1)
    top = circle.copy()
    top[:, 2] = rim
    n, i = len(step), np.arange(len(step))
    j = (i + 1) % n
    vertices, faces = np.concatenate([circle, top]), np.concatenate([np.stack([i, j, n + i], 1), np.stack([j, n + j, n + i], 1)])
    if name == "vanes":
        for z in (12.0, 20.0):
            k = len(vertices)
            inner, outer = circle * (38 / 42), circle.copy()
            inner[:, 2], outer[:, 2] = z, z
            vertices = np.concatenate([vertices, inner, outer])
            more = np.concatenate([np.stack([k + i, k + j, k + n + i], 1), np.stack([k + j, k + n + j, k + n + i], 1)])
            faces = np.concatenate([faces, more])
    sky = Sky(8, 12)
    meshed = wall_light(bare_scene(32.0, MeshHood(vertices, faces), collar_radius=42.0), FINISHES["lambertian"], sky=sky, samples=8192)
    round_ = wall_light(SCENES[name], FINISHES["lambertian"], sky=sky, samples=32_768)
    spread = np.hypot(meshed.standard_error, round_.standard_error)
    # Facets cut 4e-5 off the radius.
    assert np.all(np.abs(meshed.value - round_.value) < 5 * spread + 1e-3 * round_.value.max())


def test_mesh_opening_is_found() -> None:
    """Left out, the collar of a mesh reaches its inside at the front rim plane."""
    corners = np.array([[40, -40], [40, 40], [-40, 40], [-40, -40]], dtype=float)
    low, high = np.c_[corners, np.full(4, -5.0)], np.c_[corners, np.full(4, 30.0)]
    i = np.arange(4)
    j = (i + 1) % 4
    mesh = MeshHood(np.concatenate([low, high]), np.concatenate([np.stack([i, j, 4 + i], 1), np.stack([j, 4 + j, 4 + i], 1)]))
    scene = bare_scene(32.0, mesh)
    assert scene.surfaces.bands[0, 3] == pytest.approx(40 * math.sqrt(2), rel=1e-2)


@pytest.mark.parametrize(("name", "method"), [("tube", Method.FAST), ("stepped", Method.FAST), ("tube", Method.REFERENCE), ("cone", Method.STAGED)])
def test_threads_change_nothing(name: str, method: Method) -> None:
    finish = FINISHES["lambertian" if method is Method.STAGED else "all"]
    runs = [
        wall_light(SCENES[name], finish, sky=Sky(6, 12), method=method, samples=6400, seed=5, threads=threads)
        for threads in (1, 3)
    ]
    assert np.array_equal(runs[0].value, runs[1].value)
    assert np.array_equal(runs[0].standard_error, runs[1].standard_error)
    other = wall_light(SCENES[name], finish, sky=Sky(6, 12), method=method, samples=6400, seed=6)
    assert not np.array_equal(runs[0].value, other.value)


@pytest.mark.parametrize("method", Method)
def test_standard_errors_are_honest(method: Method) -> None:
    """Over 24 seeds the scatter of the mean is what the runs say of themselves: chi-square on its variance."""
    finish = FINISHES["lambertian" if method is Method.STAGED else "coated"]
    runs = [wall_light(SCENES["cone"], finish, sky=Sky(2, 2), method=method, samples=3200, seed=s) for s in range(24)]
    values = np.array([run.value for run in runs])
    stated = np.mean([run.standard_error**2 for run in runs], axis=0)
    busy = stated > 0
    ratio = values.var(axis=0, ddof=1)[busy] / stated[busy]
    # 23 degrees of freedom above, at least 15 times 24 below: an F distribution.
    chance = stats.f.sf(ratio, 23, 15 * 24)
    assert np.all(chance > 1e-4)
    assert np.all(chance < 1 - 1e-4)


def test_more_samples_make_less_error() -> None:
    few, many = (wall_light(SCENES["tube"], FINISHES["lambertian"], samples=n) for n in (2048, 32_768))
    bright = many.value > 0.1 * many.value.max()
    # Sixteen times the points: at least the four of random ones, by low discrepancy more.
    assert np.median(few.standard_error[bright] / many.standard_error[bright]) > 5.0


def test_a_run_is_stopped_kept_and_gone_on_with(tmp_path: Path) -> None:
    keep = tmp_path / "run.npz"
    whole = wall_light(SCENES["tube"], FINISHES["coated"], sky=Sky(6, 8), method=Method.REFERENCE, samples=32_000, seed=3)
    with pytest.raises(LightStopped, match=r"stopped after \d+ of 32 pieces; what is done is kept in "):
        wall_light(
            SCENES["tube"], FINISHES["coated"], sky=Sky(6, 8), method=Method.REFERENCE, samples=32_000, seed=3, keep=keep,
            progress=lambda share: share < 0.4,
        )  # fmt: skip
    shares: list[float] = []
    gone_on = wall_light(
        SCENES["tube"], FINISHES["coated"], sky=Sky(6, 8), method=Method.REFERENCE, samples=32_000, seed=3, keep=keep,
        progress=lambda share: shares.append(share) or True,
    )  # fmt: skip
    assert np.array_equal(whole.value, gone_on.value)
    assert whole.balance == gone_on.balance
    assert shares[0] > 0.4
    assert shares[-1] == 1.0
    with pytest.raises(FileError, match="was kept for another scene, finish, seed or number of samples"):
        wall_light(SCENES["cone"], FINISHES["coated"], sky=Sky(6, 8), method=Method.REFERENCE, samples=32_000, seed=3, keep=keep)
    keep.write_bytes(b"not a run")
    with pytest.raises(FileError, match="is not a kept run of wall light"):
        wall_light(SCENES["tube"], FINISHES["coated"], sky=Sky(6, 8), method=Method.REFERENCE, samples=32_000, seed=3, keep=keep)
    np.savez(keep, schema=np.array(99), mark=np.array("x"), cells=np.zeros(1), tally=np.zeros(1), pieces=np.array(0))
    with pytest.raises(FileError, match="is of schema 99, but 1 is read"):
        wall_light(SCENES["tube"], FINISHES["coated"], sky=Sky(6, 8), method=Method.REFERENCE, samples=32_000, seed=3, keep=keep)


def test_a_fast_run_is_stopped() -> None:
    with pytest.raises(LightStopped, match="stopped before the end"):
        wall_light(SCENES["tube"], FINISHES["lambertian"], samples=2048, progress=lambda share: share < 0.3)


def test_scene_of_a_beam_is_the_bare_scene() -> None:
    beam = beam_of([(30.0, 5.0, 0.0, 0.0), (0.0, 32.0, 0.0, 0.0)], 0.6, 0.4, reach=2.0)
    found = wall_light(scene_of(beam, TUBE), FINISHES["lambertian"], samples=512, seed=1)
    bare = wall_light(bare_scene(32.0, TUBE, reach=2.0), FINISHES["lambertian"], samples=512, seed=1)
    assert np.array_equal(found.value, bare.value)


def test_nothing_scatters_without_a_hood() -> None:
    found = wall_light(bare_scene(32.0, None), FINISHES["lambertian"], sky=Sky(6, 8), samples=512)
    assert np.all(found.value == 0.0)
    assert found.direct == pytest.approx(np.maximum(found.directions[:, 2], 0.0))


REFUSED = [
    (lambda: wall_light(SCENES["tube"], FINISHES["lobe"], method=Method.STAGED), "only plain tubes and cones"),
    (lambda: wall_light(SCENES["tunnel"], FINISHES["lambertian"], method=Method.STAGED), "only plain tubes and cones"),
    (lambda: bare_scene(50.0, TUBE), "narrower than the front glass"),
    (lambda: bare_scene(32.0, TUBE, reach=60.0), "the rim: lies nowhere ahead of the front rim plane"),
    (lambda: bare_scene(math.nan, TUBE), "the glass's radius: is nan"),
    (lambda: bare_scene(32.0, TUBE, glass_reflectance=1.5), "glass_reflectance: is 1.5"),
    (lambda: bare_scene(32.0, TUBE, vanes=(Vane(12.0, 45.0),)), "a vane: its inner radius is 45 mm"),
    (lambda: bare_scene(32.0, TUBE, vanes=(Vane(-2.0, 38.0),)), "a vane: z is -2 mm, not ahead"),
    (lambda: bare_scene(32.0, TUNNEL, vanes=(Vane(5.0, 38.0),)), "vanes: only a round wall carries them"),
    (lambda: bare_scene(32.0, MeshHood(np.zeros((3, 3)), np.zeros((0, 3), np.int64))), "the mesh: has 0 triangles"),
    (lambda: bare_scene(32.0, MeshHood(np.full((3, 3), 1e9), np.array([[0, 1, 2]]))), "check that its unit is mm"),
    (lambda: wall_light(SCENES["tube"], FINISHES["lobe"], directions=np.zeros((3, 3))), "one of them is no direction"),
    (lambda: wall_light(SCENES["tube"], FINISHES["lobe"], directions=np.ones(3)), "directions: have the shape"),
    (lambda: wall_light(SCENES["tube"], FINISHES["lobe"], samples=3), "samples: is 3"),
    (lambda: Sky(0, 10), "sky.rows: is 0"),
    (lambda: wall_light(SCENES["tube"], FINISHES["lobe"], threads=0), "threads: is 0"),
    (lambda: wall_light(SCENES["tube"], FINISHES["lobe"], seed=-1), "seed: is -1"),
    (lambda: wall_light(SCENES["tube"], FINISHES["lobe"], keep=Path("x.npz")), "keep: only a run of the reference method"),
    (
        lambda: wall_light(SCENES["tube"], FINISHES["lobe"], directions=np.ones((1, 3)), method=Method.REFERENCE),
        "the reference method counts rays in the cells of a sky",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("make", "message"), REFUSED, ids=[message for _, message in REFUSED])
def test_bad_input_is_refused(make: object, message: str) -> None:
    with pytest.raises(LightError, match=message):
        make()  # type: ignore[operator]
