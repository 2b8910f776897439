#!/usr/bin/env python3
"""Run Enough Thread's commands, setting up an environment of its own first where there is none.

This file is read by whatever Python a person has, so it keeps to syntax that any Python 3 understands
until it has made sure of a new enough one.
"""

import hashlib
import os
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
ENVIRONMENT = HERE / ".venv"
OLDEST_PYTHON = (3, 11)
NEEDED = ("django", "pyembroidery", "colormath", "scipy", "rich", "whitenoise", "ninja", "pyotp", "webauthn")


def main():
    """Run the command named on the command line and return its exit code."""
    if sys.version_info < OLDEST_PYTHON:
        found = ".".join(str(part) for part in sys.version_info[:3])
        return _refuse(
            "Enough Thread needs Python 3.11 or newer; this is Python %s.\n"
            "Install a newer Python and run the command again with it, for example: python3.11 manage.py demo"
            % found
        )
    testing = sys.argv[1:2] == ["test"]
    if not _can_import(*NEEDED) and not (_in_an_environment() and _can_import("django")):
        return _run_in_own_environment(testing)
    if testing:
        return _run_tests(sys.argv[2:])
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "workshop.settings")
    from workshop.listing import ASKED_BY, commands_listed

    if sys.argv[1:] in ASKED_BY:
        print(commands_listed(os.path.basename(sys.argv[0])))
        return 0
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)
    return 0


def _can_import(*names):
    from importlib.util import find_spec

    return all(find_spec(name) is not None for name in names)


def _in_an_environment():
    return sys.prefix != sys.base_prefix


def _environment_python():
    if os.name == "nt":
        return ENVIRONMENT / "Scripts" / "python.exe"
    return ENVIRONMENT / "bin" / "python"


def _run_in_own_environment(testing):
    if Path(sys.prefix).resolve() == ENVIRONMENT:
        return _refuse(
            "The environment in %s is incomplete. Delete that folder and run the command again." % ENVIRONMENT
        )
    problem = _prepare_environment("test" if testing else "")
    if problem:
        return _refuse(problem)
    command = [str(_environment_python()), str(HERE / "manage.py"), *sys.argv[1:]]
    if os.name == "nt":  # execv on Windows returns to the shell before the command has ended
        return subprocess.call(command)
    os.execv(command[0], command)


def _prepare_environment(extra):
    """Make .venv and install the project into it; return a sentence if that cannot be done."""
    if not _environment_python().exists():
        try:
            import ensurepip  # noqa: F401 - Debian ships venv without it; better to know before half a folder exists
            import venv
        except ImportError:
            return (
                "This Python has no venv module, which Enough Thread needs to set itself up.\n"
                "On Debian or Ubuntu: sudo apt install python3-venv. Then run the command again."
            )
        _say("Setting up Enough Thread in %s (once; it takes a minute or two)." % ENVIRONMENT)
        venv.EnvBuilder(with_pip=True).create(ENVIRONMENT)
    return _install(extra)


def _install(extra):
    """Install the project, with ``extra``, unless that was done for this very pyproject.toml."""
    wanted = hashlib.sha256((HERE / "pyproject.toml").read_bytes()).hexdigest()
    stamp = ENVIRONMENT / ("installed-%s" % (extra or "base"))
    if stamp.exists() and stamp.read_text() == wanted:
        return None
    what = "%s[%s]" % (HERE, extra) if extra else str(HERE)
    _say("Installing %s." % ("what the tests need" if extra else "what it needs"))
    command = [str(_environment_python()), "-m", "pip", "install", "--disable-pip-version-check", "-e", what]
    if subprocess.call(command) != 0:
        return "Installing failed; pip's own words are above. Check the network connection and run the command again."
    stamp.write_text(wanted)
    return None


def _run_tests(arguments):
    if Path(sys.prefix).resolve() == ENVIRONMENT:
        problem = _install("test")
        if problem:
            return _refuse(problem)
    elif not _can_import("pytest", "pytest_django", "xdist"):
        return _refuse("The tests need more packages: %s -m pip install -e '.[test]'" % sys.executable)
    _say(
        "Running the tests. Those that take long or need more (thorough, browser, benchmark) are left out: "
        ".ci/run has them too; one kind by hand: -m KIND."
    )
    command = [sys.executable, "-m", "pytest", *_workers(arguments), *arguments]
    return subprocess.call(command, cwd=str(HERE))


def _workers(arguments):
    """Return the words that spread the tests over all cores, or none where that cannot pay or was decided otherwise."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    decided = (
        "-n",
        "--numprocesses",
        "--dist",
        "--pdb",
        "--trace",
        "-s",
        "--capture",
        "--collect-only",
        "--co",
        "-h",
    )
    alone = any(word.startswith(decided) for word in arguments)
    few = any("::" in word or word.endswith(".py") or word.startswith(("-k", "--lf")) for word in arguments)
    timed = any("benchmark" in word and "not benchmark" not in word for word in arguments)
    if cores == 1 or alone or few or timed:
        return []
    return ["-n", str(cores), "--dist", "worksteal"]


def _say(sentence):
    print(sentence, flush=True)


def _refuse(sentence):
    print(sentence, file=sys.stderr)
    return 1


if __name__ == "__main__":
    sys.exit(main())
