"""Requests that nobody meant: every address and every form, with values that are too large, too odd or no values."""

import random
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from django.apps import apps
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import transaction
from django.forms import BaseForm
from django.test import Client
from django.urls import NoReverseMatch, URLPattern, URLResolver, get_resolver, reverse

NASTY = (
    "", " ", "0", "-1", "1", "2", "3", "1e999", "-1e999", "1e-400", "nan", "inf", "Infinity", "9223372036854775807",
    "9223372036854775808", "1" * 30, "9" * 400, "1.500", "12,5 m", "1e308 m", "99999999999999999999 g", "0x10", "١٢",
    "½", "None", "null", "true", "on", "\x00", "a\x00b", "\ud800".encode("utf-16", "surrogatepass").decode("latin1"),
    "<script>", "%", "%s", "{{ x }}", "'", '"', "\\", "../../etc/passwd", "é" * 300, "x" * 3000, "🧵", "\n\r", "\t",
    "0001-01-01", "9999-12-31", "2026-02-30", "10000-01-01", "-2026-01-01", "2026-13-01", "#b01c2e", "#xyzxyz",
    "lab:1e999,0,0", "lab:50,nan,1", "lab:1,2", "1:2:3", "1:99999999999999999999", "::", ",", ";", "1,2,3", "S0001",
    "job 1", "piece", "spool", "date", "-", "--", "🧵" * 200, "0.0000000001", "1e5", "1e18", "300000000000 m",
)  # fmt: skip
WORDS = (
    "spools", "machine", "machines", "hoop", "fabric", "csv", "xlsx", "pes", "place", "S0001", "cancel", "receive", "x",
    "0" * 64, "shades", "stock", "rolls",
)  # fmt: skip
CONTENTS = (b"", b"PK\x03\x04", b"a,b\n1,2", b"\xff\xd8\xff", b"#PES0001", b"\x89PNG\r\n\x1a\n")
READ = re.compile(
    r"""(?:GET|POST|FILES|seen|looking|address)(?:\.get|\.getlist)?[([]\s*"(\w+)"|"(\w+)"\s+in\s+request\.(?:GET|POST)"""
)
NAMED = re.compile(r'<(?:input|select|textarea|button)\b[^>]*?\bname="([^"]+)"')
SKIPPED = {"backups", "doctor", "sign_out", "change_password", "welcome"}
JSON = (
    b"", b"{", b"[]", b"null", b"1e999", b'{"events": 1}', b"[" * 100_000, b'{"a":' * 5_000, b'"\\ud800"', b"\xff\xfe",
    b'{"events": [{"kind": "piece", "position": 1e999, "key": "k"}]}', b'[{"position": 9223372036854775808}]',
    b'{"events": [{"kind": "piece", "position": NaN, "key": 5, "minutes": 1e400, "share": "x"}]}',
    b'{"events": [{"kind": "piece", "key": "a", "position": 99999999999999999999999}]}', b"1" * 10_000,
    b'{"events": [{"kind": "restitch", "key": "b", "thread": 1e30, "share": 1e999}, null, 3, []]}',
    b'[{"kind": "piece", "key": "z", "position": 1, "minutes": 1e999, "at": "9999-99-99"}]',
)  # fmt: skip


@cache
def names_read() -> tuple[str, ...]:
    """Return every name that a view reads from an address or a form, and every field of every form."""
    found = set()
    for app in apps.get_app_configs():
        if app.name in ("workshop", "inventory", "planning"):
            for path in Path(app.path).rglob("*.py"):
                said = path.read_text(encoding="utf-8")
                found |= {name for pair in READ.findall(said) for name in pair if name}
    for form in _all_forms(BaseForm):
        if form.__module__.startswith(("workshop.", "inventory.", "planning.")):
            found |= set(getattr(form, "base_fields", {}))
    return tuple(sorted(found))


def _all_forms(form: type[BaseForm]) -> set[type[BaseForm]]:
    return {form}.union(*(_all_forms(each) for each in form.__subclasses__()))


@dataclass
class Asked:
    """One request and how it was answered."""

    method: str
    address: str
    data: Any = None
    status: int = 0
    fault: str = ""
    text: str = ""


@dataclass
class Fuzzer:
    """Asks at random, from what pages and forms name. Whatever a request changes is taken back."""

    client: Client
    rng: random.Random
    keys: Sequence[Any]
    forms: dict[str, list[str]] = field(default_factory=dict)
    _last: str = ""

    def run(self, requests: int) -> Iterator[Asked]:
        routes = [route for route in named_routes(get_resolver()) if route[0] not in SKIPPED]
        for _ in range(requests):
            yield self._ask(*self.rng.choice(routes))

    def _ask(self, name: str, converters: dict[str, str]) -> Asked:
        address = self._address(name, converters)
        if address is None:
            return Asked("", name)
        draw = self.rng.random()
        if draw < 0.45:
            return self._send(Asked("get", address, self._values(names_read())))
        known = self.forms.get(name)
        if known is None:
            page = self._send(Asked("get", address))
            if page.status == 500:
                return page
            known = self.forms[name] = self.forms.get(name) or list(names_read()[:6])
        if draw < 0.55:
            return self._send(Asked("json", address, self.rng.choice(JSON)))
        return self._send(Asked("post", address, self._values(known, all_of_them=True)))

    def _address(self, name: str, converters: dict[str, str]) -> str | None:
        words = {}
        for key, kind in converters.items():
            words[key] = (
                self.rng.choice(self.keys) if kind == "int" or self.rng.random() < 0.5 else self._word()
            )
        try:
            address: str = reverse(name, kwargs=words)
        except NoReverseMatch:
            return None
        self._last = name
        return address

    def _word(self) -> str:
        return self.rng.choice(WORDS)

    def _values(self, names: Sequence[str], *, all_of_them: bool = False) -> dict[str, Any]:
        chosen = names if all_of_them else self.rng.sample(list(names), k=self.rng.randint(0, 8))
        values: dict[str, Any] = {}
        for name in chosen:
            draw = self.rng.random()
            if draw < 0.15:
                continue
            if name == "file" or (name == "files" and draw < 0.8):
                values[name] = SimpleUploadedFile(
                    self.rng.choice(("a.csv", "a.xlsx", "a.pes", "a.jpg", "a.zip", "x" * 200, "..pes")),
                    self.rng.choice(CONTENTS),
                )
            else:
                values[name] = self.rng.choice(NASTY)
        return values

    def _send(self, asked: Asked) -> Asked:
        with transaction.atomic():
            try:
                if asked.method == "json":
                    answer = self.client.post(asked.address, asked.data, content_type="application/json")
                else:
                    answer = getattr(self.client, asked.method)(asked.address, asked.data)
                asked.status = answer.status_code
                if asked.status == 500:
                    asked.fault = (
                        repr(answer.exc_info[1])[:200] if getattr(answer, "exc_info", None) else "500"
                    )
                elif asked.method == "get" and "html" in answer.headers.get("Content-Type", ""):
                    asked.text = answer.content.decode()
                    found = NAMED.findall(asked.text)
                    self.forms.setdefault(self._last, sorted({*found} - {"csrfmiddlewaretoken"}))
            finally:
                transaction.set_rollback(True)
        return asked


def named_routes(resolver: URLResolver) -> Iterator[tuple[str, dict[str, str]]]:
    """Yield the name of every address with the kind of each of its parts."""
    for pattern in resolver.url_patterns:
        if isinstance(pattern, URLResolver):
            yield from named_routes(pattern)
        elif isinstance(pattern, URLPattern) and pattern.name:
            yield (
                pattern.name,
                {
                    key: type(converter).__name__.removesuffix("Converter").lower()
                    for key, converter in pattern.pattern.converters.items()
                },
            )
