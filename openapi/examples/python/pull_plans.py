"""Pulls the plans of the jobs that came of this app's bookings, and asks again only for what has changed.

  pip install openapi-python-client==0.29.1
  openapi-python-client generate --path openapi.json --meta none --output-path lustrum_client
  LUSTRUM_URL=… CLIENT_ID=… CLIENT_SECRET=… python pull_plans.py

The app needs the scopes `offers:write` (its bookings) and `plans:read`.
"""

import os
from collections.abc import Iterator
from dataclasses import dataclass
from http import HTTPStatus
from uuid import UUID

from lustrum_client import AuthenticatedClient, Client
from lustrum_client.api.access import create_app_token
from lustrum_client.api.bookings import list_bookings
from lustrum_client.api.plans import get_plan
from lustrum_client.models import AppToken, PageBooking, Plan, TokenRequest
from lustrum_client.types import UNSET


@dataclass(frozen=True)
class Held:
    """A plan as it was last answered, with the tag that names it."""

    plan: Plan
    tag: str


def log_in(url: str, id: str, secret: str) -> AuthenticatedClient:
    form = TokenRequest(grant_type="client_credentials", client_id=id, client_secret=secret)
    token = create_app_token.sync(client=Client(base_url=url), body=form)
    if not isinstance(token, AppToken):
        raise SystemExit(f"no token: {token}")
    # It lasts `expires_in` seconds; then log in again.
    return AuthenticatedClient(base_url=url, token=token.access_token)


def booked_jobs(api: AuthenticatedClient) -> Iterator[UUID]:
    """The jobs that the office made of this app's bookings, page by page."""
    cursor: str | None = None
    while True:
        page = list_bookings.sync(client=api, cursor=cursor or UNSET)
        if not isinstance(page, PageBooking):
            raise SystemExit(f"no bookings: {page}")
        yield from (booking.job for booking in page.items if booking.job)
        cursor = page.next_cursor or None
        if cursor is None:
            return


def pull(api: AuthenticatedClient, job: UUID, held: Held | None = None) -> Held:
    """The plan in force; what is held already if it is still that."""
    answer = get_plan.sync_detailed(job, client=api, if_none_match=held.tag if held else UNSET)
    if answer.status_code == HTTPStatus.NOT_MODIFIED and held:
        return held
    if not isinstance(answer.parsed, Plan):
        raise SystemExit(f"no plan of {job}: {answer.content!r}")
    return Held(answer.parsed, answer.headers["etag"])


def main() -> None:
    api = log_in(os.environ["LUSTRUM_URL"], os.environ["CLIENT_ID"], os.environ["CLIENT_SECRET"])
    for job in booked_jobs(api):
        first = pull(api, job)
        plan = first.plan
        print(f"{job} plan {plan.version}: {len(plan.lines)} steps, {round(plan.totals.elapsed_minutes)} min")
        again = pull(api, job, first)
        print(f"{job} {'unchanged' if again is first else 'has another plan'}")


main()
