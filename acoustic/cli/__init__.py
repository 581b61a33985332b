"""The command line: a module a command, imported only when it is called."""

from __future__ import annotations

import errno
import importlib
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, TextIO

import click

from acoustic import __version__
from acoustic.errors import (
    EXIT_INTERRUPTED,
    EXIT_OUR_BUG,
    EXIT_PIPE_CLOSED,
    EXIT_UNUSABLE,
    AcousticError,
)
from acoustic.text import legible


class ReaderWentAwayError(Exception):
    """Whoever read our output has closed it."""


class LegibleStream:
    """A stream that shows controls: names of files, and texts of plugins and catalogues, may hold any."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        """Write a text, with what nobody sees in it escaped."""
        self._stream.write(legible(text))
        return len(text)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


class LazyGroup(click.Group):
    """Holds its commands' names and one-line help, so that --help imports none of them."""

    COMMANDS = {  # noqa: RUF012 - read only
        "guide": ("acoustic.cli.guide:guide", "Show the user's guide, topic by topic."),
        "check": ("acoustic.cli.check:check", "Judge recordings of a crank bearing."),
        "triage": ("acoustic.cli.triage:triage", "Find where a creak comes from, from several recordings."),
        "bike": ("acoustic.cli.bike:bike", "Keep a list of bikes and their bearings."),
        "visit": ("acoustic.cli.visit:visit", "Keep recordings and verdicts by bike and day."),
        "install": ("acoustic.cli.install:install", "Check a fresh install: fit, seat, final spin."),
        "trend": ("acoustic.cli.trend:trend", "Show how a bearing wears and when it will be due."),
        "due": ("acoustic.cli.due:due", "List what falls due over all bikes, soonest first."),
        "report": ("acoustic.cli.report:report", "Write one page about a bike: verdict, pictures, sound, trend."),
        "lifetimes": ("acoustic.cli.lifetimes:lifetimes", "Show which bearing lasts in which frame and use."),
        "book": ("acoustic.cli.book:book", "Make a book; export or import the whole of it as one file."),
        "serve": ("acoustic.cli.serve:serve", "Serve the counter page to phones and laptops in the workshop."),
        "orders": ("acoustic.cli.orders:orders", "Show the defect orders of a bearing."),
        "bearings": ("acoustic.cli.bearings:bearings", "List or search the bearing catalogue."),
        "demo": ("acoustic.cli.demo:demo", "Judge the demo recordings; show expected and found."),
        "schema": ("acoustic.cli.schema:schema", "Print the JSON Schema of a document that the program writes."),
        "plugins": ("acoustic.cli.plugins:plugins", "Show the installed plugins and which are broken."),
    }

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names of the commands, in the order a newcomer needs them."""
        return list(self.COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import one command."""
        if cmd_name not in self.COMMANDS:
            return None
        module, _, attribute = self.COMMANDS[cmd_name][0].partition(":")
        command: click.Command = getattr(importlib.import_module(module), attribute)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command; for one that is misspelt name the nearest, of which click knows none unloaded."""
        if args and not args[0].startswith("-") and args[0] not in self.COMMANDS:
            from difflib import get_close_matches

            near = get_close_matches(args[0], self.COMMANDS)
            ctx.fail(f"No such command {args[0]!r}." + (f" Did you mean {' or '.join(near)}?" if near else ""))
        return super().resolve_command(ctx, args)

    def invoke(self, ctx: click.Context) -> object:
        """Call the command; where nobody reads the result, click would end with 1: 'at or past'."""
        try:
            return super().invoke(ctx)
        except OSError as error:
            if _reader_went_away(error):
                raise ReaderWentAwayError from error
            raise

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the commands' help without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, text) for name, (_, text) in self.COMMANDS.items()])


@click.group(
    cls=LazyGroup,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Exit codes: 0 done; 1 at or past --fail-on, or a demo that differs; 2 the call or the recording "
    "cannot be used; 3 a plugin failed, so undecided; 70 a fault of the program; 130 stopped by Ctrl-C; 141 the "
    "reader of the output went away. Of several recordings the highest counts.",
)
@click.version_option(__version__, prog_name="acoustic")
@click.option(
    "--debug",
    is_flag=True,
    help="Show the stack trace of an error, a plugin's included; allowed anywhere in the call.",
)
def group(debug: bool) -> None:
    """Listen to a bicycle's crank bearing: a phone recording goes in, a graded bearing comes out.

    If you are new to it, start with: acoustic guide start
    """


def main(arguments: list[str] | None = None) -> None:
    """Run a command and turn errors into a sentence and an exit code."""
    given = list(sys.argv[1:] if arguments is None else arguments)
    debug = "--debug" in given
    given = [argument for argument in given if argument != "--debug"]
    _speak_utf8()
    _keep_stdout()
    _show_controls()
    try:
        with _plugins_traced(debug):
            sys.exit(group.main(args=given, prog_name="acoustic", standalone_mode=False) or 0)
    except click.ClickException as error:
        error.show()
        sys.exit(EXIT_UNUSABLE)
    except (click.Abort, KeyboardInterrupt):
        click.echo("acoustic: stopped.", err=True)
        sys.exit(EXIT_INTERRUPTED)
    except AcousticError as error:
        if debug:
            raise
        click.echo(f"acoustic: {error.found}.\n  {error.hint}", err=True)
        sys.exit(error.exit_code)
    except Exception as error:
        if isinstance(error, ReaderWentAwayError):
            # The interpreter's last flush must not complain of it again.
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            sys.exit(EXIT_PIPE_CLOSED)
        if debug:
            raise
        click.echo(
            f"acoustic: a fault of the program itself, not yours: {type(error).__name__}: {error}.\n"
            "  Run the same command with --debug and send what it prints to the developers.",
            err=True,
        )
        sys.exit(EXIT_OUR_BUG)


@contextmanager
def _plugins_traced(shown: bool) -> Iterator[None]:
    """Where asked for, show where plugins raised; else nothing of them is imported here."""
    if not shown:
        yield
        return
    from acoustic.plugin.run import tracing

    with tracing():
        yield


def _reader_went_away(error: Exception) -> bool:
    """Whether whoever read our output has closed it; Windows says so with EINVAL."""
    return isinstance(error, BrokenPipeError) or (
        os.name == "nt" and isinstance(error, OSError) and error.errno == errno.EINVAL
    )


def _speak_utf8() -> None:
    """Windows consoles and pipes default to other encodings, which lack the dashes and signs used here."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(encoding="utf-8", errors="replace")


def _show_controls() -> None:
    """Let nothing that is printed steer the terminal; the one place that all output passes."""
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is not None:  # as where there is no console
            setattr(sys, name, LegibleStream(stream))


def _keep_stdout() -> None:
    """Write results to a copy of file descriptor 1, which becomes stderr: nothing but results may reach stdout.

    A plugin, or a library that it loads, may write to 1 without asking Python, even when the program ends.
    """
    try:
        if sys.stdout.fileno() != 1:
            return
        sys.stdout.flush()
        kept = os.dup(1)
        os.dup2(2, 1)
    except (AttributeError, OSError, ValueError):
        return  # there is no stdout, or it is no file
    sys.stdout = open(kept, "w", encoding="utf-8", errors="replace", closefd=False)  # noqa: SIM115
