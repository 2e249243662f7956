"""The command line as a whole: help, version, completion, exit statuses, and words it cannot use."""

import re
import shutil
import signal
import subprocess
from pathlib import Path

import pytest
from commands import CANNOT_BEND, HAULER, TRAILER, command, environment, process, run

from railmodel import __version__
from railmodel.app.cli import app

NAMES = sorted(str(entry.name or entry.callback.__name__) for entry in app.registered_commands if entry.callback)


def test_the_commands_of_the_contract_are_there() -> None:
    assert {"table", "check", "build", "new"} <= set(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_every_command_has_help_with_an_example(name: str) -> None:
    ran = run(name, "--help")
    assert (ran.status, ran.err) == (0, "")
    assert re.search(rf"Examples?: railmodel {name} ", ran.out)
    assert "--help" in ran.out


def test_the_whole_has_help_with_an_example_and_says_its_version() -> None:
    ran = run("--help")
    assert (ran.status, ran.err) == (0, "")
    assert "Example: railmodel " in ran.out
    assert all(re.search(rf"^  {name} ", ran.out, re.MULTILINE) for name in NAMES)
    assert run("--version").out == f"railmodel {__version__}\n"


def test_without_words_it_shows_its_help() -> None:
    ran = run()
    assert ran.status == 2
    assert ran.err.startswith("Usage: railmodel")


def test_as_a_module_it_works_alike() -> None:
    ran = process("--version")
    assert (ran.status, ran.out, ran.err) == (0, f"railmodel {__version__}\n", "")


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["tabel"], "railmodel: No such command 'tabel'. Did you mean 'table'; see railmodel --help"),
        (["frob"], "railmodel: No such command 'frob'; see railmodel --help"),
        (["table"], "railmodel table: Missing argument 'JOB'; see railmodel table --help"),
        (["check", "--jsn", "x"], "railmodel check: No such option: --jsn"),
        (["check", "a", "b"], "railmodel check: Got unexpected extra argument"),
        (["table", "x", "--format", "pdf"], "Invalid value for '--format': 'pdf' is not one of 'json', 'csv', 'xlsx'"),
        (["table", "x", "--hand", "both"], "Invalid value for '--hand': 'both' is not one of 'left', 'right'"),
        (["build", "x", "--dxf", "r9"], "Invalid value for '--dxf': 'r9' is not one of 'r2010', 'r12'"),
    ],
)
def test_words_it_cannot_use_end_with_2_and_one_sentence(words: list[str], says: str) -> None:
    assert says in run(*words).sentence


@pytest.mark.parametrize("name", ["table", "check", "build", "plan"])
def test_a_job_that_is_not_there_ends_with_2_and_one_sentence(name: str, tmp_path: Path) -> None:
    job = tmp_path / "none.yaml"
    assert run(name, job).sentence == f"{job}: cannot be read (no such file or directory); check the name"


@pytest.mark.parametrize("name", ["table", "check", "build"])
def test_a_job_that_is_not_valid_ends_with_2_and_a_sentence_a_problem(name: str, tmp_path: Path) -> None:
    job = tmp_path / "bad.yaml"
    job.write_text("job: x\nunits: ells\ntubes: {}\nparts: []\nwrong: 1\n")
    ran = run(name, job)
    assert (ran.status, ran.out) == (2, "")
    lines = ran.err.splitlines()
    assert len(lines) == 4
    assert all(re.match(r"bad\.yaml:\d+:\d+: ", line) for line in lines)


@pytest.mark.parametrize(("job", "status"), [(HAULER, 0), (CANNOT_BEND, 1)])
def test_exit_status_is_0_when_all_is_well_and_1_when_findings_stop_the_job(job: Path, status: int) -> None:
    assert run("check", job).status == status
    assert run("check", job, "--json").status == status
    table = run("table", job)
    assert table.status == status
    assert (table.err == "") == (status == 0)
    assert all(line.startswith("STOP ") for line in table.err.splitlines())


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_shell_completion_can_be_shown_and_completes_commands(shell: str) -> None:
    script = process(_RAILMODEL_COMPLETE=f"source_{shell}")
    assert script.status == 0
    assert "_RAILMODEL_COMPLETE" in script.out
    words = {"COMP_WORDS": "railmodel ta", "COMP_CWORD": "1"}
    more = {"_TYPER_COMPLETE_ARGS": "railmodel ta", "_TYPER_COMPLETE_FISH_ACTION": "get-args"}
    found = process(**words, **more, _RAILMODEL_COMPLETE=f"complete_{shell}")
    assert "table" in found.out


def test_names_that_the_terminal_cannot_show_are_no_traceback(tmp_path: Path) -> None:
    job = tmp_path / "job.yaml"
    job.write_text("job: Ωmega\nunits: mm\ntubes: {m: {height: 80, width: 40, wall: 3}}\n"
                   "parts: [{name: é rail, tube: m, points: [[0, 0, 0], [900, 0, 0]]}]\n")  # fmt: skip
    for words in (["table", job], ["table", job, "--format", "csv"], ["check", job], ["check", job, "--json"]):
        ran = process(*words, PYTHONIOENCODING="ascii")
        assert (ran.status, ran.err) == (0, "")
        assert "Ωmega" in ran.out


@pytest.mark.parametrize("words", [("table", HAULER), ("check", HAULER), ("check", HAULER, "--json"), ("--help",)])
def test_a_reader_that_has_seen_enough_is_no_noise(words: tuple[str | Path, ...]) -> None:
    writer = subprocess.Popen(command(*words), env=environment(), stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    assert writer.stdout is not None
    assert writer.stderr is not None
    writer.stdout.close()  # as `| head -0` does
    said = writer.stderr.read()
    writer.stderr.close()
    writer.wait(60)
    assert said == b""


def test_only_the_first_line_taken_is_no_noise_either() -> None:
    writer = subprocess.Popen(
        command("table", HAULER), env=environment(), stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    assert writer.stdout is not None
    assert writer.stderr is not None
    assert writer.stdout.readline() == b"[\n"
    writer.stdout.close()
    said = writer.stderr.read()
    writer.stderr.close()
    writer.wait(60)
    assert said == b""


@pytest.mark.parametrize("words", [("table", TRAILER), ("check", TRAILER), ("--version",)])
def test_a_disk_that_is_full_is_one_sentence(words: tuple[str | Path, ...]) -> None:
    with Path("/dev/full").open("wb") as full:
        ended = subprocess.run(command(*words), env=environment(), stdout=full, stderr=subprocess.PIPE)
    assert ended.returncode == 2
    (line,) = ended.stderr.decode().splitlines()
    assert line == "output: cannot be read or written (no space left on device); check the name and the disk"


def test_with_its_output_closed_it_still_answers_by_its_status() -> None:
    shell = "exec \"$@\" >&- 2>&-"
    for job, status in ((TRAILER, 0), (CANNOT_BEND, 1)):
        ended = subprocess.run(["sh", "-c", shell, "sh", *command("check", job)], env=environment())
        assert ended.returncode == status


def test_an_interrupted_build_says_that_what_is_written_is_whole(tmp_path: Path) -> None:
    # a shell has what it runs in the background ignore interrupts, and a child would inherit that
    signal.signal(signal.SIGINT, signal.default_int_handler)
    builder = subprocess.Popen(
        command("build", TRAILER, "--out", tmp_path), env=environment(), stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    assert builder.stdout is not None
    builder.stdout.readline()
    builder.send_signal(signal.SIGINT)
    _, said = builder.communicate(timeout=60)
    assert builder.returncode == 130
    assert said == b"stopped; files already written are whole\n"


def test_new_writes_a_starter_that_checks_and_tables_well(tmp_path: Path) -> None:
    job = tmp_path / "my_truck.yaml"
    ran = run("new", job)
    assert (ran.status, ran.err) == (0, "")
    assert f"railmodel build {job}" in ran.out
    assert run("check", job).status == 0
    assert run("table", job).status == 0
    again = run("new", job)
    assert again.status == 2  # what is there is not written over
    assert str(job) in again.sentence


def test_no_command_writes_over_what_it_reads(tmp_path: Path) -> None:
    job = tmp_path / "demo_jobs" / "hillside_hauler" / "hauler.yaml"
    shutil.copytree(HAULER.parents[1], tmp_path / "demo_jobs")
    record = job.parent / "measured" / "right_rail.yaml"
    layout = tmp_path / "layout.yaml"
    layout.write_text("layout: x\n")
    before = {path: path.read_bytes() for path in (job, record, job.parents[1] / "shop.yaml", layout)}
    for words in (
        ("table", job, "--out", job),
        ("table", job, "--out", job.parents[1] / "shop.yaml"),
        ("table", job, "--layout", layout, "--out", layout),
        ("import-mesh", job, "--out", job),
    ):
        assert "is read by this command; give another file name; nothing was written" in run(*words).sentence
    for words in (
        ("sure", job, "--samples", "200", "--paper", job),
        ("measured", job, record, "--paper", record),
        ("correct", job, record, "--paper", job),
    ):
        assert "allowed: a file name that ends in .pdf" in run(*words).sentence
    assert {path: path.read_bytes() for path in before} == before
