"""Addresses of the site; the places of the workshop bring their own."""

from django.urls import include, path

from workshop.views import accounts, health

urlpatterns = [
    path("sign-in/", accounts.sign_in, name="sign_in"),
    path("sign-out/", accounts.sign_out, name="sign_out"),
    path("welcome/", accounts.welcome, name="welcome"),
    path("preferences/", accounts.preferences, name="preferences"),
    path("preferences/password/", accounts.change_password, name="change_password"),
    path("health/", health.health, name="health"),
    path("shelf/", include("inventory.urls")),
    path("", include("planning.urls")),
]
