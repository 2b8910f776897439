"""Every route against every part in the workshop: allowed or refused just as the table says."""

from itertools import product

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.utils import timezone

from planning.models import Job, Machine
from tests.factories import NOW
from tests.workshop.conftest import STAND_INS
from workshop.backup.making import CannotBackUp
from workshop.models import Member, Role
from workshop.people.guard import CHANGES, CHOSEN, CHOSEN_AT
from workshop.people.rights import API, ROUTES, STATION_ROUTES, Right, asks, right_of
from workshop.people.stations import STATION_COOKIE, set_up_station

pytestmark = pytest.mark.django_db


def every_route() -> dict[str, str]:
    """Return an address for each named route, with whatever stands in its place holders."""
    found: dict[str, str] = {}

    def walk(patterns: list[URLPattern | URLResolver]) -> None:
        for each in patterns:
            if isinstance(each, URLResolver):
                walk(each.url_patterns)
            elif each.name:
                found[each.name] = each.name

    walk(get_resolver().url_patterns)
    return found


FILLED = {
    **dict.fromkeys(("pk", "number"), 987654),
    **dict.fromkeys(("event", "note", "applique"), 1),
    **dict.fromkeys(("label", "code"), "S-NONE"),
    **dict.fromkeys(("slug", "kind"), "spools"),
    "ending": "csv",
    "name": "backup.zip",
    "sha256": "0" * 64,
    "extension": "dst",
    "secret": "not-a-secret",
    "act": "place",
}
PAGES = set(ROUTES) - STAND_INS - {name for name in ROUTES if name.startswith(API)}


def holders(name: str) -> list[str]:
    """The place holders in the address of a route."""
    return next(iter(get_resolver().reverse_dict.getlist(name)))[0][0][1]


def address(name: str) -> str:
    return reverse(name, kwargs={each: FILLED[each] for each in holders(name)})


def _no_backup(*_: object, **__: object) -> None:
    raise CannotBackUp("Not in this test.")


def test_every_named_route_has_a_row_and_every_row_a_route() -> None:
    assert set(every_route()) == set(ROUTES) - STAND_INS
    assert set(ROUTES) >= STATION_ROUTES


@pytest.mark.parametrize("role", ["", *Role.values])
def test_each_part_is_let_through_exactly_where_the_table_says(
    client: Client, role: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    # An owner may make a backup; the tests' own database, in a transaction, is not to be had for one.
    monkeypatch.setattr("workshop.tasks.back_up_into", _no_backup)
    User.objects.create_user("somebody")  # the workshop is open
    if role:
        user = User.objects.create_user("morgan")
        Member.objects.create(user=user, role=role)
    client.raise_request_exception = False
    for name, method in product(sorted(PAGES), ("GET", "POST")):
        if name == "sign_out":
            continue
        if role:
            client.force_login(user)
        wanted = asks(name, changes=method in CHANGES)
        response = client.generic(method, address(name))
        if wanted == Right.ANYONE:
            assert response.status_code != 403 or name == "station_here", name
        elif not role:
            assert response.status_code == 302, (name, method)
            assert response["Location"].startswith("/sign-in/"), (name, method)
        else:
            allowed = wanted == Right.SELF or right_of(role) >= wanted
            assert (response.status_code == 403) == (not allowed), (name, method, response.status_code)


def test_a_refusal_says_which_right_it_takes(client: Client) -> None:
    user = User.objects.create_user("morgan")
    Member.objects.create(user=user, role=Role.VIEWER)
    client.force_login(user)
    refused = client.post("/jobs/1/promise/")
    assert refused.status_code == 403
    assert "make and promise jobs" in refused.content.decode()


def test_a_page_in_no_row_is_closed_even_to_the_owner(client: Client, settings: object) -> None:
    client.force_login(User.objects.create_superuser("morgan"))
    row = ROUTES.pop("gap_map")
    try:
        assert client.get("/gaps/").status_code == 403
    finally:
        ROUTES["gap_map"] = row


def test_a_station_is_let_through_to_its_own_runs_alone(client: Client) -> None:
    here, there = Machine.objects.create(name="Here"), Machine.objects.create(name="There")
    _, secret = set_up_station("Tablet", machine=here, at=timezone.now(), by=None)
    client.cookies[STATION_COOKIE] = secret
    mine = Job.objects.create(what="caps", pieces=1, machine=here, made_at=NOW)
    theirs = Job.objects.create(what="flags", pieces=1, machine=there, made_at=NOW)
    client.raise_request_exception = False
    for name in sorted(PAGES - {"station_here", "choose_person", "let_go_person"}):
        wanted = asks(name, changes=False)
        if wanted == Right.ANYONE:
            continue
        status = client.get(address(name)).status_code
        inside = name in STATION_ROUTES and "pk" not in holders(name)
        assert (status != 403) == (inside or name == "design_picture"), (name, status)
    assert client.get(f"/jobs/{mine.pk}/run/").status_code != 403
    assert client.get(f"/jobs/{theirs.pk}/run/").status_code == 403
    # Nobody chose themselves: an act leads to the choice.
    assert client.post(f"/jobs/{mine.pk}/run/happened/")["Location"] == "/station/"


@pytest.mark.parametrize(
    "is_wrong",
    [pytest.param(False, marks=pytest.mark.thorough), True],
    ids=["the right station", "a wrong station"],
)
def test_whoever_chose_themselves_at_a_station_does_what_a_stitcher_may_with_its_own_runs(
    client: Client, is_wrong: bool
) -> None:
    """Every page and every act, of a job and a needle of one machine, from its tablet and from another one's."""
    here, there = Machine.objects.create(name="Here"), Machine.objects.create(name="There")
    _, secret = set_up_station("Tablet", machine=there if is_wrong else here, at=timezone.now(), by=None)
    client.cookies[STATION_COOKIE] = secret
    owner = User.objects.create_user("robin")
    Member.objects.create(user=owner, role=Role.OWNER)  # at a tablet an owner is a stitcher
    job = Job.objects.create(what="caps", pieces=1, machine=here, made_at=NOW)
    client.raise_request_exception = False
    for name, method in product(sorted(PAGES), ("GET", "POST")):
        wanted = asks(name, changes=method in CHANGES)
        if wanted == Right.ANYONE:
            continue
        session = client.session
        session[CHOSEN], session[CHOSEN_AT] = owner.pk, timezone.now().timestamp()
        session.save()
        of_machine = name == "needle"
        of_job = name in STATION_ROUTES - {"needle", "design_picture"} and "pk" in holders(name)
        at = {each: FILLED[each] for each in holders(name)}
        at |= {"pk": here.pk} if of_machine else {"pk": job.pk} if of_job else {}
        allowed = name in STATION_ROUTES and Right.SEE <= wanted <= Right.STITCH
        allowed &= not (is_wrong and (of_job or of_machine))
        status = client.generic(method, reverse(name, kwargs=at)).status_code
        assert (status != 403) == allowed, (name, method, status)
