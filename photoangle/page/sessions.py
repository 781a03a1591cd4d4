"""One-time tokens and the sessions that they are exchanged for.

A session outlives the program: its hash is kept in the car folder, so that a phone carries on after the
program was stopped and started again.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import os
import secrets
import threading
import time
from pathlib import Path

from calib.files import write_whole

FILE = ".photoangle-page.json"
SESSION_S, TOKEN_S = 12 * 3600, 15 * 60
_MOST = 20


def _hash(secret):
    return hashlib.sha256(secret.encode()).hexdigest()


class Sessions:
    """Tokens and sessions of one car folder.  now: a clock, s; folder: what browsers tell this folder from
    another by."""

    def __init__(self, root, now=time.time):
        self.path, self.now = Path(root) / FILE, now
        self._tokens, self._lock = {}, threading.Lock()
        self._sessions, self.folder = self._kept()

    def token(self):
        """A new one-time token, good for a quarter of an hour."""
        token = secrets.token_urlsafe(24)
        with self._lock:
            live = {h: t for h, t in self._tokens.items() if t > self.now()}
            self._tokens = dict(list(live.items())[-_MOST:]) | {_hash(token): self.now() + TOKEN_S}
        return token

    def exchange(self, token):
        """A session for a token, which is then spent; None where the token is not good."""
        with self._lock:
            until = self._tokens.pop(_hash(str(token)), 0)
            if until < self.now():
                return None
            session = secrets.token_urlsafe(32)
            live = {h: t for h, t in self._sessions.items() if t > self.now()}
            self._sessions = dict(list(live.items())[-_MOST:]) | {_hash(session): self.now() + SESSION_S}
            self._save()
        return session

    def good(self, session):
        """Whether a session is known and not too old."""
        return bool(session) and self._sessions.get(_hash(session), 0) > self.now()

    @staticmethod
    def key(session):
        """What every change must carry in a header: known only to pages that were served to the session."""
        return hmac.new(session.encode(), b"photoangle page", hashlib.sha256).hexdigest()

    def _kept(self):
        try:
            content = json.loads(self.path.read_text())
            return {str(h): float(t) for h, t in content["sessions"].items()}, str(content["folder"])
        except (OSError, ValueError, KeyError, TypeError, AttributeError):
            return {}, secrets.token_hex(8)

    def _save(self):
        try:
            write_whole(self.path, json.dumps({"folder": self.folder, "sessions": self._sessions}))
            os.chmod(self.path, 0o600)
        except OSError:
            pass  # the phone then scans once more after a restart
