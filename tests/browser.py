"""A Chromium with its network cut, in which tests open the pages that people are handed."""

import os
import shutil
import time
from contextlib import contextmanager
from dataclasses import dataclass, field

import pytest

PHONE = {"width": 390, "height": 844}
SMALL_PHONE = {"width": 320, "height": 568}
DESKTOP = {"width": 1366, "height": 768}


@dataclass
class OpenPage:
    """A page in the browser, and whatever went wrong in it."""

    page: object
    faults: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)


def chromium_path():
    """Give Chromium's path; without one skip the test, or fail where one is required."""
    path = shutil.which("chromium") or shutil.which("chromium-browser")
    if path is None:
        if os.environ.get("ESTATE_NEEDS_BROWSER"):
            pytest.fail("no Chromium on the PATH, and ESTATE_NEEDS_BROWSER asks for one")
        pytest.skip("no Chromium on the PATH")
    return path


@contextmanager
def browser():
    """Open a Chromium for several pages."""
    path = chromium_path()
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(
            executable_path=path,
            args=[
                "--disable-gpu",
                "--disable-quic",
                "--no-first-run",
                "--disable-background-networking",
                "--disable-component-update",
                "--disable-sync",
            ],
        )
        yield chromium
        chromium.close()


@contextmanager
def opened(chromium, path, *, size=None, touch=False, scale=1):
    """Open a file with the network cut, and wait until its map says that it is ready."""
    context = chromium.new_context(
        viewport=size or PHONE, offline=True, has_touch=touch, device_scale_factor=scale
    )
    page = context.new_page()
    held = OpenPage(page=page)
    page.on(
        "console",
        lambda message: (
            held.faults.append(f"console: {message.text}")
            if message.type in ("error", "warning")
            else None
        ),
    )
    page.on("pageerror", lambda error: held.faults.append(f"error: {error}"))
    page.on("requestfailed", lambda request: held.faults.append(f"failed: {request.url[:90]}"))
    page.on("request", lambda request: held.requests.append(request.url[:90]))
    page.goto(path.resolve().as_uri())
    page.wait_for_selector("body[data-ready=yes]", timeout=20_000)
    page.wait_for_timeout(100)
    yield held
    context.close()


def until(page, condition, *, seconds=20.0):
    """Wait until a JavaScript condition holds, asked from outside: pages allow no eval."""
    ends = time.monotonic() + seconds
    while not page.evaluate(condition):
        assert time.monotonic() < ends, f"not within {seconds} s: {condition}"
        page.wait_for_timeout(50)
