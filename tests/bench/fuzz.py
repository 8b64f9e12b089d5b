#!/usr/bin/env python3
"""Schemathesis against the running program, in all its phases, on a shop in which there is one of most things: all
operations as the owner, then, with a tenth of the cases, those of a partner app as one.

  tests/document fuzz [CASES [SEED]]      (calls this in its environment)

Ends with 1 where a case failed, or fewer were tried than asked for.
"""

import base64
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
               "partner-apps": "partner_app", "webhooks": "webhook", "bookings": "booking", "devices": "device",
               "uploads": "upload", "round-plans": "round_plan", "held-offers": "held_offer",
               "calendar-feeds": "calendar_feed"}
# Whoever asks would throw themselves out: another password, another role, an ended login. So these are only asked for
# somebody else, and for nobody.
NOT_ONESELF = {"people": "person", "me/logins": "nobody"}
FIELDS = {"customer": "customer", "vehicle": "vehicle", "van": "van", "technician": "person", "home_van": "van",
          "job": "job"}
NOBODY = "01890000-0000-7000-8000-000000000000"
# A phone chooses its own id, and that of an upload.
DEVICE, UPLOAD = "01890000-0000-7000-8000-0000000000d1", "01890000-0000-7000-8000-0000000000f1"


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
    at += datetime.timedelta(days=2)
    there = served.planned_booking(api, at)
    app = api.log_in_app(there["app"])
    hook = app.post("/v1/webhooks", {"url": "https://localhost:1024/", "events": ["job.changed"]})
    feed = app.post("/v1/calendar-feeds", {})
    api.ask("PATCH", "/v1/shop", {"settings": {"base": {"latitude": 48.2, "longitude": 16.37}}})
    rounds = api.post("/v1/round-plans", {"from_on": at.date().isoformat(), "iterations": 5})
    api.ask("PUT", f"/v1/devices/{DEVICE}", {})
    metadata = f"filetype {in_base64('image/jpeg')},id {in_base64(UPLOAD)}"
    api.ask("POST", "/v1/uploads", more={"upload-length": "5", "upload-metadata": metadata})
    return {**there, "nobody": NOBODY, "webhook": hook["webhook"]["id"], "partner_app": there["app"]["app"]["id"],
            "calendar_feed": feed["feed"]["id"], "round_plan": rounds["id"], "device": DEVICE, "upload": UPLOAD,
            "held_offer": held(app, there["vehicle"], at)}


def held(app, vehicle, at):
    """An offer that the app holds, on another day than that of its job."""
    offers = app.post("/v1/offers", {"vehicle": vehicle, "package": "P1", "days": 14, "most": 50})["offers"]
    free = [one["offer"] for one in offers if one["window_from"][:10] != at.date().isoformat()]
    return app.post("/v1/held-offers", {"offer": free[0]})["id"] if free else NOBODY


def in_base64(text):
    return base64.b64encode(text.encode()).decode()


def run(who, cases, seed):
    """Tries so many cases on a new shop, as its owner or as its app; tells whether all went well."""
    paths = json.loads(DOCUMENT.read_text())["paths"]
    operations = [operation for item in paths.values() for operation in item.values()]
    chosen = []
    if who == "app":
        operations = [one for one in operations if any("partner_app" in way for way in one.get("security", []))]
        chosen = [part for one in operations for part in ("--include-operation-id", one["operationId"])]
    print(f"as {who}: {cases} cases, seed {seed}", flush=True)
    with tempfile.TemporaryDirectory() as data:
        # An hour is the longest life of a token.
        server, api = served.start(os.environ["LUSTRUM_PROGRAM"], data, LUSTRUM_ACCESS_TOKEN_MIN="60")
        try:
            there = fill(api)
            config = pathlib.Path(data) / "schemathesis.toml"
            config.write_text(settings(there))
            token = api.token if who == "owner" else api.log_in_app(there["app"]).token
            command = [str(pathlib.Path(sys.executable).parent / "schemathesis"), "--config-file", str(config), "run",
                       str(DOCUMENT), "--url", api.base, "--seed", str(seed), "--workers", "2", "--no-color",
                       "--max-examples", str(-(-cases // len(operations))), "--generation-database", "none",
                       "--continue-on-failure", "--suppress-health-check", "all",
                       "--header", f"Authorization: Bearer {token}", *chosen]
            told = []
            environ = {**os.environ, "SCHEMATHESIS_HOOKS": "schemathesis_hooks",
                       "PYTHONPATH": str(ROOT / "tests" / "bench")}
            with subprocess.Popen(command, cwd=data, stdout=subprocess.PIPE, text=True, env=environ) as asks:
                for line in asks.stdout:
                    told.append(line)
                    print(line, end="", flush=True)
            alive = server.poll() is None
        finally:
            served.stop(server)
    tried = re.search(r"(\d+) generated", "".join(told))
    tried = int(tried.group(1)) if tried else 0
    state = "is still up" if alive else "has ended"
    print(f"as {who}: {tried} cases tried, seed {seed}; the program {state}", flush=True)
    return asks.returncode == 0 and tried >= cases and alive


def main():
    cases = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else random.randrange(2**32)
    went_well = [run("owner", cases, seed), run("app", -(-cases // 10), seed)]
    sys.exit(0 if all(went_well) else 1)


main()
