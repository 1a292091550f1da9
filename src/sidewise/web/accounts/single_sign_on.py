"""Optional OpenID Connect through Authlib: authorization code flow with PKCE, nonce and state.

An identity enters only where an administrator has tied it to an account: nobody gets an account
by having one at the provider, and roles come from here. What the provider says of the second
factor is believed only if the settings say that it always asks for one.
"""

from __future__ import annotations

from functools import cache
from typing import Any

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render, resolve_url
from django.urls import reverse
from django.views.decorators.http import require_GET

from sidewise.ground.extras import require_extra
from sidewise.web.accounts import factor, signing_in
from sidewise.web.accounts.models import Identity
from sidewise.web.audit.log import Act, write
from sidewise.web.audit.watch import shows_no_record


@cache
def provider() -> Any:
    """The registered client; Authlib and requests are an optional extra."""
    require_extra("single-sign-on", "SIDEWISE_OIDC_ISSUER")
    from authlib.integrations.django_client import OAuth

    registry = OAuth()
    return registry.register(
        name="clinic",
        client_id=settings.OIDC["client"],
        client_secret=settings.OIDC["secret"],
        server_metadata_url=settings.OIDC["issuer"].rstrip("/")
        + "/.well-known/openid-configuration",
        client_kwargs={"scope": "openid", "code_challenge_method": "S256"},
    )


def _needed() -> None:
    if not settings.OIDC["issuer"]:
        raise Http404


@login_not_required
@require_GET
@shows_no_record
def go(request: HttpRequest) -> HttpResponse:
    """Send the browser to the provider."""
    _needed()
    back = request.build_absolute_uri(reverse("single-sign-on-back"))
    response: HttpResponse = provider().authorize_redirect(request, back)
    return response


@login_not_required
@require_GET
@shows_no_record
def back(request: HttpRequest) -> HttpResponse:
    """Take what the provider sent; signature, issuer, audience, nonce and times are checked."""
    _needed()
    from authlib.common.errors import AuthlibBaseError
    from joserfc.errors import JoseError

    try:
        claims = provider().authorize_access_token(request)["userinfo"]
    except (AuthlibBaseError, JoseError, KeyError):
        return _refuse(request)
    identity = (
        Identity.objects.select_related("user")
        .filter(issuer=claims["iss"], subject=claims["sub"], user__is_active=True)
        .first()
    )
    if identity is None:
        return _refuse(request)
    if factor.has_factor(identity.user) and not settings.OIDC_SECOND_FACTOR:
        signing_in.remember_half_way(request, identity.user)
        return redirect("sign-in-code")
    signing_in.sign_in(request, identity.user)
    if settings.OIDC_SECOND_FACTOR:
        request.session.pop("factor_due", None)
    return redirect(resolve_url(settings.LOGIN_REDIRECT_URL))


def _refuse(request: HttpRequest) -> HttpResponse:
    write(Act.SIGN_IN_FAILED, "single-sign-on")
    message = "The provider's answer does not lead to an account here. Ask your administrator."
    return render(request, "accounts/refused.html", {"message": message}, status=403)
