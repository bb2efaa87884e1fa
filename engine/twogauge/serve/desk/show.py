"""A page made of a command: its form, and its answer or what keeps it from answering."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from markupsafe import Markup

from twogauge.cli.answered import Answered
from twogauge.draw.look import DARK, LIGHT, PHONE
from twogauge.errors import InputError, RangeError
from twogauge.output.signs import with_signs
from twogauge.packs.program import Program
from twogauge.quantities import UnitSet
from twogauge.serve.desk.asked import Asked, Trouble, beside, by_option
from twogauge.serve.desk.paper import PagePaper
from twogauge.serve.desk.tools import Tool
from twogauge.serve.desk.wording import Wording, step_words
from twogauge.serve.drawing import can_draw, drawer
from twogauge.serve.site import Site
from twogauge.serve.units import usual_unit

_SHORT: Final = 120  # characters, which the bar below a form has room for on a telephone
Ask = Callable[[dict[str, Any]], Answered]


def show(
    tool: Tool,
    asked: Asked,
    site: Site,
    answer: Ask,
    template: str = "tool.html",
    **more: Any,
) -> str:
    """Return a page with its form and its answer.

    Args:
        tool: the page.
        asked: what was typed.
        site: the settings and templates.
        answer: asks the command.
        template: of the page.
        more: what the template needs besides.
    """
    found = result_of(tool, asked, answer, site.program)
    views = asked.views(found.troubles)
    return site.text(
        template,
        here=tool.path,
        tool=tool,
        asked=asked,
        units=[unit.value for unit in UnitSet],
        first=[views[name] for name in tool.first if name in views],
        more=[views[name] for name in tool.more if name in views],
        is_open=any(name in asked.values or name in found.troubles for name in tool.more),
        found=found,
        usual_units=_usual_units(asked),
        **more,
    )


@dataclass(frozen=True, slots=True)
class Result:
    """What a page says to what was typed.

    Attributes:
        said: the answer, or what to do for one, in a sentence.
        troubles: name of a control -> what keeps it from answering; under "" what belongs to none.
        summary: (name, label, sentence) of each trouble.
        answer: the whole of it; None without any.
        told: (label, value) of what it rests on, for paper, on which no form is printed.
    """

    said: str
    troubles: Mapping[str, str] = field(default_factory=dict)
    summary: tuple[tuple[str, str, str], ...] = ()
    answer: Markup | None = None
    told: tuple[tuple[str, str], ...] = ()


def result_of(tool: Tool, asked: Asked, answer: Ask, program: Program) -> Result:
    """Return the answer to what was typed, or what is wrong with it."""
    if asked.says_nothing and not tool.alone:
        return Result(tool.begin)
    wording = Wording(by_option(asked.controls), asked.units, tool.path, step_words(program))
    try:
        given = asked.given()
        paper = PagePaper(wording, verbose=bool(given.pop("verbose", False)))
        answered = answer(given)
        answered.write(paper)
        whole = paper.html(_pictures(tool, answered, asked.units))
        return Result(paper.said, answer=whole, told=asked.told(tool.texts))
    except Trouble as trouble:
        return _troubled(tool, asked, trouble.troubles)
    except (InputError, RangeError) as error:
        return _troubled(tool, asked, beside(error, asked))


def _troubled(tool: Tool, asked: Asked, troubles: Mapping[str, str]) -> Result:
    labels = {each.name: each.label for each in asked.controls} | {each.name: each.label for each in tool.texts}
    named = [f"'{labels[name]}'" for name in troubles if name in labels]
    said = f"Not answered yet: see {' and '.join(named)}" if named else "Not answered yet"
    why = troubles.get("", "")
    if why and not named and len(why) <= _SHORT:
        said = f"{said}. {why}"
    return Result(said, troubles, tuple((name, labels.get(name, ""), told) for name, told in troubles.items()))


def _pictures(tool: Tool, answered: Answered, units: UnitSet) -> Markup:
    """Return the picture of what was found, nothing where there is none or the plotting library is missing.

    It stands within the page, since no address could hold what it is made of; so it stands there twice, and the
    stylesheet shows the one on the ground that the reader's browser has.
    """
    if not tool.picture or not can_draw():
        return Markup("")
    draw = drawer(tool.picture)
    told = (*answered.found, units) if isinstance(answered.found, tuple) else (answered.found,)
    try:
        # Of the smaller size: no width can choose another here.
        made = [
            (theme.name, draw(*told, theme=theme, size=PHONE).as_svg(f"{theme.name}-")) for theme in (LIGHT, DARK)
        ]
    except InputError as error:
        return Markup('<p class="fine">No picture: {}</p>').format(with_signs(str(error)))
    each = [Markup('<div class="on-{}">{}</div>').format(name, Markup(svg)) for name, svg in made]  # noqa: S704 - draw/svg.py cleans it
    return Markup("<figure>{}</figure>").format(Markup("").join(each))


def _usual_units(asked: Asked) -> Callable[[str], tuple[tuple[str, str], ...]]:
    known = {each.name: each.known for each in asked.controls}
    return lambda name: tuple((units.value, usual_unit(known[name], units)) for units in UnitSet)
