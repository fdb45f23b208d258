"""Tell whether a name or address is this machine's own."""

from __future__ import annotations

import ipaddress


def names_this_machine(host: str) -> bool:
    """Return True for ``localhost:8150``, ``127.0.0.1`` and ``[::1]:8150``."""
    bare = host.count(":") > 1 and "]" not in host  # an IPv6 address without port
    name = host.rsplit(":", 1)[0] if not host.endswith("]") and ":" in host and not bare else host
    if name.lower().rstrip(".") == "localhost":
        return True
    try:
        return ipaddress.ip_address(name.strip("[]")).is_loopback
    except ValueError:
        return False
