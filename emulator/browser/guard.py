"""Who may look: the names of this server, where a page comes from, and the token.

A page of another site can send a browser anywhere, also to loopback. It cannot choose `Origin`; and
a name of its own that it points at this machine (DNS rebinding) stands in `Host`.
"""

from __future__ import annotations

import hmac
import secrets
import socket
from dataclasses import dataclass
from ipaddress import ip_address
from urllib.parse import urlsplit


@dataclass(frozen=True)
class Guard:
    """host: the interface that is served, '' for loopback. token: '' if none is needed."""

    host: str = ""
    token: str = ""

    @classmethod
    def of(cls, host: str, token: str) -> Guard:
        """A guard that makes a token of its own for other interfaces, if none is given."""
        outside = bool(host) and not _is_loopback(host)
        return cls(host, token or (secrets.token_urlsafe(18) if outside else ""))

    def refuses(self, host: str, origin: str | None, token: str) -> str:
        """Why a request with these headers and this token is refused; '' if it is not.

        origin: None without such a header, as of a program that is not a browser.
        """
        if not self._is_ours(_name(f"//{host}")):
            return "This name is not one of the wall's. Use localhost, or the address in numbers."
        ours = [f"{scheme}://{host}".lower() for scheme in ("http", "https")]
        if origin is not None and origin.lower() not in ours:
            return "A page of another site may not look at the wall."
        if self.token and not hmac.compare_digest(token.encode(), self.token.encode()):
            return "The token is missing or wrong. Open the address that the program printed."
        return ""

    def _is_ours(self, name: str) -> bool:
        if not name:
            return False
        if _is_loopback(name):
            return True
        if not self.host or _is_loopback(self.host):
            return False
        machine = socket.gethostname().lower()
        return _is_number(name) or name in (self.host.lower(), machine, f"{machine}.local")


def _name(url: str) -> str:
    """The host's name in small letters; '' if it cannot be read."""
    try:
        return urlsplit(url).hostname or ""
    except ValueError:
        return ""


def _is_number(name: str) -> bool:
    try:
        ip_address(name)
    except ValueError:
        return False
    return True


def _is_loopback(name: str) -> bool:
    return name == "localhost" or (_is_number(name) and ip_address(name).is_loopback)
