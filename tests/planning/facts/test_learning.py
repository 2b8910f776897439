"""What a machine taught, from stored weigh-backs: old ones used, changes told and undone, the band told, migrations."""

import io
import json
from datetime import timedelta

import pytest
from django.core.management import call_command
from django.urls import reverse

from planning.facts.learning import (
    change_in_words,
    kept_in_words,
    learned,
    learned_as_data,
    machine_learned,
    take_back_change,
    tell_change,
)
from planning.models import Machine, Observation, ToldChange
from tests.factories import NOW, a_key, a_range

pytestmark = pytest.mark.django_db
NEEDLE, BOBBIN = "needle", "bobbin"


@pytest.fixture
def machine():
    return Machine.objects.create(name="Single", needles=1)


def weigh_back(machine, ratio, *, day, kind=NEEDLE, range=None, **how):
    return Observation.objects.create(
        kind=kind, machine=machine, range=range or a_range(), estimated=100_000.0, actual=100_000.0 * ratio,
        sigma=2_000.0, at=NOW + timedelta(days=day), key=a_key(), **how,
    )  # fmt: skip


USUAL = (1.05, 1.08, 1.02, 1.06, 1.04, 1.03, 1.09, 1.01, 1.05, 1.07)


def test_weigh_backs_kept_before_slopes_were_kept_still_teach(machine):
    for day, ratio in enumerate(USUAL):
        weigh_back(machine, ratio, day=day)
    known = learned(machine)
    assert known.of(NEEDLE, a_range().pk).median == pytest.approx(1.05, abs=0.015)
    assert known.needle[a_range().pk] is known.of(NEEDLE, a_range().pk)  # one factor, one curve for all
    assert learned(machine).thread is known.thread  # kept, not worked out again


def test_a_new_machine_starts_at_one_and_one_that_was_there_keeps_its_start(machine):
    assert learned(machine).of(BOBBIN, None).median == pytest.approx(1.0)
    machine.bobbin_start = 1.25
    assert learned(machine).of(BOBBIN, None).median == pytest.approx(1.25)


def test_an_odd_weigh_back_is_kept_marked_and_does_little(machine):
    for day, ratio in enumerate((*USUAL, 2.5)):
        weigh_back(machine, ratio, day=day)
    (factor,) = machine_learned(machine).factors
    assert factor.counted == 11
    assert [judged.is_odd for _, judged in factor.observations] == [False] * 10 + [True]
    assert factor.factor.median == pytest.approx(1.05, abs=0.03)


def test_a_told_change_widens_what_is_known_until_it_is_taken_back(machine):
    for day, ratio in enumerate(USUAL):
        weigh_back(machine, ratio, day=day)
    before = learned(machine).of(NEEDLE, a_range().pk)
    key = a_key()
    told = tell_change(machine, key=key, at=NOW + timedelta(days=20), by=None, what="upper tension")
    assert tell_change(machine, key=key, at=NOW + timedelta(days=21), by=None) == told
    assert learned(machine).of(NEEDLE, a_range().pk).predictive_sigma > 1.5 * before.predictive_sigma
    take_back_change(told)
    assert learned(machine).of(NEEDLE, a_range().pk) == before


def test_a_change_is_dated_and_said(machine):
    for day in range(24):
        weigh_back(machine, USUAL[day % 10] * (1.25 if day >= 15 else 1.0), day=day)
    (change,) = machine_learned(machine).changes
    assert abs((change.since - NOW).days - 15) <= 1
    assert change.needle == pytest.approx(1.25, abs=0.06)
    assert "this machine draws 2" in change_in_words(change)
    assert "more needle thread" in change_in_words(change)


def test_kappa_set_anew_leaves_what_was_learned_true(machine):
    for day, ratio in enumerate(USUAL):
        weigh_back(machine, ratio, day=day, kind=BOBBIN, kappa_slope=-2.0, kappa=0.30)
    # Reckoned with κ = 0.25 the estimates would have been 10 % longer, and the ratios as much smaller.
    assert machine.kappa == 0.25
    known = learned(machine).thread.factor(1, a_range().pk, slope=-2.0)
    assert known.median == pytest.approx(1.05 * 0.905, rel=0.03)


def test_the_line_that_keeps_it_honest_counts_and_warns(machine):
    for day in range(12):
        weigh_back(machine, 1.0 if day % 2 else 3.0, day=day)
    kept = machine_learned(machine).kept["thread"]
    assert kept.of == 12
    assert kept_in_words(kept).startswith(
        f"Of the last 12 weigh-backs, {kept.inside} fell inside the 95 % band."
    )
    assert kept.is_too_few == ("fewer than chance explains" in kept_in_words(kept))
    assert "Nothing was weighed back yet" in kept_in_words(machine_learned(machine).kept["time"])


def test_the_page_shows_the_band_and_hears_of_a_change(client, django_user_model, machine):
    client.force_login(django_user_model.objects.create_superuser("owner"))
    for day, ratio in enumerate(USUAL):
        weigh_back(machine, ratio, day=day)
    address = reverse("learned", args=[machine.pk])
    assert "Of the last 10 weigh-backs, 10 fell inside the 95 % band." in client.get(address).content.decode()
    key = a_key()
    for _ in range(2):
        client.post(reverse("machine_changed", args=[machine.pk]), {"key": key, "what": "new tension"})
    assert ToldChange.objects.get().what == "new tension"
    assert "new tension" in client.get(address).content.decode()
    client.post(reverse("change_back", args=[ToldChange.objects.get().pk]))
    assert not ToldChange.objects.exists()


def test_the_commands_tell_the_same(machine):
    for day, ratio in enumerate(USUAL):
        weigh_back(machine, ratio, day=day)
    out = io.StringIO()
    call_command("learned", "--format", "json", stdout=out)
    (told,) = json.loads(out.getvalue())["machines"]
    assert told == json.loads(json.dumps(learned_as_data(machine_learned(machine))))
    assert told["band"]["thread"] == {"weigh_backs": 10, "inside": 10, "too_few": False}
    assert told["factors"][0]["median"] == pytest.approx(1.05, abs=0.015)
    out = io.StringIO()
    call_command("learned", stdout=out)
    assert "10 of 10 counted" in out.getvalue()
    call_command("machine_changed", "Single", "--what", "tension", stdout=out)
    assert ToldChange.objects.get().what == "tension"
    call_command("machine_changed", "Single", "--take-back", stdout=out)
    assert not ToldChange.objects.exists()
