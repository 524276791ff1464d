"""Writes docs/documents.md and docs/schema from the document models, so that they cannot fall behind.

Run: python docs/build_reference.py
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from shadewright.model.documents import schema
from shadewright.model.formats import FORMATS
from shadewright.model.glass import D_LINE, glass_table

HERE = Path(__file__).parent
KINDS = ("lens", "camera", "hood", "prescription", "surroundings", "shots")
INTRODUCTION = """# Documents: every field

Documents are TOML files, written by hand and checked strictly: an unknown field, a wrong type or an impossible value is
one sentence saying where and what to do. Lengths in mm, angles in degrees. `shadewright new lens|camera|hood|prescription|surroundings|shots`
writes a commented one to begin with; JSON schemas for editors are in [schema](schema). This page is written by
`docs/build_reference.py`.

`based_on = "other.toml"` at the top of any document starts from another of the same kind in the same folder: tables are
merged field by field, lists are replaced.

A **hood** document holds wishes; `fit` completes it with the wall and the rim. A rim given by `points`, `depth`, `lips`,
`petals` or `stl` is taken as it is.

A **prescription** document holds a lens as its table of surfaces, in order from the subject. Distances are counted along
the axis from the first surface; `thickness` of a `setting` names a spacing by the number of its surface, as text in TOML:
`thickness = { 6 = 12.5, 21 = 40.0 }`.

A **surroundings** document holds what shines on the front glass from outside the frame; brightness is relative.
"""


def type_words(entry: dict[str, Any], definitions: dict[str, Any]) -> str:
    """What a field may hold, in words."""
    if "$ref" in entry:
        name = entry["$ref"].split("/")[-1]
        target = definitions[name]
        return " or ".join(f'"{v}"' for v in target["enum"]) if "enum" in target else f"table, see {name}"
    if "anyOf" in entry:
        return " or ".join(type_words(e, definitions) for e in entry["anyOf"] if e.get("type") != "null")
    if "allOf" in entry:
        return type_words(entry["allOf"][0], definitions)
    if "const" in entry:
        return json.dumps(entry["const"])
    kind = entry.get("type", "value")
    if kind == "array":
        inner = entry.get("items") or (entry.get("prefixItems") or [{}])[0]
        return f"list of {type_words(inner, definitions)}" if isinstance(inner, dict) else "list"
    if kind == "object" and isinstance(inner := entry.get("additionalProperties"), dict):
        return f"table of {type_words(inner, definitions)}"
    words = {"number": "number", "string": "text", "boolean": "true or false", "integer": "whole number"}.get(kind, kind)
    limits = [
        f"{sign} {entry[key]:g}"
        for key, sign in (("exclusiveMinimum", "over"), ("minimum", "from"), ("maximum", "to"))
        if key in entry
    ]
    return " ".join([words, *limits])


def table(name: str, tree: dict[str, Any], definitions: dict[str, Any]) -> str:
    """One table of fields."""
    lines = [f"### {name}", "", tree.get("description", "").split("\n")[0], "", "| field | holds | default | meaning |", "|---|---|---|---|"]
    required = set(tree.get("required", []))
    for field, entry in tree.get("properties", {}).items():
        default = "required" if field in required else json.dumps(entry.get("default"), ensure_ascii=False)
        default = "" if default in ("null", "[]") or default.startswith("{") else default
        meaning = " ".join(entry.get("description", "").split()).replace("|", "\\|")
        lines.append(f"| `{field}` | {type_words(entry, definitions)} | {default} | {meaning} |")
    return "\n".join([*lines, ""])


def reference() -> str:
    """The whole page."""
    parts = [INTRODUCTION]
    for kind in KINDS:
        tree = json.loads(schema(kind))
        definitions = tree.get("$defs", {})
        parts.append(f"## {kind}\n")
        parts.append(table(kind, tree, definitions))
        parts += [table(name, entry, definitions) for name, entry in definitions.items() if "properties" in entry]
    parts.append("## Named formats\n\n| name | width x height, mm | source |\n|---|---|---|")
    parts += [f"| {f.name} | {f.width:g} x {f.height:g} | {f.source} |" for f in FORMATS.values()]
    parts.append(
        "\n## Named glasses\n\nName, index at 587.56 nm and Abbe number. Data: the refractiveindex.info database (CC0 1.0). "
        "Names are known without hyphens and in any case.\n"
    )
    glasses = sorted(glass_table().values(), key=lambda glass: glass.name)
    parts.append("; ".join(f"{glass.name} {glass.index(D_LINE):.4f}/{glass.abbe:.1f}" for glass in glasses) + ".")
    return "\n".join(parts) + "\n"


def main() -> None:
    """Write the page and the schemas."""
    (HERE / "documents.md").write_text(reference(), "utf-8")
    for kind in KINDS:
        (HERE / "schema" / f"{kind}.schema.json").write_text(schema(kind), "utf-8")


if __name__ == "__main__":
    main()
