"""The program on a new embedded database, with its owner logged in; for scripts that ask it something."""

import json
import os
import socket
import subprocess
import time
import urllib.error
import urllib.parse
import urllib.request

PASSWORD = "kettle drum ash"


class Api:
    """Speaks to the program, as whoever the token is of."""

    def __init__(self, base, token=None):
        self.base, self.token = base, token

    def ask(self, method, path, body=None, form=None, raw=False, more=None):
        """`more`: further headers."""
        data, headers = None, {"user-agent": "checks", **(more or {})}
        if form is not None:
            data, headers["content-type"] = urllib.parse.urlencode(form).encode(), "application/x-www-form-urlencoded"
        elif body is not None:
            patch = "merge-patch+" if method == "PATCH" else ""
            data, headers["content-type"] = json.dumps(body).encode(), f"application/{patch}json"
        if method != "GET":
            # Nobody else changes anything meanwhile.
            headers["if-match"] = "*"
        if self.token and form is None:
            headers["authorization"] = f"Bearer {self.token}"
        request = urllib.request.Request(self.base + path, data, headers, method=method)
        with urllib.request.urlopen(request, timeout=30) as answer:
            content = answer.read()
        return content if raw else json.loads(content or b"null")

    def get(self, path):
        return self.ask("GET", path)

    def post(self, path, body=None):
        return self.ask("POST", path, body)

    def log_in_app(self, app):
        """Another client, which is this partner app."""
        form = {"grant_type": "client_credentials", "client_id": app["client_id"],
                "client_secret": app["client_secret"]}
        return Api(self.base, self.ask("POST", "/oauth/token", form=form)["access_token"])


def start(program, data, **settings):
    """The running program and its owner's client; further settings as the environment has them."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        address = "127.0.0.1:%d" % probe.getsockname()[1]
    settings = {**os.environ, "LUSTRUM_DATA": data, "LUSTRUM_LISTEN": address, "LUSTRUM_REQUESTS_PER_MIN": "0",
                "LUSTRUM_PUBLIC_URL": f"http://{address}", "LUSTRUM_OWNER_PASSWORD": PASSWORD, "LUSTRUM_LOG": "off",
                **settings}
    made = subprocess.run([program, "create-shop", "--name", "Shine", "--time-zone", "Europe/Vienna", "--owner-email",
                           "owner@shop.test"], env=settings, check=True, capture_output=True, text=True)
    server = subprocess.Popen([program, "serve"], env=settings)
    api = Api(f"http://{address}")
    for _ in range(200):
        try:
            api.get("/health")
            break
        except (urllib.error.URLError, ConnectionError):
            time.sleep(0.1)
    login = {"shop": made.stdout.split()[1], "email": "owner@shop.test", "password": PASSWORD}
    api.token = api.post("/v1/login", login)["access_token"]
    return server, api


def stop(server):
    server.terminate()
    server.wait(timeout=30)


def planned_booking(api, at):
    """A partner app whose proposal became a job with a plan; `at`: when the work begins, an aware datetime."""
    import datetime

    site = {"latitude": 48.2, "longitude": 16.37, "heading_deg": 90, "tap": True, "drain": "sewer",
            "hardness_mg_l": 150, "ground": "asphalt", "mains": True, "water_restriction": 0}
    customer = api.post("/v1/customers", {"name": "Jaxxlo", "site": site})["id"]
    document = {"class": "estate", "colour": "grey", "finish": "clear_coat",
                "exposures": [{"kind": "street_open", "share": 0.4}]}
    vehicle = api.post("/v1/vehicles", {"customer": customer, "label": "grey estate", "document": document})["id"]
    app = api.post("/v1/partner-apps", {"name": "Fleet",
                                        "scopes": ["plans:read", "upkeep:read", "offers:write", "webhooks"]})
    wish = {"vehicle": vehicle, "package": "P2", "window_from": at.isoformat(),
            "window_to": (at + datetime.timedelta(hours=4)).isoformat()}
    booking = api.log_in_app(app).post("/v1/bookings", wish)["id"]
    job = api.post(f"/v1/bookings/{booking}/accept")["job"]
    equipment = ["pump_foamer", "foam_lance", "hose", "pressure_washer", "tank", "spotless_filter", "water_reel",
                 "battery_pack", "rcd", "clay_towel", "clay_bar", "mitt", "towel_dry", "towel_small", "brush", "bucket",
                 "vacuum", "polisher", "light", "ir_thermometer", "thickness_gauge", "hardness_strip", "step", "blower",
                 "awning", "runoff_kit"]
    van = api.post("/v1/vans", {"name": "One", "seats": 2,
                                "kit": {"tank_l": 400, "battery_kwh": 3.0, "equipment": equipment}})["id"]
    person = api.post("/v1/people", {"name": "Nimbo", "email": "nimbo@shop.test", "role": "technician",
                                     "skills": ["wash", "decon", "clay", "polish"]})["id"]
    to = {"van": van, "start_at": at.isoformat(), "technicians": [person]}
    api.ask("PUT", f"/v1/jobs/{job}/assignment", to)
    plan = api.post(f"/v1/jobs/{job}/plan", {})
    return {"app": app, "customer": customer, "vehicle": vehicle, "booking": booking, "job": job, "van": van,
            "person": person, "plan": plan}
