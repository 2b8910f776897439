"""Ports of this machine that nobody listens on."""

import socket


def a_free_port() -> str:
    """Return the number of a port that was free a moment ago."""
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return str(found.getsockname()[1])
