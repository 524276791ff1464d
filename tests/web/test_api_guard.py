"""What stands before the bench: hosts, other sites, tokens, sizes, kinds of body, hostile JSON; no answer tells a trace."""

from __future__ import annotations

import json
import struct
from collections.abc import Iterator
from typing import Any

import httpx
import pytest

from api import design, opened
from shadewright.web.wire import MOST_BYTES

TOKEN = "a token that only its owner knows"


@pytest.fixture(scope="module")
def bench() -> Iterator[httpx.Client]:
    with opened() as found:
        yield found


@pytest.fixture(scope="module")
def locked() -> Iterator[httpx.Client]:
    with opened(token=TOKEN) as found:
        yield found


def sentence(answer: httpx.Response, status: int) -> str:
    """The one sentence of a refusal."""
    assert answer.status_code == status, answer.text
    said: str = answer.json()["sentence"]
    assert said.endswith((".", ";"))
    assert "Traceback" not in said
    return said


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1.evil.example:8713", "localhost.evil.example", "192.168.0.7:8713"])
def test_another_name_for_this_machine_is_refused(bench: httpx.Client, host: str) -> None:
    sentence(bench.get("/api/about", headers={"host": host}), 403)
    sentence(bench.get("/", headers={"host": host}), 403)


@pytest.mark.parametrize("host", ["127.0.0.1:9", "localhost", "LOCALHOST:80", "[::1]:8713"])
def test_this_machines_own_names_are_answered(bench: httpx.Client, host: str) -> None:
    assert bench.get("/api/about", headers={"host": host}).status_code == 200


def test_another_sites_page_may_not_ask(bench: httpx.Client) -> None:
    body = {"design": design()}
    for origin in ("http://evil.example", "null", "http://127.0.0.1:1", "https://127.0.0.1.evil.example"):
        sentence(bench.post("/api/validate", json=body, headers={"origin": origin}), 403)
    sentence(bench.get("/api/starters", headers={"sec-fetch-site": "cross-site", "sec-fetch-mode": "no-cors"}), 403)
    sentence(bench.get("/page/main.js", headers={"sec-fetch-site": "cross-site", "sec-fetch-mode": "no-cors"}), 403)
    own = f"http://{bench.base_url.netloc.decode()}"
    assert bench.post("/api/validate", json=body, headers={"origin": own, "sec-fetch-site": "same-origin"}).status_code == 200
    # To follow a link to the page is what a browser calls navigating.
    assert bench.get("/", headers={"sec-fetch-site": "cross-site", "sec-fetch-mode": "navigate"}).status_code != 403


def test_a_form_of_another_site_cannot_pass_for_json(bench: httpx.Client) -> None:
    body = json.dumps({"design": design()})
    for kind in ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data", ""):
        sentence(bench.post("/api/validate", content=body, headers={"content-type": kind}), 415)
    sentence(bench.post("/api/validate", content=body, headers={"content-type": "application/json", "content-encoding": "gzip"}), 415)
    sentence(bench.post("/api/meshes", content=b"x", headers={"content-type": "application/json"}), 415)


def test_headers_keep_the_page_to_itself(bench: httpx.Client) -> None:
    for address in ("/", "/api/about", "/nothing", "/openapi.json"):
        headers = bench.get(address).headers
        assert "default-src 'self'" in headers["content-security-policy"]
        assert "unsafe" not in headers["content-security-policy"]
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "no-referrer"
        assert headers["x-frame-options"] == "DENY"
        assert "access-control-allow-origin" not in headers
        assert "server" not in headers or "uvicorn" not in headers["server"]
    assert bench.get("/api/about").headers["cache-control"] == "no-store"


def test_no_page_that_loads_from_elsewhere_is_served(bench: httpx.Client) -> None:
    for address in ("/docs", "/redoc", "/docs/oauth2-redirect"):
        sentence(bench.get(address), 404)


def test_bodies_are_limited(bench: httpx.Client) -> None:
    large = b'{"text": "' + b"x" * MOST_BYTES + b'"}'
    sentence(bench.post("/api/read", content=large, headers={"content-type": "application/json"}), 413)

    def slices() -> Iterator[bytes]:
        for start in range(0, len(large), 100_000):
            yield large[start : start + 100_000]

    # Without a length announced as well.
    sentence(bench.post("/api/read", content=slices(), headers={"content-type": "application/json"}), 413)


BOMBS = {
    "nested lists": b"[" * 100_000,
    "nested tables": b'{"design":' * 50_000,
    "hidden nesting": b'{"a":"]]]]]]]]]]]]]]]]]]]]","b":' + b"[" * 40 + b"]" * 40 + b"}",
    "no number": b'{"design": NaN}',
    "infinity": b'{"design": Infinity}',
    "many digits": b'{"design": ' + b"9" * 10_000 + b"}",
    "many values": b"[" + b"1," * 400_000 + b"1]",
    "not text": b"\xff\xfe{}",
    "half a pair": b'{"text": "\\ud800"}',
    "empty": b"",
    "a list": b"[]",
    "a text": b'"look"',
    "nothing": b"null",
    "unclosed": b'{"design": "',
}


@pytest.mark.parametrize("name", list(BOMBS))
@pytest.mark.parametrize("where", ["look", "fit", "validate", "read", "write", "jobs"])
def test_hostile_json_is_refused_in_one_sentence(bench: httpx.Client, where: str, name: str) -> None:
    sentence(bench.post(f"/api/{where}", content=BOMBS[name], headers={"content-type": "application/json"}), 422)


@pytest.mark.parametrize(
    "value", [1e400, -1, 0, "wide", None, True, [], {}, 1e30, 10**40, "\ud800", ["x"] * 300], ids=lambda value: str(value)[:12]
)
@pytest.mark.parametrize("field", ["focal_length", "f_number", "reach", "pupil_depth", "rear_window"])
def test_hostile_values_never_break_a_look(bench: httpx.Client, field: str, value: Any) -> None:
    wanted = design()
    wanted["lens"]["state"][0][field] = value
    body = json.dumps({"design": wanted}).replace("Infinity", "1e999")
    answer = bench.post("/api/look", content=body, headers={"content-type": "application/json"})
    if answer.status_code != 200:
        sentence(answer, 422)


def test_a_document_may_not_reach_for_files(bench: httpx.Client) -> None:
    text = 'document = "lens"\nversion = 1\nname = "x"\nbased_on = "../../etc/passwd"\n'
    assert "based_on" in sentence(bench.post("/api/read", json={"text": text}), 422)
    wanted = design()
    wanted["hood"]["rim"] = {"stl": "../../../etc/passwd"}
    sentence(bench.post("/api/look", json={"design": wanted}), 422)
    for path in ("/page/../wire.py", "/page/..%2fwire.py", "/page/%2e%2e/wire.py", "/page//etc/passwd", "/page/..%5cwire.py"):
        answer = bench.send(bench.build_request("GET", httpx.URL(str(bench.base_url)).copy_with(raw_path=path.encode())))
        assert answer.status_code == 404, path
        assert "import" not in answer.text


def test_a_mesh_that_claims_more_than_it_holds_is_refused(bench: httpx.Client) -> None:
    kind = {"content-type": "application/octet-stream"}
    sentence(bench.post("/api/meshes", content=b" " * 80 + struct.pack("<I", 2**32 - 1) + b"x" * 50, headers=kind), 422)
    sentence(bench.post("/api/meshes", content=b"", headers=kind), 422)
    not_finite = struct.pack("<12fH", *([float("nan")] * 12), 0)
    sentence(bench.post("/api/meshes", content=b" " * 80 + struct.pack("<I", 1) + not_finite, headers=kind), 422)


def test_unknown_jobs_and_ways_of_asking(bench: httpx.Client) -> None:
    sentence(bench.get("/api/jobs/none"), 404)
    sentence(bench.delete("/api/jobs/none"), 404)
    sentence(bench.get("/api/jobs/none/files/x.stl"), 404)
    sentence(bench.get("/api/look"), 405)
    sentence(bench.put("/api/look", json={}), 405)
    sentence(bench.request("TRACE", "/api/about"), 405)
    sentence(bench.post("/api/jobs", json={"kind": "no such", "design": design()}), 422)


def test_elsewhere_nobody_comes_in_without_the_token(locked: httpx.Client) -> None:
    for address in ("/", "/api/about", "/page/main.js", "/openapi.json", "/?token=wrong", "/?token="):
        assert "token" in sentence(locked.get(address), 401)
    sentence(locked.post("/api/validate", json={"design": design()}), 401)
    sentence(locked.get("/api/about", headers={"authorization": f"Bearer {TOKEN}x"}), 401)
    sentence(locked.get("/api/about", headers={"cookie": "shadewright-bench="}), 401)
    assert locked.get("/api/about", headers={"authorization": f"Bearer {TOKEN}"}).status_code == 200


def test_the_token_becomes_a_cookie_that_no_script_reads(locked: httpx.Client) -> None:
    answer = locked.get("/", params={"token": TOKEN})
    assert answer.status_code == 303
    assert answer.headers["location"] == "/"
    cookie = answer.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    with httpx.Client(base_url=locked.base_url) as browser:
        browser.get("/", params={"token": TOKEN})
        assert browser.get("/api/about").status_code == 200
