"""The description of the API in the words of OpenAPI, from the models that read the requests."""

from __future__ import annotations

from typing import Any

from pydantic.json_schema import models_json_schema

from shadewright.web.wire import LensFile, Look, NewJob, OfDesign, OneDocument, Text

REF = "#/components/schemas/{model}"
REFUSALS = {
    "401": "The token is missing.", "403": "Asked from another site.", "404": "There is no such thing.",
    "405": "Not asked in this way.", "408": "The body did not come in time.", "413": "Too large.",
    "415": "Not the content type that is needed.", "422": "Something in the request cannot be; the sentence says what.",
    "429": "Too much at once; ask again in a moment.",
}  # fmt: skip


def schemas() -> dict[str, Any]:
    """The schemas of all requests and documents, and of a refusal."""
    # The documents load only for who asks for the description.
    from shadewright.model.camera import Camera
    from shadewright.model.hood import Hood
    from shadewright.model.lens import Lens

    _keys, tree = models_json_schema(
        [(model, "validation") for model in (Look, OfDesign, NewJob, Text, OneDocument, LensFile, Lens, Camera, Hood)],
        ref_template=REF,
    )
    found: dict[str, Any] = tree["$defs"]
    fields = found["Design"]["properties"]
    for name, model in (("lens", "Lens"), ("camera", "Camera")):
        fields[name] = {"$ref": REF.format(model=model)}
    fields["hood"] = {"anyOf": [{"$ref": REF.format(model="Hood")}, {"type": "null"}]}
    found["OneDocument"]["properties"]["document"] = {
        "anyOf": [{"$ref": REF.format(model=model)} for model in ("Lens", "Camera", "Hood")]
    }
    found["Refusal"] = {
        "type": "object", "required": ["sentence"], "properties": {"sentence": {"type": "string"}},
        "description": "One sentence: which field, which value, what is allowed and what to do.",
    }  # fmt: skip
    found["Begun"] = {"type": "object", "required": ["id"], "properties": {"id": {"type": "string"}}}
    found["Job"] = _job()
    return found


def _job() -> dict[str, Any]:
    return {
        "type": "object", "required": ["id", "kind", "state", "share", "sentence", "result", "files"],
        "properties": {
            "id": {"type": "string"}, "kind": {"type": "string"},
            "state": {"enum": ["waiting", "running", "done", "failed", "cancelled"]},
            "share": {"type": "number", "minimum": 0, "maximum": 1}, "sentence": {"type": "string"},
            "result": {"anyOf": [{"type": "object"}, {"type": "null"}]},
            "files": {"type": "array", "items": {"type": "object", "required": ["name", "bytes", "what"]}},
        },
    }  # fmt: skip


def takes(model: str) -> dict[str, Any]:
    """The description of a JSON body."""
    return {"requestBody": {"required": True, "content": {"application/json": {"schema": {"$ref": REF.format(model=model)}}}}}


def gives(*, model: str | None = None, kind: str = "application/json", status: str = "200", also: tuple[str, ...] = ()) -> dict[str, Any]:
    """The description of the answers: the good one, and refusals with their sentence."""
    content = {"schema": {"$ref": REF.format(model=model)} if model else {"type": "object"}}
    if kind != "application/json":
        content = {"schema": {"type": "string", "format": "binary"}}
    sentence = {"application/json": {"schema": {"$ref": REF.format(model="Refusal")}}}
    refused = dict.fromkeys(("401", "403", "405", *also))
    good: dict[str, Any] = {"description": "Done."} if status == "204" else {"description": "Done.", "content": {kind: content}}
    return {"responses": {status: good, **{code: {"description": REFUSALS[code], "content": sentence} for code in refused}}}


POSTED = ("408", "413", "415", "422", "429")
"""Refusals that a question with a body may meet."""
