"""report.pdf: by a browser that is there; a line where there is none or where it fails."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from studies.report import pdf
from studies.report.pdf import find_browser, print_page
from tests.made.browser import BROWSER, needs_browser

PAGE = "<!doctype html><title>A page</title><p>Text that is looked for</p>"


def browser(folder: Path, body: str) -> str:
    """A program that pretends to be one."""
    path = folder / "pretended"
    path.write_text(
        f"#!{sys.executable}\nimport sys, pathlib\n"
        "out = next(a.partition('=')[2] for a in sys.argv if a.startswith('--print-to-pdf='))\n"
        + body
    )
    path.chmod(0o755)
    return str(path)


@pytest.fixture
def page(tmp_path: Path) -> Path:
    path = tmp_path / "report.html"
    path.write_text(PAGE, encoding="utf-8")
    return path


@needs_browser
def test_an_installed_browser_prints_it(page: Path) -> None:
    assert BROWSER is not None
    assert print_page(BROWSER, page) == ""
    assert page.with_suffix(".pdf").read_bytes().startswith(b"%PDF-")


def test_none_is_found_where_there_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", "")
    monkeypatch.setattr(pdf, "PLACES", {})
    assert find_browser() is None
    assert pdf.NO_BROWSER.startswith("No report.pdf: ")


@pytest.mark.skipif(sys.platform == "win32", reason="pretends by a script with a first line of #!")
@pytest.mark.parametrize(
    ("body", "why"),
    [
        ("sys.exit(3)", "it ended with code 3"),
        ("pass", "it wrote none"),
        ("pathlib.Path(out).write_text('not a PDF')", "it wrote none"),
    ],
)
def test_a_failure_is_a_line_and_leaves_nothing(
    page: Path, tmp_path: Path, body: str, why: str
) -> None:
    said = print_page(browser(tmp_path, body), page)
    assert why in said
    assert "\n" not in said
    assert said.endswith("print report.html from any browser.")
    assert not page.with_suffix(".pdf").exists()


def test_a_browser_that_is_gone_and_one_that_never_ends(
    page: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert "No such file" in print_page(str(tmp_path / "gone"), page)
    monkeypatch.setattr(pdf, "LONGEST_S", 0.3)
    assert "more than 0.3 s" in print_page(browser(tmp_path, "import time; time.sleep(20)"), page)
