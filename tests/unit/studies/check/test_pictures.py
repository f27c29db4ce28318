"""`check --picture`: the connections and, beside them, excitation curves, whether the study is
accepted or refused."""

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
    assert main(["check", "refused.toml", "--picture", "drawn.svg"]) == 2
    told = capsys.readouterr()
    assert told.out.splitlines() == ["drawn.svg is written", "drawn_excitation.svg is written"]
    assert "the fitted curve differs from the points" in told.err
    assert "fitted curve" in (folder / "drawn_excitation.svg").read_text()
    assert "stator winding" in (folder / "drawn.svg").read_text()
    assert main(["check", "refused.toml"]) == 2


def test_an_accepted_curve_is_drawn_too(folder: Path) -> None:
    assert main(["check", "stated.toml", "--picture", "drawn.png"]) == 0
    for name in ("drawn.png", "drawn_excitation.png"):
        assert (folder / name).read_bytes().startswith(b"\x89PNG")


def test_without_class_or_points_the_connections_stand_alone(folder: Path) -> None:
    before = {*folder.iterdir()}
    assert main(["check", "plain.toml", "--picture", "drawn.svg"]) == 0
    assert {*folder.iterdir()} - before == {folder / "drawn.svg"}


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        (("rated_power_va = 25e6", "rated_power_va = -1"), "machine.rated_power_va"),
        (("p_false_max = 0.01", "p_false_max = 2"), "policy.p_false_max"),
        (("[earthing]\nresist", "[earthing]\nresost"), "earthing.resostance_ohm"),
        (("phase_burden_ohm = 0.1", "phase_burden_ohm = -1"), "relay.phase_burden_ohm"),
        (("phase_pickup_a = [0.1, 0.2]", "phase_pickup_a = 3"), "candidates.phase_pickup_a"),
    ],
)
def test_connections_are_drawn_of_a_study_with_other_faults(
    wrong: tuple[str, str], said: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = Path("plain.toml").read_text()
    assert wrong[0] in text
    Path("wrong.toml").write_text(text.replace(*wrong))
    assert main(["check", "wrong.toml", "--picture", "drawn.svg"]) == 2
    told = capsys.readouterr()
    assert told.out == "drawn.svg is written\n"
    assert said in told.err
    assert "neutral end" in (folder / "drawn.svg").read_text()


@pytest.mark.parametrize(
    "wrong",
    [
        ('kind = "two_phase_one_earth"', 'kind = "nothing"'),
        ('kind = "two_phase_one_earth"', 'kind = "restricted_earth_fault"'),  # no neutral CT
        ("primary_a = 1500", "primary_a = 0"),
        ("[ct]", "[ct"),
        ("[machine]", f"x = {'[' * 30}{']' * 30}\n[machine]"),
    ],
)
def test_without_sound_cts_and_scheme_nothing_is_drawn(
    wrong: tuple[str, str], folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = Path("plain.toml").read_text()
    assert wrong[0] in text
    Path("wrong.toml").write_text(text.replace(*wrong))
    before = sorted(folder.iterdir())
    assert main(["check", "wrong.toml", "--picture", "drawn.svg"]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err
    assert sorted(folder.iterdir()) == before


@pytest.mark.parametrize(
    ("study", "picture", "said"),
    [
        ("refused.toml", "curve.pdf", "--picture curve.pdf: must end in .svg or .png"),
        (
            "refused.toml",
            "no/curve.svg",
            "--picture no/curve.svg: cannot be written (No such file or directory)",
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
    for taken in ("curve.svg", "curve_excitation.svg"):
        Path(taken).write_text("mine")
        assert main(["check", "refused.toml", "--picture", "curve.svg"]) == 2
        assert f"{taken}: exists already" in capsys.readouterr().err
        assert Path(taken).read_text() == "mine"
        Path(taken).unlink()
        assert not [*folder.glob("curve*")]
