"""The application: which commands there are, and what becomes of an expected failure."""

import functools
import os
import sys
from typing import Annotated

import typer

from classifier import __version__
from classifier.commands import helptext, show
from classifier.errors import CallkeyError

application = typer.Typer(
    name="callkey",
    cls=helptext.Group,
    rich_markup_mode=None,
    add_completion=False,
    pretty_exceptions_enable=False,
    no_args_is_help=True,
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog="callkey demo",
)


def _print_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"callkey {__version__}")
        raise typer.Exit


@application.callback()
def callkey(
    version: Annotated[
        bool,
        typer.Option("--version", callback=_print_version, is_eager=True, help="Print the version and stop."),
    ] = False,
) -> None:
    """Identify bats by their calls with a key that you own: a text file that you can read, revise and defend.

    Exit codes: 0 done; 1 the input or the key has faults, each named; 2 the command line is wrong.
    """


def expected_failures(command):
    """Wrap a command so that an expected failure becomes one sentence on stderr and exit code 1."""

    @functools.wraps(command)
    def wrapped(*args, **options):
        try:
            return command(*args, **options)
        except CallkeyError as error:
            show.fault(str(error))
        except BrokenPipeError:
            # Whoever read our output has closed it, as `head` does; nothing is left to say to them.
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        except OSError as error:
            show.fault(_os_sentence(error))
        except KeyboardInterrupt:
            show.say("Stopped. What was done is kept; the same command goes on from there.")
        raise typer.Exit(1)

    return wrapped


def _os_sentence(error: OSError) -> str:
    """What the system said, with the file it said it about."""
    where = f"{error.filename}: " if error.filename else ""
    return f"{where}{error.strerror or error}; check that the place exists, can be written and has room"


def _register() -> None:
    from classifier.commands import audit, check, compare, demo, explain, format, label, measure, metrics, new, plan

    for module in (demo, measure, label, new, check, format, explain, compare, audit, plan, metrics):
        name = module.__name__.rsplit(".", 1)[1]
        command = getattr(module, name)
        application.command(name, cls=helptext.Command, epilog=module.EXAMPLE)(expected_failures(command))


_register()
