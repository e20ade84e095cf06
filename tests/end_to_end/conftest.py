"""A real browser without a window, driven over a pipe in the DevTools protocol: no further library."""

from __future__ import annotations

import base64
import json
import os
import select
import subprocess
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from runlog.reports.html.printing import browser_options, find_browser

if TYPE_CHECKING:
    from collections.abc import Iterator

PATIENCE_S = 60.0


@dataclass
class Browser:
    """One page of a browser. ``asked`` holds every address asked for, ``said`` every word on its console."""

    process: subprocess.Popen[bytes]
    out: int
    back: int
    session: str = ""
    asked: list[str] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    events: list[str] = field(default_factory=list)
    rest: bytes = b""
    count: int = 0

    def call(self, method: str, **parameters: Any) -> dict[str, Any]:
        """Send a command and return its result."""
        self.count += 1
        message = {"id": self.count, "method": method, "params": parameters}
        if self.session:
            message["sessionId"] = self.session
        os.write(self.out, json.dumps(message).encode() + b"\0")
        while True:
            answer = self._next(PATIENCE_S)
            assert answer is not None, f"no answer to {method}"
            if answer.get("id") == self.count:
                assert "error" not in answer, answer
                result: dict[str, Any] = answer["result"]
                return result

    def _next(self, patience: float) -> dict[str, Any] | None:
        until = time.monotonic() + patience
        while b"\0" not in self.rest:
            left = until - time.monotonic()
            if left <= 0 or not select.select([self.back], [], [], left)[0]:
                return None
            part = os.read(self.back, 1 << 20)
            assert part, "the browser has gone"
            self.rest += part
        message, self.rest = self.rest.split(b"\0", 1)
        answer: dict[str, Any] = json.loads(message)
        self._note(answer)
        return answer

    def _note(self, answer: dict[str, Any]) -> None:
        method, content = answer.get("method", ""), answer.get("params", {})
        self.events.append(method)
        if method == "Network.requestWillBeSent":
            self.asked.append(content["request"]["url"])
        elif method == "Runtime.consoleAPICalled":
            self.said.append(json.dumps(content["args"]))
        elif method == "Runtime.exceptionThrown":
            self.said.append(json.dumps(content["exceptionDetails"]))
        elif method == "Log.entryAdded":
            self.said.append(content["entry"]["text"])

    def open(self, path: Path, width: int, *, live: bool = True) -> None:
        """Load a file in a window of this width; ``live``: have every chart come into view and wait for it."""
        self.asked.clear()
        self.said.clear()
        self.call(
            "Emulation.setDeviceMetricsOverride", width=width, height=900, deviceScaleFactor=1, mobile=width < 600
        )
        self.events.clear()
        self.call("Page.navigate", url=path.as_uri())
        while "Page.loadEventFired" not in self.events:
            assert self._next(PATIENCE_S) is not None, "the page never loaded"
        if live:
            self._come_into_view()

    def _come_into_view(self) -> None:
        """Scroll to one chart after the other until each stands; a chart is drawn when it is seen."""
        until = time.monotonic() + PATIENCE_S
        undrawn = "document.querySelector('figure[data-chart]:not(.drawn)')"
        while self.value(f"{undrawn} ? ({undrawn}.scrollIntoView(), true) : false"):
            assert time.monotonic() < until, f"a chart was never drawn; the console says {self.said}"
            if self.said:
                break
            time.sleep(0.05)
        self.value("window.scrollTo(0, 0)")

    def value(self, expression: str) -> Any:
        """Return what an expression comes to in the page; a promise is waited for."""
        got = self.call("Runtime.evaluate", expression=expression, returnByValue=True, awaitPromise=True)
        assert "exceptionDetails" not in got, got
        return got["result"].get("value")

    def picture(self, path: Path) -> None:
        """Write what the whole page looks like as PNG."""
        got = self.call("Page.captureScreenshot", format="png", captureBeyondViewport=True)
        path.write_bytes(base64.b64decode(got["data"]))

    def close(self) -> None:
        """End the browser."""
        os.close(self.out)
        os.close(self.back)
        self.process.terminate()
        self.process.wait(10)


def start(profile: Path) -> Browser:
    """Start a browser with a profile of its own."""
    path = find_browser()
    assert path is not None
    to_read, to_write = os.pipe()
    from_read, from_write = os.pipe()

    def places() -> None:
        # the protocol's pipe is read from 3 and written to 4
        os.dup2(to_read, 203)
        os.dup2(from_write, 204)
        os.dup2(203, 3)
        os.dup2(204, 4)

    process = subprocess.Popen(
        [path, *browser_options(str(profile)), "--remote-debugging-pipe", "about:blank"],
        preexec_fn=places, close_fds=False, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )  # fmt: skip
    os.close(to_read)
    os.close(from_write)
    made = Browser(process, to_write, from_read)
    page = next(item for item in made.call("Target.getTargets")["targetInfos"] if item["type"] == "page")
    made.session = made.call("Target.attachToTarget", targetId=page["targetId"], flatten=True)["sessionId"]
    for domain in ("Page", "Network", "Runtime", "Log"):
        made.call(f"{domain}.enable")
    return made


@pytest.fixture(scope="session")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """A browser for the whole session; skipped where the machine has none."""
    if find_browser() is None:
        pytest.skip("no Chromium on this machine's PATH")
    if os.name == "nt":
        pytest.skip("the browser is driven over inherited pipes")
    made = start(tmp_path_factory.mktemp("browser"))
    yield made
    made.close()
