"""Addresses of the site; the places of the workshop bring their own."""

from django.urls import include, path, re_path

from inventory.views.scan import scanned
from workshop.views import accounts, backups, health

urlpatterns = [
    path("sign-in/", accounts.sign_in, name="sign_in"),
    path("sign-out/", accounts.sign_out, name="sign_out"),
    path("welcome/", accounts.welcome, name="welcome"),
    path("preferences/", accounts.preferences, name="preferences"),
    path("preferences/password/", accounts.change_password, name="change_password"),
    path("preferences/backups/", backups.backups, name="backups"),
    path("preferences/backups/<str:name>", backups.backup_file, name="backup_file"),
    path("preferences/sound/", backups.health_of_everything, name="doctor"),
    path("health/", health.health, name="health"),
    # What the labels' codes to scan hold, in capitals because those pack closer.
    re_path(r"^[sS]/(?P<code>[^/]+)/?$", scanned, name="label"),
    path("shelf/", include("inventory.urls")),
    path("", include("planning.urls")),
]

handler500 = "workshop.trouble.views.server_error"
