"""A passkey in a real browser: made with a device that asks its holder, and signed in with, no password typed."""

import re

from playwright.sync_api import expect

from workshop.models import Passkey

DEVICE = {
    "protocol": "ctap2",
    "transport": "internal",
    "hasResidentKey": True,
    "hasUserVerification": True,
    "isUserVerified": True,
    "automaticPresenceSimulation": True,
}


def test_a_passkey_is_made_and_signs_in_without_a_password(
    signed_in, live_server, axe_is_silent, fits
) -> None:
    page = signed_in
    session = page.context.new_cdp_session(page)
    session.send("WebAuthn.enable")
    session.send("WebAuthn.addVirtualAuthenticator", {"options": DEVICE})
    page.goto(f"{live_server.url}/preferences/second/")
    axe_is_silent(page)
    fits(page)
    page.get_by_label("What you call this device").fill("my laptop")
    page.get_by_role("button", name="Make a passkey on this device").click()
    expect(page.get_by_text("shown this once")).to_be_visible()
    expect(page.locator("form[data-passkey=make] li code")).to_have_count(10)
    page.get_by_role("link", name="I have them").click()
    expect(page.get_by_text("my laptop").first).to_be_visible()
    page.context.clear_cookies()
    page.goto(f"{live_server.url}/sign-in/")
    page.get_by_role("button", name="Sign in with a passkey").click()
    expect(page).to_have_url(re.compile(rf"{live_server.url}/$"))
    assert Passkey.objects.get().used_at is not None


def test_the_pages_of_tokens_and_of_programs_pass_and_fit(
    signed_in, live_server, axe_is_silent, fits
) -> None:
    for path in ("/people/tokens/", "/help/api/", "/people/"):
        signed_in.goto(f"{live_server.url}{path}")
        axe_is_silent(signed_in)
        fits(signed_in)
