"""One-time codes by which a device gets a session, and the secrets of sessions.

A code lies in the fragment of the address that the QR shows: browsers keep that to themselves, so it stands in
no log and no referrer. What the server keeps of a session is a hash.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
import threading
import time
from collections.abc import Callable

from acoustic.serve.store import Device, Store

CODE_LIVES_S = 600.0  # the counter page's promise: ten minutes
# Without letters and digits that are taken for each other when read off a screen and typed.
ALPHABET = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"
CODE_LENGTH = 10  # 31^10: see below
MOST_CODES = 20  # judgement: nobody pairs more at once
# Of all devices together; `acoustic.serve.limits` holds up the single one that guesses, so that it cannot keep
# the others from pairing. At this rate 20 codes stand 31^10 guesses with a chance of 1e-9 in ten minutes.
WRONG_BEFORE_PAUSE, PAUSE_S = 300, 60.0


class Pairing:
    """The codes that are good now.

    Parameters
    ----------
    store : Store
    clock : callable
        Seconds that only rise; tests give their own.
    """

    def __init__(self, store: Store, clock: Callable[[], float] = time.monotonic) -> None:
        self._store, self._clock, self._lock = store, clock, threading.Lock()
        self._codes: dict[str, float] = {}
        self._wrong: list[float] = []

    def new_code(self) -> str:
        """Make a code that one device may use within ten minutes."""
        code = "".join(secrets.choice(ALPHABET) for _ in range(CODE_LENGTH))
        with self._lock:
            self._drop_old()
            while len(self._codes) >= MOST_CODES:
                del self._codes[next(iter(self._codes))]
            self._codes[_hash(code)] = self._clock()
        return code

    def is_paused(self) -> bool:
        """Whether too many wrong codes came of late."""
        with self._lock:
            self._wrong = [at for at in self._wrong if self._clock() - at < PAUSE_S]
            return len(self._wrong) >= WRONG_BEFORE_PAUSE

    def redeem(self, code: str, *, name: str) -> str | None:
        """Take a code in exchange for a session.

        Parameters
        ----------
        code : str
            As typed: case, blanks and dashes do not matter.
        name : str
            Of the device, for the list.

        Returns
        -------
        str or None
            The session's secret; None where the code is not good, or no longer.
        """
        given = _hash("".join(sign for sign in code.upper() if sign in ALPHABET))
        with self._lock:
            self._drop_old()
            # All are compared, so that the time taken tells nothing.
            hits = [kept for kept in self._codes if hmac.compare_digest(kept, given)]
            if not hits:
                self._wrong.append(self._clock())
                return None
            del self._codes[hits[0]]
        return self.open_session(name=name, kind="browser")

    def open_session(self, *, name: str, kind: str) -> str:
        """Write a new device down, and return its secret, which is kept nowhere else."""
        secret = secrets.token_urlsafe(32)
        self._store.add_device(uid=secrets.token_hex(16), name=name, secret_hash=_hash(secret), kind=kind)
        return secret

    def device_of(self, secret: str) -> Device | None:
        """Whose secret it is."""
        return self._store.device_of(_hash(secret)) if secret else None

    def _drop_old(self) -> None:
        self._codes = {code: at for code, at in self._codes.items() if self._clock() - at < CODE_LIVES_S}


def form_token(secret: str) -> str:
    """What every form of a session carries, which another site cannot know."""
    return hmac.new(secret.encode(), b"form", hashlib.sha256).hexdigest()


def is_form_token(secret: str, given: str) -> bool:
    """Whether a form's token is that of the session."""
    return hmac.compare_digest(form_token(secret).encode(), given.encode())


def _hash(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()
