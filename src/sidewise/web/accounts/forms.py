"""The forms of signing in and of keeping accounts. Passwords are taken exactly as typed."""

from __future__ import annotations

from django import forms
from django.contrib.auth.password_validation import validate_password
from django.http import QueryDict
from django.utils.translation import gettext_lazy as _

from sidewise.web.accounts.models import Role, User
from sidewise.web.likeness import has_unseen, skeleton

LONGEST = 256


def _password(label: str, complete: str) -> forms.CharField:
    widget = forms.PasswordInput(attrs={"autocomplete": complete})
    return forms.CharField(label=label, max_length=LONGEST, strip=False, widget=widget)


class SignIn(forms.Form):
    """Name and password."""

    username = forms.CharField(
        label=_("Name"), max_length=150, widget=forms.TextInput(attrs={"autocomplete": "username"})
    )
    password = _password("Password", "current-password")


def _code() -> forms.CharField:
    # A recovery code is 24 letters and five hyphens; somebody may put spaces around them.
    widget = forms.TextInput(attrs={"autocomplete": "one-time-code", "inputmode": "text"})
    return forms.CharField(label=_("Code"), max_length=60, widget=widget)


class Code(forms.Form):
    """The second factor, or one recovery code."""

    code = _code()


class Confirm(forms.Form):
    """The password again, before something that matters, and the second factor where there is."""

    password = _password("Password", "current-password")

    def __init__(self, with_code: bool, data: QueryDict | None = None) -> None:
        super().__init__(data)
        if with_code:
            self.fields["code"] = _code()


class ChoosePassword(forms.Form):
    """A new password, typed once; the browser's manager may fill it in."""

    password = _password("New password", "new-password")

    def __init__(self, user: User, data: QueryDict | None = None) -> None:
        super().__init__(data)
        self.user = user

    def clean_password(self) -> str:
        """The rules of settings.AUTH_PASSWORD_VALIDATORS, each with its reason."""
        password: str = self.cleaned_data["password"]
        validate_password(password, self.user)
        return password


class ChangePassword(ChoosePassword):
    """The current one and a new one."""

    current = _password("Current password", "current-password")
    field_order = ["current", "password"]

    def clean_current(self) -> str:
        """The current password is asked for even in a fresh session."""
        if not self.user.check_password(self.cleaned_data["current"]):
            raise forms.ValidationError("That is not the current password.")
        return str(self.cleaned_data["current"])


class Person(forms.ModelForm):  # type: ignore[type-arg]  # at run time it takes no argument
    """An account as the administrator makes or changes it."""

    also = forms.MultipleChoiceField(
        label=_("Also acts as"),
        required=False,
        choices=[(r.value, r.label) for r in Role if r != Role.STUDENT],
        widget=forms.CheckboxSelectMultiple,
    )

    class Meta:
        model = User
        fields = ["username", "code", "role", "also"]
        labels = {"username": "Name", "code": "Code in records"}
        help_texts = {"username": "What the person types to sign in.", "code": ""}

    def clean(self) -> dict[str, object]:
        """A student has one role only: patients must never come into reach by a slip."""
        data = super().clean() or self.cleaned_data
        self._refuse_look_alikes(str(data.get("username") or ""), str(data.get("code") or ""))
        if data.get("role") == Role.STUDENT and data.get("also"):
            self.add_error("also", "A student acts as a student only.")
        return data

    def _refuse_look_alikes(self, username: str, code: str) -> None:
        """One account a name and a record code, also to the eye: they stand under signatures."""
        others = list(User.objects.exclude(pk=self.instance.pk))
        names = {skeleton(other.username): other.username for other in others}
        codes = {skeleton(other.signs_as): other.signs_as for other in others}
        for field, text, taken in (
            ("username", username, names), ("code", code or username, codes),
        ):  # fmt: skip
            if has_unseen(text):
                self.add_error(field, "It holds a character that cannot be seen.")
            elif text and (other := taken.get(skeleton(text))):
                self.add_error(field, f"It is, or looks like, {other}, which somebody else has.")
