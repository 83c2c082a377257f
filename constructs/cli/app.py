"""The command `buttress`. A command is imported when it is called, so that help costs little."""

from __future__ import annotations

import os
import sys
from importlib import import_module
from typing import Annotated, Any, NoReturn

import typer
from typer.core import TyperCommand, TyperGroup

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
PLAIN: dict[str, Any] = {"pretty_exceptions_enable": False, "rich_markup_mode": None,
                         "context_settings": {"help_option_names": ["-h", "--help"]}}
USAGE: Any = typer.BadParameter.__base__
"""Every mistake in the words of the command line itself."""


class Commands(TyperGroup):
    """The commands, of which only the one that is called is imported."""

    def __init__(self, **given: Any) -> None:
        super().__init__(**given)
        for name, (_, words) in COMMANDS.items():
            self.add_command(TyperCommand(name, help=words))

    def resolve_command(self, ctx: Any, args: list[str]) -> tuple[str | None, Any, list[str]]:
        name, found, rest = super().resolve_command(ctx, args)
        return name, loaded(name) if name else found, rest


def loaded(name: str) -> Any:
    """A command with its options."""
    module = import_module(f"buttress.cli.{COMMANDS[name][0]}")
    one = typer.Typer(add_completion=False, **PLAIN)
    one.command(name, cls=getattr(module, "Command", None))(getattr(module, name))
    return typer.main.get_command(one)


app = typer.Typer(
    name="buttress", no_args_is_help=True, cls=Commands, **PLAIN,
    help="Compare fixation constructs for fractures of the proximal tibia with a simplified "
         f"2D finite-element model.\n\n{LABEL}")


def version(show: bool) -> None:
    if show:
        print(f"buttress {__version__}")
        raise typer.Exit


@app.callback()
def root(show: Annotated[bool, typer.Option("--version", callback=version, is_eager=True,
                                            help="Print the version.")] = False) -> None:
    """List of commands below."""


def main() -> None:
    """Entry point: turns our own errors into one message and an exit code."""
    from buttress.cli.ending import end_on_signals
    from buttress.fe.errors import ButtressError, InputError

    end_on_signals()
    out = sys.stdout
    try:
        try:
            code = app(standalone_mode=False)
        finally:
            out.flush()    # here, where a full disk or a closed pipe can still be told
            if sys.stdout is not out:    # typer met a closed pipe, and would exit with 1
                raise BrokenPipeError
        sys.exit(code or 0)
    except USAGE as error:
        if not sys.argv[1:]:
            error.show()    # the help
            sys.exit(2)
        _tell(_as_input(error), 2)
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


def _tell(error: Any, code: int) -> NoReturn:
    """One message, with ``--json`` in its parts too, and the end."""
    from buttress.cli.common import print_json

    print(f"buttress: {error}", file=sys.stderr)
    if "--json" in sys.argv and not error.beside:
        print_json({"label": LABEL, "exit_code": code, "error": error.document()})
    sys.exit(code)


def _as_input(error: Any) -> Exception:
    """A mistake in the words of the command line as an error of ours."""
    from buttress.fe.errors import InputError

    where = error.ctx.command_path if error.ctx else "buttress"
    names = [n for n in getattr(getattr(error, "param", None), "opts", ()) if n.startswith("-")]
    return InputError(error.format_message().rstrip("."), key=", ".join(names),
                      expected=f"what {where} -h lists")


def _drop_output() -> None:
    """What cannot be written to standard output is not tried again when Python ends."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
