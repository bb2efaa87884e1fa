"""The page of pressure-temperature tables, and the same table as a file or as a card for the wall."""

from __future__ import annotations

from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Request
from starlette.exceptions import HTTPException
from starlette.responses import RedirectResponse, Response

from twogauge.cli.answered import Answered
from twogauge.cli.table import Sheet, table_of
from twogauge.errors import InputError
from twogauge.output import tables as output
from twogauge.output.card import PAPERS, as_html, made_on, plan
from twogauge.quantities import UnitSet
from twogauge.serve.desk.asked import Asked, Trouble, in_our_words
from twogauge.serve.desk.controls import controls_of
from twogauge.serve.desk.sent import MOST_PAIRS, is_of_a_form
from twogauge.serve.desk.show import show
from twogauge.serve.desk.tools import TABLE
from twogauge.serve.drawing import can_draw, drawer
from twogauge.serve.site import Site, site_of
from twogauge.table_set import FORMATS
from twogauge.tables import Table

_MOST_DRAWN: Final = 4000  # numbers of a card as PDF, which takes seconds
_CARDS: Final = {"html": "text/html", "pdf": "application/pdf"}
_FILES: Final = {"csv": "text/csv", "markdown": "text/markdown", "json": "application/json"}

router = APIRouter(include_in_schema=False)
Here = Annotated[Site, Depends(site_of)]


@router.get(TABLE.path)
async def table_page(request: Request, site: Here) -> Response:
    """Show the form and the table."""
    pairs = request.query_params.multi_items()[:MOST_PAIRS]
    asked = _asked(pairs, site)
    if is_of_a_form(request):
        return RedirectResponse(f"{TABLE.path}?{asked.query()}#result", status_code=303)
    return Response(
        await site.work(lambda: show(TABLE, asked, site, lambda given: _answer(asked, given))), media_type="text/html"
    )


@router.get(f"{TABLE.path}/{{form}}")
async def table_file(form: str, request: Request, site: Here) -> Response:
    """Return the table as a file; a card for the wall as one to be printed."""
    kind = {**_CARDS, **_FILES}.get(form)
    if kind is None or (form == "pdf" and not can_draw()):
        raise HTTPException(404)
    asked = _asked(request.query_params.multi_items()[:MOST_PAIRS], site)
    content = await site.work(_file, asked, form)
    ending = "md" if form == "markdown" else form
    headers = {"content-disposition": f'attachment; filename="table.{ending}"'}
    return Response(content, media_type=kind, headers=headers)


def _asked(pairs: list[tuple[str, str]], site: Site) -> Asked:
    return Asked.read(pairs, controls_of(TABLE.command(), TABLE.shown, site.program), site.settings.units)


def _made(given: dict[str, Any]) -> tuple[Table, Sheet]:
    paper = given.pop("paper", Sheet.A4)
    named = [name for line in given.pop("refrigerants", []) for name in line.split()]
    if not named:
        raise Trouble({"refrigerants": "Name one, such as R134a."})
    return table_of(named, **given), paper


def _answer(asked: Asked, given: dict[str, Any]) -> Answered:
    units: UnitSet = given["units"]
    made, _ = _made(given)

    def write(page: Any) -> None:
        heads, cells = output.grid(made, units)
        shows = output.what_it_shows(made, units)
        page.answer(f"{shows[:1].upper()}{shows[1:]}")
        page.say(output.air_sentence(made, units))
        page.grid(shows, heads, zip(*([cell.strip() for cell in column] for column in cells), strict=True))
        for note in output.notes(made, units):
            page.note(note)
        query = asked.query()
        forms = {
            "pdf": "Card for the wall, PDF",
            "html": "Card for the wall, HTML",
            "csv": "CSV",
            "markdown": "Markdown",
        }
        if not can_draw():
            del forms["pdf"]
        page.links((f"{TABLE.path}/{form}?{query}", text) for form, text in forms.items())

    return Answered(lambda: None, write)


def _file(asked: Asked, form: str) -> str | bytes:
    try:
        given = asked.given()
        made, paper = _made(given)
    except Trouble as trouble:
        raise InputError(str(trouble)) from None
    except InputError as error:
        raise InputError(in_our_words(str(error), asked.controls)) from None
    if form in _FILES:
        return FORMATS[form][1](made, asked.units)
    numbers = len(made.index) * len(made.columns)
    if form == "pdf" and numbers > _MOST_DRAWN:
        raise InputError(
            f"This would be a card of {numbers} numbers, and one of more than {_MOST_DRAWN} takes too long to draw here. "
            "Take a larger step, a shorter range or fewer refrigerants; the HTML card has no such limit."
        )
    card = plan(made, asked.units, PAPERS[paper.value], made_on())
    if form == "html":
        return as_html(card)
    drawn: bytes = drawer("twogauge.draw.card:card_pdf")(card)
    return drawn
