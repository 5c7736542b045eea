"""The web server itself: connections that send nothing whole do not keep the pages from anybody."""

import socket
import threading
import time
from contextlib import closing, suppress
from http.client import HTTPConnection

import pytest

from dashboard.door import MOST_BODY, listening

HALF = b"POST /uploads HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 20000000\r\n\r\nsheets"


def small(environ, start):
    start("200 OK", [("Content-Type", "text/plain")])
    return [str(len(environ["wsgi.input"].read())).encode()]


@pytest.fixture
def serve(monkeypatch):
    servers = []

    def start(**limits):
        for name, value in limits.items():
            monkeypatch.setattr(listening, name, value)
        server = listening.listen(small, "127.0.0.1", 0)
        thread = threading.Thread(target=_run, args=(server,))
        thread.start()
        servers.append((server, thread))
        return server.effective_port

    yield start
    for server, thread in servers:
        server.accepting = False
        for channel in list(server.active_channels.values()):
            channel.will_close = True
        server.stop = True
        with suppress(OSError):  # the loop may have seen it by itself, and closed what would wake it
            server.pull_trigger()
        thread.join(10)
        server.task_dispatcher.shutdown()
        server.close()


def _run(server):
    while not getattr(server, "stop", False):
        server.asyncore.loop(timeout=0.1, map=server._map, count=1, use_poll=True)
    server.asyncore.close_all(server._map)


def ask(port, path="/", body=None, method="GET"):
    with closing(HTTPConnection("127.0.0.1", port, timeout=10)) as connection:
        connection.request(method, path, body)
        answer = connection.getresponse()
        return answer.status, answer.read()


def half_open(port, number):
    opened = []
    for _ in range(number):
        opened.append(socket.create_connection(("127.0.0.1", port)))
        opened[-1].sendall(HALF)
    return opened


def closed(one, seconds):
    one.settimeout(seconds)
    with suppress(ConnectionError):
        while one.recv(4096):
            pass
    return True


def test_120_half_sent_uploads_block_no_page(serve):
    port = serve()
    opened = half_open(port, 120)
    began = time.monotonic()
    assert [ask(port)[0] for _ in range(20)] == [200] * 20
    assert time.monotonic() - began < 2
    for one in opened:
        one.close()


def test_a_silent_connection_is_closed(serve):
    port = serve(SILENT_S=1, TIDY_S=0.2)
    with closing(half_open(port, 1)[0]) as one:
        assert closed(one, 5)


def test_a_request_that_comes_drop_by_drop_is_closed(serve):
    port = serve(WHOLE_S=1, TIDY_S=0.2)
    with closing(half_open(port, 1)[0]) as one, pytest.raises(OSError):
        for _ in range(100):
            one.sendall(b"x")
            time.sleep(0.05)


def test_a_crowd_without_whole_requests_makes_room(serve):
    port = serve(CONNECTIONS=40, TIDY_S=0.2)
    opened = half_open(port, 60)
    assert ask(port)[0] == 200
    for one in opened:
        one.close()


@pytest.mark.parametrize(
    ("path", "size"),
    [
        ("/uploads", 2 * 2**30),
        ("/remedies/recording", 2 * 2**30),
        ("/bench/enter", 2**21),
        ("/plan/edit", 2**21),
    ],
)
def test_what_announces_too_much_is_refused_before_it_is_sent(serve, path, size):
    head = f"POST {path} HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: {size}\r\n\r\n"
    with closing(socket.create_connection(("127.0.0.1", serve()), timeout=5)) as one:
        one.sendall(head.encode())
        assert one.recv(100).startswith(b"HTTP/1.1 413 ")


def test_a_body_goes_by_its_address(serve):
    port = serve()
    large = b"x" * (MOST_BODY + 10)
    assert ask(port, "/uploads", large, "POST") == (200, str(len(large)).encode())
    assert ask(port, "/held/decide", large[:MOST_BODY], "POST")[0] == 200
    with suppress(ConnectionError):
        assert ask(port, "/_dash-update-component", large, "POST")[0] == 413
