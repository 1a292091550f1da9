"""Addresses of signing in, one's own account, and the administrator's accounts."""

from __future__ import annotations

from django.urls import path

from sidewise.web.accounts import people, single_sign_on, views

urlpatterns = [
    path("sign-in/", views.sign_in, name="sign-in"),
    path("sign-in/code/", views.sign_in_code, name="sign-in-code"),
    path("sign-in/elsewhere/", single_sign_on.go, name="single-sign-on"),
    path("sign-in/elsewhere/back/", single_sign_on.back, name="single-sign-on-back"),
    path("sign-out/", views.sign_out, name="sign-out"),
    path("welcome/", views.welcome_password, name="welcome-password"),
    path("welcome/<str:token>/", views.welcome, name="welcome"),
    path("session/", views.session, name="session"),
    path("account/", views.account, name="account"),
    path("account/confirm/", views.confirm, name="confirm"),
    path("account/password/", views.password, name="password"),
    path("account/second-factor/", views.second_factor, name="second-factor"),
    path("account/recovery-codes/", views.recovery_codes, name="recovery-codes"),
    path("account/sessions/<int:session_id>/end/", views.end_session, name="end-session"),
    path("people/", people.people, name="people"),
    path("people/add/", people.add_person, name="add-person"),
    path("people/<int:user_id>/", people.person, name="person"),
    path("people/<int:user_id>/stop/", people.stop_person, name="stop-person"),
    path("people/<int:user_id>/sessions/", people.end_persons_sessions, name="end-sessions"),
    path("people/<int:user_id>/link/", people.new_link, name="new-link"),
    path("people/<int:user_id>/identity/", people.tie_identity, name="tie-identity"),
    path("people/<int:user_id>/factor/", people.remove_factor, name="remove-factor"),
]
