"""The second factor. Codes of RFC 6238, appendix B; items of OWASP ASVS 5.0.0."""

from __future__ import annotations

import base64
import re
from datetime import UTC, datetime, timedelta
from typing import Any

import pyotp
import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from sidewise.errors import UserError
from sidewise.web.accounts import factor, links
from sidewise.web.accounts.models import Factor, OneTimeLink, RecoveryCode, User
from sidewise.web.accounts.sealing import digest, seal, unseal
from tests.safe.conftest import PASSWORD, Clinic, make_person
from tests.safe.test_sign_in import sign_in

pytestmark = pytest.mark.django_db

# RFC 6238, appendix B, the SHA-1 rows: time in seconds and the code's last six of eight digits.
RFC_SECRET = base64.b32encode(b"12345678901234567890").decode()
RFC_CODES = [(59, "287082"), (1111111109, "081804"), (1111111111, "050471"),
             (1234567890, "005924"), (2000000000, "279037")]  # fmt: skip


def with_factor(user: Any, secret: str = RFC_SECRET) -> Factor:
    return Factor.objects.create(
        user=user, sealed=seal(secret.encode(), factor.PURPOSE), confirmed_at=timezone.now()
    )


def at(seconds: float) -> datetime:
    return datetime.fromtimestamp(seconds, UTC)


@pytest.mark.parametrize(("seconds", "code"), RFC_CODES)
def test_the_published_codes_are_taken_at_their_time(seconds: int, code: str) -> None:
    user = make_person("dunlin", "clinician")
    with_factor(user)
    assert factor.check(user, code, at(seconds))


@pytest.mark.parametrize(("late", "taken"), [(0, True), (30, True), (61, False), (-61, False)])
def test_a_code_lives_for_its_half_minute_and_one_more(late: int, taken: bool) -> None:
    """6.5.5."""
    user = make_person("dunlin", "clinician")
    with_factor(user)
    assert factor.check(user, "005924", at(1234567890 + late)) is taken


def test_a_code_is_taken_once() -> None:
    """6.5.1."""
    user = make_person("dunlin", "clinician")
    with_factor(user)
    assert factor.check(user, "005924", at(1234567890))
    assert not factor.check(user, "005924", at(1234567890))


def test_an_earlier_code_is_not_taken_after_a_later_one() -> None:
    user = make_person("dunlin", "clinician")
    with_factor(user)
    earlier = pyotp.TOTP(RFC_SECRET).at(1234567890 - 30)
    assert factor.check(user, "005924", at(1234567890))
    assert not factor.check(user, earlier, at(1234567890))


@pytest.mark.parametrize("code", ["", "00592", "0059240", "00592a", "٠٠٥٩٢٤", "-05924"])
def test_anything_but_six_digits_is_wrong(code: str) -> None:
    user = make_person("dunlin", "clinician")
    with_factor(user)
    assert not factor.check(user, code, at(1234567890))


def test_a_recovery_code_is_taken_once_in_any_spelling() -> None:
    user = make_person("dunlin", "clinician")
    with_factor(user)
    codes = factor.new_recovery_codes(user)
    assert len(codes) == len(set(codes)) == 10
    assert factor.check(user, codes[3].lower())
    assert not factor.check(user, codes[3])
    assert factor.check(user, codes[4].replace("-", " "))


def test_a_recovery_code_is_random_enough_for_a_plain_hash() -> None:
    """6.5.2: with 112 bits or more; each letter of base 32 (RFC 4648) carries five."""
    codes = factor.new_recovery_codes(make_person("dunlin", "clinician"))
    letters = [code.replace("-", "") for code in codes]
    assert {len(one) * 5 for one in letters} == {120}
    assert all(set(one) <= set("ABCDEFGHIJKLMNOPQRSTUVWXYZ234567") for one in letters)


def test_a_recovery_code_of_before_still_opens() -> None:
    """Codes of sixteen letters were given out earlier; they are hashed alike."""
    user = make_person("dunlin", "clinician")
    with_factor(user)
    RecoveryCode.objects.create(user=user, digest=digest("ABCDEFGHIJKLMNOP"))
    assert factor.check(user, "abcd-efgh-ijkl-mnop")


def test_recovery_codes_and_secret_are_not_kept_readable() -> None:
    user = make_person("dunlin", "clinician")
    kept = with_factor(user)
    code = factor.new_recovery_codes(user)[0].replace("-", "")
    assert RFC_SECRET.encode() not in bytes(kept.sealed)
    assert not RecoveryCode.objects.filter(digest__icontains=code).exists()


def test_a_sealed_secret_opens_only_for_its_purpose_and_key(settings: Any) -> None:
    sealed = seal(b"tide", "one purpose")
    assert unseal(sealed, "one purpose") == b"tide"
    with pytest.raises(UserError, match="another signing key"):
        unseal(sealed, "another purpose")
    settings.SECRET_KEY = "another key"
    with pytest.raises(UserError, match="another signing key"):
        unseal(sealed, "one purpose")


def test_the_password_alone_does_not_sign_in() -> None:
    """6.3.3."""
    with_factor(make_person("dunlin", "clinician"))
    client = Client()
    assert sign_in(client, "dunlin")["Location"] == reverse("sign-in-code")
    assert client.get(reverse("today")).status_code == 302
    code = pyotp.TOTP(RFC_SECRET).now()
    assert client.post(reverse("sign-in-code"), {"code": code}).status_code == 302
    assert client.get(reverse("today")).status_code == 200


def test_the_second_step_alone_leads_nowhere() -> None:
    """2.3.1: steps in their order."""
    with_factor(make_person("dunlin", "clinician"))
    code = pyotp.TOTP(RFC_SECRET).now()
    client = Client()
    assert client.post(reverse("sign-in-code"), {"code": code})["Location"] == reverse("sign-in")
    assert client.get(reverse("today")).status_code == 302


def test_the_right_password_is_forgotten_after_five_minutes() -> None:
    with_factor(make_person("dunlin", "clinician"))
    client = Client()
    sign_in(client, "dunlin")
    session = client.session
    session["half_way"] = {**session["half_way"], "at": session["half_way"]["at"] - 301}
    session.save()
    assert client.get(reverse("sign-in-code"))["Location"] == reverse("sign-in")


def test_codes_cannot_be_guessed_through() -> None:
    with_factor(make_person("dunlin", "clinician"))
    client = Client()
    sign_in(client, "dunlin")
    answers = [client.post(reverse("sign-in-code"), {"code": "000000"}) for _ in range(6)]
    assert [a.status_code for a in answers] == [422] * 5 + [429]


def test_whoever_stole_the_password_cannot_lock_the_owner_out_of_a_known_device() -> None:
    user = make_person("dunlin", "clinician")
    tablet, thief = Client(), Client()
    sign_in(tablet, "dunlin")
    tablet.post(reverse("sign-out"))
    with_factor(user)
    sign_in(thief, "dunlin")
    for _ in range(8):
        thief.post(reverse("sign-in-code"), {"code": "000000"})
    sign_in(tablet, "dunlin")
    code = pyotp.TOTP(RFC_SECRET).now()
    assert tablet.post(reverse("sign-in-code"), {"code": code}).status_code == 302


def test_setting_it_up_needs_a_code_from_the_telephone() -> None:
    user = make_person("dunlin", "clinician")
    client = Client()
    sign_in(client, "dunlin")
    page = client.get(reverse("second-factor")).content.decode()
    secret = re.search(r"<code>([A-Z2-7]{32})</code>", page)[1]
    assert client.post(reverse("second-factor"), {"code": "000000"}).status_code == 422
    assert not factor.has_factor(user)
    done = client.post(reverse("second-factor"), {"code": pyotp.TOTP(secret).now()})
    assert (
        len(re.findall(r"<code>[A-Z2-7]{4}(?:-[A-Z2-7]{4}){5}</code>", done.content.decode())) == 10
    )
    assert factor.has_factor(user)


def test_where_it_is_required_nothing_else_opens_before_it_is_set_up(settings: Any) -> None:
    """6.3.3, as a department runs it."""
    settings.SECOND_FACTOR = "required"
    make_person("dunlin", "clinician")
    client = Client()
    sign_in(client, "dunlin")
    assert client.get(reverse("today"))["Location"] == reverse("second-factor")
    assert client.get(reverse("patients"))["Location"] == reverse("second-factor")
    page = client.get(reverse("second-factor")).content.decode()
    secret = re.search(r"<code>([A-Z2-7]{32})</code>", page)[1]
    client.post(reverse("second-factor"), {"code": pyotp.TOTP(secret).now()})
    assert client.get(reverse("today")).status_code == 200


def test_a_one_time_link_does_not_stand_in_for_the_second_factor() -> None:
    """6.4.3."""
    user = make_person("dunlin", "clinician")
    with_factor(user)
    client = Client()
    client.get(links.make(user, OneTimeLink.Purpose.PASSWORD).path)
    response = client.post(reverse("welcome-password"), {"password": "nineteen salt marshes"})
    assert response["Location"] == reverse("sign-in-code")
    assert client.get(reverse("today")).status_code == 302


def confirming(code: str) -> int:
    """Where the password alone is right: what the page that asks again answers."""
    client = Client()
    client.force_login(User.objects.get(username="dunlin"))
    return client.post(reverse("confirm"), {"password": PASSWORD, "code": code}).status_code


def test_who_is_asked_again_gives_the_second_factor_too() -> None:
    """7.5.1: full re-authentication."""
    with_factor(make_person("dunlin", "clinician"))
    assert confirming("") == 422
    assert confirming("000000") == 422
    assert confirming(pyotp.TOTP(RFC_SECRET).now()) == 302


def test_fresh_recovery_codes_end_every_other_session() -> None:
    """7.4.3."""
    user = make_person("dunlin", "clinician")
    with_factor(user)
    other, here = Client(), Client()
    other.force_login(user)
    here.force_login(user)
    assert here.post(reverse("recovery-codes")).status_code == 200
    assert other.get(reverse("today")).status_code == 302
    assert here.get(reverse("today")).status_code == 200


def test_setting_up_the_second_factor_ends_every_other_session() -> None:
    """7.4.3."""
    user = make_person("dunlin", "clinician")
    other, here = Client(), Client()
    other.force_login(user)
    here.force_login(user)
    secret = re.search(r"<code>([A-Z2-7]{32})</code>",
                       here.get(reverse("second-factor")).content.decode())[1]  # fmt: skip
    here.post(reverse("second-factor"), {"code": pyotp.TOTP(secret).now()})
    assert other.get(reverse("today")).status_code == 302


def test_an_administrator_takes_away_a_lost_factor_and_the_sessions_with_it(clinic: Clinic) -> None:
    with_factor(clinic.owner)
    client = clinic.client("owner")
    clinic.client("administrator").post(reverse("remove-factor", args=[clinic.owner.pk]))
    assert not factor.has_factor(clinic.owner)
    assert client.get(reverse("today")).status_code == 302


def test_no_code_stands_in_the_log(caplog: Any) -> None:
    """16.2.5."""
    with_factor(make_person("dunlin", "clinician"))
    client = Client()
    sign_in(client, "dunlin")
    client.post(reverse("sign-in-code"), {"code": "918273"})
    assert "918273" not in caplog.text
    assert PASSWORD not in caplog.text


def test_a_fresh_secret_is_random_and_long_enough() -> None:
    """RFC 4226, section 4, R6: 160 bits recommended."""
    user = make_person("dunlin", "clinician")
    secrets = {factor.secret_of(factor.begin(user)) for _ in range(20)}
    assert len(secrets) == 20
    assert {len(base64.b32decode(secret)) for secret in secrets} == {20}


def test_old_step_is_remembered_over_time() -> None:
    user = make_person("dunlin", "clinician")
    with_factor(user)
    factor.check(user, "005924", at(1234567890))
    later = at(1234567890) + timedelta(days=1)
    assert not factor.check(user, "005924", later)
