"""`python -m sidewise.web.keeping.owner`: the first account's link, or a lost administrator's.

Whoever can run this on the server can read its files anyway; it leaves a line in the audit.
"""

from __future__ import annotations

import sys

from sidewise.errors import UserError
from sidewise.web.keeping.shell import store


def main(arguments: list[str]) -> str:
    """The path of a fresh one-time link, or why there is none."""
    with store("owner"):
        return _link(arguments)


def _link(arguments: list[str]) -> str:
    from sidewise.web.accounts import factor, first_run, links
    from sidewise.web.accounts.models import OneTimeLink, User
    from sidewise.web.audit.log import Act, write

    if arguments[:1] == ["--again"] and len(arguments) == 2:
        user = User.objects.filter(username=arguments[1], is_active=True).first()
        if user is None or not user.administers:
            raise UserError("--again", arguments[1], "the name of an administrator here")
        factor.remove(user)
        write(Act.FACTOR, f"account:{user.pk}")
        write(Act.LINK, f"account:{user.pk}")
        return links.make(user, OneTimeLink.Purpose.PASSWORD).path
    if arguments:
        raise UserError("owner", arguments[0], "nothing, or --again NAME")
    link = first_run.ensure_owner()
    return link.path if link else "There is an owner already."


if __name__ == "__main__":
    try:
        print(main(sys.argv[1:]))
    except UserError as error:
        print(error.message, file=sys.stderr)
        sys.exit(2)
