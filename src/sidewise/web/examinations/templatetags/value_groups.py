"""What the scripts must know of the kinds of value: which stand in for each other, which add up."""

from __future__ import annotations

import json

from django import template

from sidewise.kinds import KINDS

register = template.Library()


@register.simple_tag
def value_groups() -> str:
    """JSON for `replaces.js`: the group of each kind that has one, and the groups that add up."""
    groups = {name: kind.group for name, kind in KINDS.items() if kind.group}
    add_up = [kind.group_name for kind in KINDS.values() if kind.adds_up]
    return json.dumps({"groups": groups, "addUp": add_up})
