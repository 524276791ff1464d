"""Lens descriptions: good ones in every form that is read, and malformed ones with the words that must help.

A malformed case begins from a good description, spoils one thing, and names what the one sentence must say.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from bad_input_cases import PRESCRIPTION

DAT = """\
# Tern 50 f/4
# a drawing of ours
# radius\tthickness\tindex\taperture
22.511  3.84  1.72  21.2
257.96  5.28  1     20.0
-33.468 1.41  1.689 11.8
20.223  2.93  1     10.8
0       2.13  0     10.0
72.149  4.29  1.72  11.4
-24.842 41.8  1     12.6
"""

ZMX = """\
VERS 140730 73 26155
MODE SEQ
NAME Tern 50
NOTE 0 a drawing of ours
UNIT MM X W X CM MR CPMM
ENPD 12.5
GCAT SOME
FTYP 0 0 2 2 0 0 0
WAVM 1 4.861327E-1 1
WAVM 2 5.875618E-1 1
WAVM 3 5.5E-1 1
PWAV 2
SURF 0
  TYPE STANDARD
  CURV 0.0 0 0 0 0 ""
  DISZ INFINITY
  DIAM 0 0 0 0 1 ""
SURF 1
  TYPE STANDARD
  CURV 4.44227E-002 0 0 0 0 ""
  DISZ 3.84
  GLAS N-LAK10 0 0 1.5 4.0E+1 0 0 0 0 0 0
  DIAM 10.6 1 0 0 1 ""
SURF 2
  TYPE EVENASPH
  CURV 3.8766E-003 0 0 0 0 ""
  CONI -1.5
  PARM 1 0
  PARM 2 1.0E-6
  PARM 3 -2.0E-9
  DISZ 5.28
  DIAM 10.0 1 0 0 1 ""
SURF 3
  TYPE STANDARD
  CURV -2.98796E-002 0 0 0 0 ""
  DISZ 1.41
  GLAS ___BLANK 1 0 1.68893 31.16 0 0 0 0 0 0
  DIAM 5.9 1 0 0 1 ""
SURF 4
  TYPE STANDARD
  CURV 4.94486E-002 0 0 0 0 ""
  DISZ 2.93
  DIAM 5.4 1 0 0 1 ""
SURF 5
  STOP
  TYPE STANDARD
  CURV 0.0 0 0 0 0 ""
  DISZ 2.13
  DIAM 5.0 0 0 0 1 ""
SURF 6
  TYPE STANDARD
  CURV 1.38602E-002 0 0 0 0 ""
  DISZ 4.29
  GLAS N-LAK10 0 0 1.5 4.0E+1 0 0 0 0 0 0
  FLAP 0 5.7 0
SURF 7
  TYPE STANDARD
  CURV -4.02538E-002 0 0 0 0 ""
  DISZ 41.819
  DIAM 6.3 1 0 0 1 ""
SURF 8
  TYPE STANDARD
  CURV 0.0 0 0 0 0 ""
  DISZ 0
  DIAM 21.6 0 0 0 1 ""
TOL TOFF   0   0              0              0   0 0 0
MNUM 1 1
MOFF   0   1 "" 0 0 0 1 1 0 0.0 ""
"""

SEQ = """\
RDM;LEN "VERSION: ours"
TITLE 'Tern 50'
EPD 12.5   ! the widest
DIM M
WL 656.3 587.6 486.1
REF 2
XAN 0.0 0.0
YAN 0.0 20.0
SO 0.0 0.1e14
S 22.511 3.84 NLAK10_SCHOTT
  CIR 10.6
S 257.96 5.28
  ASP
  K -1.5; A 0.1e-5; B -0.2e-8
S -33.468 1.41 688930.311600
S 20.223 &
  2.93
S 0.0 2.13
  STO
S 72.149 4.29 720.506
S -24.842 41.819
  CCY 0; THC 0
SI 0.0 0.0
GO
"""

JSON = """\
{"version": 1.0, "name": "Tern 50", "aperture": {"type": "EPD", "value": 12.5},
 "wavelengths": {"wavelengths": [
  {"value": 0.4861, "is_primary": false, "unit": "um"}, {"value": 0.5876, "is_primary": true, "unit": "um"}]},
 "surface_group": {"surfaces": [
  {"type": "ObjectSurface", "geometry": {"type": "Plane", "cs": {"z": -Infinity}, "radius": Infinity},
   "material_post": {"type": "IdealMaterial", "index": 1.0}},
  {"geometry": {"type": "StandardGeometry", "cs": {"z": 0.0}, "radius": 22.511, "conic": 0.0},
   "material_post": {"type": "Material", "name": "N-LAK10"}, "is_stop": false,
   "aperture": {"type": "RadialAperture", "r_max": 10.6, "r_min": 0}},
  {"geometry": {"type": "EvenAsphere", "cs": {"z": 3.84}, "radius": 257.96, "conic": -1.5, "coefficients": [0, 1e-6]},
   "material_post": {"type": "IdealMaterial", "index": 1.0}, "is_stop": false, "aperture": null},
  {"geometry": {"type": "StandardGeometry", "cs": {"z": 9.12}, "radius": -33.468},
   "material_post": {"type": "AbbeMaterial", "index": 1.68893, "abbe": 31.16}, "is_stop": false},
  {"geometry": {"type": "StandardGeometry", "cs": {"z": 10.53}, "radius": 20.223},
   "material_post": {"type": "IdealMaterial", "index": 1.0}, "is_stop": true},
  {"geometry": {"type": "StandardGeometry", "cs": {"z": 13.46}, "radius": 72.149},
   "material_post": {"type": "IdealMaterial", "index": 1.72}, "is_stop": false},
  {"geometry": {"type": "StandardGeometry", "cs": {"z": 17.75}, "radius": -24.842},
   "material_post": {"type": "IdealMaterial", "index": 1.0}, "is_stop": false},
  {"geometry": {"type": "Plane", "cs": {"z": 59.57}, "radius": Infinity},
   "material_post": {"type": "IdealMaterial", "index": 1.0}, "is_stop": false}]}}
"""

GOOD = {"lens.toml": PRESCRIPTION, "lens.dat": DAT, "lens.zmx": ZMX, "lens.seq": SEQ, "lens.json": JSON}


@dataclass(frozen=True)
class Case:
    """A malformed description: the file's name, its content, and what the message holds, in any order."""

    id: str
    name: str
    content: str | bytes
    says: tuple[str, ...]


def _spoilt(name: str) -> Callable[..., Case]:
    def case(id: str, old: str, new: str, *says: str) -> Case:
        text = GOOD[name]
        assert old in text, f"{id}: {old!r} is not in the good description"
        return Case(f"{name.partition('.')[2]}-{id}", name, text.replace(old, new, 1), says)

    return case


def _whole(id: str, name: str, content: str | bytes, *says: str) -> Case:
    return Case(f"{name.partition('.')[2]}-{id}", name, content, says)


def _documents() -> list[Case]:
    bad = _spoilt("lens.toml")
    flat_stop = "thickness = 4.0\nsemi_diameter = 5.0\nstop = true"
    rows = "".join("[[surface]]\nradius = 50.0\nthickness = 1.0\n" for _ in range(201))
    return [
        bad("no-stop", "stop = true", "stop = false", "surface: none is the stop", "stop = true"),
        bad("two-stops", "thickness = 3.5", "thickness = 3.5\nstop = true", "1 and 3 are each marked as the stop", "keep"),
        bad("radius-and-curvature", "radius = 40.0", "radius = 40.0\ncurvature = 0.025", "surface[1]", "both given", "keep one"),
        bad("glass-and-index", 'glass = "N-BK7"', 'glass = "N-BK7"\nindex = 1.5', "surface[1]", "glass and index"),
        bad("glass-and-abbe", 'glass = "N-BK7"', 'glass = "N-BK7"\nabbe = 60.0', "surface[1]", "glass and index"),
        bad("abbe-alone", "index = 1.6\n", "", "surface[4]", "abbe is given without index"),
        bad("glass-unknown", "N-BK7", "N-BK77", 'surface[1].glass = "N-BK77"', 'perhaps "N-BK7"', "index and abbe"),
        bad("glass-empty", '"N-BK7"', '""', "surface[1].glass", "not in the table of glasses"),
        bad("index-too-small", "index = 1.6", "index = 0.9", "surface[4].index = 0.9", "from 1 to 4.5"),
        bad("index-too-large", "index = 1.6", "index = 16.0", "surface[4].index = 16.0", "from 1 to 4.5"),
        bad("index-nan", "index = 1.6", "index = nan", "surface[4].index = nan", "finite"),
        bad("abbe-out-of-range", "abbe = 40.0", "abbe = 400.0", "surface[4].abbe", "from 10 to 150"),
        bad("radius-infinite", "radius = 40.0", "radius = inf", "surface[1].radius = inf", "finite"),
        bad("radius-text", "radius = 40.0", 'radius = "40"', "surface[1].radius", "a number, without quotes"),
        bad("radius-tiny", "radius = 40.0", "radius = 0.001", "surface[1].radius = 0.001", "0 for a plane", "0.01 mm"),
        bad("semi-over-radius", "semi_diameter = 12.0", "semi_diameter = 41.0", "surface[1]", "ends 40 mm from the axis", "correct"),
        bad("semi-over-ellipse", "conic = -0.5", "conic = 100.0", "surface[2]", "semi_diameter = 11", "wider than the surface"),
        bad("semi-zero", "semi_diameter = 12.0", "semi_diameter = 0.0", "surface[1].semi_diameter", "more than 0"),
        bad("semi-giant", "semi_diameter = 12.0", "semi_diameter = 12000.0", "surface[1].semi_diameter", "1000"),
        bad("asphere-runs-away", "aspheric = [1e-6, -2e-9]", "aspheric = [1.0]", "surface[2]", "aspheric makes", "powers of ten"),
        bad("asphere-too-long", "[1e-6, -2e-9]", "[" + "1e-9, " * 9 + "]", "surface[2].aspheric", "at most 8"),
        bad("asphere-nan", "1e-6", "nan", "surface[2].aspheric", "finite"),
        bad("conic-giant", "conic = -0.5", "conic = 1e9", "surface[2].conic"),
        bad("thickness-missing", "thickness = 6.0\n", "", "surface[2].thickness is missing", "to surface 3"),
        bad("thickness-negative", "thickness = 3.5", "thickness = -3.5", "from surface 1 to surface 2", "-3.5 mm", "mirrors are not traced"),
        bad("thickness-negative-in-all", flat_stop, flat_stop.replace("4.0", "-7.0"), "from surface 2 to surface 4", "mirrors"),
        bad("thickness-to-the-image", "thickness = { 5 = 42.5 }", "thickness = { 5 = -42.5 }", "setting[2]", "to the image", "-42.5"),
        bad("thickness-giant", "thickness = 6.0", "thickness = 6e9", "surface[2].thickness", "3000"),
        bad("too-long", "thickness = 6.0", "thickness = 2999.0", "the lens is", "at most 3000", "check the unit"),
        bad("setting-unknown-surface", "{ 5 = 42.5 }", "{ 6 = 42.5 }", 'setting[2].thickness: "6"', '"1" to "5"'),
        bad("setting-surface-zero", "{ 5 = 42.5 }", "{ 0 = 42.5 }", '"0" is not the number of a surface'),
        bad("setting-surface-word", "{ 5 = 42.5 }", "{ last = 42.5 }", '"last" is not the number of a surface'),
        bad("setting-surface-leading-zero", "{ 5 = 42.5 }", "{ 05 = 42.5 }", '"05" is not the number of a surface'),
        bad("setting-surface-digits", "{ 5 = 42.5 }", "{ " + "9" * 5000 + " = 42.5 }", "is not the number of a surface"),
        bad("setting-other-surfaces", "{ 5 = 42.5 }", "{ 1 = 3.6, 5 = 42.5 }", "setting[2].thickness", "the same surfaces"),
        bad("setting-text", "{ 5 = 42.5 }", '{ 5 = "42.5" }', "setting[2].thickness.5", "without quotes"),
        bad("setting-nan", "{ 5 = 42.5 }", "{ 5 = nan }", "setting[2].thickness.5", "finite"),
        bad("setting-same-name", 'name = "near"', 'name = "far"', 'two are called "far"'),
        bad("setting-both-apertures", "f_number = 5.6", "f_number = 5.6\nstop_semi_diameter = 4.0", "setting[2]", "keep one"),
        bad("setting-focus-text", "focus_distance = 800.0", 'focus_distance = "close"', "setting[2].focus_distance", '"infinity"'),
        bad("setting-focus-inside", "focus_distance = 800.0", "focus_distance = 1.0", "setting[2].focus_distance"),
        _whole("stop-without-size", "lens.toml", PRESCRIPTION.replace("semi_diameter = 5.0\n", "").replace("f_number = 5.6\n", ""),
               "setting[2]", "how wide the stop is", "surface 3"),
        _whole("stop-without-size-or-setting", "lens.toml",
               PRESCRIPTION.replace("semi_diameter = 5.0\n", "").partition("[[setting]]")[0],
               "surface[3]", "how wide the stop is", "f_number"),
        bad("image-in-glass", "radius = 0\n", "radius = 0\nindex = 1.5\n", "surface[5]", "image must lie in air"),
        _whole("no-glass", "lens.toml", PRESCRIPTION.replace('glass = "N-BK7"\n', "").replace("index = 1.6\nabbe = 40.0\n", ""),
               "none has glass behind it"),
        bad("vignetting-share", "share = 0.5", "share = 50.0", "vignetting.share = 50.0", "from 0.02 to 1"),
        bad("vignetting-half", ", image_height = 21.6", "", "vignetting.image_height is missing"),
        bad("wavelength-in-micrometres", "587.56", "0.58756", "wavelengths[1] = 0.58756", "from 300 to 2500"),
        bad("misspelt", "thickness = 3.5", "thicknes = 3.5", "surface[1].thicknes", 'perhaps "thickness"'),
        bad("unknown-field", "conic = -0.5", "tilt = -0.5", "surface[2].tilt is not a field", "allowed here"),
        bad("another-kind", 'document = "prescription"', 'document = "lens"', "is a lens document where a prescription"),
        _whole("too-many-surfaces", "lens.toml", PRESCRIPTION.replace("[[setting]]", rows + "[[setting]]", 1), "surface", "at most 200"),
        _whole("no-surface", "lens.toml", 'document = "prescription"\nversion = 1\nname = "Tern"\n', "surface is missing", "[[surface]]"),
    ]  # fmt: skip


def _tables() -> list[Case]:
    bad = _spoilt("lens.dat")
    return [
        bad("three-values", "22.511  3.84  1.72  21.2", "22.511  3.84  1.72", "line 4", "holds 3 values", "aperture diameter"),
        bad("five-values", "22.511  3.84  1.72  21.2", "22.511 3.84 1.72 21.2 7", "line 4", "holds 5 values"),
        bad("word", "257.96", "flat", "line 5", 'radius = "flat"', "finite number"),
        bad("nan", "257.96", "nan", "line 5", 'radius = "nan"', "finite number"),
        bad("infinite", "5.28", "inf", "line 5", 'thickness = "inf"'),
        bad("underscore", "5.28", "5_28", "line 5", 'thickness = "5_28"'),
        bad("comma", "5.28", "5,28", "line 5", "holds 5 values"),
        bad("index", "1.689", "0.689", "line 6", "index = 0.689", "from 1 to 4.5"),
        bad("no-aperture", "10.8", "0", "line 7", "aperture diameter = 0", "more than 0"),
        bad("negative-aperture", "10.8", "-10.8", "line 7", "aperture diameter = -10.8"),
        bad("no-stop", "0       2.13", "100 2.13", "no row can be the aperture stop", "radius 0"),
        bad("stops-in-air", "0       2.13  0     10.0\n", "0 1 0 10\n0 1 1 10\n", "2 rows can be the aperture stop (lines 8, 9)"),
        bad("aperture-over-radius", "20.223  2.93  1     10.8", "20.223  2.93  1     40.8", "line 7", "wider than the surface"),
        bad("backwards", "257.96  5.28", "257.96  -5.28", "mirrors are not traced"),
        _whole("empty", "lens.dat", b"", "holds no rows", "aperture diameter"),
        _whole("remarks-only", "lens.dat", "# nothing\n", "holds no rows"),
        _whole("too-many", "lens.dat", DAT + "10 1 1 5\n" * 600, "line 504", "more than the 500"),
        _whole("zero-bytes", "lens.dat", b"1 2 3 4\n\x00\x01\x02", "zero byte"),
        _whole("picture", "lens.dat", b"\x89PNG\r\n\x1a\n" + bytes(range(1, 256)), "line 1"),
        _whole("too-large", "lens.dat", b"# \n" * 800_000, "more than the 2,097,152"),
    ]  # fmt: skip


def _zmx() -> list[Case]:
    bad = _spoilt("lens.zmx")
    return [
        bad("not-sequential", "MODE SEQ", "MODE NSC", "line 2", 'MODE "NSC"', "MODE SEQ"),
        bad("unit", "UNIT MM", "UNIT FEET", "line 5", 'UNIT "FEET"', "MM, CM, IN"),
        bad("surface-type", "TYPE EVENASPH", "TYPE TOROIDAL", "line 25", '"TOROIDAL"', "STANDARD and EVENASPH"),
        bad("tilt", "TYPE EVENASPH", "TYPE COORDBRK", "line 25", '"COORDBRK"', "is not read"),
        bad("mirror", "GLAS N-LAK10", "GLAS MIRROR", "line 22", "a mirror is not read"),
        bad("glass", "GLAS N-LAK10", "GLAS X-99", "line 22", 'glass "X-99"', "six-digit number"),
        bad("curvature-word", "CURV 4.44227E-002", "CURV round", "line 20", 'curvature = "round"', "finite number"),
        bad("curvature-missing", "CURV 4.44227E-002 0 0 0 0 \"\"", "CURV", "line 20", "CURV lacks its curvature"),
        bad("thickness-nan", "DISZ 3.84", "DISZ NaN", "line 21", 'thickness = "NaN"'),
        bad("thickness-infinite", "DISZ 5.28", "DISZ INFINITY", "line 24", "not a finite number"),
        bad("square-term", "PARM 1 0", "PARM 1 1E-3", "line 24", "r^2", "fold it into the curvature"),
        bad("high-term", "PARM 3 -2.0E-9", "PARM 10 1E-30", "line 24", "r^20", "r^4 to r^18"),
        bad("parameter", "PARM 3 ", "PARM x ", "line 30", "number of the parameter"),
        bad("out-of-order", "SURF 3", "SURF 5", "line 33", "SURF 5", "surface 3 is expected"),
        bad("surface-number", "SURF 3", "SURF three", "line 33", "number of the surface"),
        bad("no-stop", "  STOP\n", "", "no surface is marked as the aperture stop"),
        bad("two-stops", "SURF 4\n", "SURF 4\n  STOP\n", "2 surfaces are marked as the aperture stop"),
        bad("stop-at-the-image", "SURF 8\n", "SURF 8\n  STOP\n", "cannot be the subject or the image"),
        bad("aperture-over-radius", "DIAM 5.4 1", "DIAM 54 1", "line 39", "surface[4]", "wider than the surface"),
        bad("subject-in-water", "DISZ INFINITY", "DISZ 100\n  GLAS WATER 1 0 1.33 55.8 0", "does not lie in air"),
        bad("settings-of-curvature", "MNUM 1 1", "MNUM 2 1\nCRVT   1   2 0.04 0 0 0 1 1 0 0.0 \"\"", '"CRVT" differs between settings', "only THIC"),
        bad("settings-beyond", "MNUM 1 1", "MNUM 2 1\nTHIC   4   3 2.5 0 0 0 1 1 0 0.0 \"\"", "setting 3 is not among the 2"),
        bad("settings-surface", "MNUM 1 1", "MNUM 2 1\nTHIC   9   2 2.5 0 0 0 1 1 0 0.0 \"\"", "surface 9 has no thickness"),
        bad("settings-value", "MNUM 1 1", "MNUM 2 1\nTHIC   4   2 wide 0 0 0 1 1 0 0.0 \"\"", 'value = "wide"'),
        bad("settings-many", "MNUM 1 1", "MNUM 900 1", "900 settings", "60"),
        bad("pupil-nan", "ENPD 12.5", "ENPD nan", "line 6", "entrance pupil diameter"),
        bad("pupil-absurd", "ENPD 12.5", "ENPD 1E20", "entrance pupil", "semi-diameter"),
        _whole("cut-short", "lens.zmx", ZMX[: ZMX.index("SURF 2")], "no surface between subject and image"),
        _whole("too-many", "lens.zmx", ZMX[: ZMX.index("SURF 1")] + "".join(f"SURF {k}\n  DISZ 1\n" for k in range(1, 700)), "SURF 501", "500"),
        _whole("half-utf-16", "lens.zmx", ZMX.encode("utf-16")[:-1], "UTF-16"),
    ]  # fmt: skip


def _sequences() -> list[Case]:
    bad = _spoilt("lens.seq")
    return [
        bad("unit", "DIM M", "DIM X", "line 4", 'DIM "X"', "M (mm)"),
        bad("mirror", "NLAK10_SCHOTT", "REFL", "line 10", "a mirror is not read"),
        bad("glass", "NLAK10_SCHOTT", "X99_OURS", "line 10", 'glass "X99_OURS"', "six-digit number"),
        bad("radius-word", "S 257.96", "S flat", "line 12", '"flat"', "finite number"),
        bad("thickness-nan", "S 257.96 5.28", "S 257.96 nan", "line 12", 'thickness = "nan"'),
        bad("coefficient", "A 0.1e-5", "A small", "line 14", 'coefficient A = "small"'),
        bad("high-term", "A 0.1e-5", "J 0.1e-30", "line 12", "r^20"),
        bad("tilt", "  CIR 10.6", "  ADE 3.0", "line 11", "ADE tilts"),
        bad("cylinder", "  ASP", "  CYL", "line 13", "CYL is a kind of surface"),
        bad("aperture", "CIR 10.6", "CIR -10.6", "line 11", "CIR = -10.6", "more than 0"),
        bad("no-stop", "  STO\n", "", "no surface is marked"),
        bad("stop-unknown", "  STO\n", "  STO S99\n", "line 19", '"S99"', "not a surface"),
        bad("change-of-a-surface", "  STO\n", "  STO\nS2 20 3\n", "line 20", "S2 changes a surface"),
        bad("no-subject", "SO 0.0 0.1e14", "S 0.0 0.1e14", "line 9", "before SO"),
        bad("two-subjects", "S 22.511", "SO 0 1\nS 22.511", "line 10", "SO stands for a second time"),
        bad("zoom-curvature", "GO", "ZOO 2\nZOO CUY S1 0.1 0.2\nGO", 'ZOO "CUY"', "only THI, EPD and FNO"),
        bad("zoom-values", "GO", "ZOO 2\nZOO THI S2 5 6 7\nGO", "3 values stand where 2"),
        bad("zoom-surface", "GO", "ZOO 2\nZOO THI S20 5 6\nGO", '"S20" is not a surface'),
        bad("zoom-image", "GO", "ZOO 2\nZOO THI SI 5 6\nGO", "the image has no thickness"),
        bad("zoom-many", "GO", "ZOO 999\nGO", "999 zoom positions"),
        bad("wavelength", "WL 656.3", "WL red", "line 5", 'wavelength = "red"'),
        _whole("cut-short", "lens.seq", SEQ[: SEQ.index("S 22")], "no surface between subject and image"),
    ]  # fmt: skip


def _json() -> list[Case]:
    bad = _spoilt("lens.json")
    return [
        bad("cut-short", '"index": 1.68893, "abbe": 31.16}', '"index": ', "line", "is not whole JSON"),
        bad("no-surfaces", '"surface_group"', '"surfaces_of"', "holds no surface_group.surfaces"),
        bad("shape", '"EvenAsphere"', '"ToroidalGeometry"', "surface 2", '"ToroidalGeometry"', "is not read"),
        bad("mirror", '"type": "Material", "name": "N-LAK10"', '"type": "Mirror"', "surface 1", "is a mirror"),
        bad("reflects", '"is_stop": true', '"is_stop": true, "interaction_model": {"is_reflective": true}', "surface 4", "is a mirror"),
        bad("glass", "N-LAK10", "X-99", "surface 1", '"X-99"', "index and Abbe number"),
        bad("material", '{"type": "Material", "name": "N-LAK10"}', '{"type": "Gradient"}', "surface 1", '"Gradient" is not read'),
        bad("tilt", '"cs": {"z": 9.12}', '"cs": {"z": 9.12, "rx": 0.1}', "surface 3", "tilted (rx)"),
        bad("shift", '"cs": {"z": 9.12}', '"cs": {"z": 9.12, "y": 2}', "surface 3", "(y)"),
        bad("relative", '"cs": {"z": 9.12}', '"cs": {"z": 9.12, "reference_cs": {}}', "surface 3", "relative to another"),
        bad("no-place", '"cs": {"z": 9.12}', '"cs": null', "surface 3", "geometry.cs"),
        bad("place-infinite", '"cs": {"z": 9.12}', '"cs": {"z": Infinity}', "surface 3", "geometry.cs.z", "finite"),
        bad("place-text", '"cs": {"z": 9.12}', '"cs": {"z": "9.12"}', "surface 3", 'geometry.cs.z = "9.12"'),
        bad("radius-nan", '"radius": 20.223', '"radius": NaN', "surface 4", "radius = nan"),
        bad("radius-giant", '"radius": 20.223', '"radius": 1' + "0" * 400, "surface 4", "radius"),
        bad("square-term", "[0, 1e-6]", "[0.1, 1e-6]", "surface 2", "r^2"),
        bad("coefficients", "[0, 1e-6]", '"none"', "surface 2", "coefficients"),
        bad("no-stop", '"is_stop": true', '"is_stop": 1', "no surface is marked"),
        bad("aperture", '"r_max": 10.6', '"r_max": "wide"', "surface 1", 'aperture.r_max = "wide"'),
        bad("aperture-over-radius", '"r_max": 10.6', '"r_max": 23.0', "surface[1]", "wider than the surface"),
        bad("backwards", '{"z": 9.12}', '{"z": 3.0}', "mirrors are not traced"),
        bad("surface-text", '{"type": "ObjectSurface"', '7, {"type": "ObjectSurface"', "surface 0", "not a table"),
        _whole("nested", "lens.json", '{"surface_group": ' + "[" * 100_000, "is not whole JSON"),
        _whole("list", "lens.json", '[{"surface_group": 1}]', "holds no surface_group"),
        _whole("two-surfaces", "lens.json", '{"surface_group": {"surfaces": [{}, {}]}}', "holds 2 surfaces", "from 3"),
        _whole("many", "lens.json", '{"surface_group": {"surfaces": [' + "{}," * 900 + "{}]}}", "901 surfaces"),
    ]  # fmt: skip


def _others() -> list[Case]:
    return [
        _whole("unknown-kind", "lens.txt", "a lens of three elements\n", "none of the lens descriptions", ".toml", ".dat"),
        _whole("no-text", "lens.bin", b"\x00\x01\x02\x03" * 100, "lens.bin"),
    ]


CASES = tuple(
    case for group in (_documents, _tables, _zmx, _sequences, _json, _others) for case in group()
)
