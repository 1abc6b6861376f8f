"""An HTTP log: one POST a contact, the same bytes and the same key on every try.

``Idempotency-Key`` follows the IETF's draft of that name: a quoted string. 409 tells that the other side has it.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from email.utils import parsedate_to_datetime
from urllib.parse import quote

import msgspec

from watchkeeper.adif import write_record
from watchkeeper.adif.contact import to_record
from watchkeeper.api import Contact, Sending, SendResult

from .settings import Body, HttpLog

_TYPES: Mapping[str, str] = {"adif": "text/plain; charset=us-ascii", "json": "application/json"}
#: of an answer, as much is read as a reason needs
_REASON_BYTES = 300
#: 4xx answers that say "not now", not "never": timeout, too early, too many requests
_LATER = frozenset({408, 425, 429})


def encode(contact: Contact, body: Body) -> bytes:
    """The contact as an ADIF record, or as JSON with the fields that the log keeps."""
    return write_record(to_record(contact)) if body == "adif" else msgspec.json.encode(contact)


class HttpDestination:
    """Posts contacts to one URL."""

    def __init__(self, log: HttpLog) -> None:
        self.name = log.name
        self._log = log

    def encode(self, contact: Contact) -> bytes:
        """The body of the POST."""
        return encode(contact, self._log.body)

    async def send(self, payload: bytes, key: str) -> Sending:
        """One POST. Redirects are not followed: a captive portal would swallow the log."""
        import aiohttp  # 150 ms, for those alone who forward by HTTP

        log = self._log
        try:
            headers = self._headers(key)
        except (OSError, ValueError) as error:
            return Sending(result=SendResult.TRY_LATER, why=f"the secret cannot be read: {error}")
        limit = aiohttp.ClientTimeout(total=log.timeout_s)
        try:
            async with (
                aiohttp.ClientSession(timeout=limit, cookie_jar=aiohttp.DummyCookieJar()) as session,
                session.post(log.url, data=payload, headers=headers, allow_redirects=False) as answer,
            ):
                reason = b"" if answer.ok else await answer.content.read(_REASON_BYTES)
                return outcome(answer.status, answer.headers, reason.decode("utf-8", "replace"))
        except TimeoutError:
            return Sending(result=SendResult.TRY_LATER, why=f"no answer in {log.timeout_s:g} s")
        except aiohttp.ServerDisconnectedError:
            return Sending(result=SendResult.TRY_LATER, why="closed the connection without an answer")
        except (aiohttp.ClientError, OSError, ValueError) as error:
            return Sending(result=SendResult.TRY_LATER, why=str(error) or type(error).__name__)

    def _headers(self, key: str) -> dict[str, str]:
        headers = {
            **self._log.headers,
            "Content-Type": _TYPES[self._log.body],
            "Idempotency-Key": f'"{quote(key, safe=" !#$&()*+,/:;<=>?@[]^`{|}~")}"',
        }
        secret = self._log.secret()
        if secret is not None:
            headers[self._log.secret_header] = f"{self._log.secret_scheme} {secret}".strip()
        return headers


def outcome(status: int, headers: Mapping[str, str], text: str) -> Sending:
    """What an answer means for the outbox."""
    why = f"answered {status}" + (f": {' '.join(text.split())}" if text.strip() else "")
    if 200 <= status < 300:
        return Sending(result=SendResult.DELIVERED)
    if status == 409:
        return Sending(result=SendResult.ALREADY_THERE)
    if 300 <= status < 400:
        to = headers.get("Location", "nowhere")
        return Sending(result=SendResult.TRY_LATER, why=f"answered {status}, a redirect to {to}, which is not followed")
    if status in _LATER or status >= 500:
        return Sending(result=SendResult.TRY_LATER, why=why, retry_after_s=_retry_after_s(headers))
    return Sending(result=SendResult.REFUSED, why=why)


def _retry_after_s(headers: Mapping[str, str]) -> float | None:
    """``Retry-After`` in seconds; a date counts from the answer's own ``Date``, so no clock need agree with ours."""
    text = headers.get("Retry-After", "").strip()
    if text.isdigit() and len(text) < 10:
        return float(text)
    until, now = _date(text), _date(headers.get("Date", ""))
    return max(0.0, (until - now).total_seconds()) if until is not None and now is not None else None


def _date(text: str) -> datetime | None:
    try:
        found = parsedate_to_datetime(text)
    except ValueError:
        return None
    return found if found.tzinfo is not None else None
