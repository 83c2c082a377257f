"""The command `buttress`. A command is imported when it is called, so that help costs little."""

from __future__ import annotations

import gc
import os
import sys
from importlib import import_module
from typing import Any, NoReturn

import click

from buttress import LABEL, __version__

COMMANDS = {
    "compare": ("compare", "Compare the constructs of a study."),
    "check": ("check", "Check geometry and rules of the trade without solving."),
    "examples": ("check", "List the shipped studies, or copy one as a starting point."),
    "verify": ("verify", "Compute the verification table against published values."),
    "sweep": ("sweep", "Solve many variants of a study into one store."),
    "rank": ("sweep", "Compute how certain the ranking is, and what drives it."),
    "improve": ("improve", "Search for a better placement of parts (educational)."),
    "batch": ("many", "Solve many studies into one store."),
    "diff": ("many", "Tell what differs between two results, or two studies."),
    "lesson": ("lesson", "Write one teaching page for offline use."),
}
"""Of each command its module in this package, where it is the function of that name, and the first
sentence of its help."""

COMPLETION = """\b
To let a shell complete words, in the file that it reads when it starts:
  bash  eval "$(_BUTTRESS_COMPLETE=bash_source buttress)"
  zsh   eval "$(_BUTTRESS_COMPLETE=zsh_source buttress)"
  fish  _BUTTRESS_COMPLETE=fish_source buttress | source"""


class Commands(click.Group):
    """The commands, of which only the one that is called is imported."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self.commands)    # as written, not by name

    def resolve_command(self, ctx: click.Context, args: list[str]
                        ) -> tuple[str | None, click.Command | None, list[str]]:
        name, found, rest = super().resolve_command(ctx, args)
        return name, loaded(name) if name else found, rest


def loaded(name: str) -> click.Command:
    """A command with its options."""
    command: click.Command = getattr(import_module(f"buttress.cli.{COMMANDS[name][0]}"), name)
    return command


@click.group("buttress", cls=Commands,
             context_settings={"help_option_names": ["-h", "--help"], "show_default": True},
             help="Compare fixation constructs for fractures of the proximal tibia with a "
                  f"simplified 2D finite-element model.\n\n{LABEL}", epilog=COMPLETION)
@click.version_option(__version__, message="buttress %(version)s", help="Print the version.")
def app() -> None:
    """The list of commands, which stand here with a sentence in place of their options."""


for _name, (_, _words) in COMMANDS.items():
    app.add_command(click.Command(_name, short_help=_words))


def main() -> None:
    """Entry point: turns our own errors into one message and an exit code."""
    from buttress.cli.ending import end_on_signals
    from buttress.cli.signs import write_what_can_be_written
    from buttress.fe.errors import ButtressError, InputError

    _with_errors()
    write_what_can_be_written()
    end_on_signals()
    gc.set_threshold(50_000, 10, 10)    # collecting rubbish took 3 % of a comparison's time
    out = sys.stdout
    try:
        try:
            code = app(standalone_mode=False)
        finally:
            if out:    # None where it is closed
                out.flush()    # here, where a full disk or a closed pipe can still be told
            if sys.stdout is not out:    # click met a closed pipe, and would exit with 1
                raise BrokenPipeError
        sys.exit(code or 0)
    except click.exceptions.NoArgsIsHelpError as error:
        error.show()
        sys.exit(2)
    except click.UsageError as error:
        _tell(_as_input(error), 2)
    except click.Abort:    # Ctrl-C
        sys.exit(130)
    except ButtressError as error:
        _tell(error, 2 if isinstance(error, InputError) else 1)
    except BrokenPipeError:    # as `| head` leaves it
        _drop_output()
        sys.exit(141)
    except OSError as error:
        _drop_output()
        print(f"buttress: {error.filename or 'the output'}: {error.strerror or error}",
              file=sys.stderr)
        sys.exit(1)


def _with_errors() -> None:
    """Where standard error is closed, what is printed on it goes nowhere: Python would print it on
    standard output, and the next file that is opened would take its place."""
    if sys.stderr is not None:
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    if nowhere != 2:
        os.dup2(nowhere, 2)
        os.close(nowhere)
    sys.stderr = os.fdopen(2, "w", encoding="utf-8", closefd=False)


def _tell(error: Any, code: int) -> NoReturn:
    """One message, with ``--json`` in its parts too, and the end."""
    from buttress.cli.common import print_json

    print(f"buttress: {error}", file=sys.stderr)
    if "--json" in sys.argv and not error.beside:
        print_json({"label": LABEL, "exit_code": code, "error": error.document()})
    sys.exit(code)


def _as_input(error: click.UsageError) -> Exception:
    """A mistake in the words of the command line as an error of ours."""
    from buttress.fe.errors import InputError

    where = error.ctx.command_path if error.ctx else "buttress"
    names = [n for n in getattr(getattr(error, "param", None), "opts", ()) if n.startswith("-")]
    if isinstance(error, click.BadOptionUsage):    # a missing value
        names = [error.option_name]
    return InputError(error.format_message().rstrip("."), key=", ".join(names),
                      expected=f"what {where} -h lists")


def _drop_output() -> None:
    """What cannot be written to standard output is not tried again when Python ends."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
