"""Whatever is sent to whatever operation, it is answered as described, and never with a fault."""

from collections import Counter
from collections.abc import Callable
from itertools import product
from typing import Any

import pytest
import schemathesis
from django.core.wsgi import get_wsgi_application
from django.db import transaction
from hypothesis import HealthCheck, Phase, assume, given, seed, settings
from hypothesis import strategies as st
from schemathesis import GenerationMode
from schemathesis.config import SchemathesisConfig
from schemathesis.core.failures import FailureGroup

from inventory.ledger import ledger_problems
from inventory.models import Spool
from planning.models import Job
from tests.workshop.api.conftest import a_member, a_program
from workshop.api.site import api
from workshop.models import Role

pytestmark = pytest.mark.django_db
# Data that the description allows is carried out, or the workshop refuses it in words: 422 and 409 are no faults.
CONFIG = SchemathesisConfig.from_dict(
    {
        "checks": {
            "positive_data_acceptance": {
                "expected-statuses": ["2xx", "404", "409", "422"],
            },
            "negative_data_rejection": {"expected-statuses": ["4xx"]},
        },
        "generation": {"allow-x00": True, "codec": "utf-8"},
    }
)


def strategies_of(operation: Any) -> st.SearchStrategy[Any]:
    """Sound and unsound requests, of things that are there and of any."""
    labels = Spool.objects.order_by("pk").values_list("label", flat=True)[:1]
    there = {"label": labels, "number": Job.objects.order_by("pk").values_list("pk", flat=True), "event": [1]}
    asked = [each.name for each in operation.path_parameters if each.name in there]
    known = [dict(zip(asked, values, strict=True)) for values in product(*(there[name] for name in asked))]
    ways = [
        operation.as_strategy(generation_mode=mode)
        for mode in (GenerationMode.POSITIVE, GenerationMode.NEGATIVE)
    ]
    if asked:
        ways += [operation.as_strategy(path_parameters=each) for each in known]
    return st.one_of(ways)


def faults(cases_each: int, *, beginning: int) -> tuple[list[str], Counter[int]]:
    """Return what was answered otherwise than described, and how often each status came. Each has its own world."""
    secret = a_program(a_member("robin", Role.PLANNER)).secret
    schema = schemathesis.openapi.from_dict(api.get_openapi_schema(), config=CONFIG)
    schema.app = get_wsgi_application()
    headers = {"Authorization": f"Bearer {secret}", "Accept-Encoding": "identity"}
    found: list[str] = []
    statuses: Counter[int] = Counter()
    for number, result in enumerate(schema.get_all_operations()):
        operation = result.ok()

        answers = answers_as_described(operation.label, headers=headers, found=found, statuses=statuses)
        walked = settings(
            max_examples=cases_each, database=None, deadline=None, phases=[Phase.generate],
            suppress_health_check=list(HealthCheck), report_multiple_bugs=False,
        )(given(case=strategies_of(operation))(answers))  # fmt: skip
        seed(beginning + number)(walked)()
    return found, statuses


def answers_as_described(
    label: str, *, headers: dict[str, str], found: list[str], statuses: Counter[int]
) -> Callable[[Any], None]:
    """Return the test of one request, which leaves nothing behind."""

    def check(case: Any) -> None:
        # An empty list among what is asked leaves nothing in the address: it then is not what it is judged by.
        assume([] not in (case.query or {}).values())
        with transaction.atomic():
            response = case.call(headers=headers)
            statuses[response.status_code] += 1
            try:
                case.validate_response(response, headers=headers)
            except FailureGroup as problem:
                found.append(f"{label}: {problem}\n{case.as_curl_command()}\n{response.content[:600]!r}")
            assert ledger_problems() == []
            transaction.set_rollback(True)

    return check


@pytest.fixture
def filled(workshop: None, settings: Any) -> None:
    settings.API_REFUSED_PER_MINUTE = 10**9


@pytest.mark.thorough
def test_a_few_requests_of_each_kind_are_answered_as_described(filled: None) -> None:
    found, statuses = faults(6, beginning=1)
    assert not found, "\n\n".join(found[:20])
    assert statuses[200] + statuses[201] > 20


@pytest.mark.exhaustive
def test_five_thousand_requests_are_answered_as_described(filled: None) -> None:
    found, statuses = faults(105, beginning=1000)
    print(f"{sum(statuses.values()):,} requests: {dict(sorted(statuses.items()))}")
    assert not found, "\n\n".join(found[:5])
    assert sum(statuses.values()) >= 5000
