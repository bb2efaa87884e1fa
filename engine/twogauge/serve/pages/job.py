"""The page of a job sheet: opened, shown, added to, taken home again; the sheet travels with the form.

Nothing is stored on the server, so that nothing is lost when it stops; to send a form twice adds an entry once.
"""

from __future__ import annotations

import re
from typing import Annotated, Final
from urllib.parse import parse_qsl

from fastapi import APIRouter, Depends, Request
from markupsafe import Markup
from starlette.exceptions import HTTPException
from starlette.responses import Response

from twogauge.errors import FileProblems, InputError
from twogauge.output import job as output
from twogauge.output.book import block_as_html
from twogauge.output.job_report import for_customer, for_log
from twogauge.output.signs import with_signs
from twogauge.quantities import UnitSet
from twogauge.serve.desk import sheets
from twogauge.serve.desk.asked import Trouble, plain_lines
from twogauge.serve.desk.paper import PagePaper
from twogauge.serve.desk.sent import pairs_of
from twogauge.serve.desk.tools import PLAN, ROOT
from twogauge.serve.desk.wording import Wording, step_words
from twogauge.serve.site import Site, site_of
from twogauge.serve.state import State
from twogauge.serve.typed import cleaned, unit_set
from twogauge.service.job import Sheet
from twogauge.service.job_salvage import read_what_can_be

PATH: Final = f"{ROOT}/job"
_READING: Final = "reading.reading"  # the control that takes a reading
_READERS: Final = {"customer": "For the customer", "log": "The log of refrigerants"}
_FOR_A_NAME: Final = re.compile(r"[^a-z0-9]+")

router = APIRouter(include_in_schema=False)
Here = Annotated[Site, Depends(site_of)]


@router.get(PATH)
async def job_page(request: Request, site: Here) -> Response:
    """Show the form: a sheet is opened, or begun; the address may bring a reading along that is to be added."""
    reading = plain_lines(request.query_params.get(_READING, ""))
    told = {_READING: reading, **_of_its_machine(reading, site.settings.units)}
    return Response(await site.work(_shown, site, told, "", None, {}), media_type="text/html")


@router.post(PATH)
async def job_sent(request: Request, site: Here) -> Response:
    """Show the sheet that was sent, with the entry that was added, if one was."""
    told = await site.work(_told, await pairs_of(request, site))

    def work() -> str:
        before, sheet, troubles = told.get(sheets.NAME, ""), None, {}
        did = told.get("did", "")
        try:
            if did:
                text, sheet = sheets.written(did, told, before, _units(told, site), site.program)
                kept = {key: value for key, value in told.items() if not key.startswith(f"{did}.")}
                return _shown(site, kept, text.rstrip("\n"), sheet, {}, added=did)
            if before:
                sheet = read_what_can_be(sheets.NAME, before.encode())
        except Trouble as trouble:
            troubles = trouble.troubles
        except InputError as error:
            troubles = _beside(error, did)
        if sheet is None and before:
            sheet = _as_far_as_it_can_be_read(before)
        return _shown(site, told, before, sheet, troubles)

    return Response(await site.work(work), media_type="text/html")


@router.post(f"{PATH}/file")
async def job_file(request: Request, site: Here) -> Response:
    """Return the sheet as a file."""
    text = (await site.work(_told, await pairs_of(request, site))).get(sheets.NAME, "")
    if not text:
        raise HTTPException(422, "There is no sheet yet.")
    sheet = await site.work(_as_far_as_it_can_be_read, text)
    machine = _FOR_A_NAME.sub("_", (sheet.latest("machine") if sheet else "").lower())[:60].strip("_")
    headers = {"content-disposition": f'attachment; filename="{machine or "job"}.yaml"'}
    return Response(f"{text}\n", media_type="application/yaml", headers=headers)


@router.post(f"{PATH}/report")
async def job_report(request: Request, site: Here) -> Response:
    """Show the sheet for the customer, or for the log of refrigerants, to be printed."""
    told = await site.work(_told, await pairs_of(request, site))
    text, units = told.get(sheets.NAME, ""), _units(told, site)

    def work() -> tuple[str, Markup]:
        sheet = read_what_can_be(sheets.NAME, text.encode())
        page = for_log(sheet, units) if told.get("reader") == "log" else for_customer(sheet, units, site.program)
        return page.title, Markup(with_signs("\n".join(map(block_as_html, page.blocks))))  # noqa: S704 - escaped there

    title, body = await site.work(work)
    return site.page(
        "report.html", here=PATH, title=title, body=body, contents=(), at="", sheet=text, units=units.value
    )


def _told(pairs: list[tuple[str, str]]) -> dict[str, str]:
    """Return the last thing told for each control; the sheet and a reading keep their lines."""
    told: dict[str, str] = {}
    for name, value in pairs:
        clean = plain_lines(value) if name in {sheets.NAME, _READING} else cleaned(value)
        if clean or name not in told:
            told[name[:100]] = clean
    return told


def _of_its_machine(reading: str, units: UnitSet) -> dict[str, str]:
    """Return what the address of a reading tells of the machine, for a sheet that is begun with it."""
    values = State.read(parse_qsl(reading.partition("?")[2].partition("#")[0]), units).values
    found = {name: values[name].whole for name in ("machine", "refrigerant", "system") if name in values}
    return {f"{sheets.OPENED}.{name}": said for name, said in found.items()}


def _units(told: dict[str, str], site: Site) -> UnitSet:
    return unit_set(told.get("units", ""), site.settings.units)


def _beside(error: InputError, did: str) -> dict[str, str]:
    """Return what an error says, by control."""
    if isinstance(error, FileProblems):
        path = error.problems[0].place.path
        return {path: " ".join(f"Line {each.place.line}: {with_signs(each.message)}." for each in error.problems[:5])}
    key, colon, rest = str(error).partition(": ")
    name = "at" if key == "at" else f"{did}.{key}"
    if colon and key.isidentifier() and key != sheets.NAME:
        return {name: f"{rest[:1].upper()}{rest[1:]}."}
    return {"": f"{str(error).removeprefix(f'{sheets.NAME}: ')}."}


def _as_far_as_it_can_be_read(text: str) -> Sheet | None:
    try:
        return read_what_can_be(sheets.NAME, text.encode())
    except InputError:
        return None


def _shown(
    site: Site,
    told: dict[str, str],
    text: str,
    sheet: Sheet | None,
    troubles: dict[str, str],
    *,
    added: str = "",
) -> str:
    units = _units(told, site)
    result = None
    if sheet is not None:
        paper = PagePaper(Wording({}, units, PATH, step_words(site.program)))
        output.write(paper, sheet, units)
        result = paper.html()
    groups = sheets.groups(told, site.program, begins=not text)
    labels = {field.name: field.label for group in groups for field in group.fields}
    labels |= {name: label for name, label, _ in sheets.COMMON} | {sheets.NAME: "Sheet"}
    known = {name: sentence for name, sentence in troubles.items() if name in labels}
    loose = [sentence for name, sentence in troubles.items() if name not in labels]
    return site.text(
        "job.html",
        here=PATH,
        path=PATH,
        text=text,
        told=told,
        units=units.value,
        all_units=[each.value for each in UnitSet],
        common=sheets.COMMON,
        groups=groups,
        troubles=known,
        summary=[*((name, labels[name], said) for name, said in known.items()), *(("", "", said) for said in loose)],
        result=result,
        is_new=bool(added),
        did=added,
        odd=sheets.remarks_on_the_last(sheet) if added and sheet is not None else [],
        readers=_READERS,
        plans=[(name, loaded.entry.title) for name, loaded in site.program.stack.plans.items()],
        plan_path=PLAN.path,
    )
