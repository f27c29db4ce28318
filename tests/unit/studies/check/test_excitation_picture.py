"""`check --picture`: the points and the fitted curve, whether the study is accepted or refused for
its misfit."""

from __future__ import annotations

from pathlib import Path

import pytest

from studies.cli.main import main
from tests.made.studies import minimal_study_text

# Invented, as a test report might have it: a foot down to a volt, which the fitted curve
# misses.
POINTS = (
    "excitation_points = { voltage_v = [1, 2, 5, 10, 25, 50, 100, 200, 300, 350, 400, 430],"
    " current_a = [4e-5, 1e-4, 3.5e-4, 8.5e-4, 2e-3, 3.3e-3, 5e-3, 8e-3, 0.011, 0.015, 0.03,"
    " 0.11] }"
)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """refused.toml, whose curve misses; stated.toml, which accepts it; plain.toml without
    points."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("MPLBACKEND", "agg")
    plain = minimal_study_text()
    lines = [line for line in plain.splitlines() if not line.startswith(("knee_", "ankle_ratio"))]
    lines.insert(lines.index("[ct]") + 1, POINTS)
    Path("plain.toml").write_text(plain)
    Path("refused.toml").write_text("\n".join(lines))
    lines.insert(lines.index("[ct]") + 1, "excitation_misfit_max_percent = 18")
    Path("stated.toml").write_text("\n".join(lines))
    return tmp_path


def test_a_refused_curve_is_drawn_and_refused(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", "refused.toml", "--picture", "curve.svg"]) == 2
    told = capsys.readouterr()
    assert "curve.svg is written" in told.out
    assert "the fitted curve misses the points" in told.err
    assert "fitted curve" in (folder / "curve.svg").read_text()
    assert main(["check", "refused.toml"]) == 2


def test_an_accepted_curve_is_drawn_too(folder: Path) -> None:
    assert main(["check", "stated.toml", "--picture", "curve.png"]) == 0
    assert (folder / "curve.png").read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize(
    ("study", "picture", "said"),
    [
        ("refused.toml", "curve.pdf", "--picture curve.pdf: must end in .svg or .png"),
        (
            "refused.toml",
            "no/curve.svg",
            "--picture no/curve.svg: cannot be written (No such file or directory)",
        ),
        (
            "plain.toml",
            "curve.svg",
            "--picture: no CT of plain.toml has excitation_points; leave it out",
        ),
        ("absent.toml", "curve.svg", "absent.toml"),
    ],
)
def test_nonsense_is_one_line_and_no_file(
    study: str, picture: str, said: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = sorted(folder.iterdir())
    assert main(["check", study, "--picture", picture]) == 2
    assert said in capsys.readouterr().err
    assert sorted(folder.iterdir()) == before


def test_no_file_is_overwritten(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Path("curve.svg").write_text("mine")
    assert main(["check", "refused.toml", "--picture", "curve.svg"]) == 2
    assert "curve.svg: exists already" in capsys.readouterr().err
    assert Path("curve.svg").read_text() == "mine"
