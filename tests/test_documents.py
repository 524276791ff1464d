"""Documents: read, merged, written back, described by their schemas, and sturdy against anything else."""

from __future__ import annotations

import builtins
import copy
import json
import re
import sys
import time
import tomllib
from datetime import date
from importlib import resources
from pathlib import Path
from typing import Any

import pytest
import tomli_w
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from bad_input_cases import CASES, GOOD
from shadewright.cli import main
from shadewright.errors import DocumentError, FileError, OpticsError
from shadewright.model.base import LONGEST_SHOWN, Part, key_shown, shown
from shadewright.model.camera import Camera, Orientation, ratio_value
from shadewright.model.documents import (
    DEEPEST_BASE,
    KINDS,
    parse_document,
    read_camera,
    read_document,
    read_hood,
    read_lens,
    schema,
)
from shadewright.model.formats import FORMATS
from shadewright.model.hood import FIT_PLAY, Build, Fit, Hood, RimPart, SeatKind, Use, Wishes
from shadewright.model.lens import Lens, Mapping, Projection, State
from shadewright.model.prescription import Prescription
from shadewright.model.shots import Shots
from shadewright.model.surroundings import Surroundings
from shadewright.model.writing import to_toml
from shadewright.optics.beam import job
from shadewright.optics.frame import frame_half_sizes

PACKAGE = resources.files("shadewright")
STARTERS = {kind: PACKAGE.joinpath(f"starters/{kind}.toml").read_text("utf-8") for kind in KINDS}
DEMO = {
    entry.name: entry.read_text("utf-8")
    for entry in sorted(PACKAGE.joinpath("demo").iterdir(), key=lambda item: item.name)
    if entry.name.endswith(".toml")
}


def kind_of(text: str) -> str:
    """What kind of document a text says it is."""
    return str(tomllib.loads(text)["document"])


def parsed(text: str) -> Any:
    """A document from its text, of the kind that it says it is."""
    return parse_document(text, KINDS[kind_of(text)], name="test")  # type: ignore[type-var]


def written(folder: Path, **documents: str) -> Path:
    """Documents written into a folder; returns it."""
    for name, text in documents.items():
        (folder / f"{name}.toml").write_text(text, "utf-8")
    return folder


# --- starters and the demonstration ---------------------------------------------------------------------------


@pytest.mark.parametrize("kind", KINDS)
def test_a_starter_is_a_good_document_of_its_kind(kind: str) -> None:
    assert kind_of(STARTERS[kind]) == kind
    assert parsed(STARTERS[kind]).name == f"My {kind}"


def whole(text: str) -> str:
    """A document with the prescription that it names written out in it."""
    tree = tomllib.loads(text)
    if not isinstance(tree.get("prescription"), str):
        return text
    return tomli_w.dumps(tree | {"prescription": tomllib.loads(DEMO[tree["prescription"]])})


@pytest.mark.parametrize("name", DEMO)
def test_a_document_of_the_demonstration_is_good(name: str, tmp_path: Path) -> None:
    for other, text in DEMO.items():
        (tmp_path / other).write_text(text, "utf-8")
    document = read_document(tmp_path / name, KINDS[kind_of(DEMO[name])])  # type: ignore[type-var]
    assert document == parsed(whole(DEMO[name]))


def test_the_demonstration_has_a_hood_for_every_lens() -> None:
    kinds = {name: kind_of(text) for name, text in DEMO.items()}
    lenses = {name.removesuffix(".toml") for name, kind in kinds.items() if kind == "lens"}
    hoods = {name.removesuffix("-hood.toml") for name, kind in kinds.items() if kind == "hood"}
    assert lenses == hoods != set()
    assert list(kinds.values()).count("camera") == 1


def uncommented(text: str) -> list[str]:
    """A starter as it becomes when one commented field, or one commented table with its fields, is put to use."""
    lines = text.splitlines()
    field, table = re.compile(r"# ([a-z_]+ = .*)"), re.compile(r"# (\[.*\].*)")
    texts = []
    for i, line in enumerate(lines):
        if table.fullmatch(line):
            stop = next((j for j in range(i + 1, len(lines)) if not field.fullmatch(lines[j])), len(lines))
            block = [entry.removeprefix("# ") for entry in lines[i:stop]]
            texts.append("\n".join([*lines[:i], *block, *lines[stop:]]))
        elif field.fullmatch(line):
            before = next((j for j in range(i - 1, -1, -1) if not field.fullmatch(lines[j])), 0)
            if not table.fullmatch(lines[before]):
                texts.append("\n".join([*lines[:i], line.removeprefix("# "), *lines[i + 1 :]]))
    return texts


@pytest.mark.parametrize("kind", KINDS)
def test_every_field_that_a_starter_offers_in_a_comment_can_be_used(kind: str) -> None:
    texts = uncommented(STARTERS[kind])
    assert len(texts) >= 3
    used = 0
    for text in texts:
        try:
            document = parsed(text)
        except DocumentError:
            # A camera takes its frame by name or by size: the starter offers one beside the other.
            document = parsed(re.sub(r"(?m)^format = .*\n", "", text))
        used += document != parsed(STARTERS[kind])
    # One may offer a field with the value that it has anyway.
    assert used >= len(texts) - 1


def test_new_keeps_every_comment(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    for kind in KINDS:
        for words in (["new", kind], ["new", kind, str(tmp_path / f"{kind}.toml")]):
            monkeypatch.setattr(sys, "argv", ["shadewright", *words])
            with pytest.raises(SystemExit) as ended:
                main()
            assert ended.value.code == 0
            output = capsys.readouterr().out
            text = output if len(words) == 2 else (tmp_path / f"{kind}.toml").read_text("utf-8")
            assert text == STARTERS[kind]


ANSWERS: dict[str, list[str]] = {
    "lens": ['Tern "28" of 1990', "78.5", "81", "28", "2", "-3.25"],
    "camera": ["Körper", "aps-c"],
    "hood": ["Tern shade", "plain", "45.5", "0.1"],
    "prescription": ["Tern \"28\" as designed", "5.6"],
    "surroundings": ["Quay at noon", "12.5", "even"],
    "shots": ["Second evening", "28", "2.8", "-1.5"],
}


@pytest.mark.parametrize("kind", KINDS)
def test_new_with_questions_keeps_comments_and_writes_the_answers(
    kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    answers = iter(ANSWERS[kind])
    monkeypatch.setattr(builtins, "input", lambda *_: next(answers))
    monkeypatch.setattr("typer._click.termui.visible_prompt_func", lambda *_: next(answers), raising=False)
    path = tmp_path / "new.toml"
    monkeypatch.setattr(sys, "argv", ["shadewright", "new", kind, str(path), "--ask"])
    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code == 0, capsys.readouterr().err
    text = path.read_text("utf-8")
    assert next(answers, None) is None

    def comments(of: str) -> list[str]:
        return [line[line.index("#") :] for line in of.splitlines() if "#" in line]

    assert comments(text) == comments(STARTERS[kind])
    document = parsed(text)
    assert document.name == ANSWERS[kind][0]
    if isinstance(document, Lens):
        assert (document.front.rim_diameter, document.seat.diameter) == (78.5, 81)
        assert (document.state[0].focal_length, document.state[0].f_number, document.state[0].reach) == (28, 2, -3.25)
    elif isinstance(document, Camera):
        assert document.format == "aps-c"
    elif isinstance(document, Prescription):
        assert document.setting[0].f_number == 5.6
    elif isinstance(document, Surroundings):
        assert document.sky is not None
        assert (document.lens_elevation, str(document.sky.kind)) == (12.5, "even")
    elif isinstance(document, Shots):
        assert (document.setting[0].focal_length, document.setting[0].f_number, document.setting[0].reach) == (28, 2.8, -1.5)
    else:
        assert (str(document.rim.shape), document.wishes.largest_length) == ("plain", 45.5)
        assert document.wishes.allowance == 0.1


# --- writing and reading again --------------------------------------------------------------------------------

FULL_HOODS = {
    "wishes": GOOD["hood.toml"],
    "cone": GOOD["hood.toml"].replace(
        'shape = "tube"\ninner_diameter = 88.0',
        'shape = "cone"\nnear_diameter = 88.0\nfar_diameter = 99.5\nfar_z = 41.25',
    ),
    "steps": GOOD["hood.toml"].replace(
        'shape = "tube"\ninner_diameter = 88.0',
        'shape = "stepped"\nsteps = [{ z = -2.5, diameter = 86.0 }, { z = 10.0, diameter = 90.125 }]',
    ),
    "tunnel": GOOD["hood.toml"]
    .replace('shape = "tube"\ninner_diameter = 88.0', 'shape = "tunnel"\ninner_width = 120.0\ninner_height = 95.5')
    .replace('shape = "petal"', 'shape = "tunnel"\nlips = { right = 20.5, top = 31.0, left = 20.5, bottom = -1.0 }'),
    "traced": GOOD["hood.toml"].replace(
        'shape = "petal"', f'shape = "deepest"\npoints = {[[i * 36 + 0.25, 20 + i / 8] for i in range(10)]}'
    ),
    "ruled": GOOD["hood.toml"].replace(
        'shape = "petal"',
        "petals = { right = 20, top = 30.5, left = 20, bottom = 30.5, corners = 8.0, valley_width = 24.0, corner_azimuth = 33.7 }",
    ),
    "plain": GOOD["hood.toml"].replace('shape = "petal"', "depth = -0.5"),
    "mesh": GOOD["hood.toml"].replace('shape = "petal"', 'stl = "Öffnung 2.STL"'),
    "vanes": GOOD["hood.toml"] + "\n[[vane]]\nz = 30.5\ninner_diameter = 79.25\n\n[[vane]]\nz = 20.0\ninner_diameter = 78.0\n",
    "ridges": GOOD["hood.toml"].replace("[build]", "[build]\nring_edge = 0.5")
    + "\n[ridges]\npitch = 2.5\ndepth = 1.25\nflank = 40.0\nnear = 3.5\nfront = 30.25\n",
    "own finish": GOOD["hood.toml"] + '\n[[finish]]\nname = "bench black"\nreflectance = 0.031\nmirror = 0.004\nindex = 1.45\n'
    'low = 0.028\nhigh = 0.035\nsource = "sphere photometer"\n',
}
SHOTS = """
document = "shots"
version = 1
name = "evening"
notes = "overcast"
tube = [{ name = "a", inner_diameter = 80.5, length = 40.0, inner_diameter_plus_minus = 0.2, length_plus_minus = 0.3 }]
pin = [{ focal_length = 24.0, focus_distance = 500.0, depths = [25.0, 26.5], scale_plus_minus = 0.25 }]

[[setting]]
focal_length = 24.0
focal_length_plus_minus = 2.5
f_number = 2.8
focus_distance = 1200.0
reach = -1.5
bare = ["b-1.tif"]
stopped_down = ["s-1.tif"]
stopped_down_f_number = 8.0
with_hood = ["h/1.tif"]
with_tube = [{ tube = "a", frames = ["t-1.tif", "t-2.tif"], bare = ["b-2.tif"] }]

[[rail]]
focal_length = 24.0
focus_distance = 500.0
front_over_axis = 12.5
readings = [38.0, 39.5]
scale_plus_minus = 0.75

[[ruler]]
focal_length = 24.0
focus_distance = 500.0
view = [{ distance = 200.0, width = 340.0 }, { distance = 600.0, width = 940.0 }]
width_plus_minus = 0.5
distance_plus_minus = 0.2
across = "height"
"""
WANDERING = """
document = "lens"
version = 1
name = "wanderer"

[front]
rim_diameter = 60.0

[[state]]
focal_length = 28.0
f_number = 2.0
pupil_depth = 22.5
pupil_wander = [-3.25, 0.5]
"""


def traced_lens() -> str:
    """A lens known by its prescription, every field of its placement given."""
    tree = tomllib.loads(WANDERING)
    del tree["state"]
    prescription = tomllib.loads(GOOD["prescription.toml"])
    place = {
        "setting": prescription["setting"][0]["name"], "vertex_reach": 3.5, "smallest_f_number": 16.0, "shift": [1.0, 2.0],
        "image_travel": 0.25,
    }  # fmt: skip
    return tomli_w.dumps(tree | {"prescription": prescription, "placement": [place]})


WRITTEN = {
    **{f"starter-{kind}": text for kind, text in STARTERS.items()},
    **{f"demo-{name}": whole(text) for name, text in DEMO.items()},
    **{f"hood-{name}": text for name, text in FULL_HOODS.items()},
    "lens-every-field": GOOD["lens.toml"],
    "lens-wandering": WANDERING,
    "lens-traced": traced_lens(),
    "camera-every-field": GOOD["camera.toml"],
    "prescription-every-field": GOOD["prescription.toml"],
    "surroundings-every-field": GOOD["surroundings.toml"],
    "shots-every-field": SHOTS,
    "lens-measured": GOOD["lens.toml"]
    .replace('kind = "rectilinear"', 'kind = "measured"\ncoefficients = [-0.0523, 0.0041]')
    .replace("radius = 32.0 }", "radius = 32.0, decentre = [0.5, -0.25] }"),
    "camera-format": GOOD["camera.toml"].replace("\nframe = [36.0, 24.0]", '\nformat = "135"'),
    "camera-odd-text": GOOD["camera.toml"].replace('"the usual one"', '"a \\"b\\" \\\\ c\\n# d\\t\\u0000 ü 星"'),
}


@pytest.mark.parametrize("name", WRITTEN)
def test_a_document_reads_back_as_it_was_written(name: str) -> None:
    document = parsed(WRITTEN[name])
    text = to_toml(document, heading="fitted for\nthis test")
    assert parsed(text) == document
    assert text.startswith("# fitted for\n# this test\n")
    assert to_toml(parsed(text)) == to_toml(document), "writing twice gives another text"


@pytest.mark.parametrize("kind", KINDS)
def test_the_documents_written_above_use_every_field(kind: str) -> None:
    """So that no field can be lost in writing without a test that fails."""
    used: set[str] = set()
    for text in WRITTEN.values():
        if kind_of(text) == kind:
            used |= {re.sub(r"\[\d+\]|\.\d+$", "", place) for place, _value in leaves(tomllib.loads(text))}
    assert set(fields_of(KINDS[kind])) <= used | {"made_for"}


def leaves(tree: Any, place: str = "") -> list[tuple[str, Any]]:
    """Every value in a document that is no table, by its place; lists count as values, and as what they hold."""
    found: list[tuple[str, Any]] = []
    if isinstance(tree, dict):
        for key, value in tree.items():
            found += leaves(value, f"{place}.{key}" if place else key)
        return found
    if isinstance(tree, list) and tree and isinstance(tree[0], dict):
        for index, value in enumerate(tree):
            found += leaves(value, f"{place}[{index}]")
        return found
    return [(place, tree)]


def model_in(annotation: Any) -> type[Part] | None:
    """The table that a field holds, alone or in a list."""
    if isinstance(annotation, type) and issubclass(annotation, Part):
        return annotation
    return next(filter(None, map(model_in, getattr(annotation, "__args__", ()))), None)


def fields_of(model: type[Part], place: str = "") -> list[str]:
    """Every field of a model that is no table, by its place."""
    found = []
    for name, field in model.model_fields.items():
        inner, here = model_in(field.annotation), f"{place}.{name}" if place else name
        found += [here] if inner is None else fields_of(inner, here)
    return found


MICRONS = st.integers(1, 3_000_000).map(lambda n: n / 1000)
NAMES = st.text(st.characters(exclude_categories=("C", "Z")), min_size=1, max_size=40)


@st.composite
def lenses(draw: st.DrawFn) -> Lens:
    """Lenses of one to four states with values to the micrometre."""
    focals = draw(st.lists(st.integers(8, 600), min_size=1, max_size=4, unique=True))
    states = [
        State(
            focal_length=float(focal), f_number=draw(st.sampled_from([0.95, 1.4, 2.8, 5.6])),
            focus_distance=draw(st.sampled_from(["infinity", 250.5, 1e6])),
            reach=draw(st.none() | st.integers(-90_000, 90_000).map(lambda n: n / 1000)),
            pupil_depth=draw(st.none() | MICRONS), pupil_depth_plus_minus=draw(st.sampled_from([0.0, 0.125, 3.0])),
            shift=draw(st.sampled_from([(0.0, 0.0), (11.0, 7.5)])),
        )
        for focal in focals
    ]  # fmt: skip
    rim = draw(MICRONS)
    return Lens.model_validate(
        {
            "document": "lens", "version": 1, "name": draw(NAMES), "notes": draw(st.text(max_size=60)),
            "front": {"rim_diameter": rim, "turns": draw(st.booleans())},
            "projection": Mapping(kind=draw(st.sampled_from([p for p in Projection if p is not Projection.MEASURED]))),
            "state": tuple(states),
        }
    )  # fmt: skip


@given(lenses())
@settings(max_examples=60, deadline=None)
def test_any_lens_reads_back_as_it_was_written(lens: Lens) -> None:
    assert parse_document(to_toml(lens), Lens) == lens


@given(
    st.lists(st.integers(0, 3599), min_size=60, max_size=400, unique=True),
    st.sampled_from(list(Fit)), st.sampled_from(list(SeatKind)), st.integers(0, 40), NAMES,
)  # fmt: skip
@settings(max_examples=40, deadline=None)
def test_any_rim_of_points_reads_back_as_it_was_written(
    tenths: list[int], fit: Fit, seat: SeatKind, allowance: int, name: str
) -> None:
    every = sorted({*tenths, *range(0, 3600, 300)})
    points = tuple((tenth / 10, (20_000 + tenth % 977) / 1000) for tenth in every)
    hood = Hood(
        document="hood", version=1, name=name, rim=RimPart(points=points), wishes=Wishes(allowance=allowance / 10),
        build=Build(fit=fit, seat=seat),
    )  # fmt: skip
    again = parse_document(to_toml(hood), Hood)
    assert again == hood
    assert FIT_PLAY[again.build.fit] == FIT_PLAY[fit]


def test_small_coefficients_read_back_as_they_were_written() -> None:
    text = GOOD["lens.toml"].replace(
        'kind = "rectilinear"', 'kind = "measured"\ncoefficients = [-0.0523, 3.25e-5, 1.5e-8]'
    )
    lens = parse_document(text, Lens)
    assert parse_document(to_toml(lens), Lens) == lens


# --- based_on -------------------------------------------------------------------------------------------------


def test_a_document_takes_what_it_does_not_say_from_its_base(tmp_path: Path) -> None:
    own = 'based_on = "base.toml"\nname = "Tern 28 b"\n[front]\nrim_diameter = 79.0\n'
    written(tmp_path, base=GOOD["lens.toml"], lens=own)
    lens, base = read_lens(tmp_path / "lens.toml"), read_lens(tmp_path / "base.toml")
    assert (lens.name, lens.front.rim_diameter) == ("Tern 28 b", 79.0)
    assert lens.front.clear_diameter == base.front.clear_diameter
    assert lens == base.model_copy(update={"name": lens.name, "front": lens.front})


def test_a_list_replaces_the_list_of_its_base(tmp_path: Path) -> None:
    own = 'based_on = "base.toml"\n[[state]]\nfocal_length = 50.0\nf_number = 1.4\n'
    written(tmp_path, base=GOOD["lens.toml"], lens=own)
    lens = read_lens(tmp_path / "lens.toml")
    assert [(state.focal_length, state.reach, state.rear_window) for state in lens.state] == [(50.0, None, None)]


def test_tables_within_tables_are_merged(tmp_path: Path) -> None:
    own = 'based_on = "base.toml"\n[build.printer]\nhole_compensation = 0.35\n[wishes]\nstands = false\n'
    written(tmp_path, base=GOOD["hood.toml"].replace("first_layer_spread = 0.2", "first_layer_spread = 0.5"), hood=own)
    hood = read_hood(tmp_path / "hood.toml")
    assert (hood.build.printer.hole_compensation, hood.build.printer.first_layer_spread) == (0.35, 0.5)
    assert (hood.wishes.stands, hood.wishes.fillet_radius) == (False, 5.0)


def test_a_table_may_take_the_place_of_a_value_and_the_other_way_round(tmp_path: Path) -> None:
    written(tmp_path, base=GOOD["hood.toml"].replace('[wall]\nshape = "tube"\ninner_diameter = 88.0\n', ""),
            hood='based_on = "base.toml"\nwall = { inner_diameter = 91.0 }\n')  # fmt: skip
    wall = read_hood(tmp_path / "hood.toml").wall
    assert wall is not None
    assert wall.inner_diameter == 91.0


@pytest.mark.parametrize("length", [1, 2, DEEPEST_BASE - 1])
def test_a_chain_of_bases_is_read_to_its_end(length: int, tmp_path: Path) -> None:
    written(tmp_path, d0=GOOD["camera.toml"])
    for i in range(1, length + 1):
        travel = f"stabiliser_travel = {i}.0\n" if i % 2 else ""
        written(tmp_path, **{f"d{i}": f'based_on = "d{i - 1}.toml"\nname = "body {i}"\n{travel}'})
    camera = read_camera(tmp_path / f"d{length}.toml")
    assert camera.name == f"body {length}"
    assert camera.stabiliser_travel == length - 1 + length % 2
    assert camera.full_frame == (36.0, 24.0)


def test_a_chain_one_longer_is_refused(tmp_path: Path) -> None:
    written(tmp_path, d0=GOOD["camera.toml"])
    for i in range(1, DEEPEST_BASE + 1):
        written(tmp_path, **{f"d{i}": f'based_on = "d{i - 1}.toml"\n'})
    with pytest.raises(DocumentError, match=f"more than {DEEPEST_BASE} documents"):
        read_camera(tmp_path / f"d{DEEPEST_BASE}.toml")


def test_the_base_lies_beside_the_document_wherever_the_command_runs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kit = tmp_path / "kit"
    kit.mkdir()
    written(kit, base=GOOD["camera.toml"], camera='based_on = "base.toml"\n')
    written(tmp_path, base="not = a document")
    monkeypatch.chdir(tmp_path)
    assert read_camera("kit/camera.toml").name == "Heron body"
    (tmp_path / "link").symlink_to("kit")
    assert read_camera("link/camera.toml").name == "Heron body"


def test_a_document_in_a_text_has_no_base() -> None:
    with pytest.raises(DocumentError, match="based_on works only in files"):
        parse_document('based_on = "x.toml"\n' + GOOD["lens.toml"], Lens)


# --- schemas --------------------------------------------------------------------------------------------------


DESCRIBED = {"default", "title", "description", "$defs", "$schema", "properties", "required", "additionalProperties"}
"""Keywords that bind nothing by themselves, or are looked at with the table they belong to."""
BINDS: dict[str, tuple[type | tuple[type, ...], Any]] = {
    "minimum": ((int, float), lambda value, wanted: value >= wanted),
    "maximum": ((int, float), lambda value, wanted: value <= wanted),
    "exclusiveMinimum": ((int, float), lambda value, wanted: value > wanted),
    "exclusiveMaximum": ((int, float), lambda value, wanted: value < wanted),
    "minLength": (str, lambda value, wanted: len(value) >= wanted),
    "maxLength": (str, lambda value, wanted: len(value) <= wanted),
    "pattern": (str, lambda value, wanted: re.search(wanted, value) is not None),
    "minItems": (list, lambda value, wanted: len(value) >= wanted),
    "maxItems": (list, lambda value, wanted: len(value) <= wanted),
    "const": (object, lambda value, wanted: value == wanted),
    "enum": (object, lambda value, wanted: value in wanted),
}
"""Keywords that bind values of certain types, and how."""


def faults(value: Any, entry: dict[str, Any], root: dict[str, Any], place: str = "") -> list[str]:
    """Where a value departs from a schema, by the keywords of JSON Schema 2020-12 (validation vocabulary).

    A keyword that is not known here fails the test rather than being passed over.
    """
    found: list[str] = []
    for keyword, wanted in entry.items():
        if keyword in BINDS:
            types, holds = BINDS[keyword]
            if isinstance(value, types) and not holds(value, wanted):
                found.append(f"{place}: {keyword}")
        elif keyword == "type":
            found += [] if is_of_type(value, wanted) else [f"{place}: not {wanted}"]
        elif keyword == "$ref":
            found += faults(value, root["$defs"][wanted.rpartition("/")[2]], root, place)
        elif keyword == "anyOf":
            found += [f"{place}: no option"] if all(faults(value, option, root, place) for option in wanted) else []
        elif keyword in ("items", "prefixItems"):
            inner = value if isinstance(value, list) else []
            options = [wanted] * len(inner) if keyword == "items" else wanted
            for index, (part, option) in enumerate(zip(inner, options, strict=False)):
                found += faults(part, option, root, f"{place}[{index}]")
        else:
            assert keyword in DESCRIBED, f"{keyword} is not known to this test"
    if isinstance(value, dict):
        found += [f"{place}.{name}: missing" for name in entry.get("required", []) if name not in value]
        for name, part in value.items():
            if name in entry.get("properties", {}):
                found += faults(part, entry["properties"][name], root, f"{place}.{name}")
            elif entry.get("additionalProperties") is False:
                found.append(f"{place}.{name}: unknown")
    return found


def is_of_type(value: Any, wanted: str) -> bool:
    """Whether a value read from TOML is of a type of JSON Schema."""
    if isinstance(value, bool):
        return wanted == "boolean"
    types: dict[str, Any] = {
        "object": dict, "array": list, "string": str, "number": (int, float), "integer": int, "null": type(None),
    }  # fmt: skip
    return wanted in types and isinstance(value, types[wanted])


SCHEMAS: dict[str, dict[str, Any]] = {kind: json.loads(schema(kind)) for kind in KINDS}


@pytest.mark.parametrize("kind", KINDS)
def test_a_schema_names_its_dialect_and_every_field(kind: str) -> None:
    tree = SCHEMAS[kind]
    assert tree["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert set(tree["properties"]) == {*KINDS[kind].model_fields, "based_on"}
    parts = {KINDS[kind]}
    while True:
        more = {model_in(field.annotation) for part in parts for field in part.model_fields.values()} - {None}
        if more <= parts:
            break
        parts |= {part for part in more if part is not None}
    for part in parts - {KINDS[kind]}:
        entry = tree["$defs"][part.__name__]
        assert set(entry["properties"]) == set(part.model_fields)
        assert entry["additionalProperties"] is False
        needed = {name for name, field in part.model_fields.items() if field.is_required()}
        assert set(entry.get("required", [])) == needed


@pytest.mark.parametrize("name", WRITTEN)
def test_a_schema_passes_good_documents(name: str) -> None:
    text = WRITTEN[name]
    tree = SCHEMAS[kind_of(text)]
    assert faults(tomllib.loads(text), tree, tree) == []
    assert faults(tomllib.loads(to_toml(parsed(text))), tree, tree) == []


def test_a_schema_refuses_what_the_reader_refuses_by_type_range_or_name() -> None:
    """Rules between fields, and numbers that JSON does not have, are beyond a schema."""
    beyond = {"value_error", "finite_number"}
    refused = 0
    for case in CASES:
        for name, text in case.files.items():
            kind = name.removesuffix(".toml")
            if kind not in KINDS or not isinstance(text, str) or "based_on" in text or len(text) > 200_000:
                continue
            try:
                tree = tomllib.loads(text)
            except (ValueError, RecursionError):
                continue
            if not (codes := error_codes(tree, KINDS[kind]) - beyond):
                continue
            refused += 1
            assert faults(tree, SCHEMAS[kind], SCHEMAS[kind]), f"{case.id} passes the schema but not the reader: {codes}"
    assert refused > 150


def error_codes(tree: dict[str, Any], model: type[Part]) -> set[str]:
    """The kinds of error for which a model refuses a document."""
    try:
        model.model_validate(tree)
    except ValidationError as error:
        # A list whose entries were refused is called too short as well, at the end.
        found = error.errors()
        return {entry["type"] for entry in found if len(found) == 1 or entry["type"] != "too_short"}
    return set()


def test_a_schema_of_an_unknown_kind_is_refused() -> None:
    with pytest.raises(DocumentError, match="camera, hood, lens"):
        schema("spoon")


# --- formats and cameras --------------------------------------------------------------------------------------


def test_the_table_of_formats_is_consistent(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert all(name == entry.name for name, entry in FORMATS.items())
    sizes = [(entry.width, entry.height) for entry in FORMATS.values()]
    assert len(set(sizes)) == len(sizes), "two names for one size"
    for entry in FORMATS.values():
        assert 1 <= entry.height <= entry.width <= 500, f"{entry.name} does not lie in landscape"
        assert entry.source.strip()
        assert re.fullmatch(r"[a-z0-9][a-z0-9/-]*", entry.name)
        camera = Camera(document="camera", version=1, name="x", format=entry.name)
        assert camera.full_frame == camera.used_frame() == (entry.width, entry.height)
    monkeypatch.setattr(sys, "argv", ["shadewright", "formats"])
    with pytest.raises(SystemExit):
        main()
    lines = capsys.readouterr().out.splitlines()
    assert [line.split()[0] for line in lines] == list(FORMATS)
    for line, entry in zip(lines, FORMATS.values(), strict=True):
        assert [float(number) for number in line.split()[1:4:2]] == [entry.width, entry.height]
        assert line.endswith(f"mm   {entry.source}")


def body(**more: Any) -> Camera:
    """A camera with a frame of 36 x 24 mm, a crop and masks."""
    tree = {
        "document": "camera", "version": 1, "name": "Heron body", "frame": (36.0, 24.0),
        "crop": ({"name": "video", "frame": (36.0, 18.0)}, {"name": "upright", "frame": (12.0, 24.0)}),
        "masks": ("16:9", "1:1", "4:5", "2.39:1", "3:2"),
    }  # fmt: skip
    return Camera.model_validate(tree | more)


@pytest.mark.parametrize(
    ("crop", "mask", "width", "height"),
    [
        (None, None, 36.0, 24.0),
        (None, "16:9", 36.0, 20.25),
        (None, "1:1", 24.0, 24.0),
        (None, "4:5", 19.2, 24.0),
        (None, "2.39:1", 36.0, 36.0 / 2.39),
        (None, "3:2", 36.0, 24.0),
        ("video", None, 36.0, 18.0),
        ("video", "16:9", 32.0, 18.0),
        ("video", "1:1", 18.0, 18.0),
        ("upright", "16:9", 12.0, 6.75),
        ("upright", "4:5", 12.0, 15.0),
    ],
)
def test_the_used_frame_is_the_crop_cut_to_the_mask(crop: str | None, mask: str | None, width: float, height: float) -> None:
    assert body().used_frame(crop=crop, mask=mask) == pytest.approx((width, height), rel=1e-12)


@given(st.integers(1, 500), st.integers(1, 500), st.integers(1, 99), st.integers(1, 99))
def test_a_mask_is_the_largest_of_its_ratio_that_fits(width: int, height: int, across: int, up: int) -> None:
    text = f"{across}:{up}"
    if not 0.1 <= across / up <= 10:
        with pytest.raises(ValueError, match="between 1:10 and 10:1"):
            ratio_value(text)
        return
    camera = Camera(document="camera", version=1, name="x", frame=(float(width), float(height)), masks=(text,))
    w, h = camera.used_frame(mask=text)
    assert w / h == pytest.approx(across / up, rel=1e-12)
    assert w <= width * (1 + 1e-12)
    assert h <= height * (1 + 1e-12)
    assert w == pytest.approx(width, rel=1e-12) or h == pytest.approx(height, rel=1e-12)


def test_the_travel_of_the_sensor_widens_the_used_frame_to_every_side() -> None:
    half = frame_half_sizes(body(stabiliser_travel=0.5), Use(crop="video", mask="16:9"))
    assert half == pytest.approx((16.5, 9.5), rel=1e-12)


@pytest.mark.parametrize(
    ("orientation", "sizes"),
    [
        (Orientation.LANDSCAPE, [(18.0, 12.0)]),
        (Orientation.PORTRAIT, [(12.0, 18.0)]),
        (Orientation.BOTH, [(18.0, 12.0), (12.0, 18.0)]),
    ],
)
def test_the_orientation_turns_the_frame(orientation: Orientation, sizes: list[tuple[float, float]]) -> None:
    lens = parsed(STARTERS["lens"])
    work = job(lens, body(orientation=orientation))
    outlines = work.frame(work.resolved.settings[0]).outlines()
    assert [tuple(abs(outline).max(axis=0)) for outline in outlines] == sizes


@pytest.mark.parametrize(("use", "words"), [(Use(crop="x"), 'crop "x"'), (Use(mask="5:4"), 'mask "5:4"')])
def test_a_crop_or_mask_that_the_camera_lacks_is_named_with_those_it_has(use: Use, words: str) -> None:
    with pytest.raises(OpticsError, match=f"{words} is not in camera") as refused:
        frame_half_sizes(body(), use)
    assert ("video" if use.crop else "16:9, 1:1") in str(refused.value)


# --- sturdiness -----------------------------------------------------------------------------------------------

ODD: tuple[Any, ...] = (
    True, -1, 0, 1e-300, 1e300, 10**25, 10**400, -(10**400), float("nan"), float("inf"), float("-inf"), "", "x" * 20_000,
    "a\nb", "\u202e", date(1980, 1, 1), [], [[]], [[[[1]]]], {}, {"a": 1}, [{"a": 1}], ["a", 1, {}], [1.0, 2.0],
    list(range(500)),
)  # fmt: skip


def is_one_sentence(text: str) -> bool:
    """One line that names the test document, can be printed and ends with a full stop."""
    return text.startswith("test: ") and text.isprintable() and text.endswith(".") and len(text) < 1000


@pytest.mark.parametrize("name", ["lens-every-field", "camera-every-field", "prescription-every-field", "surroundings-every-field", "hood-wishes", "hood-tunnel", "hood-ruled"])
def test_any_field_with_any_odd_value_reads_or_is_refused_in_one_sentence(name: str) -> None:
    good = tomllib.loads(WRITTEN[name])
    refused = 0
    for path in paths(good):
        for odd in ODD:
            tree = copy.deepcopy(good)
            node: Any = tree
            for key in path[:-1]:
                node = node[key]
            node[path[-1]] = odd
            refused += not reads(tree, kind_of(WRITTEN[name]))
    assert refused > 10 * len(paths(good))


def paths(tree: Any, here: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """The way to every value in a document, tables and lists among them."""
    found = [here] if here else []
    entries = tree.items() if isinstance(tree, dict) else enumerate(tree) if isinstance(tree, list) else ()
    for key, value in entries:
        found += paths(value, (*here, key))
    return found


def reads(tree: dict[str, Any], kind: str) -> bool:
    """Whether a document reads; where it does not, its message must be one sentence."""
    try:
        text = tomli_w.dumps(tree)
    except ValueError:
        # More digits than Python writes: in base 16 TOML can hold them.
        text = re.sub(r'"-?(\d{400,})"', lambda found: hex(int(found.group(1))), tomli_w.dumps(spelt(tree)))
    message = ""
    try:
        parse_document(text, KINDS[kind], name="test")  # type: ignore[type-var]
    except DocumentError as error:
        message = str(error)
    assert not message or is_one_sentence(message), message
    return not message


def spelt(value: Any) -> Any:
    """A tree with its longest numbers as text."""
    if isinstance(value, dict):
        return {key: spelt(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [spelt(inner) for inner in value]
    return str(value) if isinstance(value, int) and abs(value) > 10**30 else value


@given(st.binary(max_size=300) | st.text(max_size=300).map(lambda text: text.encode("utf-8", "surrogatepass")))
@settings(max_examples=300, deadline=None)
def test_any_bytes_are_refused_in_one_sentence(tmp_path_factory: pytest.TempPathFactory, content: bytes) -> None:
    path = tmp_path_factory.getbasetemp() / "any-bytes.toml"
    path.write_bytes(content)
    with pytest.raises((DocumentError, FileError)) as refused:
        read_lens(path)
    assert str(refused.value).isprintable()
    assert str(refused.value).endswith(".")


TOML_VALUES = st.recursive(
    st.booleans() | st.integers(-(2**70), 2**70) | st.floats() | st.text(max_size=8) | st.dates(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4),
    max_leaves=12,
)


@given(st.sampled_from(sorted(KINDS)), st.dictionaries(st.text(max_size=8), TOML_VALUES, max_size=4), st.data())
@settings(max_examples=200, deadline=None)
def test_any_tables_are_refused_in_one_sentence(kind: str, extra: dict[str, Any], data: st.DataObject) -> None:
    good = tomllib.loads(GOOD.get(f"{kind}.toml", SHOTS))
    key = data.draw(st.sampled_from(sorted(good)))
    tree = {**good, key: data.draw(TOML_VALUES), **extra}
    reads(tree, kind)


@pytest.mark.parametrize(
    "text",
    [
        "a." * 450_000 + "a = 1", "[" + "a." * 450_000 + "a]", "[[" + "'a'. " * 180_000 + "a]]", "x = {" + "a." * 400_000 + "a = 1}",
        ("a." * 60 + "a = 1\n") * 8000, '"\\' * 450_000, ' "' * 450_000, "'" * 900_000, "a = [" + "[],\n" * 220_000, "a" * 900_000,
        "a = 0x" + "f" * 900_000, "a = " + "1" * 900_000, "state = [" + "{}," * 300_000 + "]", "state = [" + "{}," * 50_000 + "]",
        "[front]\nrim_diameter = [" + "'a'," * 240_000 + "]",
    ],
    ids=lambda text: re.sub(r"\s+", "", text[:12]),
)  # fmt: skip
def test_no_document_of_permitted_size_takes_long_to_refuse(text: str) -> None:
    started = time.process_time()
    with pytest.raises(DocumentError) as refused:
        parse_document('document = "lens"\n' + text, Lens, name="test")
    assert is_one_sentence(str(refused.value))
    assert time.process_time() - started < 3.0


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (True, "true"), (80, "80"), (80.0, "80.0"), (float("inf"), "inf"), (float("nan"), "nan"), ("a", '"a"'),
        ("a\nb\x1b\u2028", '"a\\nb\\u001b\\u2028"'), ([1, [2.5, "x"]], '[1, [2.5, "x"]]'), ({"a b": date(1980, 1, 2)}, '{ "a b" = 1980-01-02 }'),
        (10**400, "a whole number of about 400 digits"),
    ],
)  # fmt: skip
def test_values_are_shown_as_documents_write_them(value: Any, text: str) -> None:
    assert shown(value) == text


@given(TOML_VALUES)
def test_any_value_is_shown_short_and_on_one_line(value: Any) -> None:
    text = shown(value)
    assert text.isprintable()
    assert len(text) <= LONGEST_SHOWN


@given(st.text())
def test_any_name_of_a_field_is_shown_short_and_on_one_line(key: str) -> None:
    assert key_shown(key).isprintable()
    assert len(key_shown(key)) <= LONGEST_SHOWN
