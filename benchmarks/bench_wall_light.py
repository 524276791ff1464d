"""Wall light against a general-purpose renderer in one run: noise times cost of a map, rays a second, threads, first call.

Times are processor seconds of all threads, not wall seconds, so that a shared machine changes them little. The renderer
(Mitsuba 3) runs its scalar variant, and its vectorised one too where the environment variable DRJIT_LIBLLVM_PATH names an
LLVM that knows the processor (with one too old it cannot start).
"""

from __future__ import annotations

import math
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from numba import njit

from common import heading

sys.path.insert(0, str(Path(__file__).parent.parent / "tests"))
import mitsuba

from renderer import inside_of, mesh_of, sunlit, use_variant
from shadewright.light import staged
from shadewright.light.fast import Sides
from shadewright.light.finish import Finish, Harvey
from shadewright.light.scene import bare_scene
from shadewright.light.wall_light import Method, Sky, WallLight, wall_light
from shadewright.model.shape import Rim, RoundHood, RoundWall

GLASS = 32.0
AZIMUTH = np.arange(0.0, 360.0, 0.5)
PETAL = Rim.from_arrays(AZIMUTH, 30.0 - 8.0 * np.cos(np.radians(2 * AZIMUTH)))
HOOD = RoundHood(RoundWall((0.0,), (42.0,)), PETAL)
SCENE = bare_scene(GLASS, HOOD)
PLAIN = Finish("plain", 0.05)
HALF_WIDTH = math.sin(math.radians(2.0))
SHOULDER = HALF_WIDTH / math.sqrt(math.sqrt(2.0) - 1.0)
GLOSSY = Finish("glossy", 0.0, lobe=Harvey(0.03 / (math.pi * SHOULDER**2), SHOULDER, -4.0))
"""A lobe that has fallen to half 2 degrees from its middle; it holds 3 % of the light."""
OPERATIONS = 260
"""Operations of one bounce, counted in the text of the stages of `light.staged`: about 145 on numbers with a fraction (each
square root and quotient one, `_leave` 50, `_rim` 3, `_floor` 7, `_sort` 6, `_settle` 10, `_numbers` 6, `_scatter` 63) and
115 on whole numbers for the generator's twenty rounds."""
ANGLES = ((25.0, 0.0), (40.0, 30.0), (55.0, 80.0), (65.0, 10.0))


def processor(call: Callable[[], Any], times: int = 3) -> tuple[float, Any]:
    """The least processor time of several calls, and the last answer."""
    best, found = math.inf, None
    for _ in range(times):
        started = time.process_time()
        found = call()
        best = min(best, time.process_time() - started)
    return best, found


def direction(theta: float, psi: float) -> np.ndarray:
    """Unit vector towards a source."""
    t, p = math.radians(theta), math.radians(psi)
    return np.array([math.sin(t) * math.cos(p), math.sin(t) * math.sin(p), math.cos(t)])


def noise(found: WallLight, truth: np.ndarray) -> str:
    """The noise of a map in words, stated and found."""
    bright = truth > 0.02 * truth.max()
    stated = math.sqrt(float(np.mean(found.standard_error**2))) / truth.mean()
    real = math.sqrt(float(np.mean((found.value - truth) ** 2))) / truth.mean()
    middle = float(np.median(found.standard_error[bright] / truth[bright]))
    return f"noise {100 * stated:.2f} % of the mean (found {100 * real:.2f} %), median cell {100 * middle:.2f} %"


def map_of(finish: Finish, samples: int) -> tuple[float, WallLight, np.ndarray]:
    """Processor seconds of a map of 3,024 directions by the fast method, the map, and a far better one."""
    truth = wall_light(SCENE, finish, samples=1 << 19, seed=99).value
    seconds, found = processor(lambda: wall_light(SCENE, finish, samples=samples, seed=3))
    print(f"  {samples:,} points, one core: {seconds:.3f} s; {noise(found, truth)}")
    return seconds, found, truth


def rendered(finish: str, towards: np.ndarray, rays: int) -> tuple[float, float, float]:
    """Value, variance of one path and processor seconds of one path, by the renderer in its present variant."""
    vertices, faces = inside_of(HOOD, GLASS)
    scene = sunlit(vertices, faces, GLASS, towards, 0.05, rays=rays)
    if finish == "glossy":
        bsdf = {"type": "roughconductor", "alpha": HALF_WIDTH, "specular_reflectance": {"type": "rgb", "value": 0.03}}
        scene = glossy_scene(vertices, faces, towards, rays, bsdf)
    np.array(mitsuba.render(scene, seed=0))
    found = []
    started = time.process_time()
    for k in range(16):
        found.append(float(np.array(mitsuba.render(scene, seed=k + 1)).ravel()[0]))
    seconds = (time.process_time() - started) / 16
    return float(np.mean(found)), float(np.var(found, ddof=1)) * rays, seconds / rays


def glossy_scene(vertices: np.ndarray, faces: np.ndarray, towards: np.ndarray, rays: int, bsdf: dict[str, Any]) -> Any:
    """The same scene with a glossy wall: a microfacet metal whose slopes spread as widely as our lobe."""
    mesh = mesh_of(vertices, faces, 0.05)
    folder = tempfile.TemporaryDirectory()
    path = Path(folder.name) / "hood.ply"
    mesh.write_ply(str(path))
    film = {"type": "hdrfilm", "width": 1, "height": 1, "rfilter": {"type": "box"}, "pixel_format": "luminance"}
    meter = {"type": "irradiancemeter", "film": film, "sampler": {"type": "independent", "sample_count": rays}}
    scene = mitsuba.load_dict(
        {
            "type": "scene", "integrator": {"type": "path", "max_depth": 8},
            "hood": {"type": "ply", "filename": str(path), "face_normals": True, "bsdf": {"type": "twosided", "inner": bsdf}},
            "glass": {
                "type": "disk", "to_world": mitsuba.ScalarTransform4f().scale([GLASS, GLASS, 1.0]),
                "bsdf": {"type": "diffuse", "reflectance": {"type": "rgb", "value": 0.0}}, "meter": meter,
            },
            "sun": {"type": "directional", "direction": [-float(v) for v in towards], "irradiance": {"type": "rgb", "value": 1.0}},
        }
    )  # fmt: skip
    folder.cleanup()
    return scene


def merit(finish: Finish, name: str, samples: int, variants: list[str], goal: int) -> None:
    """Figure of merit, 1 / (variance x processor time) of a whole map, against the renderer's best."""
    heading(f"Map of 3,024 directions, {name} finish")
    map_of(finish, samples // 4)
    seconds, found, _ = map_of(finish, samples)
    towards = np.array([direction(*pair) for pair in ANGLES])
    ours = wall_light(SCENE, finish, directions=towards, samples=samples, seed=4)
    for variant in variants:
        use_variant(variant)
        rays = 1 << (18 if variant.startswith("llvm") else 15)
        ratios = []
        for k, d in enumerate(towards):
            value, variance, each = rendered(name, d, rays)
            relative = variance / value**2 if value > 0 else math.inf
            mine = (ours.standard_error[k] / ours.value[k]) ** 2 * seconds
            theirs = relative * each * len(found.value)
            # Plain backward rays of the renderer at the same cost each would serve all directions at once.
            share = ours.value[k] * found.sky.solid_angle / math.pi / max(finish.reflectance(0.0), 1e-9)
            counted = each / share
            ratios.append(min(theirs, counted) / mine)
        print(
            f"  {variant}: {each * 1e6:.2f} µs a path; ratio of merit {', '.join(f'{r:,.0f}' for r in ratios)}; "
            f"median {np.median(ratios):,.0f} (goal {goal:,})"
        )


def backward_rate(variant: str, count: int) -> float:
    """Segments a processor second of plain backward tracing on the mesh by the renderer: cosine rays, three bounces."""
    use_variant(variant)
    vertices, faces = inside_of(HOOD, GLASS)
    scene = mitsuba.load_dict(
        {
            "type": "scene", "hood": mesh_of(vertices, faces, 0.05),
            "glass": {"type": "disk", "to_world": mitsuba.ScalarTransform4f().scale([GLASS, GLASS, 1.0])},
        }
    )  # fmt: skip
    import drjit as dr

    def go(seed: int) -> int:
        sampler = mitsuba.load_dict({"type": "independent"})
        sampler.seed(seed, count)
        disc = mitsuba.warp.square_to_uniform_disk_concentric(sampler.next_2d())
        way = mitsuba.warp.square_to_cosine_hemisphere(sampler.next_2d())
        ray = mitsuba.Ray3f(mitsuba.Point3f(disc.x * GLASS, disc.y * GLASS, 1e-3), way)
        active = mitsuba.Mask(True)
        segments = 0
        for _ in range(3):
            hit = scene.ray_intersect(ray, active)
            segments += int(dr.count(active)[0])
            active &= hit.is_valid()
            local = mitsuba.warp.square_to_cosine_hemisphere(sampler.next_2d())
            normal = mitsuba.Frame3f(dr.select(dr.dot(hit.n, ray.d) > 0, -hit.n, hit.n))
            ray = mitsuba.Ray3f(hit.p + 1e-3 * normal.n, normal.to_world(local))
            dr.eval(ray, active)
        return segments

    go(0)
    started = time.process_time()
    segments = sum(go(k + 1) for k in range(4))
    return segments / (time.process_time() - started)


def rates(variants: list[str]) -> None:
    """Plain backward tracing: rays a second, per core, and against the floor of the stages' arithmetic."""
    heading("Plain backward tracing of a Lambertian petal hood")
    sky, rays = Sky(), 4_000_000
    seconds, found = processor(lambda: wall_light(SCENE, PLAIN, sky=sky, method=Method.STAGED, samples=rays))
    segments = rays * found.balance.segments / seconds
    print(f"  staged: {rays / seconds / 1e6:.1f} M rays/s, {1e9 / segments:.1f} ns a segment a core")
    floor = stage_floor()
    print(f"  arithmetic of its vector stages alone: {floor:.1f} ns a segment; whole over floor {1e9 / segments / floor:.2f}")
    peak = peak_operations()
    least = OPERATIONS / peak * 1e9
    print(
        f"  {segments / 1e6:.0f} M bounces a second and core; {OPERATIONS} operations each at the {peak / 1e9:.0f} G/s of a "
        f"loop of nothing but products and sums: {least:.2f} ns, so {1e9 / segments / least:.1f} times the floor"
    )
    slow, exact = processor(lambda: wall_light(SCENE, PLAIN, sky=sky, method=Method.REFERENCE, samples=rays // 16), 1)
    print(f"  reference, double precision, any scene: {rays / 16 * exact.balance.segments / slow / 1e6:.2f} M segments/s")
    for variant in variants:
        if variant.startswith("llvm"):
            theirs = backward_rate(variant, 1 << 20)
            print(f"  {variant}: {theirs / 1e6:.2f} M segments/s a core; ratio {segments / theirs:.1f} (goal 12)")


@njit(cache=True, error_model="numpy", fastmath={"contract"}, forceinline=True)
def _eight(v: np.float32, a: np.float32, b: np.float32) -> np.float32:
    for _ in range(8):
        v = v * a + b
    return v


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def _products_and_sums(goes: int, x: np.ndarray) -> None:
    """64 products and 64 sums on each number, goes times."""
    a, b = np.float32(0.999), np.float32(0.001)
    for _ in range(goes):
        for j in range(x.shape[0]):
            v = _eight(_eight(_eight(_eight(x[j], a, b), a, b), a, b), a, b)
            x[j] = _eight(_eight(_eight(_eight(v, a, b), a, b), a, b), a, b)


def peak_operations() -> float:
    """Single-precision operations a second of a core that does nothing but multiply and add in its registers."""
    x, goes = np.ones(1024, np.float32), 2000
    _products_and_sums(1, x)
    seconds, _ = processor(lambda: _products_and_sums(goes, x), 5)
    return goes * len(x) * 128 / seconds


def stage_floor() -> float:
    """Nanoseconds a segment of the vector stages on a resident block, without closing up and tallies."""
    f, n = np.float32, staged.BLOCK
    p, at = np.empty((7, n), f), np.empty((5, n), f)
    ray, kind = np.arange(n, dtype=np.uint32), np.empty(n, np.int32)
    u, v, floor = np.empty(n, f), np.empty(n, f), np.zeros(n, f)
    sides = Sides.of(SCENE, np.array([[0.0, 0.0, 1.0]]))
    staged._launch(0, n, np.arange(4, dtype=np.uint64), f(GLASS), p, ray)

    def once() -> None:
        for _ in range(200):
            staged._leave(n, p, f(42), f(0), f(512), at)
            staged._rim(n, at, sides.base, sides.slope)
            staged._floor(n, p, u, v)
            staged._sort(n, at, u, v, f(GLASS * GLASS), kind)
            staged._settle(n, at, u, v, f(42), f(0))
            staged._numbers(ray, n, np.uint32(4), np.uint32(1), np.uint32(2), u, v)
            staged._scatter(n, p, u, v, f(42), f(0), floor)

    once()
    return processor(once, 5)[0] / 200 / n * 1e9


def threads() -> None:
    """Wall and processor seconds by number of threads: with cores to spare the first falls as the second stays."""
    heading("Threads")
    for method, samples in ((Method.FAST, 1 << 17), (Method.STAGED, 16_000_000)):
        for count in (1, 2, 4):
            started, used = time.perf_counter(), time.process_time()
            wall_light(SCENE, PLAIN, method=method, samples=samples, threads=count)
            wall, used = time.perf_counter() - started, time.process_time() - used
            print(f"  {method}, {count} threads: {wall:.2f} s, {used:.2f} s of processor time")


def first_call() -> None:
    """A fresh process with kernels compiled at set-up."""
    heading("First map in a fresh process")
    script = (
        "import time; s = time.process_time()\n"
        "from shadewright.light.finish import Finish\nfrom shadewright.light.scene import bare_scene\n"
        "from shadewright.light.wall_light import wall_light\nfrom shadewright.model.shape import Rim, RoundHood, RoundWall\n"
        "a = time.process_time() - s\n"
        "wall_light(bare_scene(32.0, RoundHood(RoundWall((0.0,), (42.0,)), Rim.plain(25.0))), Finish('p', 0.05))\n"
        "print(f'  imports {a:.2f} s, first map {time.process_time() - s - a:.2f} s of processor time')\n"
    )
    for _ in range(2):
        print(subprocess.run([sys.executable, "-c", script], check=True, capture_output=True, text=True).stdout, end="")


def main() -> None:
    """Print the claims and what was measured."""
    variants = ["scalar_rgb"] + (["llvm_ad_rgb"] if os.environ.get("DRJIT_LIBLLVM_PATH") else [])
    merit(PLAIN, "plain", 32_768, variants, 1000)
    merit(GLOSSY, "glossy", 16_384, variants, 30)
    rates(variants)
    threads()
    first_call()


if __name__ == "__main__":
    main()
