"""Runs first in the server and in every kernel: says which processes there are, and lets none of them out.

A file a process lies in the folder named by REWORK_LAB_PROCESSES until the process ends by itself; a look-up or a
connection to any other machine is written to ``outside`` in the same folder and refused.
"""

import atexit
import os
import sys
from pathlib import Path

FOLDER = Path(os.environ["REWORK_LAB_PROCESSES"])
HERE = ("127.", "localhost", "::1", "0.0.0.0")


def watch(event: str, given: tuple) -> None:
    """Refuse what leaves this machine."""
    if event not in ("socket.connect", "socket.getaddrinfo"):
        return
    address = given[1] if event == "socket.connect" else given[0]
    host = address[0] if isinstance(address, tuple) else address  # a text alone is a socket's file, which stays here
    if event == "socket.connect" and not isinstance(address, tuple):
        return
    host = host.decode() if isinstance(host, bytes) else host
    if host and not str(host).startswith(HERE):
        with (FOLDER / "outside").open("a", encoding="utf-8") as out:
            out.write(f"{event} {host} by process {os.getpid()}\n")
        raise OSError(f"the tests of JupyterLab let nothing out: {host}")


own = FOLDER / f"{os.getpid()}.process"
own.touch()
atexit.register(own.unlink, missing_ok=True)
sys.addaudithook(watch)
