"""Serving the page: addresses, the QR code, a server that waits for nobody for ever."""

from __future__ import annotations

import logging
import os
import socket
import threading
import time

from waitress.channel import HTTPChannel
from waitress.server import create_server

from photoangle.carfile.template import start_folder
from photoangle.page.app import make_app
from photoangle.page.sessions import Sessions
from photoangle.page.uploads import MOST_BYTES, sweep
from photoangle.page.work import Work

PORT = 8737
# A connection that says nothing; a request whose head, and one whose body, is not here by then, s.
IDLE_S, HEAD_S, BODY_S = 20.0, 10.0, 300.0
# The first two where so many are connected that others may have to wait, s.
SOON_S = 1.0
# Connections at once, and threads that answer: a dozen browsers want fewer.
MOST_CONNECTIONS, THREADS = 100, 12
PATIENCE_S = 2.0
_LOOK_ROUND_S = 0.5


class Channel(HTTPChannel):
    """A connection with deadlines, which trickling does not put off."""

    _began = 0.0

    def received(self, data):
        """Takes what came in; from its first byte a request has so much time."""
        if self.request is None:
            self._began = time.monotonic()
        return super().received(data)

    def late(self, soon=False):
        """Whether it has waited too long for what it has not got.  soon: others wait for its place."""
        if self.requests or self.total_outbufs_len:  # being answered
            return False
        idle, waited = time.time() - self.last_activity, time.monotonic() - self._began
        if self.request is None:
            return idle > (SOON_S if soon else IDLE_S)
        if self.request.headers_finished:
            return waited > BODY_S or idle > IDLE_S
        return waited > (SOON_S if soon else HEAD_S)


def lan_address():
    """This machine's address on the local network, or None.  Nothing is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # a documentation address (RFC 5737): only the route is looked up
            address = probe.getsockname()[0]
        except OSError:
            return None
    return None if address.startswith("127.") else address


class _Server:
    """One address served by a thread of its own."""

    def __init__(self, address, port):
        """Bind.  Raises OSError where the port is taken."""
        self.app, self._map, self._over = _later, {}, threading.Event()
        self._thread = threading.Thread(target=self.serve, daemon=True)
        bound = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        try:
            if os.name == "posix":
                bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            bound.bind((address, port))
            self._server = create_server(self._answer, self._map, sockets=[bound], threads=THREADS,
                                         connection_limit=MOST_CONNECTIONS, ident=None, backlog=256,
                                         channel_timeout=round(IDLE_S), clear_untrusted_proxy_headers=True,
                                         max_request_header_size=32_768, max_request_body_size=MOST_BYTES,
                                         log_socket_errors=False, asyncore_use_poll=hasattr(os, "fork"),
                                         asyncore_loop_timeout=_LOOK_ROUND_S)
        except OSError:
            bound.close()
            raise
        self._server.channel_class = Channel
        self.port = bound.getsockname()[1]

    def _answer(self, environ, start_response):
        return self.app(environ, start_response)

    def serve(self):
        """Serve until it is stopped."""
        from waitress import wasyncore

        looked = time.monotonic()
        while not self._over.is_set():
            wasyncore.loop(timeout=_LOOK_ROUND_S, map=self._map, use_poll=self._server.adj.asyncore_use_poll,
                           count=1)
            if time.monotonic() - looked >= _LOOK_ROUND_S:
                looked = time.monotonic()
                self._look_round()
        self._server.task_dispatcher.shutdown(timeout=1)
        for channel in list(self._server.active_channels.values()):
            channel.handle_close()
        self._server.close()

    def _look_round(self):
        """Close connections that are late; where there is little room left, those that ask for nothing."""
        channels = list(self._server.active_channels.values())
        crowded = len(channels) > MOST_CONNECTIONS * 3 // 4
        for channel in channels:
            if channel.late(soon=crowded):
                channel.handle_close()

    def start(self):
        self._thread.start()

    def stop(self):
        if self._over.is_set():
            return
        self._over.set()
        if self._thread.is_alive():
            self._server.pull_trigger()
            self._thread.join(5)
        else:
            self.serve()


class Served:
    """The page being served: urls; stop()."""

    def __init__(self, root, port=PORT, phone=False, auto=True, wait_s=0.3):
        """Make the folder ready and bind.  Raises OSError where the port is taken."""
        logging.getLogger("waitress").setLevel(logging.ERROR)  # that some wait is of no interest
        start_folder(root)
        sweep(root)
        self.work = Work(root, auto, wait_s)
        self.sessions = Sessions(root)
        self.lan = lan_address() if phone else None
        self.port = port
        self._servers = []
        for address in ["127.0.0.1"] + ([self.lan] if self.lan else []):
            _wait_for_port(address, self.port)
            server = _Server(address, self.port)
            self.port = server.port
            self._servers.append(server)
        hosts = [f"{a}:{self.port}" for a in ("127.0.0.1", *([self.lan] if self.lan else []), "localhost")]
        app = make_app(self.work, hosts, self.sessions, self.phone_url if self.lan else None)
        for server in self._servers:
            server.app = app

    def url(self, address="127.0.0.1"):
        """An address with a fresh one-time token."""
        return f"http://{address}:{self.port}/enter#{self.sessions.token()}"

    def phone_url(self):
        """The same for a phone on the local network."""
        return self.url(self.lan)

    def start(self):
        """Serve in threads of their own."""
        for server in self._servers:
            server.start()
        self.work.changed(0.1)

    def stop(self):
        """Stop serving and working."""
        self.work.jobs.stop()
        for server in self._servers:
            server.stop()


def _wait_for_port(address, port):
    """Wait up to PATIENCE_S for a port that a program stopped a moment ago may still hold; whether it is free
    is the server's to say."""
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((address, port))
                # a port may be bound and yet not listened on
                probe.listen(1)
                return
            except OSError:
                time.sleep(0.05)


def _later(environ, start_response):
    """Stands in until the application is made, which wants the port to be known."""
    start_response("503 Service Unavailable", [])
    return [b""]
