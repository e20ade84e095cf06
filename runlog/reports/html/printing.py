"""Printing a document to PDF by a browser that is on the machine."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from pathlib import Path
from typing import Final

from runlog.errors import RunlogError

BROWSERS: Final = ("chromium", "chromium-browser")
"""names by which a browser that prints without a window goes; ``RUNLOG_BROWSER`` names another one"""
_PATIENCE_S: Final = 120
OFFLINE: Final = (
    "--headless", "--disable-gpu", "--no-first-run", "--no-default-browser-check", "--disable-extensions",
    "--disable-background-networking", "--disable-component-update", "--disable-domain-reliability", "--disable-sync",
    "--metrics-recording-only", "--no-pings", "--host-resolver-rules=MAP * ~NOTFOUND",
)  # fmt: skip
"""options that keep a browser without a window from looking for the network"""


def find_browser() -> str | None:
    """Return the browser's path; None where there is none."""
    return next((path for name in _names() if (path := shutil.which(name))), None)


def ensure_browser() -> str:
    """Return the browser's path; RunlogError that says what was looked for where there is none."""
    browser = find_browser()
    if browser is None:
        raise RunlogError(
            f"a PDF is printed by a browser, and none is on this machine's PATH (looked for {', '.join(_names())}): "
            "install Chromium, set RUNLOG_BROWSER to one that takes the same options, or write the document with "
            "--html and print it from any browser"
        )
    return browser


def _names() -> tuple[str, ...]:
    named = os.environ.get("RUNLOG_BROWSER")
    return (named,) if named else BROWSERS


def browser_options(profile: str) -> list[str]:
    """Return the options of a browser without a window, without the network and with a profile of its own."""
    # a sandbox needs a user that isn't root; the document holds nothing but our own script, known by its hash
    sandbox = ["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []
    return [*OFFLINE, *sandbox, f"--user-data-dir={profile}"]


def print_pdf(html: str, path: Path) -> None:
    """Print a document to a PDF file; RunlogError where there is no browser or it fails."""
    browser = ensure_browser()
    with tempfile.TemporaryDirectory(prefix="runlog-", ignore_cleanup_errors=True) as folder:
        source, made = Path(folder, "document.html"), Path(folder, "document.pdf")
        source.write_text(html, "utf-8")
        command = [browser, *browser_options(str(Path(folder, "profile"))), "--no-pdf-header-footer",
                   f"--print-to-pdf={made}", source.as_uri()]  # fmt: skip
        try:
            done = subprocess.run(
                command, stdin=subprocess.DEVNULL, capture_output=True, timeout=_PATIENCE_S, check=False
            )
        except subprocess.TimeoutExpired:
            raise RunlogError(f"{browser} didn't print the document within {_PATIENCE_S} s") from None
        except OSError as error:
            raise RunlogError(f"{browser} can't be started: {error.strerror}") from None
        if not made.is_file() or not made.stat().st_size:
            raise RunlogError(f"{browser} printed nothing (exit code {done.returncode}); write --html instead")
        try:
            shutil.copyfile(made, path)
        except OSError as error:
            raise RunlogError(f"{path} can't be written: {error.strerror}") from None
