"""The measuring routes of the API: photographs sent, readings averaged, and measuring as jobs."""

from __future__ import annotations

import asyncio
import contextlib
import json
from typing import Any

from fastapi import FastAPI, Request
from fastapi.responses import Response
from pydantic import BaseModel
from pydantic.json_schema import models_json_schema
from starlette.requests import ClientDisconnect

from shadewright.errors import BenchError, FileError, ShadewrightError
from shadewright.model.base import shown
from shadewright.web import describe
from shadewright.web.answer import Answer, compact, refusal
from shadewright.web.guard import FRAMES
from shadewright.web.hands import BUSY
from shadewright.web.measuring_frames import LONGEST, drop_frame, frames_beside, receive_frame
from shadewright.web.measuring_wire import OfProof, OfPupil, OfReadings, OfSheet, OfStrip, OfTubes
from shadewright.web.wire import read_request

LONGEST_NAME = 200
JOBS = (
    (OfPupil, "Find a lens's pupil from the shadows of tubes."),
    (OfProof, "Prove a finished hood from pairs of photographs."),
    (OfStrip, "Read the rim of a hood from a paper strip."),
    (OfTubes, "Propose the tubes to cut, with their templates."),
    (OfSheet, "Write the sheet that a paper strip is laid on."),
)  # fmt: skip
"""What is measured as a job, and what it says of itself."""


def schemas() -> dict[str, Any]:
    """The schemas of the measuring questions and of a photograph, to be added to those of the API."""
    # The document loads only for who asks for the description.
    from shadewright.model.shots import Shots

    models: list[type[BaseModel]] = [OfPupil, OfProof, OfStrip, OfTubes, OfSheet, OfReadings, Shots]
    found: dict[str, Any] = models_json_schema([(model, "validation") for model in models], ref_template=describe.REF)[1]["$defs"]
    for question in (OfPupil, OfProof, OfTubes, OfReadings):
        fields = found[question.__name__]["properties"]
        for name, model in (("lens", "Lens"), ("camera", "Camera"), ("shots", "Shots")):
            if name not in fields:
                continue
            reference = {"$ref": describe.REF.format(model=model)}
            fields[name] = {"anyOf": [reference, {"type": "null"}]} if "default" in fields[name] else reference
    found["Photograph"] = {
        "type": "object", "required": ["frame", "name", "kind", "width", "height", "bytes"],
        "properties": {
            "frame": {"type": "string", "description": "The name that the bench gave it."}, "name": {"type": "string"},
            "kind": {"enum": ["raw", "TIFF", "PNG", "JPEG"]}, "width": {"type": "integer"}, "height": {"type": "integer"},
            "bytes": {"type": "integer"}, "focal_length": {"type": "number"}, "f_number": {"type": "number"},
        },
    }  # fmt: skip
    # A design is described by the API itself.
    return {name: tree for name, tree in found.items() if name != "Design"}


def _sent(answer: Answer) -> Response:
    return Response(answer.body, status_code=answer.status, media_type="application/json")


def add_measuring(app: FastAPI) -> None:
    """Add the measuring routes to the application."""
    _add_frames(app)
    for model, summary in JOBS:
        _add_job(app, model, summary)

    @app.post("/api/measure/readings", summary="Average readings by a pin, a rail or a ruler.", response_class=Response,
              openapi_extra={**describe.takes("OfReadings"), **describe.gives(also=describe.POSTED)})  # fmt: skip
    async def readings(request: Request) -> Response:
        return _sent(await request.app.state.bench.hands.quick("readings", await request.body()))


def _add_job(app: FastAPI, model: Any, summary: str) -> None:
    extra = {**describe.takes(model.__name__), **describe.gives(model="Begun", status="202", also=describe.POSTED)}

    async def begin(request: Request) -> Response:
        try:
            return _sent(Answer(202, compact({"id": request.app.state.bench.jobs.begin(read_request(await request.body(), model))})))
        except BenchError as error:
            return _sent(refusal(error, BUSY))
        except ShadewrightError as error:
            return _sent(refusal(error))

    app.add_api_route(
        f"/api/measure/{model.kind}", begin, methods=["POST"], name=f"measure {model.kind}", summary=summary, status_code=202,
        response_class=Response, openapi_extra=extra,
    )  # fmt: skip


def _add_frames(app: FastAPI) -> None:
    name = {"name": "name", "in": "query", "required": True, "description": "The file's own name, whose ending tells raw files from TIFF.",
            "schema": {"type": "string", "minLength": 1, "maxLength": LONGEST_NAME}}  # fmt: skip
    binary = {"required": True, "content": {"application/octet-stream": {"schema": {"type": "string", "format": "binary"}}}}

    @app.post(FRAMES, summary="Send a photograph, to be named in a measuring question.", response_class=Response,
              openapi_extra={"parameters": [name], "requestBody": binary, **describe.gives(model="Photograph", also=describe.POSTED)})  # fmt: skip
    async def send(request: Request) -> Response:
        file = request.query_params.get("name", "")
        if not 0 < len(file) <= LONGEST_NAME:
            return _sent(Answer(422, compact({"sentence": f"name = {shown(file)}: add the file's name to the address, up to {LONGEST_NAME} letters."})))
        bench = request.app.state.bench
        folder = frames_beside(bench.hands.looking[0].meshes)
        try:
            async with asyncio.timeout(LONGEST):
                kept = await receive_frame(folder, file, request.stream())
        except (TimeoutError, ClientDisconnect):
            return _sent(Answer(408, compact({"sentence": f"the photograph did not come within {LONGEST:g} s; send it again."})))
        except FileError as error:
            return _sent(refusal(error, 413 if "larger" in str(error) else 422))
        except BenchError as error:
            return _sent(refusal(error, BUSY))
        answer: Answer = await bench.hands.quick("frame", json.dumps({"frame": kept, "name": _plain(file)}).encode())
        if answer.status >= 500:
            # A file that brings a reader down is no photograph.
            with contextlib.suppress(FileError):
                drop_frame(folder, kept)
            answer = Answer(422, compact({"sentence": f"{_plain(file)}: cannot be read as a photograph; use the file as the camera wrote it."}))
        return _sent(answer)

    @app.delete(FRAMES + "/{frame}", summary="Drop a photograph.", status_code=204, response_class=Response,
                openapi_extra=describe.gives(status="204", also=("404", "408", "413")))  # fmt: skip
    async def drop(request: Request, frame: str) -> Response:
        try:
            drop_frame(frames_beside(request.app.state.bench.hands.looking[0].meshes), frame)
        except FileError as error:
            return _sent(refusal(error, 404))
        return Response(status_code=204)


def _plain(file: str) -> str:
    """The last part of a file's name, without what cannot be printed."""
    last = file.replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(c if c.isprintable() else " " for c in last)[:120] or "the photograph"
