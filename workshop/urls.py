"""Addresses of the site; the places of the workshop bring their own."""

from django.urls import include, path, re_path

from inventory.views.scan import scanned
from workshop.views import accounts, backups, find, health, people, second, stations, tokens, watching

urlpatterns = [
    path("sign-in/", accounts.sign_in, name="sign_in"),
    path("sign-in/second/", second.second_step, name="second_step"),
    path("sign-in/passkey/", second.passkey_ask, name="passkey_ask"),
    path("sign-in/passkey/answer/", second.passkey_sign_in, name="passkey_sign_in"),
    path("sign-out/", accounts.sign_out, name="sign_out"),
    path("welcome/", accounts.welcome, name="welcome"),
    path("welcome/<str:secret>/", people.join, {"purpose": "open"}, name="open_workshop"),
    path("join/<str:secret>/", people.join, name="join"),
    path("new-password/<str:secret>/", people.reset_password, name="reset_password"),
    path("people/", people.people, name="people"),
    path("people/invite/", people.invite, name="invite"),
    path("people/rights/", people.rights, name="rights"),
    path("people/links/<int:pk>/end/", people.end_link, name="end_link"),
    path("people/tablets/", people.station_add, name="station_add"),
    path("people/tablets/<int:pk>/end/", people.station_end, name="station_end"),
    path("people/sign-ins/<int:pk>/end/", people.end_anyones_sign_in, name="end_anyones_sign_in"),
    path("people/<int:pk>/", people.member, name="member"),
    path("people/tokens/", tokens.tokens, name="tokens"),
    path("people/tokens/<int:pk>/end/", tokens.token_end, name="token_end"),
    path("help/api/", tokens.api_help, name="api_help"),
    path("api/1/metrics", watching.metrics, name="api_metrics"),
    path("preferences/watching/", watching.watching, name="watching"),
    path("api/1/", include("workshop.api.urls")),
    path("station/", stations.station_here, name="station_here"),
    path("station/choose/", stations.choose_person, name="choose_person"),
    path("station/let-go/", stations.let_go_person, name="let_go_person"),
    path("preferences/pin/", people.my_pin, name="my_pin"),
    path("preferences/second/", second.second_factor, name="second_factor"),
    path("preferences/second/app/", second.app_keep, name="app_keep"),
    path("preferences/second/away/", second.second_away, name="second_away"),
    path("preferences/passkeys/make/", second.passkey_make, name="passkey_make"),
    path("preferences/passkeys/keep/", second.passkey_keep, name="passkey_keep"),
    path("preferences/passkeys/<int:pk>/away/", second.passkey_away, name="passkey_away"),
    path("people/second/", people.second_rule, name="second_rule"),
    path("preferences/sign-ins/", people.my_sign_ins, name="my_sign_ins"),
    path("preferences/sign-ins/<int:pk>/end/", people.end_sign_in, name="end_sign_in"),
    path("preferences/", accounts.preferences, name="preferences"),
    path("preferences/password/", accounts.change_password, name="change_password"),
    path("preferences/backups/", backups.backups, name="backups"),
    path("preferences/backups/<str:name>", backups.backup_file, name="backup_file"),
    path("preferences/sound/", backups.health_of_everything, name="doctor"),
    path("find/", find.find_anything, name="find"),
    path("health/", health.health, name="health"),
    # What the labels' codes to scan hold, in capitals because those pack closer.
    re_path(r"^[sS]/(?P<code>[^/]+)/?$", scanned, name="label"),
    path("shelf/", include("inventory.urls")),
    path("", include("planning.urls")),
]

handler500 = "workshop.trouble.views.server_error"
