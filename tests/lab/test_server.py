"""The tests' JupyterLab keeps to itself: it asks nothing outside, touches nothing of the person's, leaves nothing."""

from __future__ import annotations

import os
import subprocess
import sys
import urllib.request

import pytest

from tests.lab.server import running, settings_in

ASKS_OUTSIDE = ("socket.create_connection(('192.0.2.1', 80))", "socket.getaddrinfo('somewhere.example', 80)")


@pytest.mark.parametrize("asks", ASKS_OUTSIDE)  # an address and a name kept for examples: RFC 5737, RFC 2606
def test_a_kernel_that_asks_outside_is_refused_and_noted(tmp_path, asks):
    (tmp_path / "processes").mkdir()
    command = [sys.executable, "-c", f"import socket; {asks}"]
    done = subprocess.run(command, env=settings_in(tmp_path), capture_output=True, text=True, check=False)
    assert "let nothing out" in done.stderr
    noted = (tmp_path / "processes" / "outside").read_text()
    assert ("192.0.2.1" in noted) != ("somewhere.example" in noted)


def is_there(pid):
    """Whether a process runs; one that JupyterLab killed while it started could not take its own name away."""
    try:
        os.kill(pid, 0)
    except OSError:
        return False
    return True


def start_a_kernel_and_fail(server):
    server.ask("kernels", "POST")
    assert len(server.ask("kernels")) == 1
    assert len(list(server.processes.glob("*.process"))) >= 1
    raise ZeroDivisionError


def test_it_ends_with_its_kernels_also_when_a_test_fails(tmp_path, monkeypatch):
    home, root = tmp_path / "home", tmp_path / "root"
    home.mkdir(), root.mkdir()
    monkeypatch.setenv("HOME", str(home))
    with pytest.raises(ZeroDivisionError), running(root, tmp_path / "own") as server:
        start_a_kernel_and_fail(server)
    assert not [path for path in server.processes.glob("*.process") if is_there(int(path.stem))]
    assert not server.went_outside()
    assert not list(home.iterdir())
    with pytest.raises(OSError, match="refused"):
        urllib.request.urlopen(server.url)
