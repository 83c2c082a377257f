"""Options that every command has, and what a shell asks of it."""

from __future__ import annotations

import io
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from test_wrong_input import told

from buttress.cli import app
from buttress.study.read import example_text

COMMANDS = ("compare", "check", "examples", "verify", "sweep", "rank", "improve", "batch", "diff",
            "lesson")


@pytest.mark.parametrize("command", COMMANDS)
def test_short_help_is_the_long_one(command: str, monkeypatch: pytest.MonkeyPatch,
                                    capsys: pytest.CaptureFixture[str]) -> None:
    code, short, _ = told([command, "-h"], monkeypatch, capsys)
    assert (code, short) == (0, told([command, "--help"], monkeypatch, capsys)[1])
    assert "no effect" not in " ".join(short.split()).lower()


@pytest.mark.parametrize("option", ["--samples", "--seed"])
def test_no_option_is_offered_that_does_nothing(option: str, monkeypatch: pytest.MonkeyPatch,
                                                capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = told(["compare", "--example", "medial-shear", option, "1"], monkeypatch,
                          capsys)
    assert (code, out) == (2, "")
    assert f"No such option '{option}'" in err


def test_a_grid_refuses_a_seed(monkeypatch: pytest.MonkeyPatch,
                               capsys: pytest.CaptureFixture[str]) -> None:
    code, _, err = told(["sweep", "--example", "medial-shear", "--vary",
                         "section.modulus_scale=0.8,1", "--seed", "3"], monkeypatch, capsys)
    assert code == 2
    assert "key: --seed; value: 3; expected: --design lhs or sobol, or no --seed" in err


def test_quiet_leaves_out_the_notes_of_a_check(monkeypatch: pytest.MonkeyPatch,
                                               capsys: pytest.CaptureFixture[str]) -> None:
    words = ["check", "--example", "medial-shear"]
    assert "reason:" in told(words, monkeypatch, capsys)[1]
    quiet = told([*words, "--quiet"], monkeypatch, capsys)[1]
    assert "reason:" not in quiet
    assert "5 notes" in quiet


@pytest.mark.parametrize(("text", "code", "said"), [
    (example_text("medial-shear"), 0, "medial-shear: 6 constructs"), ("", 2, "standard input: "),
    ("widht = 3", 2, "standard input: "), ("#" * 1_000_001, 2, "standard input: the file is too")])
def test_a_study_may_come_from_standard_input(
        text: str, code: int, said: str, monkeypatch: pytest.MonkeyPatch,
        capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(text.encode())))
    got, out, err = told(["check", "-"], monkeypatch, capsys)
    assert got == code
    assert said in out + err


def asked_by_a_shell(what: str, **more: str) -> str:
    return subprocess.run(["buttress"], executable=Path(sys.executable).with_name("buttress"),
                          env=os.environ | {"_BUTTRESS_COMPLETE": what} | more, text=True,
                          capture_output=True, check=True).stdout


@pytest.mark.parametrize(("words", "said"), [
    ("buttress com", ["plain,compare"]), ("buttress check --example med", ["plain,medial-shear"]),
    ("buttress examples later", ["plain,lateral-depression", "plain,lateral-split"]),
    ("buttress lesson --o", ["plain,--out"]), ("buttress check s", ["file,s"]),
    ("buttress diff s", ["file,s"]), ("buttress compare --out s", ["file,s"])])
def test_a_shell_completes_commands_options_files_and_names_of_studies(
        words: str, said: list[str]) -> None:
    assert asked_by_a_shell("bash_complete", COMP_WORDS=words,
                            COMP_CWORD=str(len(words.split()) - 1)).split() == said


def test_a_shell_lists_the_commands_in_the_order_of_the_help() -> None:
    said = asked_by_a_shell("bash_complete", COMP_WORDS="buttress ", COMP_CWORD="1").split()
    assert said == [f"plain,{name}" for name in COMMANDS]


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_each_shell_gets_the_script_that_help_and_readme_name(
        shell: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    assert f"_BUTTRESS_COMPLETE={shell}_complete" in asked_by_a_shell(f"{shell}_source")
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    for text in (readme, told(["--help"], monkeypatch, capsys)[1]):
        assert f"_BUTTRESS_COMPLETE={shell}_source buttress" in text


def test_the_list_of_studies_fits_a_narrow_terminal(monkeypatch: pytest.MonkeyPatch,
                                                    capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setenv("COLUMNS", "60")
    lines = told(["examples"], monkeypatch, capsys)[1].splitlines()
    assert max(map(len, lines[:-1])) <= 60
    assert " ".join("\n".join(lines).split()).count("constructs: ") == 8


def test_check_fits_a_narrow_terminal(monkeypatch: pytest.MonkeyPatch,
                                      capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setenv("COLUMNS", "60")
    lines = told(["check", "--example", "medial-shear"], monkeypatch, capsys)[1].splitlines()
    assert max(map(len, lines[:-2])) <= 60


def test_the_list_of_commands_is_whole_at_80_columns(
        monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    _, listed, _ = told(["--help"], monkeypatch, capsys)
    assert "lesson" in listed
    lines = listed.splitlines()
    assert f"  lesson    {app.COMMANDS['lesson'][1]}" in lines
    assert f"  rank      {app.COMMANDS['rank'][1]}" in lines


@pytest.mark.skipif(os.name == "nt", reason="needs a POSIX shell")
def test_an_output_that_is_closed_is_no_fault_of_ours() -> None:
    done = subprocess.run(["sh", "-c", f"exec '{sys.executable}' -m buttress --help >&-"],
                          text=True, capture_output=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.skipif(os.name == "nt", reason="needs a POSIX shell")
@pytest.mark.parametrize(("words", "code"), [
    ("check --example lateral-depression --json", 0), ("check --example nothing --json", 2)])
def test_with_standard_error_closed_output_is_one_document(words: str, code: int) -> None:
    """Python prints on standard output what is meant for a standard error that is closed."""
    done = subprocess.run(["sh", "-c", f"exec '{sys.executable}' -m buttress {words} 2>&-"],
                          text=True, capture_output=True, check=False)
    assert done.returncode == code
    assert json.loads(done.stdout)["label"]


def test_the_list_of_commands_imports_none_of_them() -> None:
    code = ("import sys; from buttress.cli.app import main\nsys.argv = ['buttress', '-h']\n"
            "try:\n    main()\nfinally:\n"
            "    print(*(m for m in sys.modules if m.startswith('buttress.cli')))")
    done = subprocess.run([sys.executable, "-c", code], text=True, capture_output=True, check=True)
    assert set(done.stdout.splitlines()[-1].split()) == {
        "buttress.cli", "buttress.cli.app", "buttress.cli.ending", "buttress.cli.signs"}


@pytest.mark.parametrize("command", COMMANDS)
def test_arguments_are_named_in_words_and_bracketed_once(
        command: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    _, text, _ = told([command, "-h"], monkeypatch, capsys)
    usage = text.splitlines()[0].split("[OPTIONS]")[1]
    assert not re.search(r"\[\[|\{\{|\.{4}|[{\[][a-z]+[}\]]", usage)


@pytest.mark.parametrize(("words", "key", "said"), [
    (["compare", "--bogus"], "", "No such option '--bogus'"),
    (["compare", "--workers", "x"], "--workers", "'x' is not a valid integer"),
    (["sweep", "--samples", "1.5"], "--samples", "'1.5' is not a valid integer"),
    (["rank", "--load", "x"], "--load", "'x' is not a valid number"),
    (["sweep", "--seed", "-1"], "--seed", "'--seed'"), (["batch"], "", "Missing"),
    (["compare", "--svg=3"], "--svg", "does not take a value"),
    (["compare", "--out"], "--out", "requires an argument"),
    (["compare", "--motion", "one"], "--motion", "requires 2 arguments"),
    (["compare", "--", "--error-bars", "b.toml"], "", "extra argument (b.toml)"),
    (["check", "--exampl", "x"], "", "Did you mean '--example'?"),
    (["bench"], "", "Did you mean 'batch'?"), (["compare", "a.toml", "b.toml"], "", "b.toml")])
def test_a_mistake_on_the_command_line_is_one_message_in_parts_too(
        words: list[str], key: str, said: str, monkeypatch: pytest.MonkeyPatch,
        capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = told([words[0], "--json", *words[1:]], monkeypatch, capsys)
    found = json.loads(out)
    assert (code, found["exit_code"]) == (2, 2)
    assert said in found["error"]["message"]
    assert found["error"]["key"] == key
    command = f" {words[0]}" if words[0] in COMMANDS else ""
    assert found["error"]["expected"].endswith(f"{command} -h lists")
    [line] = err.splitlines()
    assert line.startswith("buttress: ")
    code, out, err = told(words, monkeypatch, capsys)
    assert (code, out) == (2, "")


@pytest.mark.parametrize("command", COMMANDS)
def test_the_list_of_commands_says_what_the_help_of_each_says(command: str) -> None:
    """They are written apart, so that the list needs no import of them."""
    assert set(COMMANDS) == set(app.COMMANDS)
    said = " ".join(str(app.loaded(command).help).split())
    assert said.startswith(app.COMMANDS[command][1])
