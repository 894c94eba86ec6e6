"""Access, and requests that must be refused: the page's server without a browser."""

import asyncio
import contextlib
import json
import re
import signal
import socket
import time
import urllib.error
import urllib.request

import pytest
import synthetic
from hotfuel.errors import InputError
from hotfuel.live import guard, serve
from hotfuel.log.append import LogWriter
from hotfuel.session import metadata
from hypothesis import given
from hypothesis import strategies as st
from serving import CONTEXT, Served, finished, serve_losing_the_interrupt
from tornado.httpclient import HTTPClientError, HTTPRequest
from tornado.websocket import websocket_connect


@pytest.fixture(scope="module")
def network(tmp_path_factory):
    """A page opened to the network: (port, token, link on loopback)."""
    path = tmp_path_factory.mktemp("network")
    (path / "wire.log").write_bytes(synthetic.drive(20.0).data)
    with Served(path, "0.0.0.0") as server:
        port, token = re.fullmatch(r"http://[^/]+:(\d+)/(.+)", server.url).groups()
        yield int(port), token, f"http://127.0.0.1:{port}/{token}"
        assert server.alive()  # no attempt brought it down


@pytest.fixture(scope="module")
def loopback(tmp_path_factory):
    path = tmp_path_factory.mktemp("loopback")
    (path / "wire.log").write_bytes(synthetic.drive(20.0).data)
    with Served(path) as server:
        yield server.url, server


SLOWEST_S = 90.0  # s for a busy machine; no result depends on it


def get(url, **headers):
    """(status, headers, text) of a request."""
    try:
        with urllib.request.urlopen(urllib.request.Request(url, headers=headers), timeout=SLOWEST_S) as answer:
            return answer.status, answer.headers, answer.read().decode("utf-8", "replace")
    except urllib.error.HTTPError as error:
        return error.code, error.headers, error.read().decode("utf-8", "replace")


@pytest.mark.parametrize("title", ["run 5 of 12: ice can", "second try"])
def test_a_run_of_a_test_day_shows_when_it_may_begin(tmp_path, title):
    """The run is named once in the heading, whatever the session is called."""
    (tmp_path / "wire.log").write_bytes(synthetic.drive(20.0).data)
    run = "run 5 of 12: ice can"
    metadata.write(tmp_path / "session.json", {"title": title, "test_day": run, "start_when": "the tank is below 95.0 °F"})
    with Served(tmp_path) as server:
        text = get(server.url)[2]
    heading = re.search(r"<h1 class=.who.>(.*?)</h1>", text).group(1)
    named = "" if title == run else f"{run}; "
    assert heading.startswith(
        f'<span id="name">{title}</span><span id="planned">; {named}start when the tank is below 95.0 °F</span>'
    )
    assert heading.count(run) == 1


def connect(url, origin):
    """Open the WebSocket and send nothing; the first message, or the status with which it was refused."""

    async def trial():
        headers = {} if origin is None else {"Origin": origin}
        connection = await asyncio.wait_for(
            websocket_connect(HTTPRequest(url.replace("http", "ws", 1), headers=headers)), SLOWEST_S
        )
        first = await asyncio.wait_for(connection.read_message(), SLOWEST_S)
        connection.close()
        return first

    try:
        return finished(trial())
    except HTTPClientError as error:
        return error.code


def test_the_page_opens_with_the_whole_link(network):
    port, token, link = network
    status, headers, text = get(link)
    assert status == 200
    assert 'id="head-margin"' in text
    assert headers["X-Frame-Options"] == "DENY"
    assert headers["Referrer-Policy"] == "no-referrer"
    assert "frame-ancestors 'none'" in headers["Content-Security-Policy"]
    assert len(token) >= 32
    assert len(text.encode()) < 64_000  # everything needed for the first useful paint
    assert re.findall(r'<script[^>]* src="([^"]+)"', text) == []  # the charts' script comes after the numbers
    status, headers, script = get(f"{link}/bokeh.js")
    assert (status, headers["Cross-Origin-Resource-Policy"]) == (200, "same-origin")
    assert "Bokeh" in script
    first = json.loads(connect(f"{link}/live", f"http://127.0.0.1:{port}"))
    assert first["sequence"] == 1
    assert {place["place"] for place in first["places"]} == {"tank", "pump", "carb_inlet"}


def test_without_script_the_page_shows_the_state_and_reloads_itself(network, tmp_path):
    plain = re.search(r"<noscript>\s*<main.*?</noscript>", get(network[2])[2], re.DOTALL).group()
    assert "needs JavaScript" in plain
    assert re.search(r"ended: pump</strong>\s*was \d+ °F, ", plain)
    assert "no warning comes from here any more" in plain
    assert "No warning does not mean safe" in plain
    with LogWriter(tmp_path / "wire.log") as writer:
        writer.received(synthetic.drive(20.0).data)
        with Served(tmp_path) as server:
            plain = re.search(r"<noscript>\s*<main.*?</noscript>", get(server.url)[2], re.DOTALL).group()
        assert re.search(r"no margin here: pump</strong>\s*\d+ °F", plain)
    (tmp_path / "wire.log").write_bytes(b"")
    with Served(tmp_path) as server:
        assert "Waiting for the first reading of the board." in get(server.url)[2]


def wrong(token):
    other = "A" if token[-1] != "A" else "B"
    return ["", "x", token[:-1], token + "x", token[:-1] + other, token.swapcase(), "%00", "..", "static", "ws", "é", "a" * 3000]


def test_without_the_token_everything_is_refused(network):
    port, token, _ = network
    base = f"http://127.0.0.1:{port}"
    for given_token in wrong(token):
        start = f"{base}/{urllib.request.quote(given_token)}"
        for path in ("", "/", "/bokeh.js", "/charts.js", "/chart?place=pump", "/live"):
            status, _, text = get(start + path)
            assert status == 403, (given_token, path)
            assert "script" not in text.lower()
            assert token not in text
        assert connect(f"{start}/live", base) == 403, given_token
    assert get(f"{base}/favicon.ico")[0] == 403
    assert get(f"{base}/?token={token}")[0] == 403


@pytest.mark.parametrize(
    "origin",
    [None, "null", "http://evil.example", "https://evil.example:443", "http://127.0.0.1:1", "http://127.0.0.1", "file://"],
)
def test_a_websocket_of_another_origin_is_refused(network, loopback, origin):
    link = network[2]
    assert connect(f"{link}/live", origin) == 403
    assert connect(f"{loopback[0]}live", origin) == 403


def test_on_loopback_another_name_is_refused(loopback):
    link, _ = loopback
    assert get(link)[0] == 200
    for host in ("evil.example", "evil.example:80", "127.0.0.1.evil.example", "192.0.2.7", ""):
        assert get(link, Host=host)[0] in (400, 403), host
    port = re.search(r":(\d+)", link).group(1)
    assert get(link, Host=f"localhost:{port}")[0] == 200


@given(st.text(max_size=60), st.text(max_size=40), st.none() | st.text(max_size=40))
def test_the_gate_never_falls_over_and_never_opens_by_chance(path, host, origin):
    assert guard.refusal(path, host, origin, "the-token-of-this-test")
    assert isinstance(guard.refusal(path, host, origin, ""), str)


def test_the_access_check_in_detail():
    assert guard.refusal("/secret/ws", "10.0.0.5:80", "http://10.0.0.5:80", "secret") == ""
    assert guard.refusal("/secret", "car.local:80", None, "secret") == ""
    assert guard.refusal("/secretx", "10.0.0.5:80", None, "secret")
    assert guard.refusal("/secret/ws", "10.0.0.5:80", "http://10.0.0.5", "secret")
    assert guard.refusal("/ws", "[::1]:80", "http://[::1]:80", "") == ""
    assert guard.refusal("/", "[::", None, "")


def test_a_megabyte_over_the_websocket_ends_only_that_connection(loopback):
    link, server = loopback
    port = re.search(r":(\d+)", link).group(1)

    async def trial():
        headers = {"Origin": f"http://127.0.0.1:{port}"}
        connection = await websocket_connect(HTTPRequest(f"ws://127.0.0.1:{port}/live", headers=headers))
        await connection.read_message()
        for junk in ("{", '{"taken": 1e99}', "[]" * 100, '{"taken": -1, "units": ["us"], "charts": 1, "ask": 7}', "[" * 5000):
            with contextlib.suppress(Exception):
                await connection.write_message(junk)
        with contextlib.suppress(Exception):
            await connection.write_message("x" * (1 << 20))
        while await asyncio.wait_for(connection.read_message(), SLOWEST_S) is not None:
            pass

    finished(trial())
    assert server.alive()
    assert get(link)[0] == 200


async def sockets(link, count):
    """`count` open WebSockets."""
    port = re.search(r":(\d+)", link).group(1)
    request = HTTPRequest(f"ws://127.0.0.1:{port}/live", headers={"Origin": f"http://127.0.0.1:{port}"})
    return [await websocket_connect(request) for _ in range(count)]


def test_too_many_pages_are_refused_with_a_sentence(tmp_path):
    (tmp_path / "wire.log").write_bytes(synthetic.drive(5.0).data)
    with Served(tmp_path) as server:
        link = server.url

        async def trial():
            opened = await sockets(link, guard.PAGES_MAX)
            with pytest.raises(HTTPClientError) as refused:
                await sockets(link, 1)
            assert refused.value.code == 503
            status, _, text = await asyncio.to_thread(get, link)
            assert status == 503
            assert "close one" in text
            opened.pop().close()
            for _ in range(1000):  # the server needs a turn to notice that one has gone
                if (await asyncio.to_thread(get, link))[0] == 200:
                    break
                await asyncio.sleep(0.05)
            assert len(await sockets(link, 1)) == 1

        finished(trial())


def test_unread_answers_are_bounded(tmp_path):
    (tmp_path / "wire.log").write_bytes(synthetic.drive(5.0).data)
    with Served(tmp_path) as server:
        link = server.url
        port = int(re.search(r":(\d+)", link).group(1))
        request = f"GET /bokeh.js HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode()
        with contextlib.ExitStack() as held:
            begun = 0
            while begun < guard.PENDING_MAX:
                deaf = socket.socket()
                # so that the answer does not fit into the system's buffers
                deaf.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
                deaf.connect(("127.0.0.1", port))
                held.callback(deaf.close)
                deaf.sendall(request)
                if b"200" in deaf.recv(15, socket.MSG_PEEK):  # the answer has begun
                    begun += 1
                else:  # a busy machine refuses so many at once
                    time.sleep(0.1)
            status, _, text = get(link)
            assert (status, "try again" in text) == (503, True)
        for _ in range(1000):
            if get(link)[0] == 200:
                break
            time.sleep(0.05)
        assert get(link)[0] == 200
        assert server.alive()


def test_a_rush_is_refused_only_while_it_delays_the_viewers():
    late, now = [0.0], [0.0]
    rush = guard.Rush(lambda: late[0], lambda: now[0])

    def asked(count, apart_s):
        found = []
        for _ in range(count):
            now[0] += apart_s
            found.append(rush.too_many())
        return found

    assert not any(asked(200, 0.005))  # as fast as possible while nobody waits
    late[0] = 0.2
    assert all(asked(5, 0.005))
    now[0] += 10
    assert not any(asked(30, 0.1))  # a few at a time are answered however slow the computer is
    assert any(asked(50, 0.01))
    late[0] = 0.1
    assert not any(asked(50, 0.01))


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_another_site_gets_nothing_but_may_link_here(loopback, site):
    link, _ = loopback
    for path in ("", "bokeh.js", "charts.js", "chart?place=pump"):
        assert get(link + path, **{"Sec-Fetch-Site": site, "Sec-Fetch-Mode": "no-cors", "Sec-Fetch-Dest": "script"})[0] == 403
    followed = {"Sec-Fetch-Site": site, "Sec-Fetch-Mode": "navigate", "Sec-Fetch-Dest": "document"}
    assert get(link, **followed)[0] == 200
    assert get(link, **{**followed, "Sec-Fetch-Dest": "iframe"})[0] == 403
    assert (
        get(link + "bokeh.js", **{"Sec-Fetch-Site": "same-origin", "Sec-Fetch-Mode": "no-cors", "Sec-Fetch-Dest": "script"})[0]
        == 200
    )


def test_a_browser_that_never_reads_costs_no_memory(tmp_path):
    (tmp_path / "wire.log").write_bytes(synthetic.drive(20.0).data)
    with Served(tmp_path) as server:
        link = server.url
        port = int(re.search(r":(\d+)", link).group(1))
        with socket.create_connection(("127.0.0.1", port)) as deaf:
            deaf.sendall(
                f"GET /live HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nUpgrade: websocket\r\nConnection: Upgrade\r\nSec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==\r\n"
                f"Sec-WebSocket-Version: 13\r\nOrigin: http://127.0.0.1:{port}\r\n\r\n".encode()
            )
            deaf.settimeout(30)
            deaf.recv(1, socket.MSG_PEEK)  # the handshake is complete
            time.sleep(2.5)
            deaf.setblocking(False)
            waiting = len(deaf.recv(1 << 20))
        assert 0 < waiting < 40_000  # the handshake and at most two panels, though five or more were due
        assert get(link)[0] == 200
        assert server.alive()


def test_an_unusable_address_is_a_sentence(tmp_path):
    (tmp_path / "wire.log").write_bytes(b"")
    with pytest.raises(InputError, match="the page cannot listen on 203.0.113.9 port 80"):
        serve.serve(tmp_path, address="203.0.113.9", port=80)
    with socket.create_server(("127.0.0.1", 0)) as taken:
        number = taken.getsockname()[1]
        with pytest.raises(InputError, match=f"port {number}"):
            serve.serve(tmp_path, port=number)
    with pytest.raises(InputError, match="does not exist"):
        serve.serve(tmp_path / "nowhere")


def test_the_link_is_said_before_the_charts_library_is_loaded(tmp_path, monkeypatch):
    """Nothing was said for 29 s on a slow computer; a browser that follows the link meanwhile waits for its answer."""
    (tmp_path / "wire.log").write_bytes(b"")
    said = []

    def made(*_):
        raise InputError(f"made after {len(said)} link")

    monkeypatch.setattr("hotfuel.live.page.Page", made)
    with pytest.raises(InputError, match="made after 1 link"):
        serve.serve(tmp_path, say=said.append)
    assert said[0].startswith("live page: http://127.0.0.1:")


def test_the_page_ends_with_a_signal_and_prints_its_link_once(tmp_path):
    (tmp_path / "wire.log").write_bytes(b"")
    with Served(tmp_path) as server:
        assert server.stop(signal.SIGINT) == 0
        assert (server.said(), server.complaints()) == (f"live page: {server.url}\n", "")


def test_a_signal_before_the_page_listens_ends_it_even_where_its_interrupt_is_lost(tmp_path):
    (tmp_path / "wire.log").write_bytes(b"")
    process = CONTEXT.Process(target=serve_losing_the_interrupt, args=(tmp_path,), daemon=True)
    process.start()
    process.join(60)
    assert process.exitcode == 0
