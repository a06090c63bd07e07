"""The server: where it listens, how it is opened, what it says where it cannot, and that nothing is left when it ends."""

import json
import signal
import socket
import subprocess
from pathlib import Path

import pytest

from fit.desk.window import serve
from fit.desk.window.serve import HOST, listen_at
from tests.desk_bench import run
from tests.documents import typed
from tests.window_server import ANSWER_S, COMMAND, Server, descendants, wait_until_gone


def test_it_listens_at_this_machine_alone():
    with listen_at(0) as sock:
        assert sock.getsockname()[0] == HOST == "127.0.0.1"
        assert sock.getsockname()[1] > 1023


def test_a_port_that_is_taken_is_said_in_a_line(capsys, tmp_path):
    with socket.create_server((HOST, 0)) as other:
        port = other.getsockname()[1]
        code, out, err = run(capsys, "bench", "--port", port, "--no-open", "--logbook", tmp_path)
    assert (code, out) == (2, "")
    assert err.startswith(f"coilsweep: port {port} cannot be had")
    assert err.count("\n") == 1


def test_what_is_not_installed_is_said_in_a_line(capsys, tmp_path, monkeypatch):
    monkeypatch.setattr(serve, "NEEDED", ("starlette", "a_package_of_nobody"))
    code, out, err = run(capsys, "bench", "--no-open", "--logbook", tmp_path)
    assert (code, out) == (2, "")
    assert err == "coilsweep: the bench in a window needs a_package_of_nobody: python -m pip install 'coilsweep[bench]'\n"


@pytest.mark.long
@pytest.mark.skipif(not Path("/proc/self/task").exists(), reason="processes are listed by /proc here")
def test_ctrl_c_ends_all_of_it_whatever_is_done_by_then(tmp_path):
    server = Server(tmp_path, "--virtual")
    try:
        page = server.page()
        page.send("guide_open", job="pickup")
        page.next("guide_ask")
        page.send("what_if_open")
        family = descendants(server.process.pid)
        assert family
        assert server.interrupt() == 0
        page.close()
    finally:
        server.end()
    wait_until_gone(family)
    assert server.complaints == ["Only this machine can open it. Ctrl-C ends it."]


@pytest.mark.long
def test_the_same_port_can_be_had_again(tmp_path):
    first = Server(tmp_path, "--virtual")
    assert first.ask("/")[0] == 200
    first.interrupt()
    again = Server(tmp_path, "--virtual", "--port", str(first.port))
    try:
        assert again.port == first.port
        assert again.ask("/", headers=first.own)[0] == 401  # the token is a new one
    finally:
        again.end()


@pytest.mark.long
def test_what_it_came_to_is_one_document(tmp_path):
    words = [*COMMAND, "--virtual", "--json", "--logbook", str(tmp_path)]
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        assert "token=" in process.stderr.readline()
        process.send_signal(signal.SIGINT)
        out, _ = process.communicate(timeout=ANSWER_S)
    document = json.loads(out)
    typed(document)
    assert document == {
        "schema": "coilsweep.bench/1",
        "outcome": "done",
        "written": [],
        "logbook": str(tmp_path),
        "simulated": True,
    }


@pytest.mark.long
def test_it_can_be_opened_from_the_first_moment_on(tmp_path):
    server = Server(tmp_path, "--virtual")
    try:
        assert [server.ask("/")[0] for _ in range(3)] == [200, 200, 200]
        assert server.process.poll() is None
    finally:
        server.end()
