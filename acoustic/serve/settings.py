"""What a running counter page was told, and the limits that it keeps."""

from __future__ import annotations

import errno
from dataclasses import dataclass
from pathlib import Path

# Judgement: a minute of film at 60 frames a second is 200 MB; what is larger is no spin.
MOST_UPLOAD_BYTES = 600_000_000
# Judgement: the slowest film seen takes 6 s on two cores; ten times that means it hangs.
LONGEST_CHECK_S = 60.0
# Judgement: a film of a minute takes under 1 GB to judge; what asks for more is hostile or broken.
MOST_MEMORY_BYTES = 3_000_000_000
# Judgement: no book of a shop comes near; what fills the disk ends here.
MOST_FILE_BYTES = 8_000_000_000
# Judgement: a phone on a bad radio link falls silent for some seconds, not for half a minute.
LONGEST_SILENCE_S = 30.0
# Judgement: more than a busy Saturday; what waits behind them would not be judged within the hour.
MOST_WAITING = 100
MOST_OF_ONE_DEVICE = 30  # judgement: a rider's whole fleet; the others are not to wait behind a program gone wild
# Judgement: what comes slower than this is no phone in the same house: 20 MB would take a quarter of an hour.
SLOWEST_BYTES_S = 20_000
# Judgement: as much is left for the book, and for all else that runs on the computer.
LEAST_FREE_BYTES = 300_000_000
# What a full disk is called by the system: full, over one's share, or over what a process may write.
FULL = {errno.ENOSPC, errno.EFBIG, getattr(errno, "EDQUOT", errno.ENOSPC)}
NO_ROOM = "The disk of the workshop's computer is full."
ROOM_HINT = "Make room on it, then send the recording again."
OWN_NAMES = ("127.0.0.1", "localhost")
# Ports that browsers leave away.
USUAL_PORTS = {False: 80, True: 443}


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """What a running counter page was told.

    Attributes
    ----------
    book : str or None
        As `acoustic.book.opening.open_book` takes it.
    folder : Path
        Where devices, uploads and their checks are kept; made where it is missing.
    names : tuple of str
        Hosts by which browsers may ask for it, without port.
    port : int
    secure : bool
        Whether it is served over TLS.
    workers : int
        Processes that judge, >= 1.
    """

    book: str | None
    folder: Path
    names: tuple[str, ...]
    port: int
    secure: bool = False
    workers: int = 2

    @property
    def hosts(self) -> tuple[str, ...]:
        """The names as browsers say them: with the port, unless it is the usual one."""
        port = "" if self.port == USUAL_PORTS[self.secure] else f":{self.port}"
        return tuple(f"{name}{port}" for name in self.names)

    @property
    def addresses(self) -> tuple[str, ...]:
        """Where browsers reach it, the one to tell first."""
        scheme = "https" if self.secure else "http"
        return tuple(f"{scheme}://{host}" for host in self.hosts)

    @property
    def cookie(self) -> str:
        """Name of a session's cookie.

        Browsers share cookies among the ports of a host, so two pages on one computer need two names; and plain
        http may not replace what was set over TLS. RFC 6265bis, section 4.1.3.2: `__Host-` holds it to this host.
        """
        return f"__Host-crank-{self.port}" if self.secure else f"crank-{self.port}"

    @property
    def own_address(self) -> str:
        """Where a browser on this computer reaches it; only so, or over TLS, it gives a page the microphone."""
        return next(one for one, name in zip(self.addresses, self.names, strict=True) if name in OWN_NAMES)

    @property
    def shared_addresses(self) -> tuple[str, ...]:
        """Where other devices reach it, the surest first; none where it is not shared."""
        return tuple(one for one, name in zip(self.addresses, self.names, strict=True) if name not in OWN_NAMES)
