"""Who may ask, how much and how often; what stands in every answer; what is never told."""

from __future__ import annotations

import asyncio
import logging
import time
from html.parser import HTMLParser
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from twogauge.diagnosis import program_for
from twogauge.serve.app import create_app
from twogauge.serve.clients import Clients
from twogauge.serve.entrance import Entrance, TooOften, new_token, way_back
from twogauge.serve.guard import HEADERS, host_of
from twogauge.serve.pages import PAGES
from twogauge.serve.site import Settings, asset_address, assets

HERE = "http://127.0.0.1"
PROFILES = Path(__file__).resolve().parents[2] / "examples" / "bus_depot" / "profiles.yaml"
READING = "/?refrigerant=R134a&low_side=10+psi&high_side=110+psi&ambient=90+degF"


def open_client(**settings) -> TestClient:
    app = create_app(program_for(), Settings(**{"seconds": 120.0, **settings}))
    return TestClient(app, base_url=HERE, follow_redirects=False)


EVERY = [
    READING,
    "/live",
    "/nothing",
    "/api/v1/nothing",
    "/enter",
    "/static/site.css",
    *(page.path for page in PAGES),
]


@pytest.mark.parametrize("path", EVERY)
def test_every_answer_carries_the_headers(client, path):
    answer = client.get(path)
    assert {name: answer.headers[name] for name in HEADERS} == HEADERS
    if not path.startswith("/static"):
        assert answer.headers["cache-control"] == "no-store"


def test_only_what_can_never_change_is_kept_without_asking(client):
    for name in assets():
        assert "immutable" in client.get(asset_address(name)).headers["cache-control"]
        for old in (f"/static/{name}", f"/static/{name}?v=0"):
            assert client.get(old).headers["cache-control"] == "no-cache"


@pytest.mark.parametrize("change", [{"host": "evil.example"}, {"sec-fetch-site": "cross-site"}])
def test_a_refusal_carries_the_headers_as_well(client, change):
    answer = client.post("/", headers=change)
    assert answer.status_code in {403, 421}
    assert {name: answer.headers[name] for name in HEADERS} == HEADERS


def test_the_policy_allows_no_inline_script_or_style_and_nothing_from_elsewhere():
    policy = dict(part.split(" ", 1) for part in HEADERS["content-security-policy"].split("; "))
    assert policy["default-src"] == "'none'"
    assert {policy[name] for name in ("script-src", "style-src", "img-src", "connect-src", "form-action")} == {
        "'self'"
    }
    assert policy["frame-ancestors"] == policy["base-uri"] == "'none'"


@pytest.mark.parametrize("path", [READING, *(page.path for page in PAGES)])
def test_a_page_holds_nothing_that_the_policy_forbids(client, path):
    found = []

    class Looks(HTMLParser):
        def handle_starttag(self, tag, attributes):
            told = dict(attributes)
            if (tag == "script" and "src" not in told) or tag == "style" or "style" in told:
                found.append((tag, told))
            found.extend((tag, name) for name in told if name.startswith("on"))
            leads = [told[name] for name in ("src", "href", "action") if name in told]
            found.extend((tag, where) for where in leads if not where.startswith(("/", "#")))

    Looks().feed(client.get(path).text)
    assert found == []


def test_no_asset_loads_anything_from_elsewhere():
    allowed = b"http://www.w3.org/2000/svg"
    assert [name for name, asset in assets().items() if b"http" in asset.content.replace(allowed, b"")] == []


@pytest.mark.parametrize(
    "host",
    [
        *(
            "evil.example",
            "127.0.0.1.evil.example",
            "",
            "127.0.0.1:80:80",
            "user@127.0.0.1",
            "127.0.0.1@evil.example",
        ),
        *("localhost.", "127.1", "2130706433", "[::ffff:127.0.0.1]", "[::1].evil.example"),
    ],
)
def test_a_name_that_was_made_to_point_here_is_refused(client, host):
    assert client.get("/", headers={"host": host}).status_code == 421


@pytest.mark.parametrize("host", ["localhost", "127.0.0.1:8277", "LOCALHOST:1", "[::1]:8277"])
def test_the_names_of_this_machine_are_served(client, host):
    assert client.get("/static/site.css", headers={"host": host}).status_code == 200


@pytest.mark.parametrize("told", [[], ["a", "b"], ["[::1"], ["a:b"], ["[::1]\x85"]])
def test_a_host_header_that_cannot_be_names_nobody(told):
    assert host_of(told) == ""


def test_only_what_http_takes_for_a_blank_is_left_out_of_a_name():
    assert host_of([" LOCALHOST:80\t"]) == "localhost"
    assert host_of(["localhost\xa0"]) == "localhost\xa0"


@pytest.mark.parametrize(
    ("headers", "served"),
    [
        ({"sec-fetch-site": "same-origin"}, True),
        ({"sec-fetch-site": "cross-site", "origin": "http://evil.example"}, False),
        ({"sec-fetch-site": "same-site", "origin": "http://127.0.0.1:9"}, False),
        ({"origin": "http://127.0.0.1"}, True),
        ({"origin": "http://127.0.0.1:9"}, False),
        ({"origin": "null"}, False),
        ({"origin": "https://127.0.0.1"}, False),
        ({"sec-fetch-site": "same-origin", "origin": "null"}, True),
        ({"sec-fetch-site": "same-origin", "origin": "http://evil.example"}, False),
        ({"sec-fetch-site": "none", "origin": "http://evil.example"}, False),
        ([("origin", "http://127.0.0.1"), ("origin", "http://evil.example")], False),
        ([("sec-fetch-site", "same-origin"), ("sec-fetch-site", "cross-site")], False),
        ({}, True),
    ],
)
def test_only_this_site_may_write(client, headers, served):
    assert (client.post("/enter", headers=headers).status_code != 403) is served


@pytest.mark.parametrize(
    ("mode", "into", "status"),
    [
        ("no-cors", "image", 403),
        ("cors", "empty", 403),
        ("navigate", "iframe", 403),
        ("navigate", "object", 403),
        ("navigate", "document", 200),
        ("navigate", None, 200),
    ],
)
def test_another_site_may_link_here_but_not_embed(client, mode, into, status):
    headers = {"sec-fetch-site": "cross-site", "sec-fetch-mode": mode, **({"sec-fetch-dest": into} if into else {})}
    assert client.get("/", headers=headers).status_code == status


def test_a_form_of_ours_may_tell_us_where_it_comes_from():
    """Without this, a browser says `Origin: null` to an address of a local network, and its form would be refused."""
    assert HEADERS["referrer-policy"] == "same-origin"


def test_a_body_is_counted_as_it_comes():
    with open_client(most_bytes=1000) as client:
        assert client.post("/enter", content=b"x" * 1001).status_code == 413
        assert client.post("/enter", content=(b"x" * 100 for _ in range(11))).status_code == 413
        assert client.post("/enter", content=(b"x" * 100 for _ in range(9))).status_code != 413


def test_who_is_not_known_yet_may_send_a_token_and_no_more(client):
    assert client.post("/enter", content=b"a&" * 2049).status_code == 413
    assert client.post("/enter", content=b"a&" * 2048).status_code != 413


def asked(app, path, receive, client="192.0.2.1"):
    """One request, as the server hands it over; answers with the status, 0 for none."""
    told = []

    async def send(message):
        told.append(message)

    scope = {
        "type": "http",
        "method": "POST",
        "path": path,
        "raw_path": path.encode(),
        "query_string": b"",
        "headers": [(b"host", b"127.0.0.1")],
        "client": (client, 1),
        "server": ("127.0.0.1", 80),
        "scheme": "http",
        "http_version": "1.1",
    }

    async def ask():
        await app(scope, receive, send)
        return next((each["status"] for each in told if each["type"] == "http.response.start"), 0)

    return asyncio.ensure_future(ask())


def test_one_client_has_only_so_many_requests_under_way():
    app = create_app(program_for(), Settings(at_once=2))

    async def scenario():
        silent = asyncio.Event().wait  # the body never comes
        held = [asked(app, "/enter", silent) for _ in range(2)]
        await asyncio.sleep(0)
        assert await asked(app, "/enter", silent) == 429
        other = asked(app, "/enter", silent, client="192.0.2.2")
        await asyncio.sleep(0.01)
        assert not other.done()
        for each in (*held, other):
            each.cancel()
        await asyncio.gather(*held, other, return_exceptions=True)
        last = asked(app, "/enter", silent)
        await asyncio.sleep(0.01)
        assert not last.done()
        last.cancel()

    asyncio.run(scenario())


@pytest.mark.parametrize("whole", [True, False])
def test_nothing_is_worked_out_for_who_has_gone(whole):
    app = create_app(program_for())
    done = []

    async def works():
        done.append("began")
        await asyncio.sleep(30)
        done.append("ended")

    app.add_api_route("/works", works, methods=["POST"])

    async def scenario():
        coming = [{"type": "http.request", "body": b"", "more_body": not whole}, {"type": "http.disconnect"}]

        async def receive():
            await asyncio.sleep(0.05)
            return coming.pop(0)

        async with asyncio.timeout(5.0):
            assert await asked(app, "/works", receive) == 0

    asyncio.run(scenario())
    assert done == ["began"] * whole


@pytest.mark.parametrize("told", ["-1", "many", "9" * 30])
def test_a_length_that_cannot_be_is_refused(client, told):
    assert client.post("/enter", content=b"", headers={"content-length": told}).status_code == 413


def test_an_address_has_a_limit(client):
    assert client.get("/?note=" + "x" * 20_000).status_code == 414


def test_who_asks_too_often_waits():
    with open_client(rate=0.001, burst=3) as client:
        answers = [client.get("/static/site.css") for _ in range(5)]
    assert [answer.status_code for answer in answers] == [200, 200, 200, 429, 429]
    assert int(answers[-1].headers["retry-after"]) > 0


def test_the_bucket_of_a_client_fills_again_and_others_have_their_own():
    clients = Clients(rate=2.0, burst=1.0)
    assert clients.wait_for("a", now=0.0) == 0.0
    assert clients.wait_for("a", now=0.1) == pytest.approx(0.4)
    assert clients.wait_for("b", now=0.1) == 0.0
    assert clients.wait_for("a", now=0.6) == 0.0


def test_clients_are_not_remembered_without_end():
    clients = Clients(rate=1.0, burst=1.0)
    for i in range(5000):
        clients.wait_for(str(i), now=0.0)
    assert len(clients._left) == 2048


def test_what_takes_too_long_is_given_up_with_a_sentence():
    app = create_app(program_for(), Settings(seconds=0.2))

    async def sleeps():
        await asyncio.sleep(30)

    async def works():
        await app.state.site.work(time.sleep, 1.0)

    app.add_api_route("/sleeps", sleeps)
    app.add_api_route("/works", works)
    with TestClient(app, base_url=HERE) as client:
        for path in ("/sleeps", "/works"):
            answer = client.get(path)
            assert (answer.status_code, "too long" in answer.text) == (503, True)


def test_a_fault_of_ours_shows_no_trace_and_logs_nothing_that_was_typed(caplog):
    app = create_app(program_for())

    async def breaks(note: str = ""):
        raise RuntimeError(note)

    app.add_api_route("/breaks", breaks)
    app.add_api_route("/api/v1/breaks", breaks)
    with caplog.at_level(logging.INFO), TestClient(app, base_url=HERE) as client:
        for path in ("/breaks", "/api/v1/breaks"):
            answer = client.get(f"{path}?note=secret-words")
            assert answer.status_code == 500
            assert "secret-words" not in answer.text
            assert "Traceback" not in answer.text
            assert answer.headers["content-security-policy"]
    assert "RuntimeError" in caplog.text
    ours = [record for record in caplog.records if record.name.startswith("twogauge")]
    assert ours
    assert [record for record in ours if "secret-words" in record.getMessage() or record.exc_info] == []


def test_the_log_holds_no_query_and_no_address(client, caplog):
    with caplog.at_level(logging.INFO, logger="twogauge.serve"):
        client.get(READING)
        client.get("/John-Doe")
    said = [record.getMessage() for record in caplog.records if record.name == "twogauge.serve"]
    assert len(said) == 2
    assert said[0].startswith("GET / 200 ")
    assert not any(word in " ".join(said) for word in ("R134a", "John", "testclient"))


def test_the_log_holds_no_method_that_a_stranger_made_up(client, caplog):
    with caplog.at_level(logging.INFO, logger="twogauge.serve"):
        client.request("JOHN-DOE", "/")
    assert [record.getMessage().split(" / ")[0] for record in caplog.records if record.name == "twogauge.serve"] == [
        "(another method)"
    ]


@pytest.mark.parametrize(
    "path", ["/static/../app.py", "/static/%2e%2e/app.py", "/static/..%2fapp.py", "/static//etc/passwd"]
)
def test_no_path_reaches_a_file(client, path):
    assert client.get(path).status_code == 404


def test_no_answer_tells_a_path_of_this_machine(tmp_path):
    """Not even of the folder of rules that the server was started with, nor when that has changed since."""
    folder = tmp_path / "shop"
    folder.mkdir()
    (folder / "pack.yaml").write_text(
        "pack: shop\ntitle: Ours\nedition: 1\nformat: 1\nbuilds_on: {automotive: 1}\n", "utf-8"
    )
    (folder / "profiles.yaml").write_bytes(PROFILES.read_bytes())
    app = create_app(program_for((str(folder),)), Settings(rules=(str(folder),)))
    app.state.site.read_ahead()
    (folder / "pack.yaml").write_text("rules: [broken", "utf-8")
    told = {"refrigerant": "R134a", "profile": "bus_line_4"}
    reading = {**told, "low_side": "10 psi", "high_side": "110 psi", "ambient": "90 degF"}
    with TestClient(app, base_url=HERE) as client:
        answers = [
            *(
                client.get(f"/tools/{name}", params={**told, "verbose": "yes"})
                for name in ("charge", "expect", "plan")
            ),
            client.get("/tools/standing", params={**told, "pressure": "85 psi", "coldest": "75 degF"}),
            *(client.get(f"/tools/book/{name}.html") for name in ("index", "rules", "nothing")),
            client.get("/", params=reading),
            client.get("/tools/plan", params={"name": "recharge", "verbose": "yes"}),
            client.post("/api/v1/plan", json={"name": "recharge", "refrigerant": "R134a"}),
            client.post("/api/v1/charge", json=told),
            client.post("/api/v1/diagnose", json=reading),
            client.post("/api/v1/expect", json={**reading, "profile": "bus_line_5"}),
            *(
                client.post(f"/api/v1/rules/{name}/why", json=reading)
                for name in ("clutch_cycles_rapidly", "nothing")
            ),
        ]
    assert "bus_line_4" in answers[0].text
    assert [each.url.path for each in answers if str(tmp_path) in each.text or "--rules" in each.text] == []
    assert {each.status_code for each in answers} == {200, 404, 422}


# -- the token -----------------------------------------------------------------------------------------------------

TOKEN = "abcd-efgh-jkmn"  # noqa: S105 - of the tests


def test_a_device_shows_the_token_once_and_gets_a_cookie():
    told = []
    with open_client(token=TOKEN, announce=told.append) as client:
        assert client.get(READING).status_code == 303
        scanned = client.get("/enter", params={"token": TOKEN, "back": READING})
        assert scanned.status_code == 200
        assert f'value="{TOKEN}"' in scanned.text
        entered = client.post("/enter", params={"back": READING}, data={"token": TOKEN})
        assert entered.status_code == 303
        assert entered.headers["location"] == READING
        assert TOKEN not in entered.headers["location"]
        cookie = entered.headers["set-cookie"].lower()
        assert "httponly" in cookie
        assert "samesite=lax" in cookie
        assert client.get(READING).status_code == 200
        assert len(told) == 1
        assert told[0] != TOKEN
    app = create_app(program_for(), Settings(token=TOKEN))
    first, second = (TestClient(app, base_url=HERE, follow_redirects=False) for _ in range(2))
    assert first.post("/enter", data={"token": TOKEN}).status_code == 303
    assert second.post("/enter", data={"token": TOKEN}).status_code == 401
    assert second.post("/enter", data={"token": app.state.entrance.token}).status_code == 303
    again = first.get("/enter", params={"token": TOKEN, "back": READING})
    assert (again.status_code, again.headers["location"]) == (303, READING)  # who is in scans the picture once more


def test_who_has_not_entered_sees_nothing_and_loses_nothing():
    with open_client(token=TOKEN) as client:
        answer = client.get(READING)
        assert answer.headers["location"].startswith("/enter?back=%2F%3Frefrigerant%3DR134a")
        page = client.get(answer.headers["location"])
        assert page.status_code == 200
        assert "Most likely" not in page.text
        assert "low_side=10" in page.text
        assert client.get("/api/v1/refrigerants").status_code == 401
        assert client.post("/api/v1/diagnose", json={}).status_code == 401
        assert client.get("/", headers={"cookie": "twogauge_80=guess"}).status_code == 303
        assert client.get("/", headers={"cookie": "twogauge_80=\xe9; ;;=".encode("latin-1")}).status_code == 303
        typed = client.post("/enter?back=/live", data={"token": " ABCD efgh jkmn "})
        assert (typed.status_code, typed.headers["location"]) == (303, "/live")


def test_guessing_ends_soon_even_with_the_right_token():
    entrance = Entrance(TOKEN)
    assert [entrance.exchange(f"guess-{i}", "one") for i in range(10)] == [None] * 10
    with pytest.raises(TooOften):
        entrance.exchange(TOKEN, "one")


def test_who_guesses_shuts_nobody_else_out():
    entrance = Entrance(TOKEN)
    for i in range(10):
        entrance.exchange(f"guess-{i}", "one")
    assert entrance.exchange(TOKEN, "other")


def test_too_many_tokens_are_called_that_and_not_wrong():
    with open_client(token=TOKEN) as client:
        answers = [client.post("/enter", data={"token": f"guess-{i}"}) for i in range(11)]
    assert [each.status_code for each in answers] == [401] * 10 + [429]
    assert "wait a minute" in answers[-1].text


@pytest.mark.parametrize("path", [READING, "/nothing", "/static/site.css", "/api/v1/refrigerants"])
def test_a_head_is_answered_as_a_get_without_its_body(client, path):
    full, head = client.get(path), client.head(path)
    assert head.status_code == full.status_code
    assert head.content == b""
    assert {**head.headers} == {**full.headers}


def test_a_head_does_not_reach_what_a_get_does_not():
    with open_client(token=TOKEN) as client:
        assert client.head(READING).status_code == 303


def test_who_only_looks_at_a_link_spends_no_token():
    """Messengers and browsers fetch a link before it is opened; the device that opens it would come too late."""
    with open_client(token=TOKEN) as client:
        link = {"url": "/enter", "params": {"token": TOKEN}}
        assert client.head(**link).status_code == 200
        for ahead in ({"sec-purpose": "prefetch;prerender"}, {"purpose": "prefetch"}, {"x-moz": "prefetch"}):
            assert client.get(**link, headers=ahead).status_code == 503
        for looked in (client.head(**link), client.get(**link), client.get(**link)):
            assert looked.status_code == 200
            assert "set-cookie" not in looked.headers
        assert client.post("/enter", data={"token": TOKEN}).status_code == 303


def test_each_device_has_a_session_of_its_own_that_ends():
    entrance = Entrance(TOKEN)
    first = entrance.exchange(TOKEN, "one", now=0.0)
    second = entrance.exchange(entrance.token, "two", now=3600.0)
    assert first != second
    told = [f"c={session}" for session in (first, second)]
    assert [entrance.knows(each, "c", now=3600.0) for each in told] == [True, True]
    assert [entrance.knows(each, "c", now=12.5 * 3600.0) for each in told] == [False, True]
    assert [entrance.knows(each, "c", now=14.0 * 3600.0) for each in told] == [False, False]


def test_sessions_are_not_remembered_without_end():
    entrance = Entrance(TOKEN)
    told = [entrance.exchange(entrance.token, str(i), now=0.0) for i in range(65)]
    assert [entrance.knows(f"c={session}", "c", now=0.0) for session in told] == [False] + [True] * 64


@pytest.mark.parametrize(
    "others", ["", "a[]=(; ", 'b="open; ', "twogauge=old; ", "=; ;;; ", "\xe9=\xe9; ", f"x={'y' * 9000}; ", "c=old; "]
)
def test_cookies_that_another_server_of_the_machine_set_do_not_matter(others):
    entrance = Entrance(TOKEN)
    session = entrance.exchange(TOKEN)
    assert entrance.knows(f"{others}c={session}", "c")
    assert not entrance.knows(f"{others}d={session}", "c")


def test_servers_on_two_ports_do_not_overwrite_each_others_cookies():
    app = create_app(program_for(), Settings(token=TOKEN))
    names = []
    for port in (8277, 8278):
        with TestClient(app, base_url=f"{HERE}:{port}", follow_redirects=False) as client:
            entered = client.post("/enter", data={"token": app.state.entrance.token})
            names.append(entered.headers["set-cookie"].partition("=")[0])
    assert names == ["twogauge_8277", "twogauge_8278"]


def test_tokens_differ():
    assert len({new_token() for _ in range(100)}) == 100


@pytest.mark.parametrize(
    "told",
    [
        "https://evil.example/",
        "//evil.example",
        "/\\evil.example",
        "javascript:alert(1)",
        "",
        "/enter?token=x",
        "a\nb",
        "//[",
        "http://[",
        "//\u2100.example",
        "/\t/evil.example",
    ],
)
def test_the_way_back_stays_on_this_server(told):
    assert way_back(told) == "/"


def test_the_way_back_keeps_what_was_typed():
    assert way_back(READING) == READING
