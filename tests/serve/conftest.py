"""The application as tests ask it: the built-in rules, for this machine alone."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from starlette.testclient import TestClient

from twogauge.diagnosis import program_for
from twogauge.serve.app import create_app
from twogauge.serve.site import Settings

HERE = "http://127.0.0.1"
UNHURRIED = Settings(rate=1e9, burst=1e9, seconds=120.0)  # on a busy machine too


@pytest.fixture(scope="session")
def app():
    return create_app(program_for(), UNHURRIED)


@pytest.fixture
def client(app) -> Iterator[TestClient]:
    with TestClient(app, base_url=HERE, follow_redirects=False) as found:
        yield found
