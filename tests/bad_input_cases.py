"""Malformed documents and inputs, each with the words by which its message must help.

A case begins from three documents that are good together (`LENS`, `CAMERA`, `HOOD`), spoils one thing, and names the
file to be blamed and what the one sentence must say: the field, and what is allowed or what to do.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

LENS = """\
document = "lens"
version = 1
name = "Tern 28"
notes = "measured on the bench"
image_circle = 60.0

[front]
rim_diameter = 80.0
clear_diameter = 60.0
filter_thread = "M77x0.75"
turns = false
clear_depth = 2.0

[seat]
on = "front"
diameter = 84.0

[projection]
kind = "rectilinear"

[[state]]
focal_length = 28.0
f_number = 2.8
smallest_f_number = 22.0
focus_distance = "infinity"
reach = 4.0
pupil_depth = 20.0
pupil_depth_plus_minus = 0.5
image_distance = 28.0
rear_window = { depth = 58.0, radius = 30.5, decentre = [0.0, 0.0] }
windows = [{ depth = 20.0, radius = 32.0 }]
pupil_decentre = [0.0, 0.0]
shift = [0.0, 0.0]
stabiliser = { image = 0.0, pupil = 0.0 }
"""

CAMERA = """\
document = "camera"
version = 1
name = "Heron body"
notes = "the usual one"
frame = [36.0, 24.0]
masks = ["16:9", "1:1"]
stabiliser_travel = 0.5
orientation = "landscape"

[[crop]]
name = "video"
frame = [36.0, 20.0]
"""

HOOD = """\
document = "hood"
version = 1
name = "Tern shade"
notes = "for the tower"

[wall]
shape = "tube"
inner_diameter = 88.0

[rim]
shape = "petal"

[wishes]
allowance = 0.0
largest_length = 60.0
fillet_radius = 5.0
smallest_lobe_width = 15.0
symmetry = "frame"
stands = true
vane_depth = 0.0

[margin]
radial = 0.3
axial = 0.3
rotation = 1.0

[use]
crop = "video"
mask = "16:9"

[[accessory]]
name = "polariser"
thickness = 6.0
clear_diameter = 74.0
outer_diameter = 80.0

[build]
thickness = 2.0
seat = "slip-on"
fit = "sliding"
seat_diameter = 84.0
seat_length = 12.0
thread = "M77x0.75"
finish = "flocked paper"
rim_rounding = 0.6
index_mark = true

[build.printer]
hole_compensation = 0.2
thread_compensation = 0.1
first_layer_spread = 0.2
"""

PRESCRIPTION = """\
document = "prescription"
version = 1
name = "Tern 28 as designed"
notes = "before the last change"
source = "drawing 12"
wavelengths = [587.56, 486.13]
vignetting = { share = 0.5, image_height = 21.6 }

[[surface]]
radius = 40.0
thickness = 3.5
glass = "N-BK7"
semi_diameter = 12.0

[[surface]]
curvature = -0.01
conic = -0.5
aspheric = [1e-6, -2e-9]
thickness = 6.0
semi_diameter = 11.0

[[surface]]
thickness = 4.0
semi_diameter = 5.0
stop = true

[[surface]]
radius = -60.0
thickness = 2.0
index = 1.6
abbe = 40.0

[[surface]]
radius = 0
thickness = 40.0

[[setting]]
name = "far"
thickness = { 5 = 40.0 }
stop_semi_diameter = 4.5
focus_distance = "infinity"

[[setting]]
name = "near"
thickness = { 5 = 42.5 }
f_number = 5.6
focus_distance = 800.0
"""

SURROUNDINGS = """\
document = "surroundings"
version = 1
name = "Quay"
notes = "by the water"
lens_elevation = 5.0
around = 10.0
frame_luminance = 400.0

[sky]
kind = "clear"
zenith = 2000.0

[sun]
elevation = 20.0
azimuth = 70.0
illuminance = 60000.0

[ground]
reflectance = 0.2

[[pane]]
name = "wet wall"
left = -70.0
right = -40.0
bottom = -20.0
top = 5.0
luminance = 9000.0

[[source]]
name = "beacon"
elevation = 12.0
azimuth = -50.0
size = 0.5
illuminance = 300.0

[[source]]
name = "floodlight"
off_axis = 62.0
clock = 315.0
illuminance = 120.0
"""

GOOD: dict[str, str] = {
    "lens.toml": LENS, "camera.toml": CAMERA, "hood.toml": HOOD, "prescription.toml": PRESCRIPTION,
    "surroundings.toml": SURROUNDINGS,
}  # fmt: skip
FIT = ("fit", "lens.toml", "camera.toml", "hood.toml", "--out", "out")
CHECK = ("check", *FIT[1:])
MAKE = ("make", *FIT[1:])
SHOW = ("show", *FIT[1:])
WEIGH = ("weigh", *FIT[1:])
HELP = "shadewright --help"
AROUND = ("weigh", *FIT[1:4], "--surroundings", "surroundings.toml")
TRADE = ("tradeoff", *FIT[1:], "--workers", "1")
VANES = ("vanes", *FIT[1:])

Content = str | bytes | None
Prepare = Callable[[Path], None]


@dataclass(frozen=True)
class Case:
    """One malformed input.

    files: what replaces or joins the good documents, None where a file is left out. blames: the file that the message
    names, None where the fault lies in no one file. says: what else the message holds, in any order. prepare: what to
    do in the folder of documents once they are written.
    """

    id: str
    says: tuple[str, ...]
    blames: str | None
    files: Mapping[str, Content] = field(default_factory=dict)
    command: tuple[str, ...] = FIT
    prepare: Prepare | None = None


def edited(name: str, old: str, new: str) -> str:
    """A good document with one piece of it replaced."""
    text = GOOD[name]
    assert text.count(old) == 1, f"{name} holds {old!r} {text.count(old)} times"
    return text.replace(old, new)


def lens(id: str, old: str, new: str, *says: str, blames: str | None = "lens.toml") -> Case:
    """The good lens with `old` replaced by `new`."""
    return Case(f"lens-{id}", says, blames, {"lens.toml": edited("lens.toml", old, new)})


def camera(id: str, old: str, new: str, *says: str, blames: str | None = "camera.toml") -> Case:
    """The good camera with `old` replaced by `new`."""
    return Case(f"camera-{id}", says, blames, {"camera.toml": edited("camera.toml", old, new)})


def hood(
    id: str, old: str, new: str, *says: str, blames: str | None = "hood.toml", command: tuple[str, ...] = FIT
) -> Case:
    """The good hood with `old` replaced by `new`."""
    return Case(f"hood-{id}", says, blames, {"hood.toml": edited("hood.toml", old, new)}, command)


def lens_text(id: str, content: Content, *says: str, prepare: Prepare | None = None) -> Case:
    """Something else altogether in place of the lens."""
    return Case(f"text-{id}", says, "lens.toml", {"lens.toml": content}, prepare=prepare)


# --- files that are no documents ------------------------------------------------------------------------------


def _missing() -> list[Case]:
    def folder(name: str) -> Prepare:
        return lambda place: (place / name).mkdir()

    cases = [
        Case(f"file-{name}-missing", ("no such file", "check the name"), f"{name}.toml", {f"{name}.toml": None})
        for name in ("lens", "camera", "hood")
    ]
    cases += [
        Case(
            f"file-{name}-is-a-folder", ("is a folder", "name the file itself"), f"{name}.toml",
            {f"{name}.toml": None}, prepare=folder(f"{name}.toml"),
        )
        for name in ("lens", "camera", "hood")
    ]  # fmt: skip

    def given(path: str) -> tuple[str, ...]:
        return ("fit", path, "camera.toml", "hood.toml", "--out", "out")

    return [
        *cases,
        Case("file-inside-a-file", ("not a folder", "check the path"), "camera.toml/lens.toml",
             command=given("camera.toml/lens.toml")),
        Case("file-name-empty", ("is a folder", "name the file"), None, command=given("")),
        Case("file-name-too-long", ("file name too long", "check the name"), "l" * 300, command=given("l" * 300)),
        Case("file-name-of-two-lines", ("no such file", "check the name"), None, command=given("lens\nTern.toml")),
        Case("file-name-other-case", ("no such file",), "Lens.TOML", command=given("Lens.TOML")),
        Case("file-in-a-missing-folder", ("no such file", "the folder"), "nowhere/lens.toml",
             command=given("nowhere/lens.toml")),
        Case("file-is-a-pipe", ("not an ordinary file",), "lens.toml", {"lens.toml": None},
             prepare=lambda place: os.mkfifo(place / "lens.toml")),
        Case("file-is-a-device", ("not an ordinary file",), "/dev/zero", command=given("/dev/zero")),
        Case("file-is-a-dangling-link", ("no such file",), "lens.toml", {"lens.toml": None},
             prepare=lambda place: (place / "lens.toml").symlink_to("gone.toml")),
        Case("file-is-a-link-to-itself", ("cannot be read",), "lens.toml", {"lens.toml": None},
             prepare=lambda place: (place / "lens.toml").symlink_to("lens.toml")),
        Case("file-over-the-limit", ("1,000,001 bytes", "more than the 1,000,000", "smaller file"), "lens.toml",
             {"lens.toml": LENS.ljust(1_000_001, "#")}),
        Case("file-sparse-giant", ("3,000,000,000 bytes", "smaller file"), "camera.toml",
             prepare=lambda place: os.truncate(place / "camera.toml", 3_000_000_000)),
    ]  # fmt: skip


def _texts() -> list[Case]:
    deep = "x = " + "[" * 13 + "1" + "]" * 13
    return [
        lens_text("empty", b"", "document", 'document = "lens"'),
        Case("text-camera-empty", ("document", 'document = "camera"'), "camera.toml", {"camera.toml": b""}),
        Case("text-hood-empty", ("document", 'document = "hood"'), "hood.toml", {"hood.toml": b""}),
        lens_text("only-blanks", " \n\t\n", "document"),
        lens_text("only-comments", "# lens\n# to be measured\n", "document"),
        lens_text("only-a-byte-order-mark", b"\xef\xbb\xbf", "document"),
        lens_text("picture", b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", "not UTF-8", "save it as UTF-8"),
        lens_text("package", b"PK\x03\x04\x14\x00\x00\x00\x08\x00" + bytes(range(128, 200)), "not UTF-8"),
        lens_text("noise", bytes((i * 197 + 31) % 256 for i in range(4096)), "not UTF-8"),
        lens_text("utf-16", LENS.encode("utf-16"), "not UTF-8", "save it as UTF-8"),
        lens_text("utf-16-without-mark", LENS.encode("utf-16-be"), "zero byte", "save it as UTF-8"),
        lens_text("utf-32", LENS.encode("utf-32"), "not UTF-8"),
        lens_text("latin-1", edited("lens.toml", "Tern 28", "Sterne für 28").encode("latin-1"), "not UTF-8 text (byte 47)"),
        lens_text("cp1252-quotes", edited("lens.toml", "the bench", "the ’bench’").encode("cp1252"), "not UTF-8"),
        lens_text("cut-in-a-character", "name = 'für'".encode()[:-3], "not UTF-8"),
        lens_text("zero-bytes-inside", LENS.encode().replace(b"bench", b"be\x00ch"), "zero byte"),
        lens_text("zero-bytes-only", bytes(1000), "zero byte"),
        lens_text("cut-half-way", LENS[:200], "not valid TOML", "at end of document"),
        lens_text("json", '{"document": "lens"}', "not valid TOML", "line 1"),
        lens_text("yaml", "document: lens\nversion: 1\n", "not valid TOML", "name = value"),
        lens_text("ini", "[lens]\nname = Tern 28\n", "not valid TOML", "line 2", '"quotes"'),
        lens_text("xml", "<lens><name>Tern</name></lens>", "not valid TOML"),
        lens_text("old-line-ends", LENS.replace("\n", "\r"), "not valid TOML"),
        lens_text("control-character", LENS.replace("bench", "ben\x07ch"), "not valid TOML", "take it out"),
        lens_text("nested-too-deep", deep, "nested more than 12 deep"),
        lens_text("nested-absurdly", "x = " + "[" * 50_000, "nested too deeply"),
        lens_text("tables-nested-absurdly", "x = " + "{x=" * 50_000, "nested too deeply"),
        lens_text("name-of-many-parts", "a." * 200_000 + "a = 1", "more than 64 parts"),
        lens_text("table-of-many-parts", "[" + '"a" . ' * 100_000 + "a]", "more than 64 parts"),
        lens_text("brace-name-of-many-parts", "x = { " + "'a'." * 100 + "a = 1 }", "more than 64 parts"),
        lens_text("name-of-twenty-parts", "a." * 20 + "a = 1", "nested more than 12 deep"),
        lens_text("list-of-60000", "state = [" + "{}," * 60_000 + "]", "a list of 60,000 entries", "at most 50,000"),
        lens_text("number-of-5000-digits", "version = " + "1" * 5000, "thousands of digits"),
    ]


def _toml() -> list[Case]:
    rim = "rim_diameter = 80.0"
    return [
        lens("key-twice", rim, f"{rim}\n{rim}", "not valid TOML", "line 9", "given twice"),
        lens("table-twice", "[projection]", "[front]", "not valid TOML", "line 18", "a table is given twice"),
        lens("table-and-list", "[[state]]", "[[seat]]", "not valid TOML", "line 21"),
        lens("inline-table-added-to", "[[state]]", "[projection.kind]\nx = 1\n[[state]]", "not valid TOML", "line 21"),
        lens("inline-key-twice", "radius = 30.5", "radius = 30.5, radius = 31.0", "not valid TOML", "given twice"),
        lens("no-value", rim, "rim_diameter =", "not valid TOML", "line 8", "cannot be read"),
        lens("no-equals", rim, "rim_diameter 80.0", "not valid TOML", "line 8", "name = value"),
        lens("no-name", rim, "= 80.0", "not valid TOML", "line 8"),
        lens("decimal-comma", rim, "rim_diameter = 80,0", "not valid TOML", "line 8", "decimal point"),
        lens("unit", rim, "rim_diameter = 80 mm", "not valid TOML", "line 8", "without a unit"),
        lens("inch-sign", rim, 'rim_diameter = 3.15"', "not valid TOML", "line 8", "without a unit"),
        lens("fraction", rim, "rim_diameter = 315/4", "not valid TOML", "line 8", "decimal point"),
        lens("sum", rim, "rim_diameter = 78 + 2", "not valid TOML", "line 8"),
        lens("leading-zero", rim, "rim_diameter = 080.0", "not valid TOML", "line 8"),
        lens("two-points", rim, "rim_diameter = 8.0.0", "not valid TOML", "line 8", "decimal point"),
        lens("bare-point", rim, "rim_diameter = 80.", "not valid TOML", "line 8", "decimal point"),
        lens("unknown-word", rim, "rim_diameter = eighty", "not valid TOML", "line 8", "cannot be read"),
        lens("dash-for-unknown", rim, "rim_diameter = -", "not valid TOML", "line 8"),
        lens("capital-true", "turns = false", "turns = False", "not valid TOML", "small letters"),
        lens("unquoted-text", 'on = "front"', "on = front", "not valid TOML", '"quotes"'),
        lens("curly-quotes", '"M77x0.75"', "“M77x0.75”", "not valid TOML", '"quotes"'),
        lens("quote-not-closed", '"Tern 28"', '"Tern 28', "not valid TOML", "line 3", "close it with"),
        lens("lone-backslash", "measured on the bench", "C:\\lens\\tern", "not valid TOML", "write two"),
        lens("bad-code", "measured on the bench", "\\ud800", "not valid TOML", "line 4"),
        lens("list-not-closed", "shift = [0.0, 0.0]", "shift = [0.0, 0.0", "not valid TOML", "close it with ]"),
        lens("list-without-comma", "shift = [0.0, 0.0]", "shift = [0.0 0.0]", "not valid TOML", "commas"),
        lens("brace-not-closed", "pupil = 0.0 }", "pupil = 0.0", "not valid TOML", "close it with }"),
        lens("table-not-closed", "[front]", "[front", "not valid TOML", "line 7", "[name]"),
        lens("state-half-closed", "[[state]]", "[[state]", "not valid TOML", "line 21"),
        lens("slash-comment", "turns = false", "turns = false // never", "not valid TOML", "line 11", "remarks after #"),
        lens("name-with-blank", "rim_diameter =", "rim diameter =", "not valid TOML", "line 8"),
        lens("name-with-umlaut", "rim_diameter =", "größe =", "not valid TOML", "line 8", "letters, digits"),
        lens("bad-date", rim, "rim_diameter = 2025-13-45", "not valid TOML", "line 8"),
    ]


# --- the head of a document -----------------------------------------------------------------------------------


def _heads() -> list[Case]:
    kinds = ("lens", "camera", "hood")
    wrong = [
        Case(f"head-{found}-for-{wanted}", (f"a {found} document", f"a {wanted} document is needed"), f"{wanted}.toml",
             {f"{wanted}.toml": GOOD[f"{found}.toml"]})
        for wanted in kinds for found in kinds if found != wanted
    ]  # fmt: skip
    long_text = "x" * 121
    return [
        *wrong,
        Case("head-swapped-arguments", ("camera document", "lens document is needed"), "camera.toml",
             command=("fit", "camera.toml", "lens.toml", "hood.toml", "--out", "out")),
        lens("no-kind", 'document = "lens"\n', "", "document is missing", '"lens"'),
        lens("misspelt-kind", 'document = "lens"', 'document = "lense"', 'document = "lense"', '"lens"'),
        lens("capital-kind", 'document = "lens"', 'document = "Lens"', 'document = "Lens"', '"lens"'),
        lens("number-for-kind", 'document = "lens"', "document = 3", "document = 3", '"lens"'),
        lens("giant-kind", 'document = "lens"', "document = 0x" + "f" * 9000, "document =", "digits", '"lens"'),
        lens("no-version", "version = 1\n", "", "version is missing"),
        lens("version-2", "version = 1\n", "version = 2\n", "version = 2", "must be 1"),
        lens("version-0", "version = 1\n", "version = 0\n", "version = 0", "must be 1"),
        lens("version-text", "version = 1\n", 'version = "1"\n', 'version = "1"', "must be 1"),
        lens("version-true", "version = 1\n", "version = true\n", "version = true", "must be 1"),
        lens("version-broken", "version = 1\n", "version = 1.0\n", "version = 1.0", "must be 1"),
        lens("version-giant", "version = 1\n", "version = 0x" + "f" * 400_000 + "\n", "version =", "must be 1"),
        camera("version-9", "version = 1\n", "version = 9\n", "version = 9", "must be 1"),
        hood("version-nan", "version = 1\n", "version = nan\n", "version = nan", "must be 1"),
        lens("no-name-given", 'name = "Tern 28"\n', "", "name is missing"),
        lens("name-empty", '"Tern 28"', '""', 'name = ""', "at least 1 character"),
        lens("name-blank", '"Tern 28"', '"   "', "name =", "not blank"),
        lens("name-of-two-lines", '"Tern 28"', '"Tern\\n28"', "name =", "one line"),
        lens("name-with-escape", '"Tern 28"', '"Tern \\u001b[2J 28"', "name =", "one line"),
        lens("name-too-long", '"Tern 28"', f'"{long_text}"', "name =", "at most 120 characters"),
        lens("name-number", '"Tern 28"', "28", "name = 28", "text in quotes"),
        lens("name-list", '"Tern 28"', '["Tern", "28"]', "name =", "text in quotes"),
        lens("notes-list", '"measured on the bench"', '["a", "b"]', "notes =", "text in quotes"),
        lens("notes-too-long", "measured on the bench", "x" * 10_001, "notes =", "at most 10000 characters"),
        camera("name-empty", '"Heron body"', '""', 'name = ""', "at least 1 character"),
        hood("name-empty", '"Tern shade"', '""', 'name = ""', "at least 1 character"),
    ]  # fmt: skip


# --- fields of a lens -----------------------------------------------------------------------------------------


def _lens_front() -> list[Case]:
    old = "rim_diameter = 80.0"
    rim = "front.rim_diameter ="
    thread = '"M77x0.75"'
    return [
        lens("rim-missing", f"{old}\n", "", "front.rim_diameter is missing"),
        lens("rim-text", old, 'rim_diameter = "80"', rim, "a number, without quotes"),
        lens("rim-text-with-unit", old, 'rim_diameter = "80 mm"', rim, "without a unit"),
        lens("rim-negative", old, "rim_diameter = -80.0", rim, "more than 0"),
        lens("rim-zero", old, "rim_diameter = 0", rim, "more than 0"),
        lens("rim-nan", old, "rim_diameter = nan", rim, "nan", "a finite number"),
        lens("rim-infinite", old, "rim_diameter = inf", rim, "inf", "a finite number"),
        lens("rim-in-micrometres", old, "rim_diameter = 80000.0", rim, "at most 3000"),
        lens("rim-huge-exponent", old, "rim_diameter = 1e999", rim, "finite"),
        lens("rim-huge-whole", old, "rim_diameter = " + "9" * 400, rim, "400 digits", "a number"),
        lens("rim-huge-hex", old, "rim_diameter = 0x" + "f" * 400_000, rim, "digits", "a number"),
        lens("rim-true", old, "rim_diameter = true", rim, "true", "a number"),
        lens("rim-date", old, "rim_diameter = 1980-01-01", rim, "1980-01-01", "a number"),
        lens("rim-time", old, "rim_diameter = 08:00:00", rim, "08:00:00", "a number"),
        lens("rim-list", old, "rim_diameter = [80.0]", rim, "[80.0]", "a number"),
        lens("rim-table", old, "rim_diameter = { mm = 80.0 }", rim, "{ mm = 80.0 }", "a number"),
        lens("front-missing", LENS[LENS.index("[front]") : LENS.index("[seat]")], "", "front is missing"),
        lens("front-number", LENS[LENS.index("[front]") : LENS.index("[seat]")], "front = 80.0\n", "front = 80.0", "table"),
        lens("front-list", "[front]", "[[front]]", "front =", "a table of fields"),
        lens("glass-wider-than-rim", "clear_diameter = 60.0", "clear_diameter = 81.0", "front", "clear_diameter cannot exceed"),
        lens("glass-zero", "clear_diameter = 60.0", "clear_diameter = 0.0", "front.clear_diameter =", "more than 0"),
        lens("glass-text", "clear_diameter = 60.0", 'clear_diameter = "?"', "front.clear_diameter =", "a number"),
        lens("glass-ahead-of-rim", "clear_depth = 2.0", "clear_depth = -2.0", "front.clear_depth = -2.0", "from 0 to 200"),
        lens("glass-far-behind", "clear_depth = 2.0", "clear_depth = 201", "front.clear_depth = 201", "from 0 to 200"),
        lens("thread-bare", thread, '"77"', "front.filter_thread =", '"M77x0.75"'),
        lens("thread-without-pitch", thread, '"M77"', "front.filter_thread =", '"M77x0.75"'),
        lens("thread-times-sign", thread, '"M77×0.75"', "front.filter_thread =", '"M77x0.75"'),
        lens("thread-tiny", thread, '"M5x0.5"', "front.filter_thread =", "from 10 to 250 mm"),
        lens("thread-giant", thread, '"M300x1"', "front.filter_thread =", "from 10 to 250 mm"),
        lens("thread-coarse", thread, '"M77x3"', "front.filter_thread =", "0.25 to 2 mm"),
        lens("thread-number", thread, "77", "front.filter_thread =", "text in quotes"),
        lens("turns-number", "turns = false", "turns = 0", "front.turns = 0", "true or false"),
        lens("turns-text", "turns = false", 'turns = "no"', "front.turns =", "true or false, without quotes"),
        lens("seat-on-mount", '"front"', '"mount"', "seat.on =", '"barrel", "front", "thread"'),
        lens("seat-on-number", '"front"', "1", "seat.on = 1", '"barrel", "front", "thread"'),
        lens("seat-negative", "diameter = 84.0", "diameter = -84.0", "seat.diameter =", "more than 0"),
        lens("circle-zero", "image_circle = 60.0", "image_circle = 0", "image_circle = 0", "more than 0"),
        lens("circle-infinite", "image_circle = 60.0", "image_circle = inf", "image_circle = inf", "finite"),
    ]  # fmt: skip


def _lens_projection() -> list[Case]:
    old = 'kind = "rectilinear"'
    return [
        lens("projection-unknown", old, 'kind = "fisheye"', "projection.kind =", '"equidistant"', '"stereographic"'),
        lens("projection-capital", old, 'kind = "Rectilinear"', "projection.kind =", '"rectilinear"'),
        Case("lens-projection-number", ("projection = 3", "a table of fields"), "lens.toml",
             {"lens.toml": "projection = 3\n" + LENS.replace(f"[projection]\n{old}\n", "")}),
        lens("coefficients-for-none", old, f"{old}\ncoefficients = [0.1]", "projection", "coefficients belong to"),
        lens("coefficients-missing", old, 'kind = "measured"', "projection", "coefficients belong to"),
        lens("coefficients-empty", old, 'kind = "measured"\ncoefficients = []', "projection", "coefficients belong"),
        lens("coefficients-nine", old, f'kind = "measured"\ncoefficients = {[0.0] * 9}', "projection.coefficients =", "at most 8"),
        lens("coefficients-nan", old, 'kind = "measured"\ncoefficients = [nan]', "projection.coefficients[1] = nan", "finite"),
        lens("coefficients-text", old, 'kind = "measured"\ncoefficients = ["0.1"]', "projection.coefficients[1] =", "number"),
        lens("coefficients-number", old, 'kind = "measured"\ncoefficients = 0.1', "projection.coefficients = 0.1", "list"),
    ]  # fmt: skip


def _lens_state() -> list[Case]:
    state = LENS[LENS.index("[[state]]") :]
    short = "[[state]]\nfocal_length = 28.0\nf_number = 2.8\n"
    focal, stop, focus, depth = "focal_length = 28.0", "\nf_number = 2.8", '"infinity"', "pupil_depth = 20.0"
    rear = "rear_window = { depth = 58.0, radius = 30.5, decentre = [0.0, 0.0] }"
    shift = "\nshift = [0.0, 0.0]"
    many = "".join(f"[[state]]\nfocal_length = {20 + i}.0\nf_number = 2.8\n" for i in range(201))
    return [
        lens("state-missing", state, "", "state is missing"),
        Case("lens-state-empty", ("state = []", "at least 1"), "lens.toml",
             {"lens.toml": "state = []\n" + LENS.replace(state, "")}),
        lens("state-single-brackets", "[[state]]", "[state]", "state =", "[[state]]"),
        Case("lens-state-numbers", ("state[1] = 28.0", "a table of fields"), "lens.toml",
             {"lens.toml": "state = [28.0]\n" + LENS.replace(state, "")}),
        lens("states-201", state, many, "state =", "at most 200"),
        lens("state-twice", state, state + state, "state lists 28 mm focused at infinity twice", "keep one"),
        lens("state-twice-by-default", state, short + short, "state lists 28 mm focused at infinity twice"),
        lens("state-twice-near", state, (short + "focus_distance = 400.0\n") * 2, "focused at 400 mm twice"),
        lens("state-twice-but-for-rounding", state, short + short.replace("28.0", "28.000000000000004"), "twice"),
        lens("focal-missing", f"{focal}\n", "", "state[1].focal_length is missing"),
        lens("focal-zero", focal, "focal_length = 0", "state[1].focal_length = 0", "from 1 to 3000"),
        lens("focal-negative", focal, "focal_length = -28.0", "state[1].focal_length = -28.0", "from 1 to 3000"),
        lens("focal-in-metres", focal, "focal_length = 0.028", "state[1].focal_length = 0.028", "from 1 to 3000"),
        lens("focal-too-long", focal, "focal_length = 5000", "state[1].focal_length = 5000", "from 1 to 3000"),
        lens("focal-text", focal, 'focal_length = "28mm"', "state[1].focal_length =", "without a unit"),
        lens("focal-range", focal, "focal_length = [24.0, 70.0]", "state[1].focal_length = [24.0, 70.0]", "a number"),
        lens("focal-nan", focal, "focal_length = nan", "state[1].focal_length = nan", "finite"),
        lens("stop-missing", stop, "", "state[1].f_number is missing"),
        lens("stop-zero", stop, "\nf_number = 0.0", "state[1].f_number = 0.0", "from 0.5 to 128"),
        lens("stop-pinhole", stop, "\nf_number = 200", "state[1].f_number = 200", "from 0.5 to 128"),
        lens("stop-text", stop, '\nf_number = "f/2.8"', "state[1].f_number =", "a number"),
        lens("stops-reversed", "smallest_f_number = 22.0", "smallest_f_number = 2.0", "state[1]", "cannot be below f_number"),
        lens("focus-word", focus, '"near"', "state[1].focus_distance =", '"infinity"'),
        lens("focus-symbol", focus, '"∞"', "state[1].focus_distance =", '"infinity"'),
        lens("focus-inf", focus, "inf", "state[1].focus_distance = inf", '"infinity"'),
        lens("focus-zero", focus, "0.0", "state[1].focus_distance = 0.0", "from 5 to 10000000", '"infinity"'),
        lens("focus-negative", focus, "-1000.0", "state[1].focus_distance = -1000.0", "from 5 to 10000000"),
        lens("focus-absurd", focus, "1e9", "state[1].focus_distance =", "from 5 to 10000000"),
        lens("focus-true", focus, "true", "state[1].focus_distance = true", "a number"),
        lens("reach-far", "reach = 4.0", "reach = 1001", "state[1].reach = 1001", "from -1000 to 1000"),
        lens("reach-word", "reach = 4.0", 'reach = "flush"', "state[1].reach =", "a number"),
        lens("pupil-too-deep", depth, "pupil_depth = 3001", "state[1].pupil_depth = 3001", "from -1000 to 3000"),
        lens("pupil-too-far-ahead", depth, "pupil_depth = -1001", "state[1].pupil_depth = -1001", "from -1000 to 3000"),
        lens("pupil-minus-infinity", depth, "pupil_depth = -inf", "state[1].pupil_depth = -inf", "finite"),
        lens("plus-minus-negative", "plus_minus = 0.5", "plus_minus = -0.5", "state[1].pupil_depth_plus_minus =", "from 0 to 500"),
        lens("plus-minus-huge", "plus_minus = 0.5", "plus_minus = 501", "state[1].pupil_depth_plus_minus =", "from 0 to 500"),
        lens("image-distance-zero", "image_distance = 28.0", "image_distance = 0", "state[1].image_distance = 0", "more than 0"),
        lens("rear-without-depth", "depth = 58.0, ", "", "state[1].rear_window.depth is missing"),
        lens("rear-without-radius", "radius = 30.5, ", "", "state[1].rear_window.radius is missing"),
        lens("rear-radius-zero", "radius = 30.5", "radius = 0.0", "state[1].rear_window.radius = 0.0", "more than 0"),
        lens("rear-number", rear, "rear_window = 58.0", "state[1].rear_window = 58.0", "a table of fields"),
        lens("rear-as-pair", rear, "rear_window = [58.0, 30.5]", "state[1].rear_window = [58.0, 30.5]", "a table of fields"),
        lens("decentre-single", "decentre = [0.0, 0.0] }", "decentre = [0.0] }", "rear_window.decentre = [0.0]", "list of 2"),
        lens("decentre-triple", "decentre = [0.0, 0.0] }", "decentre = [0.0, 0.0, 0.0] }", "rear_window.decentre =", "at most 2"),
        lens("windows-table", "[{ depth = 20.0, radius = 32.0 }]", "{ depth = 20.0, radius = 32.0 }",
             "state[1].windows =", "a list"),
        lens("windows-nine", "[{ depth = 20.0, radius = 32.0 }]", "[" + "{ depth = 9.0, radius = 32.0 }," * 9 + "]",
             "state[1].windows =", "at most 8"),
        lens("window-second-broken", "[{ depth = 20.0, radius = 32.0 }]",
             "[{ depth = 20.0, radius = 32.0 }, { depth = 5.0, radius = -1.0 }]", "state[1].windows[2].radius = -1.0"),
        lens("shift-negative", shift, "\nshift = [-11.0, 0.0]", "state[1].shift[1] = -11.0", "from 0 to 100"),
        lens("shift-huge", shift, "\nshift = [0.0, 101.0]", "state[1].shift[2] = 101.0", "from 0 to 100"),
        lens("shift-single", shift, "\nshift = [11.0]", "state[1].shift = [11.0]", "list of 2"),
        lens("shift-number", shift, "\nshift = 11.0", "state[1].shift = 11.0", "a list"),
        lens("stabiliser-negative", "image = 0.0", "image = -1.0", "state[1].stabiliser.image = -1.0", "from 0 to 3000"),
        lens("stabiliser-true", "stabiliser = { image = 0.0, pupil = 0.0 }", "stabiliser = true",
             "state[1].stabiliser = true", "a table of fields"),
        Case("lens-second-state", ("state[2].reach = nan", "finite"), "lens.toml",
             {"lens.toml": LENS + short.replace("28.0", "35.0") + "reach = nan\n"}),
    ]  # fmt: skip


def _lens_unknown() -> list[Case]:
    def perhaps(meant: str) -> tuple[str, str]:
        return "is not a field", f'perhaps "{meant}" is meant'

    return [
        lens("spelling-rim", "rim_diameter", "rim_diametre", "front.rim_diametre", *perhaps("rim_diameter")),
        lens("spelling-focal", "focal_length", "focal_lenght", "state[1].focal_lenght", *perhaps("focal_length")),
        lens("spelling-stop", "\nf_number", "\nfnumber", "state[1].fnumber", *perhaps("f_number")),
        lens("spelling-dash", "pupil_depth =", "pupil-depth =", "state[1].pupil-depth", *perhaps("pupil_depth")),
        lens("spelling-blank", "image_distance =", '"image distance" =', 'state[1]."image distance"',
             *perhaps("image_distance")),
        lens("spelling-capital", "[front]", "[Front]", "Front", *perhaps("front")),
        lens("spelling-plural", "[[state]]", "[[states]]", "states", *perhaps("state")),
        lens("spelling-window", "radius = 30.5", "radios = 30.5", "state[1].rear_window.radios", *perhaps("radius")),
        lens("spelling-coefficients", 'kind = "rectilinear"', 'kind = "measured"\ncoefficient = [0.1]',
             "projection.coefficient ", *perhaps("coefficients")),
        lens("unknown-field", "[front]", "weight = 780\n[front]", "weight is not a field", "allowed here:", "image_circle"),
        lens("unknown-table", "[front]", "[mount]\nkind = 'x'\n[front]", "mount is not a field", "allowed here:", "seat"),
        lens("unknown-in-state", "\nf_number", "\nweight = 1\nf_number", "state[1].weight is not a field", "allowed here:"),
        lens("unknown-of-two-lines", "[front]", '"a\\nb" = 1\n[front]', '"a\\nb" is not a field', "allowed here:"),
        lens("unknown-empty", "[front]", '"" = 1\n[front]', '"" is not a field', "allowed here:"),
        lens("unknown-like-a-type", "[front]", '"constrained-float" = 1\n[front]', "constrained-float is not a field"),
        lens("unknown-floaty", "[front]", "floaty = 1\n[front]", "floaty is not a field", "allowed here:"),
        lens("field-in-wrong-table", "turns = false", "turns = false\nreach = 3.0", "front.reach is not a field",
             "rim_diameter"),
    ]  # fmt: skip


# --- fields of a camera ---------------------------------------------------------------------------------------


def _cameras() -> list[Case]:
    frame, crop = "\nframe = [36.0, 24.0]", "frame = [36.0, 20.0]"
    return [
        camera("no-frame", frame, "", "give either format", "frame = [width, height]"),
        camera("frame-and-format", frame, f'{frame}\nformat = "135"', "give either format", "not both"),
        camera("format-unknown", frame, '\nformat = "136"', 'format = "136"', "must be one of", "135", "frame ="),
        camera("format-number", frame, "\nformat = 135", "format = 135", "text in quotes"),
        camera("format-empty", frame, '\nformat = ""', 'format = ""', "must be one of"),
        camera("frame-zero", frame, "\nframe = [0.0, 24.0]", "frame[1] = 0.0", "from 1 to 500"),
        camera("frame-negative", frame, "\nframe = [36.0, -24.0]", "frame[2] = -24.0", "from 1 to 500"),
        camera("frame-in-metres", frame, "\nframe = [0.036, 0.024]", "frame[1] = 0.036", "from 1 to 500"),
        camera("frame-in-micrometres", frame, "\nframe = [36000, 24000]", "frame[1] = 36000", "from 1 to 500"),
        camera("frame-nan", frame, "\nframe = [nan, 24.0]", "frame[1] = nan", "finite"),
        camera("frame-infinite", frame, "\nframe = [36.0, inf]", "frame[2] = inf", "finite"),
        camera("frame-one", frame, "\nframe = [36.0]", "frame = [36.0]", "list of 2"),
        camera("frame-three", frame, "\nframe = [36.0, 24.0, 1.0]", "frame =", "at most 2"),
        camera("frame-empty", frame, "\nframe = []", "frame = []", "list of 2"),
        camera("frame-text", frame, '\nframe = "36x24"', 'frame = "36x24"', "a list"),
        camera("frame-of-text", frame, '\nframe = ["36", "24"]', "frame[1] =", "without quotes"),
        camera("frame-number", frame, "\nframe = 36.0", "frame = 36.0", "a list"),
        camera("frame-table", frame, "\nframe = { width = 36.0, height = 24.0 }", "frame =", "a list in square brackets"),
        camera("frame-of-dates", frame, "\nframe = [2025-01-01, 2025-01-02]", "frame[1] = 2025-01-01", "a number"),
        camera("crop-wider", crop, "frame = [37.0, 20.0]", 'crop "video" is larger than the frame', "36 x 24 mm"),
        camera("crop-higher", crop, "frame = [36.0, 25.0]", 'crop "video" is larger than the frame'),
        camera("crop-without-frame", crop, "", "crop[1].frame is missing"),
        camera("crop-without-name", 'name = "video"\n', "", "crop[1].name is missing"),
        camera("crop-of-two-lines", '"video"', '"vid\\neo"', "crop[1].name =", "one line"),
        camera("crop-twice", "[[crop]]", '[[crop]]\nname = "video"\nframe = [30.0, 20.0]\n[[crop]]',
               'crop lists "video" twice', "a name of its own"),
        camera("crop-table", "[[crop]]", "[crop]", "crop =", "[[crop]]"),
        camera("crops-21", "[[crop]]", '[[crop]]\nname = "c"\nframe = [9.0, 9.0]\n' * 20 + "[[crop]]",
               "crop =", "at most 20"),
        camera("mask-word", '"16:9"', '"wide"', "masks =", '"16:9"'),
        camera("mask-zero", '"16:9"', '"16:0"', "masks =", '"16:9"'),
        camera("mask-extreme", '"16:9"', '"100:1"', "masks =", "between 1:10 and 10:1"),
        camera("mask-slash", '"16:9"', '"16/9"', "masks =", '"16:9"'),
        camera("mask-number", '"16:9"', "1.78", "masks[1] = 1.78", "text in quotes"),
        camera("mask-time", '"16:9"', "16:09:00", "masks[1] = 16:09:00", "text in quotes"),
        camera("masks-text", '["16:9", "1:1"]', '"16:9"', 'masks = "16:9"', "a list"),
        camera("travel-negative", "travel = 0.5", "travel = -0.5", "stabiliser_travel = -0.5", "from 0 to 20"),
        camera("travel-huge", "travel = 0.5", "travel = 50", "stabiliser_travel = 50", "from 0 to 20"),
        camera("orientation-unknown", '"landscape"', '"upright"', "orientation =", '"both", "landscape", "portrait"'),
        camera("orientation-degrees", '"landscape"', "90", "orientation = 90", '"both", "landscape", "portrait"'),
        camera("spelling-frame", frame, "\nframes = [36.0, 24.0]", "frames is not a field", 'perhaps "frame"'),
        camera("spelling-orientation", "orientation", "orientaton", "orientaton is not a field", 'perhaps "orientation"'),
        camera("unknown-field", "masks =", "pixels = 24\nmasks =", "pixels is not a field", "allowed here:"),
        camera("unknown-in-crop", crop, f"{crop}\nrate = 50", "crop[1].rate is not a field", "allowed here: frame, name"),
    ]  # fmt: skip


# --- fields of a hood -----------------------------------------------------------------------------------------


def _hood_walls() -> list[Case]:
    tube = 'shape = "tube"\ninner_diameter = 88.0'
    stepped = 'shape = "stepped"\nsteps = '
    cone = 'shape = "cone"\nnear_diameter = 88.0\n'
    return [
        hood("wall-unknown", '"tube"', '"bell"', "wall.shape =", '"cone", "stepped", "tube", "tunnel"'),
        hood("wall-without-diameter", "inner_diameter = 88.0\n", "", "wall", "needs inner_diameter"),
        hood("wall-zero", "inner_diameter = 88.0", "inner_diameter = 0", "wall.inner_diameter = 0", "more than 0"),
        hood("wall-giant", "inner_diameter = 88.0", "inner_diameter = 88000", "wall.inner_diameter =", "at most 3000"),
        hood("wall-text", "inner_diameter = 88.0", 'inner_diameter = "88"', "wall.inner_diameter =", "without quotes"),
        hood("wall-number", f"[wall]\n{tube}", "wall = 88.0", "wall = 88.0", "table"),
        hood("cone-incomplete", tube, cone, "wall", "needs near_diameter and far_diameter and far_z"),
        hood("cone-without-length", tube, f"{cone}far_diameter = 99.0\nfar_z = 0.0", "wall.far_z = 0.0", "more than 0"),
        hood("tube-with-cone-field", tube, f"{tube}\nfar_z = 30.0", "far_z belongs to", "take one out"),
        hood("tunnel-incomplete", tube, 'shape = "tunnel"\ninner_width = 90.0', "needs inner_width and inner_height"),
        hood("tunnel-negative", tube, 'shape = "tunnel"\ninner_width = 90.0\ninner_height = -60.0',
             "wall.inner_height = -60.0", "more than 0"),
        hood("steps-missing", tube, 'shape = "stepped"', "wall", "needs steps"),
        hood("steps-empty", tube, f"{stepped}[]", "wall", "needs steps"),
        hood("steps-disordered", tube, f"{stepped}[{{ z = 20.0, diameter = 90.0 }}, {{ z = 5.0, diameter = 95.0 }}]",
             "steps must be listed from the seat forward"),
        hood("steps-twice", tube, f"{stepped}[{{ z = 5.0, diameter = 90.0 }}, {{ z = 5.0, diameter = 95.0 }}]",
             "steps must be listed", "each z larger"),
        hood("step-without-diameter", tube, f"{stepped}[{{ z = 5.0 }}]", "wall.steps[1].diameter is missing"),
        hood("steps-51", tube, f"{stepped}[{'{ z = 5.0, diameter = 9.0 },' * 51}]", "wall.steps =", "at most 50"),
        hood("steps-pairs", tube, f"{stepped}[[0.0, 88.0]]", "wall.steps[1] = [0.0, 88.0]", "a table of fields"),
    ]  # fmt: skip


def _hood_rims() -> list[Case]:
    old = 'shape = "petal"'

    def points(text: str) -> str:
        return f"{old}\npoints = {text}"

    even = [[45.0 * i, 20.0] for i in range(8)]
    tunnel = edited("hood.toml", 'shape = "tube"\ninner_diameter = 88.0',
                    'shape = "tunnel"\ninner_width = 100.0\ninner_height = 90.0')  # fmt: skip

    def of_tunnel(id: str, new: str, *says: str) -> Case:
        return Case(f"hood-{id}", says, "hood.toml", {"hood.toml": tunnel.replace(old, new)})

    return [
        hood("rim-unknown", '"petal"', '"tulip"', "rim.shape =", '"deepest", "petal", "plain", "square-cut", "tunnel"'),
        hood("rim-underscore", '"petal"', '"square_cut"', "rim.shape =", '"square-cut"'),
        Case("hood-rim-number", ("rim = 40.0", "a table of fields"), "hood.toml",
             {"hood.toml": "rim = 40.0\n" + HOOD.replace(f"[rim]\n{old}\n", "")}),
        hood("points-three", old, points("[[0.0, 1.0], [120.0, 1.0], [240.0, 1.0]]"), "rim.points =", "at least 8 points"),
        hood("points-unsorted", old, points(str([*even[:3], even[4], even[3], *even[5:]])), "rim.points =", "ascending"),
        hood("points-repeated", old, points(str([*even, even[-1]])), "rim.points =", "ascending"),
        hood("points-backwards", old, points(str(even[::-1])), "rim.points =", "ascending"),
        hood("points-gap", old, points(str([[10.0 * i, 20.0] for i in range(20)])), "rim.points =", "gap of more than 60"),
        hood("points-0-and-360", old, points(str([*even, [360.0, 20.0]])), "rim.points =", "not list both 0 and 360"),
        hood("points-negative", old, points(str([[a - 10.0, z] for a, z in even])), "rim.points =", "from 0 to at most 360"),
        hood("points-beyond", old, points(str([[a + 100.0, z] for a, z in even])), "rim.points =", "at most 360"),
        hood("points-radians", old, points(str([[0.7 * i, 20.0] for i in range(9)])), "rim.points =", "gap of more than 60"),
        hood("points-too-high", old, points(str([[a, 3001.0] for a, _ in even])), "rim.points =", "within 3000 mm"),
        hood("points-nan", old, points("[[nan, 20.0]]"), "rim.points[1][1] = nan", "finite"),
        hood("points-infinite", old, points(str([*even[:7], [315.0, float("inf")]])), "rim.points[8][2] = inf", "finite"),
        hood("points-text", old, points('[["0", 20.0]]'), "rim.points[1][1] =", "without quotes"),
        hood("points-triples", old, points("[[0.0, 20.0, 3.0]]"), "rim.points[1] =", "at most 2"),
        hood("points-singles", old, points("[[0.0]]"), "rim.points[1] = [0.0]", "list of 2"),
        hood("points-flat", old, points("[0.0, 20.0]"), "rim.points[1] = 0.0", "a list"),
        hood("points-number", old, points("20.0"), "rim.points = 20.0", "a list"),
        hood("points-tables", old, points("[{ azimuth = 0.0, z = 20.0 }]"), "rim.points[1] =", "a list"),
        hood("points-20001", old, points("[" + "[0,0]," * 20_001 + "]"), "rim.points =", "at most 20000"),
        hood("depth-and-points", old, points(str(even)) + "\ndepth = 20.0", "rim", "given twice, by points and depth"),
        hood("depth-and-mesh", old, f'{old}\ndepth = 20.0\nstl = "hood.stl"', "rim", "given twice, by depth and stl"),
        hood("depth-text", old, f'{old}\ndepth = "20"', "rim.depth =", "without quotes"),
        hood("depth-absurd", old, f"{old}\ndepth = -4000.0", "rim.depth = -4000.0", "from -3000 to 3000"),
        hood("depth-nan", old, f"{old}\ndepth = nan", "rim.depth = nan", "finite"),
        hood("petals-incomplete", old, f"{old}\npetals = {{ right = 20.0, top = 30.0 }}", "rim.petals.left is missing"),
        hood("petals-corner-outside", old,
             f"{old}\npetals = {{ right = 1.0, top = 1.0, left = 1.0, bottom = 1.0, corners = 0.0, corner_azimuth = 90 }}",
             "rim.petals.corner_azimuth = 90", "less than 85"),
        hood("petals-list", old, f"{old}\npetals = [20.0, 30.0, 20.0, 30.0]", "rim.petals =", "a table of fields"),
        hood("lips-on-a-tube", old, f"{old}\nlips = {{ right = 20.0, top = 20.0, left = 20.0, bottom = 20.0 }}",
             "rim.lips belong to", '"tunnel"'),
        hood("tunnel-rim-on-a-tube", old, 'shape = "tunnel"', 'rim.shape = "tunnel" needs a wall of shape "tunnel"'),
        of_tunnel("points-on-a-tunnel", points(str(even)), 'a wall of shape "tunnel" takes rim.lips'),
        of_tunnel("depth-on-a-tunnel", f"{old}\ndepth = 20.0", 'a wall of shape "tunnel" takes rim.lips'),
        of_tunnel("lips-incomplete", f"{old}\nlips = {{ right = 20.0 }}", "rim.lips.top is missing"),
        of_tunnel("lips-misspelt", f"{old}\nlips = {{ right = 20.0, top = 20.0, left = 20.0, botom = 20.0 }}",
                  "rim.lips.botom is not a field", 'perhaps "bottom"'),
    ]  # fmt: skip


def _hood_wishes() -> list[Case]:
    ring = '[[accessory]]\nname = "f"\nthickness = 1.0\nclear_diameter = 70.0\nouter_diameter = 80.0\n'
    return [
        hood("allowance-negative", "allowance = 0.0", "allowance = -0.1", "wishes.allowance = -0.1", "from 0 to 4"),
        hood("allowance-absurd", "allowance = 0.0", "allowance = 5", "wishes.allowance = 5", "from 0 to 4"),
        hood("allowance-word", "allowance = 0.0", 'allowance = "none"', "wishes.allowance =", "a number"),
        hood("allowance-nan", "allowance = 0.0", "allowance = nan", "wishes.allowance = nan", "finite"),
        hood("length-zero", "largest_length = 60.0", "largest_length = 0", "wishes.largest_length = 0", "more than 0"),
        hood("length-infinite", "largest_length = 60.0", "largest_length = inf", "wishes.largest_length = inf", "finite"),
        hood("fillet-negative", "fillet_radius = 5.0", "fillet_radius = -1.0", "wishes.fillet_radius = -1.0", "from 0 to 50"),
        hood("fillet-huge", "fillet_radius = 5.0", "fillet_radius = 51", "wishes.fillet_radius = 51", "from 0 to 50"),
        hood("lobe-huge", "lobe_width = 15.0", "lobe_width = 201", "wishes.smallest_lobe_width = 201", "from 0 to 200"),
        hood("symmetry-unknown", '"frame"', '"mirror"', "wishes.symmetry =", '"frame", "half-turn"'),
        hood("stands-word", "stands = true", 'stands = "yes"', "wishes.stands =", "true or false"),
        hood("stands-number", "stands = true", "stands = 1", "wishes.stands = 1", "true or false"),
        hood("margin-negative", "radial = 0.3", "radial = -0.3", "margin.radial = -0.3", "from 0 to 20"),
        hood("margin-huge", "axial = 0.3", "axial = 21", "margin.axial = 21", "from 0 to 20"),
        hood("play-huge", "rotation = 1.0", "rotation = 46", "margin.rotation = 46", "from 0 to 45"),
        hood("play-text", "rotation = 1.0", 'rotation = "1°"', "margin.rotation =", "without a unit"),
        hood("crop-number", '"video"', "2", "use.crop = 2", "text in quotes"),
        hood("mask-list", 'mask = "16:9"', 'mask = ["16:9"]', "use.mask =", "text in quotes"),
        hood("accessory-without-name", 'name = "polariser"\n', "", "accessory[1].name is missing"),
        hood("accessory-flat", "thickness = 6.0", "thickness = 0", "accessory[1].thickness = 0", "more than 0"),
        hood("accessory-thick", "thickness = 6.0", "thickness = 201", "accessory[1].thickness = 201", "at most 200"),
        hood("accessory-inside-out", "clear_diameter = 74.0", "clear_diameter = 81.0", "accessory[1]", "clear_diameter must be less"),
        hood("accessory-nan", "outer_diameter = 80.0", "outer_diameter = nan", "accessory[1].outer_diameter = nan", "finite"),
        hood("accessory-single-brackets", "[[accessory]]", "[accessory]", "accessory =", "[[accessory]]"),
        Case("hood-accessories-11", ("accessory =", "at most 10"), "hood.toml", {"hood.toml": HOOD + ring * 10}),
        hood("build-thin", "thickness = 2.0", "thickness = 0.1", "build.thickness = 0.1", "from 0.4 to 10"),
        hood("build-thick", "thickness = 2.0", "thickness = 20", "build.thickness = 20", "from 0.4 to 10"),
        hood("seat-unknown", '"slip-on"', '"magnet"', "build.seat =", '"clamp", "slip-on", "thread"'),
        hood("fit-unknown", '"sliding"', '"tight"', "build.fit =", '"loose", "sliding", "snug"'),
        hood("seat-short", "seat_length = 12.0", "seat_length = 1", "build.seat_length = 1", "from 2 to 100"),
        hood("seat-long", "seat_length = 12.0", "seat_length = 101", "build.seat_length = 101", "from 2 to 100"),
        hood("seat-diameter-negative", "seat_diameter = 84.0", "seat_diameter = -1", "build.seat_diameter = -1", "more than 0"),
        hood("thread-word", '"M77x0.75"', '"77 mm"', "build.thread =", '"M77x0.75"'),
        hood("rounding-huge", "rim_rounding = 0.6", "rim_rounding = 6", "build.rim_rounding = 6", "from 0 to 5"),
        hood("mark-word", "index_mark = true", 'index_mark = "top"', "build.index_mark =", "true or false"),
        hood("printer-hole", "hole_compensation = 0.2", "hole_compensation = 20", "build.printer.hole_compensation = 20", "from -1 to 2"),
        hood("printer-list", "[build.printer]", "[[build.printer]]", "build.printer =", "a table of fields"),
        hood("spelling-wishes", "[wishes]", "[wish]", "wish is not a field", 'perhaps "wishes"'),
        hood("spelling-fillet", "fillet_radius", "filet_radius", "wishes.filet_radius", 'perhaps "fillet_radius"'),
        hood("spelling-printer", "first_layer_spread", "first_layer", "build.printer.first_layer", 'perhaps "first_layer_spread"'),
        hood("unknown-colour", "[build]", "[build]\ncolour = 'black'", "build.colour is not a field", "allowed here:"),
        hood("made-for-list", "[wall]", "made_for = ['a']\n[wall]", "made_for =", "text in quotes"),
    ]  # fmt: skip


# --- documents that are good alone and impossible together ----------------------------------------------------


def _optics() -> list[Case]:
    kind = 'kind = "rectilinear"'
    wide = "focal_length = 28.0"

    def frame_of(id: str, projection: str, width: float, height: float, *says: str, coefficients: str = "") -> Case:
        more = f"\ncoefficients = {coefficients}" if coefficients else ""
        return Case(
            f"optics-{id}", says, None,
            {
                "lens.toml": edited("lens.toml", kind, f'kind = "{projection}"{more}').replace("image_circle = 60.0", ""),
                "camera.toml": edited("camera.toml", "\nframe = [36.0, 24.0]", f"\nframe = [{width}, {height}]"),
                "hood.toml": HOOD.replace('crop = "video"\nmask = "16:9"', ""),
            },
        )  # fmt: skip

    bare = HOOD.replace('[wall]\nshape = "tube"\ninner_diameter = 88.0\n', "")
    no_use = HOOD.replace('crop = "video"\nmask = "16:9"', "")
    far = LENS.replace("image_circle = 60.0\n", "")
    deep = (
        far[: far.index("rear_window")].replace("pupil_depth = 20.0", "pupil_depth = 60.0")
        .replace("clear_diameter = 60.0", "clear_diameter = 80.0")
    )  # fmt: skip
    too_wide = ("89 degrees or more", "use a smaller frame or crop")
    return [
        frame_of("stereographic", "stereographic", 120.0, 90.0, "stereographic", *too_wide),
        frame_of("equidistant", "equidistant", 80.0, 60.0, "equidistant", *too_wide),
        frame_of("equidistant-just", "equidistant", 70.0, 54.0, "equidistant", *too_wide),
        frame_of("equisolid", "equisolid", 70.0, 50.0, "equisolid", *too_wide),
        frame_of("equisolid-beyond-its-circle", "equisolid", 120.0, 90.0, "equisolid", *too_wide),
        frame_of("orthographic", "orthographic", 50.0, 36.0, "orthographic", *too_wide),
        frame_of("orthographic-beyond-its-circle", "orthographic", 200.0, 200.0, "orthographic", *too_wide),
        frame_of("measured-turns-back", "measured", 60.0, 40.0, "projection.coefficients", "turns back",
                 "measure the distortion out to the corner", coefficients="[-0.5]"),
        frame_of("measured-falls-at-once", "measured", 60.0, 40.0, "projection.coefficients", "turns back",
                 coefficients="[-50.0]"),
        frame_of("measured-overflows", "measured", 60.0, 40.0, "projection.coefficients", "turns back",
                 coefficients="[-1e300, 1e300]"),
        Case("optics-rectilinear", ("rectilinear", *too_wide), None,
             {"camera.toml": CAMERA.replace("frame = [36.0, 24.0]", "frame = [500.0, 500.0]"),
              "lens.toml": far.replace(wide, "focal_length = 1.0").replace("image_distance = 28.0\n", ""),
              "hood.toml": no_use}),
        Case("optics-subject-behind-the-pupil", ("28 mm at f/2.8", "beyond the subject", "pupil_depth"), None,
             {"lens.toml": LENS.replace('"infinity"', "50.0").replace("pupil_depth = 20.0", "pupil_depth = -60.0")}),
        Case("optics-subject-at-the-pupil", ("beyond the subject", "pupil_depth"), None,
             {"lens.toml": LENS.replace('"infinity"', "50.0").replace("pupil_depth = 20.0", "pupil_depth = -50.0")
              .replace("plus_minus = 0.5", "plus_minus = 0.0")}),
        Case("optics-windows-in-some-states", ("state", "the same windows in every state"), None,
             {"lens.toml": LENS + "\n[[state]]\nfocal_length = 35.0\nf_number = 2.8\n"}),
        Case("optics-crop-unknown", ("use", 'crop "square"', "it has: video", "name one that it has"), None,
             {"hood.toml": edited("hood.toml", '"video"', '"square"')}),
        Case("optics-crop-of-two-lines", ("use", 'crop "a\\nb"', "it has: video"), None,
             {"hood.toml": edited("hood.toml", '"video"', '"a\\nb"')}),
        Case("optics-mask-unknown", ("use", 'mask "4:3"', "it has: 16:9, 1:1"), None,
             {"hood.toml": edited("hood.toml", '"16:9"', '"4:3"')}),
        Case("optics-mask-of-no-camera", ("use", 'mask "16:9"', "it has: none"), None,
             {"camera.toml": edited("camera.toml", 'masks = ["16:9", "1:1"]\n', "")}),
        Case("fit-front-wider-than-hood", ("wall", "front rim is 80 mm", "at least 82"), None,
             {"hood.toml": edited("hood.toml", "inner_diameter = 88.0", "inner_diameter = 70.0"),
              "lens.toml": LENS.replace("diameter = 84.0", "diameter = 80.0")}),
        Case("fit-front-wider-than-tunnel", ("wall", "front rim is 80 mm", "inside"), None,
             {"hood.toml": HOOD.replace('shape = "tube"\ninner_diameter = 88.0',
                                        'shape = "tunnel"\ninner_width = 120.0\ninner_height = 60.0')}),
        Case("fit-front-wider-than-any-hood", ("front", "3000"), None,
             {"lens.toml": LENS.replace("rim_diameter = 80.0", "rim_diameter = 3000.0"), "hood.toml": bare}),
        Case("fit-cone-closes-before-the-front", ("wall",), None,
             {"hood.toml": HOOD.replace('shape = "tube"\ninner_diameter = 88.0', 'shape = "cone"\n'
                                        "near_diameter = 100.0\nfar_diameter = 10.0\nfar_z = 4.0")}),
        Case("fit-wall-in-the-beam", ("wall: at 88.0 mm inside", "larger inside", "smaller margin"), None,
             {"lens.toml": deep, "hood.toml": edited("hood.toml", "radial = 0.3", "radial = 20.0")}),
        Case("fit-tunnel-in-the-beam", ("wall", "tunnel", "larger inside", "smaller margin"), None,
             {"lens.toml": deep,
              "hood.toml": HOOD.replace('shape = "tube"\ninner_diameter = 88.0',
                                        'shape = "tunnel"\ninner_width = 84.0\ninner_height = 84.0')
              .replace("radial = 0.3", "radial = 20.0")}),
        Case("fit-square-cut-tunnel", ('rim.shape = "square-cut"', '"tunnel"'), None,
             {"hood.toml": HOOD.replace('shape = "tube"\ninner_diameter = 88.0',
                                        'shape = "tunnel"\ninner_width = 130.0\ninner_height = 110.0')
              .replace('"petal"', '"square-cut"')}),
        Case("check-without-rim", ("rim", "no rim yet", "shadewright fit"), None, command=CHECK),
        Case("show-without-rim", ("rim", "no rim yet", "shadewright fit"), None, command=SHOW),
        Case("check-without-wall", ("wall", "needs its wall too", "inside diameter"), None,
             {"hood.toml": bare.replace('shape = "petal"', "depth = 20.0")}, CHECK),
        Case("make-thread-of-none", ("build.seat", "build.thread", "front.filter_thread"), None,
             {"hood.toml": HOOD.replace('"slip-on"', '"thread"').replace('thread = "M77x0.75"\n', "")
              .replace('shape = "petal"', "depth = 10.0"),
              "lens.toml": LENS.replace('filter_thread = "M77x0.75"\n', "")}, MAKE),
        Case("weigh-crop-unknown", ("use", 'crop "square"', "it has: video"), None,
             {"hood.toml": edited("hood.toml", '"video"', '"square"')}, WEIGH),
        Case("weigh-front-wider", ("wall", "front rim is 80 mm"), None,
             {"hood.toml": edited("hood.toml", "inner_diameter = 88.0", "inner_diameter = 70.0")}, WEIGH),
        Case("check-crop-unknown", ("use", 'crop "square"', "it has: video"), None,
             {"hood.toml": HOOD.replace('"video"', '"square"').replace('shape = "petal"', "depth = 10.0")}, CHECK),
    ]  # fmt: skip


# --- based_on -------------------------------------------------------------------------------------------------


def _bases() -> list[Case]:
    def based(id: str, value: str, *says: str, **more: Content) -> Case:
        files = {"lens.toml": f"based_on = {value}\n{LENS}"} | {f"{k}.toml": v for k, v in more.items()}
        return Case(f"base-{id}", says, "lens.toml", files)

    def linked(target: str) -> Prepare:
        return lambda place: (place / "base.toml").symlink_to(target)

    says = "based_on ="
    own = 'document = "lens"\nversion = 1\nname = "Tern 28 b"\n'
    chain = {f"base{i}.toml": f'based_on = "base{i + 1}.toml"\n' for i in range(1, 12)}
    return [
        based("itself", '"lens.toml"', says, "leads back", "break the circle"),
        Case("base-two-in-a-circle", (says, "leads back", "break the circle"), "other.toml",
             {"lens.toml": f'based_on = "other.toml"\n{LENS}', "other.toml": 'based_on = "lens.toml"\n'}),
        Case("base-three-in-a-circle", (says, "leads back", "break the circle"), "third.toml",
             {"lens.toml": f'based_on = "other.toml"\n{LENS}', "other.toml": 'based_on = "third.toml"\n',
              "third.toml": 'based_on = "lens.toml"\n'}),
        Case("base-circle-that-misses-the-first", (says, "leads back"), "third.toml",
             {"lens.toml": f'based_on = "other.toml"\n{LENS}', "other.toml": 'based_on = "third.toml"\n',
              "third.toml": 'based_on = "other.toml"\n'}),
        Case("base-circle-by-link", (says, "leads back"), "lens.toml", {"lens.toml": f'based_on = "base.toml"\n{LENS}'},
             prepare=linked("lens.toml")),
        Case("base-link-to-itself", ("base.toml", "leads nowhere"), "base.toml",
             {"lens.toml": f'based_on = "base.toml"\n{LENS}'}, prepare=linked("base.toml")),
        Case("base-link-outside", (says, "outside its folder", "copy that file"), "lens.toml",
             {"lens.toml": f'based_on = "base.toml"\n{LENS}'}, prepare=linked("/etc/hostname")),
        Case("base-dangling-link", ("base.toml", "no such file"), "base.toml",
             {"lens.toml": f'based_on = "base.toml"\n{LENS}'}, prepare=linked("gone.toml")),
        Case("base-chain-too-long", (says, '"base8.toml"', "more than 8 documents"), "base7.toml",
             {"lens.toml": f'based_on = "base1.toml"\n{LENS}', **chain, "base12.toml": LENS}),
        based("parent", '"../lens.toml"', says, '"../lens.toml"', "without a path"),
        based("dots", '".."', says, "without a path"),
        based("dot", '"."', says, "without a path"),
        based("dot-slash", '"./camera.toml"', says, "without a path"),
        based("sub-folder", '"more/lens.toml"', says, "without a path"),
        based("absolute", '"/etc/passwd"', says, "without a path"),
        based("backslash", "'..\\lens.toml'", says, "without a path"),
        based("drive", "'C:\\lens.toml'", says, "without a path"),
        based("missing", '"wader.toml"', says, "names no file", "correct the name"),
        based("empty-name", '""', says, "the name of a file in the same folder"),
        based("zero-byte", '"a\\u0000b"', says, "the name of a file"),
        based("line-break", '"a\\nb.toml"', says, "the name of a file"),
        based("too-long", f'"{"l" * 300}.toml"', says, "names no file"),
        based("number", "28", says, "28", "the name of a file"),
        based("list", '["a.toml", "b.toml"]', says, "the name of a file"),
        based("true", "true", says, "true", "the name of a file"),
        based("table", '{ file = "a.toml" }', says, "the name of a file"),
        Case("base-folder", ("base.toml", "is a folder"), "base.toml", {"lens.toml": f'based_on = "base.toml"\n{LENS}'},
             prepare=lambda place: (place / "base.toml").mkdir()),
        Case("base-of-another-kind", ("camera.toml", '"camera"', "another lens"), "lens.toml",
             {"lens.toml": f'based_on = "camera.toml"\n{LENS}'}),
        Case("base-not-toml", ("base.toml", "not valid TOML"), "base.toml",
             {"lens.toml": f'based_on = "base.toml"\n{LENS}', "base.toml": "lens: 28"}),
        Case("base-utf-16", ("base.toml", "not UTF-8"), "base.toml",
             {"lens.toml": f'based_on = "base.toml"\n{LENS}', "base.toml": LENS.encode("utf-16")}),
        Case("base-too-large", ("base.toml", "more than the 1,000,000"), "base.toml",
             {"lens.toml": f'based_on = "base.toml"\n{LENS}', "base.toml": "#" * 1_000_001}),
        Case("base-holds-the-fault", ("front.rim_diameter = -80.0", "more than 0"), "base.toml",
             {"lens.toml": f'based_on = "base.toml"\n{own}', "base.toml": LENS.replace("80.0", "-80.0")}),
        Case("base-holds-the-unknown-field", ("state[1].focal_lenght", 'perhaps "focal_length"'), "base.toml",
             {"lens.toml": f'based_on = "base.toml"\n{own}', "base.toml": LENS.replace("focal_length", "focal_lenght")}),
        Case("base-is-good-but-not-this", ("front.rim_diameter = -1.0", "more than 0"), "lens.toml",
             {"lens.toml": f'based_on = "base.toml"\n{own}front.rim_diameter = -1.0\n', "base.toml": LENS}),
        Case("base-lacks-what-this-lacks", ("state is missing",), "lens.toml",
             {"lens.toml": f'based_on = "base.toml"\n{own}', "base.toml": LENS[: LENS.index("[[state]]")]}),
        Case("base-in-a-list-of-tables", ("state[1].based_on is not a field",), "lens.toml",
             {"lens.toml": LENS.replace("[[state]]", '[[state]]\nbased_on = "lens.toml"')}),
    ]  # fmt: skip


# --- meshes ---------------------------------------------------------------------------------------------------


def _meshes() -> list[Case]:
    def named(id: str, value: str, *says: str, blames: str | None = None, command: tuple[str, ...] = CHECK) -> Case:
        text = edited("hood.toml", 'shape = "petal"', f"stl = {value}")
        return Case(f"mesh-{id}", says, blames, {"hood.toml": text}, command)

    def content(id: str, data: Content, *says: str, prepare: Prepare | None = None) -> Case:
        text = edited("hood.toml", 'shape = "petal"', 'stl = "found.stl"')
        return Case(f"mesh-{id}", says, "found.stl", {"hood.toml": text, "found.stl": data}, CHECK, prepare)

    def binary(count: int, *, given: int | None = None, corner: bytes = b"\x00\x00\xa0\x41") -> bytes:
        triangle = bytes(12) + corner + bytes(32) + bytes(2)
        return bytes(80) + count.to_bytes(4, "little") + triangle * (count if given is None else given)

    rim, path = "rim.stl =", "without a path"
    facet = "facet normal 0 0 1\nouter loop\n{}endloop\nendfacet\n"
    corners = "vertex 0 0 0\nvertex 50 0 0\nvertex 0 50 0\n"
    return [
        named("parent", '"../found.stl"', rim, path),
        named("absolute", '"/etc/found.stl"', rim, path),
        named("backslash", "'..\\found.stl'", rim, path),
        named("sub-folder", '"more/found.stl"', rim, path),
        named("dots", '".."', rim, ".stl file"),
        named("empty", '""', rim, ".stl file"),
        named("other-kind", '"found.obj"', rim, ".stl file"),
        named("no-ending", '"found"', rim, ".stl file"),
        named("zero-byte", '"a\\u0000.stl"', rim, ".stl file"),
        named("line-break", '"a\\n.stl"', rim, ".stl file"),
        named("too-long", f'"{"m" * 260}.stl"', "rim.stl =", "at most 255 characters", blames="hood.toml"),
        named("too-long-in-bytes", f'"{"é" * 200}.stl"', "no such file", "rim.stl"),
        named("number", "3", "rim.stl = 3", "text in quotes", blames="hood.toml"),
        named("missing", '"found.stl"', "no such file", "rim.stl", "beside the hood", blames="found.stl"),
        named("missing-for-show", '"found.stl"', "no such file", blames="found.stl", command=SHOW),
        named("missing-for-make", '"found.stl"', "no such file", blames="found.stl", command=MAKE),
        content("folder", None, "is a folder", prepare=lambda place: (place / "found.stl").mkdir()),
        content("pipe", None, "not an ordinary file", prepare=lambda place: os.mkfifo(place / "found.stl")),
        content("link-outside", None, "outside its folder", "copy that file",
                prepare=lambda place: (place / "found.stl").symlink_to("/etc/hostname")),
        content("link-to-itself", None, "outside its folder",
                prepare=lambda place: (place / "found.stl").symlink_to("found.stl")),
        content("empty-file", b"", "too few"),
        content("few-bytes", b"STL", "too few"),
        content("header-only", bytes(84), "holds no triangles"),
        content("cut-short", binary(12, given=11), "12 triangles", "cut short"),
        content("one-byte-short", binary(12)[:-1], "12 triangles", "cut short"),
        content("one-byte-too-many", binary(12) + b"\x00", "12 triangles", "cut short or not STL"),
        content("picture", b"\x89PNG\r\n\x1a\n" + bytes(range(256)), "not STL"),
        content("document", LENS, "not STL"),
        content("giant-count", bytes(80) + b"\xff\xff\xff\xff", "4294967295 triangles"),
        content("over-the-limit", b"", "more than the 200,000,000", prepare=lambda place: os.truncate(place / "found.stl", 200_000_001)),
        content("nan", binary(4, corner=b"\x00\x00\xc0\x7f"), "not a number"),
        content("infinite", binary(4, corner=b"\x00\x00\x80\x7f"), "infinite"),
        content("in-metres", binary(4, corner=b"\x0a\xd7\xa3\x3c"), "millimetres"),
        content("in-micrometres", binary(4, corner=b"\x00\x50\x43\x47"), "millimetres"),
        content("no-area", binary(4), "an area"),
        content("text-empty", "solid found\nendsolid found\n" + " " * 80, "no triangles"),
        content("text-cut-short", "solid found\n" + facet.format("vertex 0 0 0\nvertex 50 0 0\n") + " " * 80, "cut short"),
        content("text-word", "solid found\n" + facet.format(corners.replace("50", "wide")), "not a number"),
        content("text-two-numbers", "solid found\n" + facet.format(corners.replace("50 0 0", "50 0")), "three numbers"),
    ]  # fmt: skip


# --- surroundings, vanes and trade-offs -----------------------------------------------------------------------


def around(id: str, old: str, new: str, *says: str, blames: str | None = "surroundings.toml") -> Case:
    """The good surroundings with `old` replaced by `new`."""
    return Case(f"around-{id}", says, blames, {"surroundings.toml": edited("surroundings.toml", old, new)}, AROUND)


def _surroundings() -> list[Case]:
    unlit = 'document = "surroundings"\nversion = 1\nname = "Night"\n'
    return [
        around("name-blank", '"Quay"', '" "', "name =", "not blank"),
        around("tilt-too-far", "lens_elevation = 5.0", "lens_elevation = 91", "lens_elevation = 91", "from -90 to 90"),
        around("dark-negative", "around = 10.0", "around = -1.0", "around = -1.0", "from 0 to 1e+12"),
        around("bright-infinite", "zenith = 2000.0", "zenith = inf", "sky.zenith = inf", "finite"),
        around("sky-unknown", '"clear"', '"stormy"', "sky.kind =", '"clear", "even", "overcast"'),
        around("sun-below", "elevation = 20.0", "elevation = -3.0", "sun.elevation = -3.0", "from 0 to 90"),
        around("sun-azimuth", "azimuth = 70.0", "azimuth = 270.0", "sun.azimuth = 270.0", "from -180 to 180"),
        around("sun-missing", "[sun]\nelevation = 20.0\nazimuth = 70.0\nilluminance = 60000.0\n", "", "add [sun]"),
        around("ground-percent", "reflectance = 0.2", "reflectance = 20", "ground.reflectance = 20", "from 0 to 1"),
        around("pane-inside-out", "right = -40.0", "right = -80.0", "pane[1]", "right must be more than left"),
        around("pane-upside-down", "top = 5.0", "top = -25.0", "pane[1]", "top must be more than bottom"),
        around("source-nowhere", "off_axis = 62.0\n", "", "source[2]", "give one of the pairs"),
        around("source-twice", "size = 0.5", "off_axis = 10.0", "source[1]", "give one of the pairs"),
        around("source-size", "size = 0.5", "size = 30.0", "source[1].size = 30.0", "from 0 to 20"),
        around("source-unlit", "illuminance = 300.0\n", "", "source[1].illuminance is missing"),
        around("field-misspelt", "reflectance", "reflectence", "ground.reflectence", "reflectance"),
        Case("around-nothing-shines", ("nothing shines here",), "surroundings.toml", {"surroundings.toml": unlit}, AROUND),
        Case("around-is-a-lens", ("is a lens document", "surroundings document"), "lens.toml",
             command=(*AROUND[:-1], "lens.toml")),
        Case("around-no-such-file", ("no such file",), "night.toml", command=(*AROUND[:-1], "night.toml")),
        Case("around-no-such-name", ("night", "neither a file nor one of", "overcast"), None, command=(*AROUND[:-1], "night")),
    ]  # fmt: skip


def _vanes() -> list[Case]:
    tube = 'shape = "tube"\ninner_diameter = 88.0'
    vane = "\n[[vane]]\nz = 20.0\ninner_diameter = 80.0\n"
    tunnel = edited("hood.toml", tube, 'shape = "tunnel"\ninner_width = 120.0\ninner_height = 95.5')
    return [
        hood("vane-depth-negative", "vane_depth = 0.0", "vane_depth = -1", "wishes.vane_depth = -1", "from 0 to 50"),
        hood("vane-depth-too-much", "vane_depth = 0.0", "vane_depth = 30.0", "wishes.vane_depth", "wider wall"),
        hood("finish-unknown", '"flocked paper"', '"coal"', "coal", "is not in the table", "black velvet", command=WEIGH),
        hood("finish-number", '"flocked paper"', "3", "build.finish = 3", "text in quotes"),
        Case("hood-vanes-forward", ("vanes must be listed from the front rearwards",), "hood.toml",
             {"hood.toml": HOOD + vane + vane.replace("20.0", "25.0")}),
        Case("hood-vanes-in-a-tunnel", ("vanes stand in round hoods only",), "hood.toml", {"hood.toml": tunnel + vane}),
        Case("hood-vane-without-opening", ("vane[1].inner_diameter is missing",), "hood.toml",
             {"hood.toml": HOOD + "\n[[vane]]\nz = 20.0\n"}),
        Case("vanes-depth-absurd", ("--depth = 60", "from 0 to 50"), None, command=(*VANES, "--depth", "60")),
        Case("vanes-depth-nan", ("--depth", "nan"), None, command=(*VANES, "--depth", "nan")),
        Case("vanes-finish-unknown", ("coal", "is not in the table"), "hood.toml", command=(*VANES, "--finish", "coal")),
    ]  # fmt: skip


def _trades() -> list[Case]:
    return [
        Case("trade-across-zero", ("--across = 0", "more than 0"), None, command=(*TRADE, "--across", "0")),
        Case("trade-mass-nan", ("--mass = nan", "more than 0"), None, command=(*TRADE, "--mass", "nan")),
        Case("trade-across-less-than-the-lens", ("--across = 70", "the lens needs"), None, command=(*TRADE, "--across", "70")),
        Case("trade-no-length", ("the limits leave 2 mm",), None, command=(*TRADE, "--length", "2")),
        Case("trade-workers", ("--workers = 0", "from 1 to 256"), None, command=(*TRADE[:-1], "0")),
        Case("trade-scheduler", ("--scheduler = nearby", "tcp://host:8786"), None, command=(*TRADE, "--scheduler", "nearby")),
        Case("trade-finish-unknown", ("coal", "is not in the table"), "hood.toml", command=(*TRADE, "--finish", "coal")),
        Case("trade-against-unknown", ("--against", "beauty", "volume", HELP), None, command=(*TRADE, "--against", "beauty")),
        Case("trade-journal-of-something-else", ("is not the journal of a search",), "lens.toml",
             command=(*TRADE, "--journal", "lens.toml")),
        Case("trade-journal-is-a-folder", ("is a folder",), "kept", command=(*TRADE, "--journal", "kept"),
             prepare=lambda place: (place / "kept").mkdir()),
    ]  # fmt: skip


# --- the command line -----------------------------------------------------------------------------------------


def _commands() -> list[Case]:
    help_ = "shadewright --help"
    given = {"hood.toml": edited("hood.toml", 'shape = "petal"', "depth = 5.0"), "taken": "a file"}

    def into_a_file(command: tuple[str, ...], blames: str) -> Case:
        return Case(f"command-{command[0]}-into-a-file", ("folder", "choose another"), blames, given,
                    (*command[:-1], "taken"))  # fmt: skip

    return [
        Case("command-unknown", ("fitt", help_), None, command=("fitt",)),
        Case("command-none", ("command", help_), None, command=()),
        Case("command-without-documents", ("lens", help_), None, command=("fit",)),
        Case("command-without-camera", ("camera", help_), None, command=("fit", "lens.toml")),
        Case("command-check-without-hood", ("hood", help_), None, command=("check", "lens.toml", "camera.toml")),
        Case("command-too-many", ("more.toml", help_), None, command=(*FIT[:4], "more.toml")),
        Case("command-option-unknown", ("--outt", "--out", help_), None, command=(*FIT[:4], "--outt", "out")),
        Case("command-out-without-folder", ("--out", help_), None, command=FIT[:5]),
        Case("command-paper-unknown", ("--paper", "a5", "a4", "letter", help_), None, command=(*MAKE, "--paper", "a5")),
        Case("command-new-unknown", ("spoon", "lens", "camera", "hood", help_), None, command=("new", "spoon")),
        Case("command-schema-unknown", ("spoon", "lens", "camera", "hood", help_), None, command=("schema", "spoon")),
        Case("command-new-over-a-file", ("exists already", "--force"), "lens.toml", command=("new", "lens", "lens.toml")),
        Case("command-new-over-a-folder", ("is a folder",), "kept", command=("new", "lens", "kept", "--force"),
             prepare=lambda place: (place / "kept").mkdir()),
        into_a_file(FIT, "taken/tern-shade.toml"),
        into_a_file(CHECK, "taken/tern-shade.check.json"),
        into_a_file(WEIGH, "taken/tern-shade.weigh.json"),
        into_a_file(MAKE, "taken"),
        into_a_file(SHOW, "taken/tern-shade-section.svg"),
        into_a_file(("demo", "--out", "out"), "taken/documents/camera.toml"),
        Case("command-new-inside-a-file", ("a file and not a folder",), "camera.toml/new.toml",
             command=("new", "lens", "camera.toml/new.toml")),
    ]  # fmt: skip


CASES: tuple[Case, ...] = tuple(
    case
    for group in (
        _missing, _texts, _toml, _heads, _lens_front, _lens_projection, _lens_state, _lens_unknown, _cameras,
        _hood_walls, _hood_rims, _hood_wishes, _optics, _bases, _meshes, _surroundings, _vanes, _trades, _commands,
    )
    for case in group()
)  # fmt: skip
