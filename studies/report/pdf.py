"""A page of HTML printed to PDF by a browser that is installed: Chromium, Chrome or Edge, without a
window."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

NAMES = (
    "chromium",
    "chromium-browser",
    "google-chrome",
    "google-chrome-stable",
    "chrome",
    "microsoft-edge",
    "microsoft-edge-stable",
    "msedge",
)
PLACES = {
    "darwin": (
        "/Applications/Chromium.app/Contents/MacOS/Chromium",
        "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
        "/Applications/Microsoft Edge.app/Contents/MacOS/Microsoft Edge",
    ),
    "win32": (
        r"C:\Program Files\Google\Chrome\Application\chrome.exe",
        r"C:\Program Files (x86)\Microsoft\Edge\Application\msedge.exe",
    ),
}
LONGEST_S = 120
CURE = "print report.html from any browser"
NO_BROWSER = f"No report.pdf: neither Chromium nor Chrome nor Edge was found; {CURE}."


def find_browser() -> str | None:
    """Where an installed browser is that can print without a window. What lies in the current
    folder, where Windows looks first, is not installed."""
    known = (path for path in PLACES.get(sys.platform, ()) if Path(path).exists())
    found = (path for name in NAMES if (path := shutil.which(name)) and Path(path).is_absolute())
    return next(found, None) or next(known, None)


def headless(browser: str, profile: str) -> list[str]:
    """The browser's command without a window, network or anybody's profile."""
    command = [
        browser,
        "--headless",
        "--disable-gpu",
        "--no-first-run",
        "--disable-background-networking",
        f"--user-data-dir={profile}",
    ]
    root = hasattr(os, "geteuid") and os.geteuid() == 0  # Chromium has no sandbox for root
    return [*command, "--no-sandbox"] if root else command


def print_page(browser: str, page: Path) -> str:
    """report.html to report.pdf beside it. Returns why not, in a line; empty where it was done."""
    pdf, why = page.with_suffix(".pdf"), ""
    with tempfile.TemporaryDirectory(prefix="statorodds-", ignore_cleanup_errors=True) as profile:
        try:
            done = subprocess.run(
                [
                    *headless(browser, profile),
                    "--no-pdf-header-footer",
                    f"--print-to-pdf={pdf.resolve()}",
                    page.resolve().as_uri(),
                ],
                capture_output=True,
                check=False,
                timeout=LONGEST_S,
                stdin=subprocess.DEVNULL,
            )
            if done.returncode:
                why = f"it ended with code {done.returncode}"
        except subprocess.TimeoutExpired:
            why = f"it took more than {LONGEST_S} s"
        except OSError as error:
            why = error.strerror or type(error).__name__
    if not why and pdf.is_file() and pdf.read_bytes()[:5] == b"%PDF-":
        return ""
    pdf.unlink(missing_ok=True)
    return f"No report.pdf: {browser} could not print it ({why or 'it wrote none'}); {CURE}."
