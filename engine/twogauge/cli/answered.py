"""A command that answers a question: a document for programs, and an answer on paper for people.

`@answering` makes a command of a function that only works the answer out; a page and a request (serve) ask that function
with `ask`, so that nothing of theirs ever passes through a terminal.
"""

from __future__ import annotations

import inspect
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from twogauge.cli.common import JsonOption, VerboseOption, print_json

if TYPE_CHECKING:
    from twogauge.output.paper import Paper
    from twogauge.packs.program import Program

_RULES: Final = "rules"


@dataclass(frozen=True, slots=True)
class Answered:
    """What a command found.

    Attributes:
        document: makes the JSON.
        write: writes what a person reads.
        found: what was worked out, for who draws it.
    """

    document: Callable[[], Any]
    write: Callable[[Paper], object]
    found: Any = None


def answering(function: Callable[..., Answered]) -> Callable[..., None]:
    """Make a command of a function: it gets --json, and --rules and --verbose where the function asks for the rules.

    Args:
        function: takes the rules in force as `program` if it comes first, then what can be told, under typer's
            annotations. With a parameter `rules` it gets the folders that were named as well.
    """
    names = {"Program": object, "Answered": object}  # known to a type checker only
    own = inspect.signature(function, eval_str=True, locals=names).parameters
    needs_rules = "program" in own
    told = [each for name, each in own.items() if name not in {"program", _RULES}]
    more = [_option("as_json", JsonOption, default=False)]
    if needs_rules:
        from twogauge.cli.diagnose import RulesOption

        more = [_option(_RULES, RulesOption), *more, _option("verbose", VerboseOption, default=False)]

    def command(*args: Any, as_json: bool = False, verbose: bool = False, **given: Any) -> None:
        if needs_rules:
            from twogauge.cli.diagnose import rules_folders
            from twogauge.diagnosis import program_for

            rules = given.get(_RULES) if _RULES in own else given.pop(_RULES, None)
            args = (program_for(rules_folders(rules)), *args)
        tell(function(*args, **given), as_json=as_json, verbose=verbose)

    command.__name__, command.__doc__ = function.__name__, function.__doc__
    command.__module__ = function.__module__
    command.__signature__ = inspect.Signature([*told, *more])  # type: ignore[attr-defined]  # typer reads it
    command.__annotations__ = {each.name: each.annotation for each in (*told, *more)}
    command.answers = function  # type: ignore[attr-defined]  # for the page
    return command


def ask(
    command: Callable[..., Any], program: Program, told: Mapping[str, Any], rules: Sequence[str] = ()
) -> Answered:
    """Ask a command that `answering` made, without printing.

    Args:
        command: what `answering` returned.
        program: the rules in force.
        told: what the command is told, by the names of its parameters.
        rules: the folders that were named, for a command that repeats them.

    Raises:
        InputError: something told that cannot be used.
    """
    function = command.answers  # type: ignore[attr-defined]  # of answering
    own = inspect.signature(function).parameters
    more = {"program": program, _RULES: list(rules) or None}
    found: Answered = function(**told, **{name: value for name, value in more.items() if name in own})
    return found


def tell(answered: Answered, *, as_json: bool, verbose: bool = False) -> None:
    """Print an answer to standard output."""
    if as_json:
        print_json(answered.document())
        return
    from twogauge.output.paper import Paper
    from twogauge.output.style import style_for

    paper = Paper(style_for(sys.stdout), verbose=verbose)
    answered.write(paper)
    sys.stdout.write(paper.text())


def _option(name: str, annotation: Any, default: Any = None) -> inspect.Parameter:
    return inspect.Parameter(name, inspect.Parameter.KEYWORD_ONLY, default=default, annotation=annotation)
