"""What the API's own description allows, and what it forbids, thrown at it: an answer or problem details, never a fault."""

from __future__ import annotations

import pytest
import schemathesis
from hypothesis import HealthCheck, settings
from schemathesis.checks import (
    content_type_conformance,
    not_a_server_error,
    response_schema_conformance,
    status_code_conformance,
)

from twogauge.diagnosis import program_for
from twogauge.serve.api import V1
from twogauge.serve.app import create_app
from twogauge.serve.site import Settings

EXAMPLES = 12  # of each operation; HYPOTHESIS_PROFILE=deep searches longer
UNHURRIED = Settings(rate=1e9, burst=1e9, seconds=120.0)
HEADERS = {"host": "127.0.0.1"}
CHECKS = [not_a_server_error, status_code_conformance, content_type_conformance, response_schema_conformance]

schema = schemathesis.openapi.from_asgi(f"{V1}/openapi.json", create_app(program_for(), UNHURRIED), headers=HEADERS)


@pytest.mark.filterwarnings("ignore")  # of the client that the tool brings
@schema.parametrize()
@settings(
    max_examples=max(EXAMPLES, settings.default.max_examples // 10),
    suppress_health_check=list(HealthCheck),
    deadline=None,
)
def test_no_request_finds_a_fault(case):
    case.call_and_validate(checks=CHECKS, headers=HEADERS)
