"""Pictures of a diagnosis: the gauges on the curve, the cycle over enthalpy, the ledger; the reading is in the address."""

from __future__ import annotations

import textwrap
from typing import Annotated, Final

from fastapi import APIRouter, Depends, Request
from markupsafe import Markup
from starlette.exceptions import HTTPException
from starlette.responses import Response

from twogauge.cli.plotting import OF_A_DIAGNOSIS
from twogauge.draw.look import LIGHT, PAGE, SIZES, THEMES, Theme
from twogauge.errors import InputError
from twogauge.packs.program import Program
from twogauge.serve.answer import diagnosis_of
from twogauge.serve.drawing import can_draw, drawer
from twogauge.serve.pages.files import MOST_PAIRS
from twogauge.serve.site import Site, site_of
from twogauge.serve.state import State

_COLUMNS: Final = 60

router = APIRouter(include_in_schema=False)
Here = Annotated[Site, Depends(site_of)]


@router.get("/picture/{kind}.svg")
async def picture(kind: str, request: Request, site: Here) -> Response:
    """Draw what stands in the address, in the look that `theme` and `size` name."""
    if kind not in OF_A_DIAGNOSIS or not can_draw():
        raise HTTPException(404)
    pairs = request.query_params.multi_items()[:MOST_PAIRS]
    theme, size = (next((value for key, value in pairs if key == name), "") for name in ("theme", "size"))
    state = State.read([pair for pair in pairs if pair[0] not in {"theme", "size"}], site.settings.units)
    content = await site.draw(_drawn, kind, state, site.program, theme, size)
    return Response(content, media_type="image/svg+xml")


def _drawn(kind: str, state: State, program: Program, theme: str, size: str) -> bytes:
    found = diagnosis_of(state, program)
    look = THEMES.get(theme, LIGHT)
    if found is None:
        return said("Nothing told yet.", look)
    draw = drawer(OF_A_DIAGNOSIS[kind])
    try:
        made: bytes = draw(found, theme=look, size=SIZES.get(size, PAGE)).as_bytes("svg")
    except InputError as error:
        return said(f"No picture: {error}", look)
    return made


def said(sentence: str, look: Theme) -> bytes:
    """Return a picture that holds a sentence."""
    lines = textwrap.wrap(" ".join(sentence.split())[:600], _COLUMNS)
    height = 24 * len(lines) + 24
    rows = Markup("").join(
        Markup('<text x="12" y="{}" font-size="16" font-family="sans-serif" fill="{}">{}</text>').format(
            24 * i + 30, look.ink, line
        )
        for i, line in enumerate(lines)
    )
    whole = Markup(
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 600 {}" role="img"><title>{}</title>'
        '<rect width="600" height="{}" fill="{}"/>{}</svg>'
    ).format(height, sentence, height, look.ground, rows)
    return str(whole).encode("utf-8", "replace")
