#!/usr/bin/env python3
"""Clients made from openapi/openapi.json by general-purpose generators, checked strictly, and used:

  tests/document clients      (calls this in its environment)

The worked examples below openapi/examples pull the plans of a partner app's bookings: log in with client credentials,
list, get, and ask again with the ETag. Both must print what the office sees.
"""

import datetime
import os
import pathlib
import shutil
import subprocess
import sys
import tempfile

import environment
import served

ROOT = environment.ROOT
HOME = ROOT / "target" / "document"
DOCUMENT = ROOT / "openapi" / "openapi.json"
EXAMPLES = ROOT / "openapi" / "examples"


def run(*command, cwd=ROOT, **more):
    print("$", *[str(part).replace(f"{ROOT}/", "") for part in command], flush=True)
    return subprocess.run([str(part) for part in command], cwd=cwd, check=True, **more)


def typescript():
    """The example as one would have it in a project of one's own: generated types beside it, strict, run by Node."""
    place = HOME / "typescript"
    shutil.rmtree(place, ignore_errors=True)
    place.mkdir(parents=True)
    shutil.copytree(EXAMPLES / "typescript", place, dirs_exist_ok=True)
    (place / "node_modules").symlink_to(HOME / "npm" / "node_modules")
    bin = HOME / "npm" / "node_modules" / ".bin"
    run(bin / "openapi-typescript", DOCUMENT, "--output", place / "api.ts")
    run(bin / "tsc", "--project", place)
    return ["node", place / "made" / "pull_plans.js"]


def python():
    """The same in Python: a generated package beside the example; both are checked, the example strictly."""
    place = HOME / "python-example"
    shutil.rmtree(place, ignore_errors=True)
    place.mkdir(parents=True)
    for file in (EXAMPLES / "python").iterdir():
        shutil.copy(file, place)
    bin = pathlib.Path(sys.executable).parent
    run(bin / "openapi-python-client", "generate", "--path", DOCUMENT, "--meta", "none", "--output-path",
        place / "lustrum_client", "--config", ROOT / "tests" / "bench" / "document" / "python-client.yaml",
        "--fail-on-warning")
    run(bin / "mypy", "--strict", "--no-error-summary", "pull_plans.py", cwd=place)
    return [sys.executable, place / "pull_plans.py"]


def expected(there):
    plan = there["plan"]
    steps, minutes = len(plan["lines"]), round(plan["totals"]["elapsed_minutes"])
    return [f"{there['job']} plan {plan['version']}: {steps} steps, {minutes} min", f"{there['job']} unchanged"]


def main():
    program = os.environ["LUSTRUM_PROGRAM"]
    commands = {"TypeScript": typescript(), "Python": python()}
    failed = 0
    with tempfile.TemporaryDirectory() as data:
        server, api = served.start(program, data)
        try:
            at = datetime.datetime.now(datetime.timezone.utc).replace(hour=8, minute=0, second=0, microsecond=0)
            there = served.planned_booking(api, at + datetime.timedelta(days=2))
            access = {**os.environ, "LUSTRUM_URL": api.base, "CLIENT_ID": there["app"]["client_id"],
                      "CLIENT_SECRET": there["app"]["client_secret"]}
            for name, command in commands.items():
                told = run(*command, env=access, capture_output=True, text=True).stdout.splitlines()
                agrees = told == expected(there)
                failed += not agrees
                print("agree   " if agrees else "DISAGREE", f"{name} pulls the plan: {told}", flush=True)
        finally:
            served.stop(server)
    sys.exit(1 if failed else 0)


main()
