"""Readings over HTTP: diagnosed, compared, asked why a rule spoke; what is normal today; a job sheet; and rules."""

from __future__ import annotations

import json
from typing import Annotated, Any

from fastapi import APIRouter, Depends
from pydantic import BaseModel
from starlette.exceptions import HTTPException
from starlette.responses import Response

from twogauge.cli.compare import answer as compared
from twogauge.diagnosis import diagnose
from twogauge.errors import UnknownNameError
from twogauge.expect import expect
from twogauge.intake import Trouble
from twogauge.outlook import look_ahead
from twogauge.output import expectation, job, pasted
from twogauge.output import why as reasons
from twogauge.output.json import document
from twogauge.packs.pasted import attempt
from twogauge.packs.why import why
from twogauge.quantities import UnitSet
from twogauge.reading import Reading, ReadingError
from twogauge.serve.api.models import (
    ComparisonIn,
    ComparisonOut,
    DiagnosisOut,
    ExpectationOut,
    JobIn,
    JobOut,
    ReadingIn,
    RulesIn,
    RulesOut,
    WhyOut,
)
from twogauge.serve.bodies import BoundedRoute
from twogauge.serve.site import Site, site_of
from twogauge.service.job_salvage import read_what_can_be

router = APIRouter(tags=["readings"], route_class=BoundedRoute)

Here = Annotated[Site, Depends(site_of)]


@router.post("/diagnose", response_model=None, responses={200: {"model": DiagnosisOut}})
async def post_diagnose(told: ReadingIn, site: Here) -> Response:
    """Rank the faults that fit a reading, with the reasons."""

    def work() -> dict[str, Any]:
        found = diagnose(_reading(told, site.settings.units), program=site.program)
        return document(found, look_ahead(found.reading, program=site.program))

    return answer(await site.work(work))


@router.post("/expect", response_model=None, responses={200: {"model": ExpectationOut}})
async def post_expect(told: ReadingIn, site: Here) -> Response:
    """Tell what is normal today, before anything is connected."""

    def work() -> dict[str, Any]:
        return expectation.document(expect(_reading(told, site.settings.units), site.program))

    return answer(await site.work(work))


@router.post("/compare", response_model=None, responses={200: {"model": ComparisonOut}})
async def post_compare(told: ComparisonIn, site: Here) -> Response:
    """Tell what a repair changed, whether it worked, and how fair the comparison is."""

    def work() -> Any:
        readings = [_one_of(told, name, site) for name in ("before", "after")]
        return compared(site.program, *readings).document()

    return answer(await site.work(work))


@router.post("/rules/{rule}/why", response_model=None, responses={200: {"model": WhyOut}})
async def post_why(rule: str, told: ReadingIn, site: Here) -> Response:
    """Tell why a rule or gate fired on a reading, did not, or could not be judged."""

    def work() -> dict[str, Any]:
        reading = _reading(told, site.settings.units)
        return reasons.document(why(rule, reading, site.in_full), reading.units)

    try:
        return answer(await site.work(work))
    except UnknownNameError as error:
        if error.name != rule:
            raise
        raise HTTPException(404, str(error)) from None


@router.post("/rules/check", response_model=None, responses={200: {"model": RulesOut}})
async def post_rules(told: RulesIn, site: Here) -> Response:
    """Tell what is wrong with rules, what their examples show, and which known cases they change; none is kept."""
    return answer(await site.work(lambda: pasted.document(attempt(told.rules, site.program, name="rules"))))


@router.post("/job", response_model=None, responses={200: {"model": JobOut}})
async def post_job(told: JobIn, site: Here) -> Response:
    """Tell what stands in a job sheet; what cannot be read of it is told as well."""

    def work() -> dict[str, Any]:
        return job.document(read_what_can_be("sheet", told.sheet.encode("utf-8", "replace")))

    return answer(await site.work(work))


def answer(found: Any) -> Response:
    """Return a document as JSON; a number that does not exist is null, never NaN."""
    content = json.dumps(found, allow_nan=False, ensure_ascii=False)
    return Response(content.encode("utf-8", "replace"), media_type="application/json")


def _reading(told: BaseModel, units: UnitSet) -> Reading:
    """Return the reading; no file can be named in it."""
    given = told.model_dump(exclude_none=True)
    return Reading(given, units=given.pop("units", units), folder=None)


def _one_of(told: BaseModel, name: str, site: Site) -> Reading:
    """Return one of several readings; its troubles are told under its name."""
    try:
        reading = _reading(getattr(told, name), site.settings.units)
        reading.validate_checks(site.program.answers)
    except ReadingError as error:
        raise ReadingError(
            [Trouble((name, *each.path), each.message, each.at_key) for each in error.troubles]
        ) from None
    return reading
