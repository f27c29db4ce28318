"""The command line: what it says to nonsense, its exit codes, and what it leaves behind."""

from __future__ import annotations

import importlib
import io
import json
import os
import re
import signal
import subprocess
import sys
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import studies
from montecarlo import read_study
from montecarlo.quantities import FAMILIES, files
from montecarlo.sampling.inputs import list_inputs
from studies.cli.main import main
from studies.cli.options import COMMANDS
from studies.cli.report import REPORT
from studies.protocol import Drawn, Findings
from studies.report.blocks import Paragraph
from studies.report.record import PROVENANCE
from studies.report.safety import CAUTION
from tests.made.said import words
from tests.made.starter import STARTER
from tests.made.studies import minimal_study_text

Run = Callable[..., tuple[int, str, str]]
ROOT = Path(__file__).parents[4]


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """main(...) in an empty folder that holds good.toml; code, stdout, stderr."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("MPLBACKEND", "agg")
    (tmp_path / "good.toml").write_text(minimal_study_text())

    def call(*arguments: str) -> tuple[int, str, str]:
        try:
            code = main(arguments)
        except SystemExit as stopped:
            code = int(stopped.code or 0)
        captured = capsys.readouterr()
        return code, captured.out, captured.err

    return call


class Quick:
    """A kind of study without an engine."""

    def __init__(self, act: Callable[[Any], None] = lambda progress: None) -> None:
        self.act = act

    def stages(self, study: Any) -> tuple[()]:
        return ()

    def run(
        self, study: Any, *, workers: Any, progress: Any, keep_samples: Any, rough: bool
    ) -> Findings:
        self.act(progress)
        return Findings(
            {},
            Drawn({}),
            provenance={
                "workers": workers.count,
                "samples": study.study.samples,
                "seed": study.study.seed,
            },
            text=(Paragraph("the answer"),),
        )


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    def install(act: Callable[[Any], None] = lambda progress: None) -> None:
        monkeypatch.setitem(studies.KINDS, "setting_sweep", lambda: Quick(act))

    install()
    return install


def provenance(folder: Path) -> dict[str, Any]:
    record: dict[str, Any] = json.loads((folder / PROVENANCE).read_text())
    return record


# --- check before a run -------------------------------------------------------

TURNED = """
[[scheme.custom]]
name = "mine"
legs = [{ name = "earth", cts = [
    "neutral_conductor", "line_end.L1", "line_end.L2", "line_end.L3"] }]
elements = [{ leg = "earth", setting = "earth" }]

[relay]"""
CURE = '"neutral_conductor" should be "-neutral_conductor"'


def mis_wired(path: Path) -> None:
    """A restricted earth fault element of the study's own, without its one minus."""
    text = (
        minimal_study_text()
        .replace("[scheme]", "[ct.neutral_conductor]\n[scheme]")
        .replace("\n[relay]", TURNED)
    )
    text = text.replace('"two_phase_one_earth"\nwatched_phases = ["L1", "L3"]', '"mine"')
    path.write_text(
        text.replace("phase_pickup_a = [0.1, 0.2]\n", "").replace(
            "resistance_ohm = [0, 300]", "resistance_ohm = [0]"
        )
    )


def untimed(text: str) -> list[str]:
    """Without the estimates of time: the pace of another run may arrive between two checks."""
    return [line for line in text.splitlines() if " takes about " not in line]


def test_check_strict_refuses_a_caution_and_not_what_stands_in_every_study(
    run: Run, tmp_path: Path
) -> None:
    mis_wired(tmp_path / "wrong.toml")
    code, out, err = run("check", "wrong.toml")
    assert code == 0
    assert CURE in " ".join(out.split())
    assert not err
    code, again, err = run("check", "wrong.toml", "--strict")
    assert (code, untimed(again)) == (2, untimed(out))
    (line,) = [line for line in err.splitlines() if CURE in line]
    assert line.startswith("statorodds: --strict: scheme.custom[0].legs[0].cts: Relay circuit ")
    assert "internal_faults.shares" in out
    assert "internal_faults.shares" not in err


def test_a_run_tells_a_mis_wired_scheme_before_and_beside_its_answer(
    run: Run, quick: Any, tmp_path: Path
) -> None:
    mis_wired(tmp_path / "wrong.toml")
    code, out, err = run("run", "wrong.toml")
    assert code == 0
    assert "statorodds: caution: scheme.custom[0].legs[0].cts: Relay circuit " in err
    assert (
        out.index("the answer")
        < out.index("Caution: scheme.custom[0].legs[0].cts")
        < out.index("Results: ")
    )


@pytest.mark.parametrize(
    ("key", "said"),
    [
        (
            "samples = 10000000000",
            "study.samples (or --samples): 10000000000, at most 1000000000; give fewer",
        ),
        (
            "samples = 512\nearth_fault_samples = 1000000000000",
            "study.earth_fault_samples: 1000000000000 would be",
        ),
        ("samples = 100000\ninstallations = 65536", "candidates = "),
    ],
)
def test_check_refuses_what_run_would_refuse_by_its_size(
    run: Run, tmp_path: Path, key: str, said: str
) -> None:
    text = minimal_study_text().replace("samples = 512", key)
    if "installations = 6" in key:
        text = text.replace("installations = 32\n", "").replace(
            "from = 0.02, to = 0.1, step = 0.02", "from = 0.001, to = 0.2, step = 0.001"
        )
    (tmp_path / "large.toml").write_text(text)
    told = [run(command, "large.toml") for command in ("check", "run")]
    assert told[0] == told[1]
    assert told[0][:2] == (2, "")
    assert said in told[0][2]


# --- nonsense -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (
            [],
            (
                "no command; name one of new, check, run, measured, compare, verify, selfcheck,"
                " schema; see statorodds --help"
            ),
        ),
        (["--bogus"], "no command"),
        (["chek", "good.toml"], "chek: no such command; did you mean check?"),
        (
            ["xyzzy"],
            "xyzzy: no such command; name one of new, check, run, measured, compare, verify,"
            " selfcheck, schema",
        ),
        (["check"], "the following arguments are required: FILE; see statorodds check --help"),
        (["check", "good.toml", "more"], "unrecognized arguments: more"),
        (
            ["check", "no.toml"],
            "no.toml: no such file; check the path, or make a starter with the command new",
        ),
        (["check", "."], ".: is a folder; name the study file in it"),
        (["check", "binary.toml"], "binary.toml: byte 1 is not UTF-8 text; save the file as UTF-8"),
        (["check", "broken.toml"], "broken.toml: not valid TOML"),
        (["run", "no.toml"], "no.toml: no such file"),
        (
            ["run", "good.toml", "--samples", "0"],
            (
                "--samples 0: must be a whole number from 1 to 1000000000000; leave it out for the"
                " study's own number"
            ),
        ),
        (["run", "good.toml", "--samples=-4"], "--samples -4: must be a whole number"),
        (["run", "good.toml", "--samples", "1e5"], "--samples 1e5: must be a whole number"),
        (["run", "good.toml", "--samples", "nan"], "--samples nan: must be a whole number"),
        (["run", "good.toml", "--samples", "٣٤"], "must be a whole number"),
        (["run", "good.toml", "--samples", ""], "--samples '': must be a whole number"),
        (["run", "good.toml", "--samples", "9" * 5000], "must be a whole number"),
        (
            ["run", "pairs.toml"],
            "study.compare[0]: 40, must be candidates' numbers, 1 ... 20; take them from",
        ),
        (
            ["run", "good.toml", "--samples", "5"],
            "study.samples: 5, must be at least study.installations = 32",
        ),
        (
            ["run", "good.toml", "--samples", "1000000000000"],
            (
                "study.samples (or --samples): 1000000000000 would be 137438953472 earth faults"
                " (study.earth_fault_samples, samples/8 unless given, rounded up to a power of"
                " two), at most 68719476736; give fewer"
            ),
        ),
        (
            ["check", "s\udcff.toml"],
            "s\\xff.toml: is not UTF-8; rename it, or start from inside that folder",
        ),
        (["run", "good.toml", "--out", "\udcff\udcfe"], "\\xff\\xfe: is not UTF-8"),
        (
            ["run", "good.toml", "--samples"],
            "argument --samples: expected one argument; see statorodds run --help",
        ),
        (
            ["run", "good.toml", "--seed", "-1"],
            "--seed -1: must be a whole number from 0 to 9223372036854775807",
        ),
        (
            ["run", "good.toml", "--workers", "0"],
            "--workers 0: must be a whole number from 1 to 1024; leave it out",
        ),
        (["run", "good.toml", "--workers", "100000"], "--workers 100000: must be a whole number"),
        (["run", "good.toml", "--sam", "5"], "unrecognized arguments: --sam 5"),
        (
            ["run", "good.toml", "--out", "good.toml"],
            "good.toml: is a file; name a folder with --out",
        ),
        (
            ["run", "good.toml", "--out", "no/such"],
            "no/such: the folder no that it would stand in does not exist",
        ),
        (
            ["run", "good.toml", "--out", "."],
            ".: exists and is not empty; name another folder with --out",
        ),
        (["run", "good.toml", "--out", ".", "--replace"], ".: holds no provenance.json of a run"),
        (["new", "good.toml"], "good.toml: exists already; name another file, or remove it first"),
        (
            ["new", "no/such.toml"],
            "no/such.toml: cannot be written (No such file or directory); name another file",
        ),
        (["new"], "the following arguments are required: FILE"),
        (["new", "mine.toml", "--mva", "-5"], "--mva -5: must be the rated apparent power in MVA"),
        (["new", "mine.toml", "--kv"], "argument --kv: expected one argument; see statorodds new"),
        (["new", "mine.toml", "--ct", "1500"], "--ct 1500: must be PRIMARY/SECONDARY in A"),
        (["schema", "more"], "unrecognized arguments: more"),
    ],
)
def test_nonsense_gets_one_line(run: Run, tmp_path: Path, arguments: list[str], said: str) -> None:
    (tmp_path / "binary.toml").write_bytes(b"\xff\xfe\x00\x01")
    (tmp_path / "broken.toml").write_text("x = [")
    (tmp_path / "pairs.toml").write_text(
        minimal_study_text().replace("installations =", "compare = [[12, 40]]\ninstallations =")
    )
    before = sorted(tmp_path.iterdir())
    code, out, err = run(*arguments)
    assert code == 2
    assert not out
    assert err.startswith("statorodds: ")
    assert said in err
    assert err.count("\n") == 1
    assert sorted(tmp_path.iterdir()) == before


def test_every_fault_of_a_file_has_its_own_line(run: Run, tmp_path: Path) -> None:
    text = (
        minimal_study_text()
        .replace("samples = 512", "sampels = 512")
        .replace("resistance_ohm = { nominal = 21.2", "resistance_ohm = { nominal = -21.2")
    )
    (tmp_path / "bad.toml").write_text(text)
    code, out, err = run("check", "bad.toml")
    assert (code, out) == (2, "")
    lines = err.splitlines()
    assert all(line.startswith("statorodds: ") for line in lines)
    assert "statorodds: study.sampels: unknown; did you mean samples?" in lines
    assert any("earthing.resistance_ohm" in line for line in lines)


@pytest.mark.parametrize("text", ["", "\n", "# to be written\n", "\ufeff"])
def test_a_file_without_keys_is_one_line_with_its_name(run: Run, tmp_path: Path, text: str) -> None:
    (tmp_path / "empty.toml").write_text(text, encoding="utf-8")
    for command in ("check", "run"):
        assert run(command, "empty.toml") == (
            2,
            "",
            (
                "statorodds: empty.toml: holds no keys; make a starter with the command new, or"
                " name another file\n"
            ),
        )


def test_a_file_with_one_key_names_every_missing_table(run: Run, tmp_path: Path) -> None:
    (tmp_path / "short.toml").write_text("[load]\n")
    code, _, err = run("check", "short.toml")
    assert code == 2
    for name in (
        "study",
        "machine",
        "earthing",
        "ct",
        "scheme",
        "internal_faults",
        "candidates",
        "policy",
    ):
        assert f"statorodds: {name}: missing" in err


def test_a_name_with_line_breaks_stays_on_one_line(run: Run) -> None:
    code, _, err = run("check", "a\nb\x1b[31m.toml")
    assert code == 2
    assert err.count("\n") == 1
    assert "\x1b" not in err


def test_a_title_that_the_terminal_cannot_show_is_no_crash(tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text(
        minimal_study_text().replace("An invented machine", "Ω−machine"), "utf-8"
    )
    done = subprocess.run(
        [sys.executable, "-m", "studies", "check", str(tmp_path / "s.toml")],
        capture_output=True,
        env=os.environ | {"PYTHONIOENCODING": "ascii"},
        check=False,
    )
    assert done.returncode == 0
    assert done.stdout.startswith(b"ohm-machine")


def test_unexpected_errors_are_not_swallowed(run: Run, quick: Callable[..., None]) -> None:
    def fail(progress: object) -> None:
        raise ZeroDivisionError("a mistake of ours")

    quick(fail)
    with pytest.raises(ZeroDivisionError, match="a mistake of ours"):
        run("run", "good.toml")


# --- what each command does ---------------------------------------------------


def test_help_names_every_command(run: Run) -> None:
    code, out, _ = run("--help")
    assert code == 0
    assert all(re.search(rf"^ +{command}\s", out, re.MULTILINE) for command in COMMANDS)
    assert "--workers" in run("run", "--help")[1]


@pytest.mark.parametrize(
    ("command", "place"), [("verify", "verify.run"), ("selfcheck", "cli.selfcheck")]
)
@pytest.mark.parametrize("code", [0, 1])
def test_what_does_not_agree_or_is_not_good_is_exit_code_1(
    run: Run, monkeypatch: pytest.MonkeyPatch, command: str, place: str, code: int
) -> None:
    module = importlib.import_module(f"studies.{place}")
    monkeypatch.setattr(module, command, lambda: print("the table") or code)
    assert run(command) == (code, "the table\n", "")
    assert "unrecognized arguments: more" in run(command, "more")[2]


def test_version(run: Run) -> None:
    code, out, _ = run("--version")
    assert code == 0
    assert re.fullmatch(r"statorodds \d+\.\d+\.\d+\n", out)


def test_help_imports_nothing_heavy() -> None:
    code = (
        "import sys\nfrom studies.cli.main import main\ntry:\n    main(['--help'])\nexcept"
        " SystemExit:\n    pass\nheavy = {'numpy', 'scipy', 'pandas', 'numba', 'pydantic',"
        " 'joblib', 'matplotlib', 'seaborn'}\nsys.exit(' '.join(heavy & set(sys.modules))"
        " or 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_check_imports_no_plotting() -> None:
    code = (
        "import sys\nfrom studies.cli.main import main\nmain(['check', sys.argv[1]])\n"
        "sys.exit(' '.join({'pandas', 'matplotlib', 'seaborn', 'joblib'} & set(sys.modules)) or 0)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(STARTER)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr


def test_the_starter_is_a_valid_study_with_every_form(run: Run, tmp_path: Path) -> None:
    code, out, _ = run("new", "mine.toml")
    assert code == 0
    assert "statorodds run mine.toml" in out
    table = tomllib.loads((tmp_path / "mine.toml").read_text())
    study = read_study(tmp_path / "mine.toml")
    inputs = list_inputs(study)
    assert {item.distribution.family for item in inputs} == {*FAMILIES, "number"}
    given = [
        value
        for section in table.values()
        for value in (section.values() if isinstance(section, dict) else ())
        if isinstance(value, dict)
    ]
    for key in ("truncate", "shared", "varies", "source", "value", "tolerance_percent"):
        assert any(key in value for value in given), key
    assert study.correlations
    assert study.candidates.existing is not None
    assert not study.moves
    assert "invented" in (tmp_path / "mine.toml").read_text().splitlines()[0]


def test_a_name_plate_goes_into_the_starter(run: Run, tmp_path: Path) -> None:
    plate = ["--mva", "25", "--kv", "11", "--hz", "50", "--earthing-a", "200", "--ct", "1500/1"]
    code, out, err = run("new", "mine.toml", *plate)
    assert (code, err) == (0, "")
    assert "machine of 25 MVA, 11 kV, 50 Hz" in words(out)
    assert "statorodds run mine.toml" in out
    study = read_study(tmp_path / "mine.toml")
    assert study.machine.rated_current_a == pytest.approx(1312.16, abs=0.01)
    assert study.earthing.resistance_ohm.centre() == pytest.approx(31.75)
    assert run("new", "mine.toml", *plate)[0] == 2


def test_check_ends_with_the_caution(run: Run) -> None:
    code, out, err = run("check", "good.toml")
    assert (code, err) == (0, "")
    assert words(out).endswith(CAUTION)


def test_schema_is_json(run: Run) -> None:
    code, out, _ = run("schema")
    assert code == 0
    assert json.loads(out)["properties"]["machine"]


def test_run_writes_beside_the_current_folder_and_ends_with_the_caution(
    run: Run, quick: Callable[..., None], tmp_path: Path
) -> None:
    code, out, err = run("run", "good.toml")
    assert (code, err) == (0, "")  # no progress bar: stderr is not a terminal
    assert "the answer" in out
    assert "good-results" in out
    assert words(out).endswith(CAUTION)
    assert {path.name for path in (tmp_path / "good-results").iterdir()} == {
        "good.toml",
        REPORT,
        PROVENANCE,
    }
    assert (tmp_path / "good-results" / "good.toml").read_text() == minimal_study_text()


def test_a_pdf_that_cannot_be_made_is_a_line_and_no_failure(
    run: Run, quick: Callable[..., None], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("studies.report.pdf.find_browser", lambda: None)
    code, out, _ = run("run", "good.toml", "--pdf")
    assert code == 0
    assert (
        "No report.pdf: neither Chromium nor Chrome nor Edge was found; print report.html from any"
        " browser." in words(out)
    )
    monkeypatch.setattr("studies.report.pdf.find_browser", lambda: str(tmp_path / "gone"))
    code, out, _ = run("run", "good.toml", "--pdf", "--replace")
    assert code == 0
    assert "could not print it (No such file or directory)" in words(out)
    assert not list((tmp_path / "good-results").glob("*.pdf"))
    assert "No report.pdf" not in run("run", "good.toml", "--replace")[1]


def test_a_pdf_that_is_made_is_one_of_the_files(
    run: Run, quick: Callable[..., None], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def printed(browser: str, page: Path) -> str:
        page.with_suffix(".pdf").write_bytes(b"%PDF-")
        return ""

    monkeypatch.setattr("studies.report.pdf.find_browser", lambda: "a browser")
    monkeypatch.setattr("studies.report.pdf.print_page", printed)
    assert run("run", "good.toml", "--pdf")[0] == 0
    assert "report.pdf" in provenance(tmp_path / "good-results")["files"]


def test_options_reach_the_study(run: Run, quick: Callable[..., None], tmp_path: Path) -> None:
    assert (
        run("run", "good.toml", "--out", "o", "--samples", "640", "--seed", "0", "--workers", "3")[
            0
        ]
        == 0
    )
    record = provenance(tmp_path / "o")
    assert (record["samples"], record["seed"], record["workers"]) == (640, 0, 3)
    assert (
        record["command"] == "statorodds run good.toml --out o --samples 640 --seed 0 --workers 3"
    )


def test_a_limit_that_the_samples_cannot_show_is_told_before_anything_is_sampled(
    run: Run, quick: Callable[..., None], tmp_path: Path
) -> None:
    def sample(progress: object) -> None:
        raise KeyboardInterrupt

    quick(sample)
    (tmp_path / "strict.toml").write_text(
        minimal_study_text().replace("p_false_max = 0.01", "p_false_max = 1e-5")
    )
    code, out, err = run("run", "strict.toml")
    assert (code, out) == (130, "")
    assert (
        err.splitlines()[0]
        == "statorodds: caution: With no false trip at all, 512 samples of each event bound"
        " false trips at 0.005 (95 %). The limit is 1e-05, so no candidate can be chosen. The limit"
        " needs at least 260000 samples (study.samples or --samples)."
    )
    assert "caution" not in run("run", "good.toml")[2]


def test_results_are_not_overwritten_unless_asked(run: Run, quick: Callable[..., None]) -> None:
    assert run("run", "good.toml")[0] == 0
    code, _, err = run("run", "good.toml")
    assert code == 2
    assert "good-results: exists and is not empty; add --replace" in err
    assert run("run", "good.toml", "--replace")[0] == 0


def test_the_folder_is_refused_before_anything_is_sampled(
    run: Run, quick: Callable[..., None], tmp_path: Path
) -> None:
    def sample(progress: object) -> None:
        raise AssertionError("sampled")

    quick(sample)
    (tmp_path / "file").write_text("")
    assert run("run", "good.toml", "--out", "file")[0] == 2


def test_interrupt_leaves_one_line_and_nothing_else(
    run: Run, quick: Callable[..., None], tmp_path: Path
) -> None:
    def stop(progress: object) -> None:
        raise KeyboardInterrupt

    quick(stop)
    before = sorted(tmp_path.iterdir())
    assert run("run", "good.toml") == (130, "", "statorodds: stopped; nothing was written\n")
    assert sorted(tmp_path.iterdir()) == before


def test_termination_is_tidy_and_the_handler_is_put_back(
    run: Run, quick: Callable[..., None], tmp_path: Path
) -> None:
    before, handler = sorted(tmp_path.iterdir()), signal.getsignal(signal.SIGTERM)
    for number in (signal.SIGTERM, signal.SIGHUP):
        quick(lambda progress, number=number: os.kill(os.getpid(), number))
        # these tests may themselves run under nohup
        mine = signal.signal(number, signal.SIG_DFL)
        try:
            assert run("run", "good.toml") == (
                128 + number,
                "",
                "statorodds: stopped; nothing was written\n",
            )
        finally:
            signal.signal(number, mine)
    assert sorted(tmp_path.iterdir()) == before
    assert signal.getsignal(signal.SIGTERM) is handler


def test_a_run_outlives_its_terminal_where_that_is_asked_for(
    run: Run, quick: Callable[..., None]
) -> None:
    quick(lambda progress: os.kill(os.getpid(), signal.SIGHUP))
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)  # as nohup does
    try:
        assert run("run", "good.toml")[0] == 0
    finally:
        signal.signal(signal.SIGHUP, before)


def test_a_reader_that_leaves_is_no_crash() -> None:
    command = f"{sys.executable} -m studies schema | head -c 10"
    done = subprocess.run(command, shell=True, capture_output=True, text=True, check=False)
    assert done.stderr == ""


# --- streams that are closed, full or left ------------------------------------


def shell(folder: Path, arguments: str) -> tuple[int, str, str]:
    """The command in a shell, which may close and redirect; code, stdout, stderr."""
    done = subprocess.run(
        f"exec {sys.executable} -m studies {arguments}",
        shell=True,
        capture_output=True,
        text=True,
        cwd=folder,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        check=False,
    )
    return done.returncode, done.stdout, done.stderr


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
@pytest.mark.parametrize(
    ("arguments", "done"),
    [
        ("--version", ""),
        ("--help", ""),
        ("schema", ""),
        pytest.param("check good.toml", "", marks=pytest.mark.slow),
        ("new b.toml", "b.toml is written; "),
    ],
)
def test_a_text_that_cannot_be_written_is_one_line(
    tmp_path: Path, arguments: str, done: str
) -> None:
    (tmp_path / "good.toml").write_text(minimal_study_text())
    assert shell(tmp_path, f"{arguments} >/dev/full") == (
        2,
        "",
        (
            f"statorodds: stdout: cannot be written (No space left on device); {done}send the text"
            " elsewhere\n"
        ),
    )


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        pytest.param("check good.toml >&-", 0, marks=pytest.mark.slow),
        ("check good.toml <&- >&- 2>&-", 0),
        ("--version >&-", 0),
        ("check no.toml 2>&-", 2),
        pytest.param("check no.toml 2>/dev/full", 2, marks=pytest.mark.slow),
        pytest.param("check no.toml >/dev/full 2>&1", 2, marks=pytest.mark.slow),
        pytest.param("check good.toml >/dev/full 2>&1", 2, marks=pytest.mark.slow),
    ],
)
def test_closed_and_full_streams_leave_the_exit_code(
    tmp_path: Path, arguments: str, code: int
) -> None:
    (tmp_path / "good.toml").write_text(minimal_study_text())
    assert shell(tmp_path, arguments) == (code, "", "")


class Full(io.StringIO):
    """A stdout on a full disk."""

    def write(self, text: str) -> int:
        raise OSError(28, "No space left on device")


def test_the_results_of_a_run_whose_text_is_lost_are_told(
    run: Run, quick: Callable[..., None], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    left: list[int] = []
    monkeypatch.setattr("studies.report.streams._lead_nowhere", left.append)
    with monkeypatch.context() as only_here:
        only_here.setattr("sys.stdout", Full())
        code, _, err = run("run", "good.toml")
    assert (code, left) == (2, [1])
    assert (
        err
        == "statorodds: stdout: cannot be written (No space left on device); the results are in "
        f"good-results{os.sep}; send the text elsewhere\n"
    )
    assert (tmp_path / "good-results" / PROVENANCE).exists()


def test_a_study_that_changes_while_it_is_read_is_filed_as_it_was_run(
    run: Run, tmp_path: Path, quick: Callable[..., None]
) -> None:
    file = tmp_path / "good.toml"
    quick(lambda progress: file.write_text("changed meanwhile"))
    reads: list[Path] = []
    plain = files.read_bounded

    def counted(path: Path, most: int) -> bytes:
        content = plain(path, most)
        if path == Path("good.toml"):
            reads.append(path)
            file.write_text(content.decode() + "# changed between two readings\n")
        return content

    with pytest.MonkeyPatch.context() as patch:
        for name, module in list(sys.modules.items()):
            if (
                name.startswith(("montecarlo", "studies"))
                and getattr(module, "read_bounded", None) is plain
            ):
                patch.setattr(module, "read_bounded", counted)
        assert run("run", "good.toml")[0] == 0
    assert len(reads) == 1
    assert (tmp_path / "good-results" / "good.toml").read_text() == minimal_study_text()
