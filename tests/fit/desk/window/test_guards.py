"""Who is let in: host, origin, token; what a browser is told; and that nothing is reached beside the table of files."""

import asyncio

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from websockets.exceptions import InvalidStatus

from fit.desk.window.guards import KEPT_POLICY, MAX_QUERY_BYTES, UNWANTED, Guard
from tests.window_server import Server


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    return tmp_path_factory.mktemp("book")


@pytest.fixture(scope="module")
def server(book):
    server = Server(book, "--virtual")
    yield server
    server.end()
    assert not [line for line in server.complaints if "Traceback" in line]


def test_the_address_lets_in_and_leaves_no_token_in_the_next_one(server):
    status, headers, _ = server.ask(f"/?token={server.token}", headers={})
    assert (status, headers["location"]) == (303, "/")
    assert headers["set-cookie"] == f"{server.cookie}; HttpOnly; SameSite=Strict; Path=/"
    assert len(server.token) >= 43  # 256 bits in base64


def test_a_page_is_there_for_whoever_has_the_cookie(server):
    for path in ("/", "/level", "/take", "/result", "/what-if", "/before-after", "/listen", "/logbook"):
        status, headers, text = server.ask(path)
        assert (status, headers["content-type"]) == (200, "text/html; charset=utf-8"), path
        assert "<title>" in text


def test_every_answer_forbids_what_no_page_needs(server):
    for status, headers, _ in (
        server.ask("/"),
        server.ask("/none"),
        server.ask("/", headers={}),
        server.ask("/", host="evil.example"),
    ):
        policy = headers["content-security-policy"]
        assert policy.startswith("default-src 'none';"), status
        assert "unsafe" not in policy
        assert (headers["x-content-type-options"], headers["referrer-policy"]) == ("nosniff", "no-referrer")
        assert not [name for name in headers if name.startswith("access-control")]


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1", "127.0.0.1:1", "localhost.evil.example", "[::1]", "", "127.0.0.1:80@evil"]
)
def test_another_host_is_turned_away(server, host):
    assert server.ask("/", host=host)[0] == 403
    assert server.ask(f"/?token={server.token}", headers={}, host=host)[0] == 403


def test_localhost_is_this_host(server):
    assert server.ask("/", host=f"localhost:{server.port}")[0] == 200


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "https://127.0.0.1", "http://127.0.0.1"])
def test_another_origin_is_turned_away(server, origin):
    assert server.ask("/", headers={**server.own, "Origin": origin})[0] == 403
    with pytest.raises(InvalidStatus, match="403"):
        server.page(origin=origin)


def test_an_origin_of_the_other_name_of_this_host_is_another(server):
    with pytest.raises(InvalidStatus, match="403"):
        server.page(origin=f"http://localhost:{server.port}")


def test_a_request_that_changes_something_needs_its_own_origin_and_is_none_of_ours(server):
    own = {**server.own, "Origin": f"http://127.0.0.1:{server.port}"}
    for method in ("POST", "PUT", "DELETE", "OPTIONS", "PATCH"):
        assert server.ask("/", method=method)[0] == 403
        assert server.ask("/", method=method, headers=own)[0] == 405


@pytest.mark.parametrize(
    "cookie", ["", "coilsweep=x", "coilsweep-{port}=", "coilsweep-{port}=x", "coilsweep-1={token}", "Ω=é; ;=", "{token}"]
)
def test_without_the_token_nothing_is_shown(server, cookie):
    text = cookie.format(port=server.port, token=server.token).encode().decode("latin-1")
    for path in ("/", "/level", "/assets/bench.css", "/none", "/?token=x", "/?token=", f"/level?token={server.token}"):
        status, _, body = server.ask(path, headers={"Cookie": text})
        assert status == 401
        assert body.count("\n") == 1
    with pytest.raises(InvalidStatus, match="401"):
        server.page(headers={"Cookie": text})


def test_the_right_cookie_counts_wherever_it_stands(server):
    assert server.ask("/", headers={"Cookie": f"a=b; {server.cookie}; coilsweep-1=x"})[0] == 200


@pytest.mark.parametrize(
    "path",
    [
        "/assets/../serve.py",
        "/assets/..%2fserve.py",
        "/assets/%2e%2e/serve.py",
        "/assets/..%5cserve.py",
        "/assets//etc/passwd",
        "/assets/%2fetc%2fpasswd",
        "/assets/",
        "/assets/bench.css/..",
        "/assets/bench.css%00",
        "/../pyproject.toml",
        "/rig.toml",
        "//level",
        "/kept/rig.toml",
        "/kept/../rig.toml",
        "/kept/..%2freport.html",
        "/kept/report.html",
    ],
)
def test_nothing_is_reached_by_a_path(server, path):
    assert server.ask(path)[0] == 404


def test_files_of_the_table_are_served(server):
    status, headers, text = server.ask("/assets/bench.css")
    assert (status, headers["content-type"]) == (200, "text/css; charset=utf-8")
    assert "{" in text


def test_a_page_that_a_job_has_kept_runs_nothing(server, book, tmp_path):
    (book / "rig.toml").write_text("[input]\n")
    for name in ("report.html", "answer.html"):
        (book / name).write_text("<h1>kept</h1><script>1</script>")
        status, headers, text = server.ask(f"/kept/{name}")
        (book / name).unlink()
        assert (status, text) == (200, "<h1>kept</h1><script>1</script>")
        assert headers["content-security-policy"] == KEPT_POLICY
        assert KEPT_POLICY.startswith("sandbox; default-src 'none'; style-src 'unsafe-inline'; ")
        assert headers["x-content-type-options"] == "nosniff"
    (tmp_path / "elsewhere.html").write_text("not of this logbook")
    (book / "report.html").symlink_to(tmp_path / "elsewhere.html")
    assert server.ask("/kept/report.html")[0] == 404
    assert server.ask("/kept/report.html", headers={})[0] == 401
    (book / "report.html").unlink()
    assert server.ask("/kept/rig.toml")[0] == 404


def test_an_address_that_is_too_long_is_refused_in_a_line(server):
    status, _, body = server.ask(f"/?a={'x' * MAX_QUERY_BYTES}")
    assert (status, body.count("\n")) == (414, 1)


BYTES = st.binary(max_size=60)
NAMES = st.sampled_from([b"host", b"origin", b"cookie", b"Host", b"COOKIE", b"x"])
TOKEN, PORT = "a-token", 4711


def judged(scope):
    """Status that the guard itself answers with; None where it lets through."""
    sent, has_passed = [], []

    async def app(scope, receive, send):
        del receive, send
        has_passed.append(scope)

    async def receive():
        return {"type": "websocket.connect"}

    async def send(message):
        sent.append(message)

    asyncio.run(Guard(app, port=PORT, token=TOKEN)(scope, receive, send))
    return None if has_passed else next(one.get("status", one.get("code")) for one in sent)


def scope_of(kind, headers, *, path="/", query=b"", method="GET"):
    return {"type": kind, "method": method, "path": path, "query_string": query, "headers": headers, "extensions": {}}


@pytest.mark.long
@settings(max_examples=300, deadline=None)
@given(
    kind=st.sampled_from(["http", "websocket"]),
    headers=st.lists(st.tuples(NAMES, BYTES | st.just(b"127.0.0.1:4711") | st.just(b"coilsweep-4711="))),
    path=st.text(max_size=20) | st.just("/"),
    query=BYTES | st.just(b"token=") | BYTES.map(lambda text: b"token=" + text) | st.just(b"a&" * 5000),
    method=st.sampled_from(["GET", "HEAD", "POST", "", "\x00"]),
)
def test_whatever_is_asked_without_the_token_is_answered_and_not_let_in(kind, headers, path, query, method):
    assert judged(scope_of(kind, headers, path=path, query=query, method=method)) in (401, 403, 405, 414, UNWANTED)


def test_with_the_token_it_lets_in():
    own = [(b"host", b"127.0.0.1:4711"), (b"cookie", b"coilsweep-4711=a-token")]
    assert judged(scope_of("http", own)) is None
    assert judged(scope_of("websocket", own)) == UNWANTED
    assert judged(scope_of("websocket", [*own, (b"origin", b"http://127.0.0.1:4711")])) is None
    assert judged(scope_of("http", [*own, (b"host", b"127.0.0.1:4711")])) == 403
