"""The files for machines that stay on: each is parsed, they agree, and their commands run as far as they can here."""

import configparser
import os
import re
import shlex
import shutil
import signal
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
import yaml

from tests.own_database import HOUSE, own_file
from tests.ports import a_free_port
from workshop.environment import file_store

DEPLOY = HOUSE / "workshop" / "deploy"
UNITS = sorted((DEPLOY / "systemd").iterdir())
LONGEST_START_S = 120
HERE_FOR = {"/srv/enough-thread/.venv/bin/python": sys.executable}


def unit(path: Path) -> configparser.ConfigParser:
    read = configparser.ConfigParser(strict=True, interpolation=None)
    read.optionxform = str  # type: ignore[assignment,method-assign]
    read.read(path)
    return read


def service(name: str) -> configparser.SectionProxy:
    return unit(DEPLOY / "systemd" / f"{name}.service")["Service"]


def command(line: str, **instead: str) -> list[str]:
    """A command of a unit as it runs here: this Python, and other folders and ports."""
    words = [HERE_FOR.get(word, word) for word in shlex.split(line)]
    return [instead.get(word, word) for word in words]


def variables(text: str) -> dict[str, str]:
    lines = [line for line in text.splitlines() if line and not line.startswith("#")]
    return dict(line.split("=", 1) for line in lines)


def layers() -> list[tuple[str, str]]:
    """The instructions of the container file."""
    text = (DEPLOY / "Containerfile").read_text().replace("\\\n", " ")
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    return [(word, rest) for word, _, rest in (line.partition(" ") for line in lines)]


def compose() -> dict[str, Any]:
    found: dict[str, Any] = yaml.safe_load((DEPLOY / "compose.yaml").read_text())
    return found


class StayHere(urllib.request.HTTPRedirectHandler):
    """Follows nowhere: it is the test that goes on, at the same port."""

    def http_error_302(self, req: Any, fp: Any, code: int, msg: str, headers: Any) -> Any:
        return fp


HERE_ALONE = urllib.request.build_opener(StayHere)


@pytest.fixture
def environment(tmp_path: Path) -> dict[str, str]:
    """The environment file of the units, with the folder and the address of this test."""
    given = variables((DEPLOY / "enough-thread.env").read_text())
    kept = own_file(tmp_path / "data")
    return (
        kept
        | given
        | {"ENOUGH_THREAD_DATA": kept["ENOUGH_THREAD_DATA"], "BASE_URL": "", "ENOUGH_THREAD_HTTPS": ""}
    )


def run(words: list[str], environment: dict[str, str]) -> str:
    done = subprocess.run(
        words,
        cwd=HOUSE,
        env=environment,
        capture_output=True,
        text=True,
        timeout=LONGEST_START_S,
        check=False,
    )
    assert done.returncode == 0, f"{words}: {done.stdout}{done.stderr}"
    return done.stdout + done.stderr


@contextmanager
def served(
    words: list[str], environment: dict[str, str], port: str, *, below: str = ""
) -> Iterator[subprocess.Popen[str]]:
    """Run what serves until it is healthy, and stop it as systemd would."""
    process = subprocess.Popen(
        words, cwd=HOUSE, env=environment, text=True, stdout=subprocess.PIPE, stderr=subprocess.STDOUT
    )
    try:
        until = time.monotonic() + LONGEST_START_S
        while True:
            assert process.poll() is None, process.stdout and process.stdout.read()
            try:
                with urllib.request.urlopen(f"http://127.0.0.1:{port}{below}/health/", timeout=5) as answer:
                    assert answer.read() == b"ok\n"
                    break
            except OSError:
                assert time.monotonic() < until, "It did not become healthy."
                time.sleep(0.2)
        yield process
    finally:
        process.send_signal(signal.SIGINT)
        process.wait(timeout=60)


@pytest.mark.parametrize("path", UNITS, ids=lambda path: path.name)
def test_a_unit_is_sound(path: Path) -> None:
    read = unit(path)
    assert "Unit" in read
    if path.suffix == ".timer":
        assert path.with_suffix(".service") in UNITS
        return
    section = read["Service"]
    assert section["EnvironmentFile"] == "/etc/enough-thread.env"
    assert (
        section["ReadWritePaths"]
        == variables((DEPLOY / "enough-thread.env").read_text())["ENOUGH_THREAD_DATA"]
    )
    for line in (section["ExecStart"], section.get("ExecStartPre", "")):
        if line:
            assert (Path(section["WorkingDirectory"]) / "manage.py").name == shlex.split(line)[1]
    for hardened in ("ProtectSystem", "ProtectHome", "PrivateTmp", "NoNewPrivileges"):
        assert section[hardened] in ("yes", "strict")


@pytest.mark.skipif(
    shutil.which("systemd-analyze") is None, reason="systemd's own words are not to be had here."
)
def test_systemd_has_nothing_to_say_of_the_units_but_that_the_program_lies_elsewhere(tmp_path: Path) -> None:
    for path in UNITS:
        text = path.read_text().replace("/srv/enough-thread/.venv/bin/python", sys.executable)
        (tmp_path / path.name).write_text(
            re.sub(r"^(User|Group|WorkingDirectory|EnvironmentFile)=.*\n", "", text, flags=re.M)
        )
    names = [str(tmp_path / path.name) for path in UNITS]
    said = subprocess.run(["systemd-analyze", "verify", *names], capture_output=True, text=True, check=False)
    about_ours = [
        line for line in said.stderr.splitlines() if "enough-thread" in line and "Failed to" not in line
    ]
    assert about_ours == []


def test_every_variable_that_the_files_set_is_one_that_the_site_reads() -> None:
    read = "".join(path.read_text() for path in (HOUSE / "workshop").glob("*.py"))
    named = set(variables((DEPLOY / "enough-thread.env").read_text()))
    named |= {key for each in ("site", "worker") for key in compose()["services"][each]["environment"]}
    named |= {word.split("=")[0] for kind, rest in layers() if kind == "ENV" for word in rest.split()}
    for name in named - {"PYTHONUNBUFFERED"}:
        assert f'"{name}"' in read, name


def test_a_bucket_that_the_environment_file_proposes_is_one_that_the_site_understands(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    proposed = variables(re.sub(r"^# (?=FILES_)", "", (DEPLOY / "enough-thread.env").read_text(), flags=re.M))
    for name in ("FILES_KEY", "FILES_SECRET"):
        monkeypatch.setenv(name, proposed[name])
    options = file_store(proposed["FILES_URL"])["OPTIONS"]
    assert options == {
        "bucket_name": "threads", "location": "kept", "endpoint_url": "https://s3.example",
        "region_name": "eu-west-1", "access_key": "key", "secret_key": "secret",
    }  # fmt: skip


@pytest.mark.parametrize(
    "address",
    ["threads", "https://s3.example/threads", "s3://", "s3://a/?endpoint=s3.example", "s3://a/?acl=x"],
)
def test_what_is_no_bucket_is_refused_in_words(address: str) -> None:
    with pytest.raises(ValueError, match="FILES_URL is no address of a bucket"):
        file_store(address)


def test_half_a_key_of_a_bucket_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FILES_KEY", "key")
    with pytest.raises(ValueError, match="only one is set"):
        file_store("s3://threads")


def test_without_an_address_files_lie_in_the_folder() -> None:
    assert file_store("")["BACKEND"].endswith("FolderStore")


def test_the_image_copies_what_is_there_and_runs_as_nobody_in_particular() -> None:
    found = layers()
    copied = [source for kind, rest in found if kind == "COPY" for source in rest.split()[:-1]]
    assert all((HOUSE / source).exists() for source in copied)
    assert set(copied) >= {"inventory", "planning", "workshop", "manage.py", "pyproject.toml"}
    assert [rest for kind, rest in found if kind == "USER"] == ["enough-thread"]
    assert "[postgres,s3]" in next(rest for kind, rest in found if kind == "RUN" and "pip install" in rest)


def test_the_compose_file_has_site_worker_database_and_proxy_and_waits_for_what_is_healthy() -> None:
    services = compose()["services"]
    assert set(services) == {"site", "worker", "database", "proxy"}
    assert services["site"]["depends_on"]["database"]["condition"] == "service_healthy"
    assert services["site"]["environment"] == services["worker"]["environment"]
    (subnet,) = compose()["networks"]["default"]["ipam"]["config"]
    assert services["site"]["environment"]["ENOUGH_THREAD_PROXIES"] == subnet["subnet"]
    for each in services.values():
        for volume in each.get("volumes", []):
            assert volume.partition(":")[0] in compose()["volumes"]
    built = services["site"]["build"]
    assert (DEPLOY / built["context"] / built["dockerfile"]).resolve() == DEPLOY / "Containerfile"


@pytest.mark.parametrize("name", ["Caddyfile", "nginx.conf"])
def test_a_proxy_file_has_its_brackets_and_hands_on_what_the_site_reads(name: str) -> None:
    text = re.sub(r"#.*", "", (DEPLOY / name).read_text())
    assert text.count("{") == text.count("}")
    for header in ("X-Forwarded-For", "X-Forwarded-Proto", "X-Request-ID"):
        assert header in text
    assert "127.0.0.1:8000" in text
    assert f"--port {'8000'}" in service("enough-thread")["ExecStart"]


@pytest.mark.thorough
def test_the_units_migrate_serve_work_and_back_up(environment: dict[str, str], tmp_path: Path) -> None:
    site, port = service("enough-thread"), a_free_port()
    run(command(site["ExecStartPre"]), environment)
    with served(command(site["ExecStart"], **{"8000": port}), environment, port) as process:
        assert process.poll() is None
    worker = command(service("enough-thread-worker")["ExecStart"])
    run([*worker, "--until-empty"], environment)
    folder = str(tmp_path / "backups")
    backup = command(
        service("enough-thread-backup")["ExecStart"], **{"/var/lib/enough-thread/backups": folder}
    )
    run(backup, environment)
    assert list(Path(folder).glob("enough-thread-*.zip"))


@pytest.mark.thorough
@pytest.mark.parametrize("below", ["", "/shop"], ids=["at the root", "in a sub-path, behind TLS"])
def test_the_image_starts_and_is_healthy_by_its_own_words(environment: dict[str, str], below: str) -> None:
    port = a_free_port()
    (line,) = [rest for kind, rest in layers() if kind == "CMD"]
    start = [word.replace("8000", port) for word in yaml.safe_load(line)]
    (check,) = [rest.partition("CMD ")[2] for kind, rest in layers() if kind == "HEALTHCHECK"]
    healthy = [word.replace("8000", port) for word in yaml.safe_load(check)]
    path = f"{Path(sys.executable).parent}:{os.environ['PATH']}"
    environment |= {"PATH": path} | {
        key: value
        for kind, rest in layers() if kind == "ENV"
        for key, value in (word.split("=") for word in rest.split()) if key != "ENOUGH_THREAD_DATA"
    }  # fmt: skip
    if below:
        environment["BASE_URL"] = f"https://threads.example{below}/"
        del environment["ENOUGH_THREAD_HTTPS"]
    with served(start, environment, port, below=below):
        run(healthy, environment)
        host = "threads.example" if below else "localhost"
        page = as_a_proxy_asks(port, f"{below}/sign-in/", host=host)
        asked_for = set(re.findall(r'(?:href|src|action)="(/[^"#]*)', page))
        assert len(asked_for) > 5
        assert all(path.startswith(f"{below}/") for path in asked_for)
        for path in asked_for:
            as_a_proxy_asks(port, path, host=host)


def as_a_proxy_asks(port: str, path: str, *, host: str) -> str:
    """Return what a proxy that speaks TLS is answered; any but a good answer fails."""
    named = {"Host": host, "X-Forwarded-Proto": "https", "X-Forwarded-For": "203.0.113.9"}
    asked = urllib.request.Request(f"http://127.0.0.1:{port}{path}", headers=named)
    with HERE_ALONE.open(asked, timeout=30) as answer:
        moved = answer.headers.get("Location", "")
        if moved:
            return as_a_proxy_asks(port, moved.removeprefix(f"https://{host}"), host=host)
        return str(answer.read().decode(errors="replace"))
