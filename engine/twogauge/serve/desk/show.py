"""A page made of a command: its form, and its answer or what keeps it from answering."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from markupsafe import Markup

from twogauge.cli.answered import Answered
from twogauge.draw.look import PHONE
from twogauge.errors import InputError
from twogauge.packs.program import Program
from twogauge.quantities import UnitSet
from twogauge.serve.desk.asked import Asked, Trouble, beside, by_option
from twogauge.serve.desk.paper import PagePaper
from twogauge.serve.desk.tools import Tool
from twogauge.serve.desk.wording import Wording, step_words
from twogauge.serve.drawing import can_draw, drawer
from twogauge.serve.site import Site
from twogauge.serve.units import usual_unit

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
    troubles, result = result_of(tool, asked, answer, site.program)
    views = asked.views(troubles)
    labels = {each.name: each.label for each in asked.controls} | {each.name: each.label for each in tool.texts}
    return site.text(
        template,
        here=tool.path,
        tool=tool,
        asked=asked,
        units=[unit.value for unit in UnitSet],
        first=[views[name] for name in tool.first if name in views],
        more=[views[name] for name in tool.more if name in views],
        is_open=any(name in asked.values or name in troubles for name in tool.more),
        summary=[(name, labels.get(name, ""), sentence) for name, sentence in troubles.items()],
        result=result,
        troubles=troubles,
        usual_units=_usual_units(asked),
        **more,
    )


def result_of(tool: Tool, asked: Asked, answer: Ask, program: Program) -> tuple[Mapping[str, str], Markup | None]:
    """Return what is wrong with what was typed, by control, and the answer as HTML, None without any."""
    if asked.says_nothing and not tool.alone:
        return {}, None
    wording = Wording(by_option(asked.controls), asked.units, tool.path, step_words(program))
    try:
        given = asked.given()
        paper = PagePaper(wording, verbose=bool(given.pop("verbose", False)))
        answered = answer(given)
        answered.write(paper)
        return {}, paper.html(_picture(tool, answered, asked.units))
    except Trouble as trouble:
        return trouble.troubles, None
    except InputError as error:
        return beside(error, asked), None


def _picture(tool: Tool, answered: Answered, units: UnitSet) -> Markup:
    """Return the picture of what was found, nothing where there is none or the plotting library is missing."""
    if not tool.picture or not can_draw():
        return Markup("")
    draw = drawer(tool.picture)
    try:
        told = (*answered.found, units) if isinstance(answered.found, tuple) else (answered.found,)
        made = draw(*told, size=PHONE)  # it stands in the page, where no width can choose another
    except InputError as error:
        return Markup('<p class="fine">No picture: {}</p>').format(str(error))
    return Markup("<figure>{}</figure>").format(Markup(made.as_svg()))  # noqa: S704 - draw/svg.py cleans it


def _usual_units(asked: Asked) -> Callable[[str], tuple[tuple[str, str], ...]]:
    known = {each.name: each.known for each in asked.controls}
    return lambda name: tuple((units.value, usual_unit(known[name], units)) for units in UnitSet)
