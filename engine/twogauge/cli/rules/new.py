"""`twogauge rules new`: starts a pack or a rule, from options or from a short dialogue; never writes over a file."""

from __future__ import annotations

import contextlib
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from twogauge.cli.diagnose import RulesOption, rules_folders
from twogauge.cli.rules.common import own_style, print_lines
from twogauge.errors import InputError, shown

if TYPE_CHECKING:
    from twogauge.packs.draft import Written
    from twogauge.packs.draft_text import Draft


def new(
    folder: Annotated[
        str | None, typer.Argument(metavar="[DIR]", help="Folder of the pack; it is made if it is not there.")
    ] = None,
    *,
    pack: Annotated[
        str, typer.Option("--pack", metavar="NAME", help="Name of a new pack; without it the folder's name.")
    ] = "",
    title: Annotated[str, typer.Option("--title", metavar="TEXT", help="One line about the pack or the rule.")] = "",
    rule: Annotated[
        str | None, typer.Option("--rule", metavar="ID", help="Start a rule of this id; it names what is seen.")
    ] = None,
    when: Annotated[
        str | None, typer.Option("--when", metavar="NAME", help="The quantity or check that the rule looks at.")
    ] = None,
    above: Annotated[str | None, typer.Option("--above", metavar="VALUE", help="It holds above this.")] = None,
    below: Annotated[str | None, typer.Option("--below", metavar="VALUE", help="It holds below this.")] = None,
    between: Annotated[
        str | None, typer.Option("--between", metavar="LOW..HIGH", help="It holds between these two.")
    ] = None,
    soft: Annotated[
        str | None, typer.Option("--soft", metavar="WIDTH", help="How far from the edge it is as good as sure.")
    ] = None,
    is_: Annotated[str | None, typer.Option("--is", metavar="ANSWER", help="It holds if this is the answer.")] = None,
    is_not: Annotated[
        str | None, typer.Option("--is-not", metavar="ANSWER", help="It holds if this is not the answer.")
    ] = None,
    says: Annotated[
        list[str] | None,
        typer.Option(
            "--says",
            metavar="FAULT=WEIGHT",
            help="What it says as far as it holds: FAULT=for, FAULT=strongly against.",
        ),
    ] = None,
    otherwise: Annotated[
        list[str] | None,
        typer.Option("--otherwise", metavar="FAULT=WEIGHT", help="What it says as far as it does not hold."),
    ] = None,
    because: Annotated[str, typer.Option("--because", metavar="TEXT", help="The reason that is printed.")] = "",
    source: Annotated[str, typer.Option("--source", metavar="TEXT", help="Where it is known from.")] = "",
    topic: Annotated[
        str, typer.Option("--topic", metavar="TOPIC", help="What it looks at; of one topic the strongest counts.")
    ] = "",
    applies_to: Annotated[
        list[str] | None,
        typer.Option("--applies-to", metavar="FIELD=WORD[,WORD]", help="Only for such systems; repeatable."),
    ] = None,
    ask: Annotated[
        str, typer.Option("--ask", metavar="QUESTION", help="Make the check that --when names, answered yes or no.")
    ] = "",
    rules_: RulesOption = None,
) -> None:
    """Start a pack, or a rule in it, as a commented file that already loads and passes its own examples.

    Without options it asks, one question at a time. With options:

    twogauge rules new our_shop --pack our_shop

    twogauge rules new our_shop --rule hose_is_warm --when superheat --above 15K --says FAULT=for
    """
    from twogauge.packs.draft import new_pack, new_rule
    from twogauge.packs.draft_text import Draft

    if rule is None and not pack:
        if when or says or ask:
            raise InputError("--when, --says and --ask tell of a rule; give it an id as well, with --rule ID")
        from twogauge.cli.rules.dialogue import interview

        interview(folder, _below(rules_, folder))
        return
    if folder is None:
        raise InputError("name the folder of the pack: twogauge rules new our_shop --pack our_shop")
    beneath = _below(rules_, folder)
    if rule is None:
        put(Path(folder), new_pack(Path(folder), pack, title, beneath))
        return
    if when is None:
        raise InputError("--when names what the rule looks at, such as --when superheat, or the id of a check")
    test = _test(above=above, below=below, between=between, soft=soft, is_=is_, is_not=is_not)
    draft = Draft(
        rule,
        when.replace("-", "_"),
        test,
        _weights("--says", says),
        _weights("--otherwise", otherwise),
        title,
        because,
        source,
        topic,
        {name: tuple(words.split(",")) for name, words in _pairs("--applies-to", applies_to).items()},
        ask,
    )
    put(Path(folder), new_rule(Path(folder), draft, pack, beneath), draft)


def put(folder: Path, written: Written, draft: Draft | None = None) -> None:
    """Write a draft to the disk, all of it or nothing, and say what to do with it.

    Raises:
        InputError: a file is there already, or the folder cannot be written to.
    """
    from twogauge.files import write_new

    made = _make(folder)
    done: list[Path] = []
    try:
        for path, text in written.files.items():
            write_new(path, text)
            done.append(path)
    except InputError:
        for path in done:
            path.unlink(missing_ok=True)
        for each in reversed(made):
            with contextlib.suppress(OSError):  # somebody put something into it meanwhile
                each.rmdir()
        raise
    style = own_style()
    lines = [style.bold(line) for line in style.wrap(f"Wrote {' and '.join(map(str, done))}.")]
    if draft is None:
        lines += style.wrap("The pack holds nothing yet. A rule in it:")
        lines += [f"  twogauge rules new {_typed(folder)} --rule ID --when NAME ...  (or without options)"]
    else:
        lines += style.wrap("Its examples prove it. Read it through, then:")
        lines += [f"  twogauge rules test {_typed(folder)}"]
        lines += [f"  twogauge diagnose READING.yaml --rules {_typed(folder)}"]
    print_lines(lines)


def _make(folder: Path) -> list[Path]:
    """Make a folder and those above it; return what was made, outermost first."""
    missing = [each for each in (folder, *folder.parents) if not each.exists()]
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"{folder} cannot be made ({error.strerror}); name another folder") from None
    return missing[::-1]


def _typed(folder: Path) -> str:
    import shlex

    return shlex.quote(str(folder))


def _below(rules_: list[str] | None, folder: str | None) -> list[str]:
    """Return the folders that lie below the pack: all that are named but itself."""
    own = None if folder is None else Path(folder).resolve()
    return [each for each in rules_folders(rules_) if Path(each).resolve() != own]


def _test(**given: str | None) -> dict[str, str | tuple[str, str]]:
    from twogauge.packs.draft_text import spaced, two_ends

    test: dict[str, str | tuple[str, str]] = {
        key.rstrip("_"): spaced(value) for key, value in given.items() if value is not None
    }
    ends = test.get("between")
    if isinstance(ends, str):
        test["between"] = two_ends(ends)
    if not test.keys() - {"soft"}:
        raise InputError("say when it holds: --above, --below or --between for a number, --is or --is-not for a word")
    return test


def _weights(option: str, items: list[str] | None) -> dict[str, str]:
    from twogauge.packs.words import weight

    found = {}
    for name, text in _pairs(option, items).items():
        folded = " ".join(text.split())
        try:
            weight(folded)
        except ValueError as error:
            raise InputError(f"{option} {name}: {error}") from None
        found[name.replace("-", "_")] = folded
    return found


def _pairs(option: str, items: list[str] | None) -> Mapping[str, str]:
    found = {}
    for item in items or []:
        name, equals, value = (part.strip() for part in item.partition("="))
        if not (equals and name and value):
            raise InputError(f"{option} {shown(item)}: write two things with = between, such as FAULT=for")
        found[name] = value
    return found
