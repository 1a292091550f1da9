"""What a person usually does, kept in the session so that no page has to ask for it.

What is read with belongs to one patient: for the next it is the person's usual one again.
"""

from __future__ import annotations

from typing import Any

from django.contrib.sessions.backends.base import SessionBase
from django.http import HttpRequest

from sidewise.web.examinations.models import Examination, Preferences
from sidewise.web.language import CHOSEN

USUAL_SETTING = "usual_setting"
USUAL_INSTRUMENT = "usual_instrument"
TOURED = "toured"
NOW = "instrument"
BY_EYE = "eye"


def remember_usual(session: SessionBase, preferences: Preferences) -> None:
    """Put what is usual into the session."""
    session[USUAL_SETTING] = preferences.setting
    session[USUAL_INSTRUMENT] = preferences.instrument
    session[TOURED] = preferences.toured
    session[CHOSEN] = preferences.language


def at_sign_in(request: HttpRequest | None, user: Any, **_: Any) -> None:
    """When a person signs in; a receiver of Django's own signal."""
    if request is not None and (kept := Preferences.objects.filter(user=user).first()):
        remember_usual(request.session, kept)


def instrument_now(session: SessionBase, examination: Examination) -> str:
    """What angles of this patient are read with: as chosen for the patient, else as usual."""
    chosen = session.get(NOW)
    if isinstance(chosen, list) and chosen[0] == str(examination.patient_id):
        return str(chosen[1])
    return str(session.get(USUAL_INSTRUMENT) or BY_EYE)


def choose_now(session: SessionBase, examination: Examination, instrument: str) -> None:
    """Read with another instrument, for this patient."""
    session[NOW] = [str(examination.patient_id), instrument]
