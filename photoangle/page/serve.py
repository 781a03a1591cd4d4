"""Serving the page: addresses, the QR code, the server that does not wait for ever."""

from __future__ import annotations

import logging
import socket
import threading
import time

from werkzeug.serving import WSGIRequestHandler, make_server

from photoangle.carfile.template import start_folder
from photoangle.page.app import make_app
from photoangle.page.sessions import Sessions
from photoangle.page.uploads import sweep
from photoangle.page.work import Work

PORT = 8737
IDLE_S, PATIENCE_S = 20.0, 2.0


class Handler(WSGIRequestHandler):
    """Closes connections that say nothing for a while; tells nobody what it runs on."""

    timeout = IDLE_S

    def version_string(self):
        """The Server header."""
        return "photoangle"

    def log(self, type, message, *args):
        """Only trouble is logged: addresses of pages are of no interest."""
        if type == "error":
            logging.getLogger("photoangle.page").warning(message, *args)


def lan_address():
    """This machine's address on the local network, or None.  Nothing is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # a documentation address (RFC 5737): only the route is looked up
            address = probe.getsockname()[0]
        except OSError:
            return None
    return None if address.startswith("127.") else address


class Served:
    """The page being served: urls; stop()."""

    def __init__(self, root, port=PORT, phone=False, auto=True, wait_s=0.3):
        """Make the folder ready and bind.  Raises OSError where the port is taken."""
        start_folder(root)
        sweep(root)
        self.work = Work(root, auto, wait_s)
        self.sessions = Sessions(root)
        self.lan = lan_address() if phone else None
        self.port = port
        self._servers = []
        addresses = ["127.0.0.1"] + ([self.lan] if self.lan else [])
        for address in addresses:
            _wait_for_port(address, self.port)
            server = make_server(address, self.port, _later, threaded=True, request_handler=Handler)
            server.daemon_threads = True
            self.port = server.server_port
            self._servers.append(server)
        hosts = [f"{a}:{self.port}" for a in (*addresses, "localhost")]
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
            threading.Thread(target=server.serve_forever, daemon=True).start()
        self.work.changed(0.1)

    def stop(self):
        """Stop serving and working."""
        self.work.jobs.stop()
        for server in self._servers:
            server.shutdown()
            server.server_close()


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
