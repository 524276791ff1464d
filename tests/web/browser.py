"""What the tests of the page share: a bench, a real browser, and a page that is watched for errors and foreign requests."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, sync_playwright

from api import opened

WAIT = 30_000
"""Longest wait for anything on the page, ms: other tests may use the same cores."""


def chromium() -> str:
    """The browser's program. Fails in one sentence where there is none."""
    found = shutil.which("chromium") or shutil.which("chromium-browser")
    assert found, "the tests of the page need Chromium: apt-get install chromium"
    return found


@contextmanager
def browser_at_bench() -> Iterator[tuple[Browser, str]]:
    """A browser and the address of a bench of its own."""
    with opened() as client, sync_playwright() as driver:
        # Without a graphics processor Chromium paints faster when it does not try to use one.
        browser = driver.chromium.launch(executable_path=chromium(), args=["--no-sandbox", "--disable-gpu"])
        try:
            yield browser, str(client.base_url).rstrip("/") + "/"
        finally:
            browser.close()


@dataclass
class Watched:
    """A page and what must not happen on it."""

    page: Page
    address: str
    errors: list[str] = field(default_factory=list)
    foreign: list[str] = field(default_factory=list)

    def begin(self, starter: int = 0) -> None:
        """Begin with an invented lens and wait until its hood is fitted."""
        self.page.locator("#starters button").nth(starter).click()
        self.settled()

    def settled(self) -> None:
        """Wait until the rim is worked out and the views stand."""
        self.page.wait_for_function(
            "() => document.querySelector('#sentence').textContent.trim() !== ''"
            " && !document.querySelector('#verdict').classList.contains('working')",
            timeout=WAIT,
        )
        self.page.wait_for_timeout(600)

    def step(self, name: str) -> None:
        """Go to a step of the path, such as "Look"."""
        self.page.get_by_role("button", name=name, exact=False).and_(self.page.locator("#steps button")).click()

    def slide(self, dial: str, value: float) -> None:
        """Turn a dial to a value and wait for the answer."""
        self.page.eval_on_selector(
            f"#dial-{dial}",
            "(dial, value) => { dial.value = value; dial.dispatchEvent(new Event('input', { bubbles: true })); }",
            value,
        )
        self.settled()

    def seen(self) -> dict[str, str]:
        """What each view shows: its picture and its words."""
        return dict(self.page.evaluate(_SEEN))

    def save(self, selector: str, folder: Path) -> Path:
        """Click what downloads a file and keep it in a folder."""
        with self.page.expect_download(timeout=WAIT) as waiting:
            self.page.locator(selector).first.click()
        path = folder / waiting.value.suggested_filename
        waiting.value.save_as(path)
        return path


def serious(it: Watched) -> list[str]:
    """What axe calls serious or critical, by rule and element."""
    found = Axe().run(it.page).response["violations"]
    return [f"{v['id']}: {v['nodes'][0]['html'][:120]}" for v in found if v["impact"] in ("serious", "critical")]


_SEEN = """() => Object.fromEntries(["sensor", "section", "solid", "rim", "sky"].map((name) => {
  const view = document.getElementById(name);
  const picture = view instanceof HTMLCanvasElement ? view.toDataURL() : view.innerHTML;
  return [name, picture + "|" + document.getElementById(`words-${name}`).textContent];
}))"""


@contextmanager
def watched(
    browser: Browser, address: str, *, width: int = 1400, height: int = 900, expect_errors: bool = False, **options: Any
) -> Iterator[Watched]:
    """A fresh page at the bench. At its end no error may have come up, and no request have gone elsewhere."""
    with browser.new_context(viewport={"width": width, "height": height}, **options) as context:
        page = context.new_page()
        page.set_default_timeout(WAIT)
        found = Watched(page, address)
        page.on("console", lambda message: found.errors.append(message.text) if message.type == "error" else None)
        page.on("pageerror", lambda error: found.errors.append(str(error)))
        own = urlsplit(address).netloc
        page.on("request", lambda request: _note_foreign(found, request.url, own))
        page.goto(address)
        page.locator("#starters button").first.wait_for()
        yield found
        assert found.foreign == [], found.foreign
        if not expect_errors:
            assert found.errors == [], found.errors


def _note_foreign(found: Watched, url: str, own: str) -> None:
    parts = urlsplit(url)
    if parts.scheme in ("http", "https", "ws", "wss") and parts.netloc != own:
        found.foreign.append(url)
