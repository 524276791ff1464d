"""The application: the page, and the API beside it. It holds no numbers of its own: the working processes have them."""

from __future__ import annotations

import mimetypes
import shutil
import tempfile
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass
from importlib import resources
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from fastapi import FastAPI, Request
from fastapi.responses import FileResponse, Response
from starlette.exceptions import HTTPException
from starlette.staticfiles import StaticFiles

from shadewright import __version__
from shadewright.errors import BenchError, FileError, ShadewrightError
from shadewright.model.formats import FORMATS
from shadewright.web import describe
from shadewright.web.answer import DONE, Answer, compact, refusal
from shadewright.web.guard import Guard, Rules
from shadewright.web.hands import BUSY, Hands
from shadewright.web.jobs import Jobs
from shadewright.web.measuring import add_measuring
from shadewright.web.measuring import schemas as measuring_schemas
from shadewright.web.measuring_frames import hold
from shadewright.web.meshes import is_held
from shadewright.web.wire import NewJob, read_request

NOT_THERE = 404
TYPES = {
    ".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml", ".stl": "model/stl", ".3mf": "model/3mf",
    ".dxf": "image/vnd.dxf", ".toml": "application/toml", ".step": "model/step", ".pdf": "application/pdf", ".png": "image/png", ".json": "application/json",
}  # fmt: skip
"""Content types, whatever the system says of these endings."""


@dataclass(frozen=True)
class Size:
    """How many processes: for live looks, for fits and checks, and for jobs."""

    looking: int = 2
    thinking: int = 1
    jobs: int = 2


class Bench:
    """What the application holds while it runs: its processes, its jobs and a folder of its own."""

    def __init__(self, size: Size) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="shadewright-bench-"))
        self.held = hold(self.folder)
        self.meshes = meshes = self.folder / "meshes"
        meshes.mkdir()
        self.hands = Hands(meshes=meshes, looking=size.looking, thinking=size.thinking)
        self.jobs = Jobs(folder=self.folder / "jobs", meshes=meshes, running=size.jobs)
        self.kept: dict[str, Answer] = {}

    async def once(self, name: str) -> Answer:
        """The answer to a question that is always the same, worked out once."""
        if name not in self.kept:
            found = await self.hands.quick(name, b"")
            if found.status != DONE:
                return found
            self.kept[name] = found
        return self.kept[name]

    def close(self) -> None:
        """End all processes and drop the folder."""
        self.jobs.close()
        self.hands.close()
        shutil.rmtree(self.folder, ignore_errors=True)
        if self.held is not None:
            self.held.close()


def create_app(*, rules: Rules | None = None, size: Size | None = None) -> Guard:
    """The application, guarded. Its processes begin with it and end with it."""
    bench_size = size or Size()

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        import asyncio

        bench = Bench(bench_size)
        app.state.bench = bench
        warming = asyncio.create_task(bench.hands.warm())
        try:
            yield
        finally:
            warming.cancel()
            bench.close()

    for ending, kind in TYPES.items():
        mimetypes.add_type(kind, ending)
    app = FastAPI(
        title="shadewright bench", version=__version__, docs_url=None, redoc_url=None, openapi_url=None, lifespan=lifespan,
        description="Lens hoods that cannot show in the frame: looked at, fitted, checked, weighed and made.",
    )  # fmt: skip
    _add_questions(app)
    _add_jobs(app)
    add_measuring(app)
    _add_page(app)
    app.add_exception_handler(HTTPException, _plainly)
    return Guard(app, rules or Rules())


def _sent(answer: Answer) -> Response:
    return Response(answer.body, status_code=answer.status, media_type="application/json")


def _bench(request: Request) -> Bench:
    found: Bench = request.app.state.bench
    return found


async def _plainly(_request: Request, error: Exception) -> Response:
    """What the framework refuses, as one sentence."""
    status = error.status_code if isinstance(error, HTTPException) else NOT_THERE
    words = {404: "there is nothing at this address; see /openapi.json.", 405: "this address is not asked in this way; see /openapi.json."}
    allowed = {"allow": error.headers["allow"]} if isinstance(error, HTTPException) and error.headers and "allow" in error.headers else None
    body = compact({"sentence": words.get(status, "the request cannot be answered.")})
    return Response(body, status_code=status, media_type="application/json", headers=allowed)


def _add_questions(app: FastAPI) -> None:
    """The stateless questions: the same answers as the command line's, and live looks."""

    @app.post("/api/look", **_told("Look", "Look at a design at one setting: the live views.", describe.POSTED))
    async def look(request: Request) -> Response:
        return _sent(await _bench(request).hands.look(await request.body()))

    @app.post("/api/fit", **_told("OfDesign", "Work out the hood that the wishes ask for.", describe.POSTED))
    async def fit(request: Request) -> Response:
        return _sent(await _bench(request).hands.think("fit", await request.body()))

    @app.post("/api/check", **_told("OfDesign", "Say whether a hood shows: where, when and by how much.", describe.POSTED))
    async def check(request: Request) -> Response:
        return _sent(await _bench(request).hands.think("check", await request.body()))

    @app.post("/api/validate", **_told("OfDesign", "Everything wrong with a design, and what is estimated in it.", describe.POSTED))
    async def validate(request: Request) -> Response:
        return _sent(await _bench(request).hands.quick("validate", await request.body()))

    @app.post("/api/read", **_told("Text", "A document from its TOML text.", describe.POSTED))
    async def read(request: Request) -> Response:
        return _sent(await _bench(request).hands.quick("read", await request.body()))

    @app.post("/api/write", **_told("OneDocument", "A document as TOML text.", describe.POSTED))
    async def write(request: Request) -> Response:
        return _sent(await _bench(request).hands.quick("write", await request.body()))

    @app.post("/api/prescriptions", **_told("LensFile", "The prescription in a file, and the lens that it makes.", describe.POSTED))
    async def prescriptions(request: Request) -> Response:
        return _sent(await _bench(request).hands.quick("prescription", await request.body()))

    @app.post("/api/surfaces", **_told("OfDesign", "What a lens known by its surfaces is, setting by setting.", describe.POSTED))
    async def surfaces(request: Request) -> Response:
        return _sent(await _bench(request).hands.quick("surfaces", await request.body()))

    binary = {"requestBody": {"required": True, "content": {"application/octet-stream": {"schema": {"type": "string", "format": "binary"}}}}}

    @app.post("/api/meshes", summary="Keep an STL for a while, to be named in a design.", response_class=Response,
              openapi_extra={**binary, **describe.gives(also=describe.POSTED)})  # fmt: skip
    async def meshes(request: Request) -> Response:
        return _sent(await _bench(request).hands.quick("mesh", await request.body()))

    @app.get("/api/meshes/{name}", **_told(None, "Whether the bench still holds a mesh."))
    async def held(request: Request, name: str) -> Response:
        return _sent(Answer(DONE, compact({"mesh": name, "held": is_held(_bench(request).meshes, name)})))

    @app.get("/api/formats", **_told(None, "The named frame formats."))
    async def formats() -> Response:
        named = [{"name": f.name, "width": f.width, "height": f.height, "source": f.source} for f in FORMATS.values()]
        return _sent(Answer(DONE, compact({"formats": named})))

    @app.get("/api/starters", **_told(None, "Designs of an invented kit to begin from, and commented documents."))
    async def starters(request: Request) -> Response:
        return _sent(await _bench(request).once("starters"))

    @app.get("/api/finishes", **_told(None, "The named finishes of a wall: how much they reflect, and who says so."))
    async def finishes(request: Request) -> Response:
        return _sent(await _bench(request).once("finishes"))

    @app.get("/api/schema/{kind}", **_told(None, "The JSON schema of a kind of document.", ("404",)))
    async def schema(kind: str) -> Response:
        from shadewright.model.documents import schema as text

        try:
            return Response(text(kind), media_type="application/json")
        except ShadewrightError as error:
            return _sent(refusal(error, NOT_THERE))

    @app.get("/api/about", **_told(None, "The version of the program, and whether it can write STEP."))
    async def about() -> Response:
        return _sent(Answer(DONE, compact({"program": "shadewright", "version": __version__, "step": find_spec("OCP") is not None})))


def _told(model: str | None, summary: str, also: tuple[str, ...] = ()) -> dict[str, Any]:
    """What a route says of itself."""
    extra = {**(describe.takes(model) if model else {}), **describe.gives(also=also)}
    return {"summary": summary, "response_class": Response, "openapi_extra": extra}


def _add_jobs(app: FastAPI) -> None:
    """Slow work, with progress and cancelling."""

    extra = {**describe.takes("NewJob"), **describe.gives(model="Begun", status="202", also=describe.POSTED)}

    @app.post("/api/jobs", summary="Begin a job: fit, check, weigh, make, show or report.", status_code=202,
              response_class=Response, openapi_extra=extra)  # fmt: skip
    async def begin(request: Request) -> Response:
        try:
            asked = read_request(await request.body(), NewJob)
            return _sent(Answer(202, compact({"id": _bench(request).jobs.begin(asked)})))
        except BenchError as error:
            return _sent(refusal(error, BUSY))
        except ShadewrightError as error:
            return _sent(refusal(error))

    @app.get("/api/jobs/{name}", summary="How far a job has come, and its result.", response_class=Response,
             openapi_extra=describe.gives(model="Job", also=("404",)))  # fmt: skip
    async def follow(request: Request, name: str) -> Response:
        try:
            return _sent(Answer(DONE, compact(_bench(request).jobs.record(name).as_json())))
        except FileError as error:
            return _sent(refusal(error, NOT_THERE))

    @app.delete("/api/jobs/{name}", summary="Cancel a job, or drop one that has ended.", status_code=204, response_class=Response,
                openapi_extra=describe.gives(status="204", also=("404", "408", "413")))  # fmt: skip
    async def cancel(request: Request, name: str) -> Response:
        try:
            _bench(request).jobs.cancel(name)
        except FileError as error:
            return _sent(refusal(error, NOT_THERE))
        return Response(status_code=204)

    @app.get("/api/jobs/{name}/files/{file}", summary="A file that a job has made.", response_class=Response,
             openapi_extra=describe.gives(kind="application/octet-stream", also=("404",)))  # fmt: skip
    async def file(request: Request, name: str, file: str) -> Response:
        try:
            path = _bench(request).jobs.file(name, file)
        except FileError as error:
            return _sent(refusal(error, NOT_THERE))
        return FileResponse(path, media_type=TYPES.get(path.suffix, "application/octet-stream"), filename=path.name)


def _add_page(app: FastAPI) -> None:
    """The page and its parts, and the description of the API."""
    page = Path(str(resources.files("shadewright").joinpath("web/page")))
    described: dict[str, Any] = {}

    @app.get("/openapi.json", include_in_schema=False)
    async def openapi() -> Response:
        if not described:
            described.update(description(app))
        return _sent(Answer(DONE, compact(described)))

    @app.api_route("/", methods=["GET", "HEAD"], include_in_schema=False)
    async def index() -> Response:
        if not (page / "index.html").is_file():
            return _sent(Answer(NOT_THERE, compact({"sentence": "this installation holds no page; install the program again."})))
        return FileResponse(page / "index.html", media_type="text/html")

    app.mount("/page", StaticFiles(directory=page, check_dir=False), name="page")


def description(app: FastAPI) -> dict[str, Any]:
    """The description of the API as OpenAPI has it."""
    from fastapi.openapi.utils import get_openapi

    tree = get_openapi(title=app.title, version=app.version, description=app.description, routes=app.routes)
    for path in tree["paths"].values():
        for method in path.values():
            # Names in the path are plain text, so that the framework itself refuses nothing.
            method["responses"] = {code: told for code, told in method["responses"].items() if told.get("description") != "Validation Error"}
    tree.setdefault("components", {})["schemas"] = {**measuring_schemas(), **describe.schemas()}
    return tree
