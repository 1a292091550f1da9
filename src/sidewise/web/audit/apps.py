"""Who read or wrote what: written by every part, shown by none of this one."""

from __future__ import annotations

from sidewise.web import parts


class Audit(parts.Part):
    """Who read or wrote what: written by every part, shown by none of this one."""

    name = "sidewise.web.audit"
    label = "audit"
