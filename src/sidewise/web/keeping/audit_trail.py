"""The administrator's page: who read or wrote what, and whether the chain is whole."""

from __future__ import annotations

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_http_methods

from sidewise.web.accounts.models import Role
from sidewise.web.accounts.permissions import roles
from sidewise.web.audit.chain import verify
from sidewise.web.audit.models import AuditLine

PAGE = 100


@roles(Role.ADMINISTRATOR)
@require_http_methods(["GET", "POST"])
def audit(request: HttpRequest) -> HttpResponse:
    """The newest lines first. What is looked for is posted: no name stands in an address."""
    who, what = (request.POST.get(name, "").strip()[:150] for name in ("who", "what"))
    lines = AuditLine.objects.order_by("-number")
    if who:
        lines = lines.filter(who=who)
    if what:
        lines = lines.filter(what__contains=what)
    number = request.POST.get("page") or request.GET.get("page")
    context: dict[str, object] = {
        "page": Paginator(lines, PAGE).get_page(number),
        "who": who,
        "what": what,
    }
    if "verify" in request.POST:
        context["verdict"] = verify()
    return render(request, "keeping/audit_trail.html", context)
