#!/usr/bin/env python3
"""What we send to partner apps, judged by the public verifiers and parsers:

  tests/bench/partner_agreement.py [PROGRAM]     default: target/debug/lustrum

- webhooks: the verifiers `standardwebhooks` of PyPI and, where npm is at hand, of npm accept what arrives, also while
  two secrets are live, and refuse what was changed on the way or is old;
- calendars: `icalendar` of PyPI reads the calendar, and its times are ours;
- tokens: `PyJWT` verifies an access token with the published keys.

It makes its own environment below target/, starts the program on a new embedded database, and ends with 1 where
something disagrees.
"""

import http.server
import json
import queue
import shutil
import subprocess
import sys
import tempfile
import threading
import time
import urllib.parse

import environment
import served

PLACE = environment.ROOT / "target" / "partner-agreement"
PINNED = ["standardwebhooks==1.1.0", "icalendar==7.3.2", "pyjwt[crypto]==2.15.1"]


class Receiver(http.server.BaseHTTPRequestHandler):
    arrived = queue.Queue()

    def do_POST(self):
        body = self.rfile.read(int(self.headers["content-length"])).decode()
        Receiver.arrived.put((dict(self.headers.items()), body))
        self.send_response(204)
        self.end_headers()

    def log_message(self, *_):
        pass


failed = 0


def judge(what, agrees):
    global failed
    failed += not agrees
    print(f"{'agree   ' if agrees else 'DISAGREE'}  {what}", flush=True)


def webhooks(api):
    from standardwebhooks.webhooks import Webhook, WebhookVerificationError

    receiver = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Receiver)
    threading.Thread(target=receiver.serve_forever, daemon=True).start()
    url = f"http://127.0.0.1:{receiver.server_port}/events"
    made = api.ask("POST", "/v1/webhooks", {"url": url, "events": ["job.changed"]})
    path, old = f"/v1/webhooks/{made['webhook']['id']}", made["secret"]

    def sent():
        api.ask("POST", f"{path}/test")
        return Receiver.arrived.get(timeout=30)

    def accepts(secret, headers, body):
        try:
            Webhook(secret).verify(body, {name.lower(): value for name, value in headers.items()})
            return True
        except WebhookVerificationError:
            return False

    headers, body = sent()
    judge("PyPI standardwebhooks accepts a delivery", accepts(old, headers, body))
    judge("and refuses it changed", not accepts(old, headers, body.replace("webhook.test", "webhook.best")))
    stale = {**headers, "webhook-timestamp": str(int(time.time()) - 3600)}
    judge("and refuses an old timestamp", not accepts(old, stale, body))
    new = api.ask("POST", f"{path}/secret")["secret"]
    both_headers, both = sent()
    judge("and accepts either secret while two are live", accepts(old, both_headers, both) and accepts(new, both_headers, both))
    judge("and no third one", not accepts("whsec_" + "A" * 44, both_headers, both))
    if not shutil.which("npm") or not shutil.which("node"):
        print("left out  npm standardwebhooks: there is no npm here", flush=True)
        return
    place = PLACE / "npm"
    place.mkdir(parents=True, exist_ok=True)
    if not (place / "node_modules" / "standardwebhooks").exists():
        subprocess.run(["npm", "install", "--silent", "--no-audit", "--no-fund", "--prefix", place, "standardwebhooks@1.0.0"],
                       check=True)
    script = "const { Webhook } = require('standardwebhooks');" \
             "const { secret, headers, body } = JSON.parse(require('fs').readFileSync(0));" \
             "try { new Webhook(secret).verify(body, headers); } catch (e) { process.exit(1); }"

    def npm_accepts(secret, headers, body):
        low = {name.lower(): value for name, value in headers.items()}
        question = json.dumps({"secret": secret, "headers": low, "body": body})
        return subprocess.run(["node", "-e", script], cwd=place, input=question, text=True).returncode == 0

    judge("npm standardwebhooks accepts a delivery, with either secret",
          npm_accepts(old, headers, body) and npm_accepts(old, both_headers, both) and npm_accepts(new, both_headers, both))
    judge("and refuses it changed", not npm_accepts(old, headers, body + " "))


def calendars(api):
    import datetime
    import icalendar

    me = api.ask("GET", "/v1/me")["id"]
    customer = api.ask("POST", "/v1/customers", {"name": "Größe, Öl; " * 9})["id"]
    document = {"class": "estate", "colour": "grey", "finish": "clear_coat",
                "exposures": [{"kind": "street_open", "share": 0.4}]}
    vehicle = api.ask("POST", "/v1/vehicles", {"customer": customer, "label": "grey estate", "document": document})["id"]
    first = datetime.datetime.now(datetime.timezone.utc).replace(hour=8, minute=0, second=0, microsecond=0)
    wanted = {}
    for nth in range(1, 300, 13):
        begins = first + datetime.timedelta(days=nth)
        ends = begins + datetime.timedelta(hours=2)
        job = api.ask("POST", "/v1/jobs", {"vehicle": vehicle, "package": "P2", "window_from": begins.isoformat(),
                                           "window_to": ends.isoformat()})["id"]
        api.ask("PUT", f"/v1/jobs/{job}/assignment", {"van": None, "start_at": begins.isoformat(), "technicians": [me]})
        wanted[job] = (begins, ends)
    url = api.ask("POST", "/v1/calendar-feeds", {"details": True})["url"]
    content = api.ask("GET", urllib.parse.urlparse(url).path, raw=True)
    calendar = icalendar.Calendar.from_ical(content)
    read = {str(event["UID"]): (event.start, event.end) for event in calendar.walk("VEVENT")}
    judge(f"icalendar reads {len(wanted)} events, through both changes of the clock, as ours",
          read.keys() == wanted.keys() and all(
              tuple(at.astimezone(datetime.timezone.utc) for at in read[uid]) == wanted[uid] for uid in wanted))
    zone = calendar.walk("VTIMEZONE")[0].to_tz()
    judge("and its own reading of VTIMEZONE gives the same offsets", all(
        begins.astimezone(zone).utcoffset() == read[uid][0].utcoffset() for uid, (begins, _) in wanted.items()))
    judge("lines have at most 75 octets", all(len(line) <= 75 for line in content.split(b"\r\n")))


def tokens(api):
    import jwt

    made = api.ask("POST", "/v1/partner-apps", {"name": "Fleet", "scopes": ["plans:read"]})
    metadata = api.ask("GET", "/.well-known/oauth-authorization-server")
    form = {"grant_type": "client_credentials", "client_id": made["client_id"], "client_secret": made["client_secret"]}
    token = api.ask("POST", urllib.parse.urlparse(metadata["token_endpoint"]).path, form=form)["access_token"]
    key = jwt.PyJWKClient(metadata["jwks_uri"]).get_signing_key_from_jwt(token)
    claims = jwt.decode(token, key, algorithms=["EdDSA"], audience="lustrum", issuer=metadata["issuer"],
                        options={"require": ["iss", "exp", "aud", "sub", "client_id", "iat", "jti"]})
    judge("PyJWT verifies a token with the published keys", claims["client_id"] == made["client_id"])


def main():
    environment.enter("partner-agreement", PINNED)
    program = sys.argv[1] if len(sys.argv) > 1 else str(environment.ROOT / "target" / "debug" / "lustrum")
    with tempfile.TemporaryDirectory() as data:
        server, api = served.start(program, data, LUSTRUM_WEBHOOK_LOOPBACK="true")
        try:
            webhooks(api)
            calendars(api)
            tokens(api)
        finally:
            served.stop(server)
    sys.exit(1 if failed else 0)


main()
