"""The commands: parse, call, print. Whatever is wrong is one line, and exit status 2."""

from __future__ import annotations

import os
import re
import sys
from typing import Annotated

import typer
from typer.exceptions import TyperException

from hivewatch.cli import records, said, service
from hivewatch.errors import HivewatchError

app = typer.Typer(
    help="Watch honey-bee colonies from weight, warmth and traffic, and tell a phone.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    add_completion=False,
    rich_markup_mode=None,  # plain help, which any terminal and any reader of screens can show
)
for part in (service, records, said):
    app.add_typer(part.app)


def _say_version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import version

        typer.echo(f"hivewatch {version('hivewatch')}")
        raise typer.Exit


@app.callback()
def _before_any_command(
    _version: Annotated[
        bool,
        typer.Option(
            "--version", callback=_say_version, is_eager=True, help="Print the version and exit."
        ),
    ] = False,
) -> None:
    pass


def main() -> None:
    """Run the command line; a known fault is one line and status 2."""
    try:
        sys.exit(app(standalone_mode=False))
    except TyperException as error:
        _say_misuse(error)
        sys.exit(2)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(1)
    except HivewatchError as error:
        for line in str(error).splitlines():
            typer.echo(f"hivewatch: {line}", err=True)
        sys.exit(2)
    except Exception as error:
        from sqlalchemy.exc import OperationalError

        from hivewatch.store.open import explain

        if not isinstance(error, OperationalError):
            raise
        typer.echo(f"hivewatch: {explain('the store', error)}", err=True)
        sys.exit(2)


def _say_misuse(error: TyperException) -> None:
    """Say what is wrong with the words of the command line, in one line."""
    said = getattr(error, "format_message", lambda: str(error))()
    if said.startswith("Usage:"):
        typer.echo(said)
        said = "no command"
    said = said.replace("Input should be", "must be").replace("Value error, ", "").rstrip(".")
    said = re.sub(r"a valid integer.*", "a whole number", said)
    said = re.sub(r"a valid number.*", "a number", said)
    words = getattr(getattr(error, "ctx", None), "command_path", "hivewatch")
    typer.echo(f"hivewatch: {said}; see {words} --help", err=True)
