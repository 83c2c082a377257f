"""No run is lost: two at once, a full disk, a place that is read-only, a run that is ended."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import threading
import time
import weakref
from pathlib import Path

import pytest
from test_wrong_input import told

from buttress import files
from buttress.cli.ending import end_on_signals
from buttress.fe.errors import ButtressError, InputError
from buttress.files import claimed, drafted, new_folder, write_file
from buttress.report import folder as report_folder
from buttress.study.read import example_text

STUDY = example_text("medial-shear").replace("[load]", "[mesh]\nsize_mm = 4\n\n[load]", 1)
FULL = OSError(28, os.strerror(28))


@pytest.fixture
def study(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    head, *constructs = STUDY.split("[[construct]]\n")
    nothing = next(c for c in constructs if c.startswith('name = "nothing"'))
    (tmp_path / "s.toml").write_text(f"{head}[[construct]]\n{nothing}")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize("given", [None, Path("out"), Path("empty")])
def test_runs_at_the_same_time_never_share_a_folder(
        given: Path | None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("empty").mkdir()
    together, found = threading.Barrier(8), []

    def one(number: int) -> None:
        folder = new_folder("study", given, False)
        together.wait()
        with drafted(folder) as draft:
            (draft / "a.txt").write_text(f"{number}")
            (draft / "b.txt").write_text(f"{number}")
            together.wait()
            found.append((number, claimed(draft, folder)))

    threads = [threading.Thread(target=one, args=(i,)) for i in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len({folder for _, folder in found}) == 8
    for number, folder in found:
        assert {p.name: p.read_text() for p in folder.iterdir()} == {
            "a.txt": str(number), "b.txt": str(number)}


def test_a_command_names_the_folder_that_it_got(
        study: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    write = report_folder.write_results

    def other_run_first(comparison, draft, *rest, **more) -> None:  # type: ignore[no-untyped-def]
        write(comparison, draft, *rest, **more)
        shutil.copytree(draft, "results/medial-shear-001")

    monkeypatch.setattr(report_folder, "write_results", other_run_first)
    _, out, _ = told(["compare", "s.toml", "--quiet"], monkeypatch, capsys)
    assert "results: results/medial-shear-002" in out
    assert {p.name for p in (study / "results").iterdir()} == {
        "medial-shear-001", "medial-shear-002"}


@pytest.mark.parametrize("command", [["compare", "s.toml"], ["lesson", "s.toml"],
                                     ["examples", "medial-shear", "--gallery", "g"]])
def test_too_little_space_is_told_before_solving(
        command: list[str], study: Path, monkeypatch: pytest.MonkeyPatch,
        capsys: pytest.CaptureFixture[str]) -> None:
    real = shutil.disk_usage
    monkeypatch.setattr(files.shutil, "disk_usage",
                        lambda path: real(path)._replace(free=10**6))
    code, out, err = told(command, monkeypatch, capsys)
    assert (code, out) == (2, "")
    [line] = err.splitlines()
    assert "No space left" in line
    assert "solving" not in err
    assert [p.name for p in study.iterdir()] == ["s.toml"]


def test_a_place_that_cannot_be_written_to_is_told_before_solving(
        study: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(InputError, match="cannot be written there"):
        new_folder("s", Path("/proc/results"), False)


def test_the_table_is_shown_where_it_cannot_be_written(
        study: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    def full(*rest) -> None:  # type: ignore[no-untyped-def]
        raise FULL

    monkeypatch.setattr(report_folder, "copy_files", full)
    code, out, err = told(["compare", "s.toml", "--quiet"], monkeypatch, capsys)
    assert code == 1
    assert "nothing: capacity 0 N" in out
    assert "results:" not in out
    assert err.splitlines()[-1] == ("buttress: results/medial-shear-001: cannot be written: "
                                    "No space left on device")
    assert list((study / "results").iterdir()) == []


def test_a_file_that_cannot_be_written_leaves_nothing(tmp_path: Path,
                                                      monkeypatch: pytest.MonkeyPatch) -> None:
    def full(path: Path, text: str, encoding: str) -> None:
        path.touch()
        raise FULL

    monkeypatch.setattr(Path, "write_text", full)
    with pytest.raises(OSError, match="No space"):
        write_file(tmp_path / "a.toml", "text")
    with pytest.raises(ButtressError, match="No space"), drafted(tmp_path / "out") as draft:
        (draft / "a").write_text("text", encoding="utf-8")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full here")
def test_a_full_device_as_output_is_one_message() -> None:
    with open("/dev/full", "w") as full:
        done = subprocess.run([sys.executable, "-m", "buttress", "check", "--example",
                               "medial-shear"], stdout=full, stderr=subprocess.PIPE, text=True,
                              check=False)
    assert done.returncode == 1
    assert done.stderr == "buttress: the output: No space left on device\n"


@pytest.mark.parametrize("at_once", ["", "1"])
@pytest.mark.parametrize("command", ["examples --keys", "--version", "check --example bicondylar"])
def test_a_reader_that_leaves_ends_it_quietly(command: str, at_once: str) -> None:
    read, write = os.pipe()
    os.close(read)
    with os.fdopen(write, "w") as pipe:
        done = subprocess.run([sys.executable, "-m", "buttress", *command.split()], stdout=pipe,
                              stderr=subprocess.PIPE, text=True, check=False,
                              env=os.environ | {"PYTHONUNBUFFERED": at_once})
    assert (done.returncode, done.stderr) == (141, "")


def ended(words: list[str], folder: Path, sign: str, number: int = signal.SIGTERM
          ) -> tuple[int, float, str]:
    """A command that gets a signal once it says something: code, seconds to its end, its words."""
    before = signal.signal(number, signal.SIG_DFL)  # a background job would inherit deaf ears
    process = subprocess.Popen([sys.executable, "-m", "buttress", *words], cwd=folder, text=True,
                               stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    signal.signal(number, before)
    assert process.stderr is not None
    for line in process.stderr:
        if sign in line:
            break
    time.sleep(0.2)
    clock = time.monotonic()
    process.send_signal(number)
    _, err = process.communicate(timeout=100)
    return process.returncode, time.monotonic() - clock, err


@pytest.mark.skipif(os.name == "nt", reason="this system has no SIGTERM to hear")
def test_sigterm_leaves_no_draft_behind(study: Path) -> None:
    code, _, err = ended(["compare", "s.toml"], study, "drawing")
    assert code == 128 + signal.SIGTERM
    assert "Traceback" not in err
    assert list((study / "results").iterdir()) == []


@pytest.mark.parametrize(("number", "end"), [
    (signal.SIGTERM, SystemExit), (signal.SIGINT, KeyboardInterrupt)])
def test_a_signal_is_heard_where_python_drops_exceptions(
        number: int, end: type[BaseException], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "unraisablehook", sys.unraisablehook)
    before = {n: signal.getsignal(n) for n in (signal.SIGTERM, signal.SIGINT)}
    things = [threading.Event()]
    watch = weakref.ref(things[0], lambda gone: signal.raise_signal(number))

    def drop() -> None:
        things.clear()
        for _ in range(1000):    # a single sleep is not cut short by it
            time.sleep(0.01)

    try:
        # A process that was started in the background ignores Ctrl-C.
        signal.signal(signal.SIGINT, signal.default_int_handler)
        end_on_signals()
        with pytest.raises(end):
            drop()
    finally:
        for each, handler in before.items():
            signal.signal(each, handler)
    assert watch() is None


@pytest.mark.skipif(os.name == "nt", reason="this system has no SIGTERM to hear")
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_lesson_stops_soon(study: Path, number: int) -> None:
    code, seconds, err = ended(["lesson", "s.toml"], study, "condensing", number)
    assert code == 128 + number
    assert seconds < 5.0
    assert "Traceback" not in err


