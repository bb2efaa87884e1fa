"""The `twogauge` command: finds the wanted command, imports only that, and turns every error into a sentence.

To add a command, write `cli/NAME.py` with a function (or a typer app, for a command with commands of its own) and
name it in COMMANDS. Nothing of it is imported until somebody calls it or asks for its help.

Exit status: 0 done; 1 the answer is "no" (a check found something); 2 wrong use, a question that cannot be answered,
or an answer that cannot be written; 70 a fault in this program; 130 interrupted; 141 the reader of the output went away.
"""

from __future__ import annotations

import errno
import importlib
import os
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Any, Final

import typer
from typer.core import TyperCommand, TyperGroup

from twogauge.cli.quick import quicken
from twogauge.errors import FileProblems, TwogaugeError

WRONG_USE: Final = 2
OUR_FAULT: Final = 70  # EX_SOFTWARE of sysexits.h
INTERRUPTED: Final = 128 + 2
READER_GONE: Final = 128 + 13

_NO_ROOM: Final = {errno.ENOSPC, errno.EFBIG, errno.EDQUOT}

_CONTEXT: Final[dict[str, Any]] = {"help_option_names": ["-h", "--help"], "max_content_width": 96}


@dataclass(frozen=True, slots=True)
class Command:
    """Where a command lives, and the line that describes it without importing it."""

    name: str
    place: str  # module:attribute
    summary: str


COMMANDS: Final = (
    Command("diagnose", "twogauge.cli.diagnose:diagnose", "Rank the faults that fit a reading, with the reasons."),
    Command("batch", "twogauge.cli.batch:batch", "Diagnose every row of logs, of one machine or of a fleet."),
    Command("fleet", "twogauge.cli.fleet:fleet", "Tell what became of each machine, out of logs of weeks."),
    Command("compare", "twogauge.cli.compare:compare", "Tell what a repair changed, and whether it worked."),
    Command("expect", "twogauge.cli.expect:expect", "Tell what the gauges should show today."),
    Command("standing", "twogauge.cli.standing:standing", "Judge the pressure of a system at rest."),
    Command("hold", "twogauge.cli.hold:hold", "Judge a log of a vacuum or of a test under nitrogen."),
    Command("saturation", "twogauge.cli.saturation:saturation", "Turn one pressure into a temperature, or back."),
    Command("table", "twogauge.cli.table:table", "Print a pressure-temperature table."),
    Command(
        "refrigerants", "twogauge.cli.refrigerants:refrigerants", "List the refrigerants, or tell all about one."
    ),
    Command("charge", "twogauge.cli.charge:charge", "Tell how much refrigerant goes in, and how; retrofits too."),
    Command("oil", "twogauge.cli.oil:oil", "Tell which oil, how much with a replaced part, and which seals."),
    Command("cylinder", "twogauge.cli.cylinder:cylinder", "Tell how full a cylinder may be, and what is in one."),
    Command("plan", "twogauge.cli.plan:plan", "Print a whole job as steps with its figures, to be ticked."),
    Command("job", "twogauge.cli.job:job", "Keep one sheet for each job, and print it."),
    Command("confirm", "twogauge.cli.confirm:confirm", "Add a reading whose cause is known to the case book."),
    Command("evaluate", "twogauge.cli.evaluate:evaluate", "Tell how often the rules are right on known cases."),
    Command("serve", "twogauge.cli.serve:serve", "Serve a page for the phone, and an HTTP API."),
    Command("rules", "twogauge.cli.rules:rules", "Start, check, test, look up and print rules."),
)


class QuantityCommand(TyperCommand):
    """A command whose arguments may be negative numbers, such as -12inHg.

    An argument that begins with a minus and a digit is no option of ours; everything else that begins with a minus
    still is, so that a mistyped option is reported and not taken for a value.
    """

    def get_params(self, ctx: Any) -> list[Any]:
        """Return the parameters, those that are plain text without a validator."""
        return quicken(super().get_params(ctx))

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Hide the minus of negative numbers while the options are read."""
        rest = super().parse_args(ctx, [_hide_minus(argument) for argument in args])
        for name, value in ctx.params.items():
            ctx.params[name] = _show_minus(value)
        return rest


class LazyGroup(TyperGroup):
    """The group of all commands; it knows their names and imports the one that is called."""

    def get_params(self, ctx: Any) -> list[Any]:
        """Return the parameters, those that are plain text without a validator."""
        return quicken(super().get_params(ctx))

    def list_commands(self, ctx: Any) -> list[str]:  # noqa: ARG002 - the signature is given
        """Return the names in the order in which they are useful."""
        return [command.name for command in COMMANDS]

    def get_command(self, ctx: Any, cmd_name: str) -> Any:  # noqa: ARG002
        """Import and build one command; None if there is no such command."""
        found = next((command for command in COMMANDS if command.name == cmd_name), None)
        return None if found is None else _build(found)

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        """Find the command, or say which one may have been meant."""
        if args and not args[0].startswith("-") and args[0] not in self.list_commands(ctx):
            from twogauge.errors import did_you_mean, shown

            near = did_you_mean(args[0], self.list_commands(ctx))
            hint = f"did you mean {' or '.join(near)}?" if near else "twogauge --help lists them"
            ctx.fail(f"{shown(args[0])} is not a command; {hint}")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: Any, formatter: Any) -> None:  # noqa: ARG002
        """List the commands without importing any."""
        with formatter.section("Commands"):
            formatter.write_dl([(command.name, command.summary) for command in COMMANDS])

    def invoke(self, ctx: Any) -> Any:
        """Run a command and see its output out of the door, so that a closed pipe is noticed here."""
        try:
            result = super().invoke(ctx)
            sys.stdout.flush()
        except KeyboardInterrupt:
            raise typer.Exit(INTERRUPTED) from None
        except BrokenPipeError:
            _forget_output()
            raise typer.Exit(READER_GONE) from None
        return result

    def main(  # type: ignore[override]  # typer's has more parameters, which go through in `extra`
        self, args: Sequence[str] | None = None, prog_name: str | None = None, **extra: Any
    ) -> Any:
        """Run the program; whatever goes wrong ends as one sentence and an exit status."""
        if sys.stdout is None:  # >&- of a shell
            sys.exit(_say("standard output is closed; leave it open, or send it to a file", WRONG_USE))
        try:
            return super().main(args=args, prog_name=prog_name or "twogauge", **extra)
        except Exception as error:
            if os.environ.get("TWOGAUGE_DEBUG") == "1":
                raise
            sys.exit(_explain(error))


def _explain(error: Exception) -> int:
    """Print what went wrong and return the exit status."""
    if isinstance(error, FileProblems):  # each line begins with path:line:column, which editors can jump to
        typer.echo(_harmless(str(error)), err=True)
        return WRONG_USE
    if isinstance(error, TwogaugeError):
        return _say(str(error), WRONG_USE)
    if isinstance(error, OSError) and error.strerror:
        if error.errno in _NO_ROOM and not error.filename:  # files of our own are named by who writes them
            hint = "make room, or send the output elsewhere"
            return _say(f"standard output cannot be written ({error.strerror}); {hint}", WRONG_USE)
        return _say(f"{error.filename or 'standard input or output'}: {error.strerror}", WRONG_USE)
    what = f"{type(error).__name__}: {error}".splitlines()[0][:200].rstrip(": ")
    return _say(
        f"this is a fault in twogauge, not in what you typed ({what}). Please report it with the command you "
        "typed; with TWOGAUGE_DEBUG=1 before the command it shows where it happened.",
        OUR_FAULT,
    )


def _say(sentence: str, status: int) -> int:
    typer.echo(f"twogauge: {_harmless(sentence)}", err=True)
    return status


def _harmless(text: str) -> str:
    """Write out what a terminal would act on: names of strangers' files and folders may hold anything."""
    return "".join(c if c.isprintable() or c == "\n" else ascii(c)[1:-1] for c in text)


def _forget_output() -> None:
    """Point standard output at nothing, so that the interpreter does not complain when it flushes at exit."""
    try:
        nothing = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nothing, sys.stdout.fileno())
        os.close(nothing)
    except (OSError, ValueError):  # not a real file, as in tests
        return


def _hide_minus(argument: str) -> str:
    number = argument[:1] == "-" and argument[1:].lstrip(" .,")[:1].isdigit()
    return _MINUS + argument[1:] if number else argument


def _show_minus(value: Any) -> Any:
    if isinstance(value, str) and value.startswith(_MINUS):
        return "-" + value[1:]
    if isinstance(value, list):
        return [_show_minus(item) for item in value]
    return value


_MINUS: Final = "\u2212"  # the typographic minus; quantities read it as well


def _build(command: Command) -> Any:
    module, _, attribute = command.place.partition(":")
    found = getattr(importlib.import_module(module), attribute)
    if isinstance(found, typer.Typer):
        built = typer.main.get_command(found)
    else:
        single = typer.Typer(add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False)
        single.command(command.name, cls=QuantityCommand, context_settings=_CONTEXT)(found)
        built = typer.main.get_command(single)
    built.name = command.name
    return built


app = typer.Typer(
    cls=LazyGroup,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    no_args_is_help=True,
    context_settings=_CONTEXT,
)


def _print_version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import version

        typer.echo(f"twogauge {version('twogauge')}")
        raise typer.Exit


@app.callback(
    epilog="Units: --units us, si or metric with every command, or TWOGAUGE_UNITS in the environment. "
    "Pressures are gauge pressures unless you write psia, bara or 'absolute'."
)
def _twogauge(
    _version: Annotated[
        bool,
        typer.Option("--version", callback=_print_version, is_eager=True, help="Print the version and stop."),
    ] = False,
) -> None:
    """Two gauges, one thermometer: what the pressures mean, and what is likely wrong."""


def main() -> None:
    """Run the command line; the entry point of the `twogauge` command."""
    app()
