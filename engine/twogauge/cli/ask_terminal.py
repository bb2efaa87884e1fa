"""The terminal around `twogauge diagnose --ask`: prints, reads, and loses nothing typed when it is interrupted."""

from __future__ import annotations

import signal
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import typer

from twogauge.cli.app import INTERRUPTED
from twogauge.cli.ask import Phase, Walk
from twogauge.cli.keyboard import hang_up_interrupts
from twogauge.errors import InputError
from twogauge.fields import FIELDS
from twogauge.next_checks import NextStep
from twogauge.outlook import look_ahead
from twogauge.output.style import Style, style_for
from twogauge.output.text import as_text
from twogauge.packs.compile import Program
from twogauge.quantities import UnitSet, symbol_for


def walk(
    given: Mapping[str, Any],
    program: Program,
    *,
    units: UnitSet,
    file_units: UnitSet,
    folder: Path | None,
    color: bool = True,
    verbose: bool = False,
) -> None:
    """Walk a person through the questions at the terminal, and print the diagnosis.

    Where standard input is no terminal its lines are taken as the answers, and its end as the last.

    Raises:
        InputError: somebody at the keyboard could not see the questions.
        typer.Exit: interrupted.
    """
    if sys.stdin.isatty() and not sys.stdout.isatty():
        raise InputError("--ask talks with somebody at a terminal, and its output goes elsewhere; leave --ask out")
    steps = Walk(given, program, units=units, file_units=file_units, folder=folder)
    try:
        with hang_up_interrupts():
            _converse(steps, style_for(sys.stdout, color=color), verbose=verbose)
    except (KeyboardInterrupt, EOFError) as end:
        _rescue(steps)
        raise typer.Exit(INTERRUPTED if isinstance(end, KeyboardInterrupt) else 0) from None


def _converse(steps: Walk, style: Style, *, verbose: bool) -> None:
    asked, printed = 0, False  # the step whose question stands above; whether the whole answer does

    def answer() -> list[str]:
        found = steps.diagnosis
        ahead = look_ahead(found.reading, program=steps.program)
        return ["", *as_text(found, style, ahead, verbose=verbose).splitlines()]

    while steps.phase is not Phase.OVER:
        if steps.phase is Phase.ASKING:
            printed = False
            if asked != steps.step:
                _write(["", *_page(steps, style)])
            asked = steps.step
        else:
            asked = 0
            if steps.question is None and not printed:
                _write(["", *style.wrap(steps.ending()), *answer()])
                printed = True
            if not steps.unsaved:
                return
            _write(
                [
                    "",
                    *style.wrap(
                        "Save this reading? Type a name such as reading.yaml, or only Enter to leave it unsaved."
                    ),
                ]
            )
        line = _read()
        if line is None:
            if sys.stdin.isatty():
                raise EOFError
            _write([] if printed else answer())
            return
        _write([part for said in steps.hear(line) for part in style.wrap(said, "  ", "    ")])


def _page(steps: Walk, style: Style) -> list[str]:
    """Return the leaders, and the question with how to find the answer."""
    question = steps.question
    lines = style.wrap(steps.leaders(), "", "  ")
    if question is None:
        return lines
    begin = f"{steps.step}. "
    indent = " " * len(begin)
    lines += ["", *(style.bold(line) for line in style.wrap(question.ask, begin, indent))]
    lines += style.wrap(f"{question.how} (about {question.minutes:g} min)".strip(), indent)
    if question.also:
        also = ", ".join(FIELDS[name].about for name in question.also)
        lines += style.wrap(f"It says something together with: {also}.", indent)
    for caution in question.cautions:
        lines += style.wrap(caution.short, f"{indent}! ", f"{indent}  ")
    lines += _ways(steps, question, style, indent)
    return [*lines, style.dim("? not known   b back   s FILE save   h help   q stop")]


def _ways(steps: Walk, question: NextStep, style: Style, indent: str) -> list[str]:
    """Return the numbered answers, or how a quantity is written."""
    answers = question.answers
    if answers:
        width = max(len(answer) for answer, _ in answers)
        return [
            line
            for number, (answer, meaning) in enumerate(answers, start=1)
            for line in style.wrap_after(
                "" if meaning.replace(" ", "_") == answer else meaning, f"{indent}{number:>2}  {answer:{width}}  "
            )
        ]
    known = FIELDS[question.name]
    said = known.about
    if known.dimension is not None:
        said += f"; a bare number is in {symbol_for(known.dimension, steps.units)}"
    return style.wrap(f"Type it: {said}.", indent)


def _write(lines: Sequence[str]) -> None:
    sys.stdout.write("".join(f"{line}\n" for line in lines))


def _read() -> str | None:
    """Return one line without its end, or None where there are no more."""
    sys.stdout.write("> ")
    sys.stdout.flush()
    try:
        line = sys.stdin.readline()
    except UnicodeDecodeError:
        line = "\ufffd\n"  # no answer to anything; it is asked again
    except OSError:  # the terminal has gone
        return None
    if not sys.stdin.isatty():
        _write([line.rstrip("\n")])  # nobody else writes down what was answered
    return line.rstrip("\r\n") if line else None


def _rescue(steps: Walk) -> None:
    """Write what stands in no file, and say where; no second Ctrl-C comes between."""
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        path = steps.recover()
        if path is None:
            said = ["Stopped; everything you typed is saved."]
        else:
            said = ["Stopped. What you typed is kept; to go on:", f"  twogauge diagnose {path} --ask"]
        _write(["", *said])
        sys.stdout.flush()
    except OSError:  # nobody is there to read it
        return
    finally:
        signal.signal(signal.SIGINT, before)
