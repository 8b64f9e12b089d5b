#!/usr/bin/env python3
"""Schemathesis against the running program, in all its phases, on a shop in which there is one of most things:

  tests/document fuzz [CASES [SEED]]      (calls this in its environment)

Ends with 1 where a case failed, or fewer were tried than asked for.
"""

import datetime
import json
import os
import pathlib
import random
import re
import subprocess
import sys
import tempfile

import environment
import served

ROOT = environment.ROOT
DOCUMENT = ROOT / "openapi" / "openapi.json"
SETTINGS = ROOT / "tests" / "bench" / "document" / "schemathesis.toml"
# Of the ids that are asked for so many are of what is there, the others made up.
KNOWN = 0.8
# What an id is of, by the beginning of its address, and by its name in a body.
COLLECTIONS = {"customers": "customer", "vehicles": "vehicle", "jobs": "job", "vans": "van",
               "partner-apps": "partner_app", "webhooks": "webhook", "bookings": "booking"}
# Whoever asks would throw themselves out: another password, another role, an ended login. So these are only asked for
# somebody else, and for nobody.
NOT_ONESELF = {"people": "person", "me/logins": "nobody"}
FIELDS = {"customer": "customer", "vehicle": "vehicle", "van": "van", "technician": "person", "home_van": "van",
          "job": "job"}


def settings(there):
    """The settings as a file wants them, with the ids of what is there."""
    lines = [SETTINGS.read_text()]
    for name in sorted({*COLLECTIONS.values(), *FIELDS.values()}):
        lines.append(f'[dictionaries.{name}]\nvalues = ["{there[name]}"]')
    for collection, name in COLLECTIONS.items():
        binding = f'{{ dictionary = "{name}", probability = {KNOWN} }}'
        lines.append(f'[[operations]]\ninclude-path-regex = "^/v1/{collection}/.id"\n'
                     f'[operations.parameters]\n"path.id" = {binding}')
    for collection, name in NOT_ONESELF.items():
        lines.append(f'[[operations]]\ninclude-path-regex = "^/v1/{collection}/.id"\n'
                     f'[operations.parameters]\n"path.id" = "{there[name]}"')
    for field, name in FIELDS.items():
        takes = [path for path, item in json.loads(DOCUMENT.read_text())["paths"].items() if takes_field(item, field)]
        for path in takes:
            lines.append(f'[[operations]]\ninclude-path = "{path}"\n[operations.parameters]\n'
                         f'"body.{field}" = {{ dictionary = "{name}", probability = {KNOWN} }}')
    return "\n\n".join(lines) + "\n"


def takes_field(item, field):
    """Whether a body of one of these operations has a field of this name, as the document names schemas."""
    schemas = json.loads(DOCUMENT.read_text())["components"]["schemas"]
    for operation in item.values():
        for content in operation.get("requestBody", {}).get("content", {}).values():
            name = content["schema"].get("$ref", "").rsplit("/", 1)[-1]
            if field in schemas.get(name, {}).get("properties", {}):
                return True
    return False


def fill(api):
    at = datetime.datetime.now(datetime.timezone.utc).replace(hour=8, minute=0, second=0, microsecond=0)
    there = served.planned_booking(api, at + datetime.timedelta(days=2))
    hook = api.post("/v1/webhooks", {"url": "https://localhost:1024/", "events": ["job.changed"]})
    nobody = "01890000-0000-7000-8000-000000000000"
    return {**there, "nobody": nobody, "webhook": hook["webhook"]["id"], "partner_app": there["app"]["app"]["id"]}


def main():
    cases = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else random.randrange(2**32)
    operations = sum(len(item) for item in json.loads(DOCUMENT.read_text())["paths"].values())
    print(f"{cases} cases, seed {seed}", flush=True)
    with tempfile.TemporaryDirectory() as data:
        # An hour is the longest life of a token.
        server, api = served.start(os.environ["LUSTRUM_PROGRAM"], data, LUSTRUM_ACCESS_TOKEN_MIN="60")
        try:
            config = pathlib.Path(data) / "schemathesis.toml"
            config.write_text(settings(fill(api)))
            command = [str(pathlib.Path(sys.executable).parent / "schemathesis"), "--config-file", str(config), "run",
                       str(DOCUMENT), "--url", api.base, "--seed", str(seed), "--workers", "2", "--no-color",
                       "--max-examples", str(-(-cases // operations)), "--generation-database", "none",
                       "--continue-on-failure", "--suppress-health-check", "all",
                       "--header", f"Authorization: Bearer {api.token}"]
            told = []
            with subprocess.Popen(command, cwd=data, stdout=subprocess.PIPE, text=True) as run:
                for line in run.stdout:
                    told.append(line)
                    print(line, end="", flush=True)
            alive = server.poll() is None
        finally:
            served.stop(server)
    tried = re.search(r"(\d+) generated", "".join(told))
    tried = int(tried.group(1)) if tried else 0
    print(f"{tried} cases tried, seed {seed}; the program {'is still up' if alive else 'has ended'}")
    sys.exit(0 if run.returncode == 0 and tried >= cases and alive else 1)


main()
