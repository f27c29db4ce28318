"""A page opened by an installed browser without a window; tests that need one are skipped where
there is none."""

from __future__ import annotations

import html
import json
import re
import subprocess
import tempfile
from pathlib import Path
from typing import Any

import pytest

from studies.report.pdf import find_browser, headless

BROWSER = find_browser()
needs_browser = pytest.mark.skipif(
    BROWSER is None, reason="neither Chromium nor Chrome nor Edge is installed"
)
POLICY = re.compile(r'<meta http-equiv="Content-Security-Policy"[^>]*>')
WATCH = (
    "<script>window.faults = []; addEventListener('error', event =>"
    " faults.push(event.message));</script>"
)


def opened(page: Path) -> tuple[str, list[str]]:
    """The document after its scripts have run, and what the console was told."""
    assert BROWSER is not None
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile:
        done = subprocess.run(
            [
                *headless(BROWSER, profile),
                "--enable-logging=stderr",
                "--v=0",
                "--dump-dom",
                page.as_uri(),
            ],
            capture_output=True,
            text=True,
            check=True,
            timeout=120,
        )
    return done.stdout, [line for line in done.stderr.splitlines() if "CONSOLE" in line]


def acted(text: str, script: str, folder: Path) -> Any:
    """What a script at the end of a page returns, as JSON; an error of any script fails. The page's
    own policy would keep such a script out, so that this copy has none."""
    page = folder / "acted.html"
    copied, found = POLICY.subn(WATCH, text, count=1)
    assert found
    page.write_text(
        f"{copied}<script>const seen = (() => {{ {script} }})(); const out ="
        " document.createElement('pre');out.id = 'seen'; out.textContent = JSON.stringify({seen,"
        " faults}); document.body.append(out);</script>",
        encoding="utf-8",
    )
    record = _seen(page)
    assert record["faults"] == []
    return record["seen"]


def framed(text: str, width: int, script: str, folder: Path) -> Any:
    """What a script returns of a page in a window so wide, as JSON; `page` is its document. A frame
    stands for the window: one without a screen has a least width."""
    host = folder / f"framed{width}.html"
    shown = html.escape(text, quote=True)
    host.write_text(
        f'<!doctype html><body style="margin:0"><iframe style="border:0;width:{width}px;'
        f'height:900px" srcdoc="{shown}"></iframe><script>onload = () => {{ const page ='
        f" document.querySelector('iframe').contentDocument; const seen = (() => {{ {script} }})();"
        " const out = document.createElement('pre'); out.id = 'seen'; out.textContent ="
        " JSON.stringify(seen); document.body.append(out); };</script>",
        encoding="utf-8",
    )
    return _seen(host)


def _seen(page: Path) -> Any:
    """What the script of a page has left in it."""
    document, _ = opened(page)
    left = re.search(r'<pre id="seen">(.*?)</pre>', document, re.DOTALL)
    assert left is not None
    return json.loads(html.unescape(left[1]))
