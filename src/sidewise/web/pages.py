"""The one way to show a page: a template, and a frozen dataclass that says what it is given."""

from __future__ import annotations

from dataclasses import fields, is_dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string


def show(request: HttpRequest, template: str, context: Any, status: int = 200) -> HttpResponse:
    """The answer of a view."""
    return render(request, template, checked_values(context), status=status)


def piece(request: HttpRequest, template: str, context: Any) -> str:
    """The text of one piece of a page."""
    return str(render_to_string(template, checked_values(context), request))


def checked_values(context: Any) -> dict[str, Any]:
    """The fields of a context as a template takes them; TypeError if it is no frozen dataclass."""
    kind = type(context)
    if not is_dataclass(kind) or not getattr(kind, "__dataclass_params__").frozen:  # noqa: B009
        raise TypeError(f"a page is given a frozen dataclass, not {kind.__name__}")
    return values(context)


def values(context: Any) -> dict[str, Any]:
    """The fields of a context class, none of them copied."""
    return {field.name: getattr(context, field.name) for field in fields(context)}
