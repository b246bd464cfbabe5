"""HTTP with the habits of this client: time limits, retries, the key, problems turned into errors."""

from __future__ import annotations

import json
import time
import warnings
from collections.abc import Mapping
from dataclasses import dataclass
from email.utils import parsedate_to_datetime
from ipaddress import ip_address
from typing import Any, Unpack
from urllib.parse import urlsplit

import requests
from requests.adapters import BaseAdapter
from urllib3.exceptions import ConnectTimeoutError, NewConnectionError, ReadTimeoutError

from ._answer import Answer
from ._errors import BadAnswer, NotReachable, PlainHttpWarning, Refused, refusal
from ._retries import TIMEOUT, Budget, PatientAdapter, content_within, log
from ._version import VERSION
from ._wire import parse_json
from ._writes import CallOptions, Timeout, Write

CAUTION = "over http everybody on the way can read the key; https keeps it secret"

_IN_PROGRESS_TRIES = 4
_IN_PROGRESS_WAIT = 1.0


@dataclass(frozen=True)
class Call:
    """One request, ready to go."""

    method: str
    path: str
    query: Mapping[str, Any]
    headers: Mapping[str, str]
    body: Mapping[str, Any] | None = None
    text: bool = False
    """The answer is a page or a picture, not JSON."""
    file: str | None = None
    media_type: str = "application/json"
    retries: int | None = None
    timeout: Timeout | None = None


class Connection:
    """Sends calls to one service under one key.

    Parameters
    ----------
    url : str
        Where the service is, without /v1 [-].
    key : str
        API key [-].
    timeout : float or (float, float)
        For a whole call; or to connect, and between two bytes of the answer [s].
    retries : int or None
        How often a call is sent again at most; None = four times [-].
    session : requests.Session or None
        To use instead of an own one; its adapters are left alone unless `transport` is given [-].
    transport : requests adapter or None
        Carries the requests instead of the network: an application in this process, for tests [-].
    """

    def __init__(
        self,
        url: str,
        key: str,
        *,
        timeout: Timeout = TIMEOUT,
        retries: int | None = None,
        session: requests.Session | None = None,
        transport: BaseAdapter | None = None,
    ) -> None:
        self.url = checked_url(url)
        self.timeout = timeout
        self.retries = retries
        Budget.of(timeout, retries)
        self._auth = _BearerKey(key)
        # a proxy of the environment leads out of this machine, never back to it
        host = str(urlsplit(self.url).hostname)
        self._proxies = {"no_proxy": host} if is_loopback(host) else None
        self._session = session or _own_session()
        if transport is not None:
            self._session.mount(self.url, transport)
        elif key_is_readable(self.url):
            warnings.warn(f"{self.url}: {CAUTION}", PlainHttpWarning, stacklevel=3)

    def close(self) -> None:
        """Close the connections."""
        self._session.close()

    def get(
        self, path: str, query: Mapping[str, Any], *, accept: str, **patience: Unpack[CallOptions]
    ) -> Answer:
        """Ask for something; asked again when the network or the service fails for a moment."""
        as_text = accept != "application/json"
        call = Call("GET", path, query, {"Accept": accept}, text=as_text, **patience)
        return self._send(call, self._budget(call))

    def send(self, write: Write) -> Answer:
        """Send a change; sent again under the same idempotency key when the network or the service fails."""
        headers = {"Accept": "application/json", "Idempotency-Key": write.idempotency_key}
        if write.technician:
            headers["Technician"] = write.technician
        if write.if_match:
            headers["If-Match"] = write.if_match
        call = Call(
            write.method,
            write.path,
            write.query,
            headers,
            write.body,
            file=write.text,
            media_type=write.media_type,
            retries=write.retries,
            timeout=write.timeout,
        )
        return self._send_when_free(call)

    def _budget(self, call: Call) -> Budget:
        timeout = self.timeout if call.timeout is None else call.timeout
        return Budget.of(timeout, self.retries if call.retries is None else call.retries)

    def _send_when_free(self, call: Call) -> Answer:
        budget = self._budget(call)
        for tries_left in reversed(range(_IN_PROGRESS_TRIES)):
            try:
                return self._send(call, budget)
            except Refused as error:
                # the first sending timed out here and is still at work there: its answer is worth waiting for
                wait = min(error.retry_after or _IN_PROGRESS_WAIT, 5.0)
                if error.code != "request-in-progress" or not tries_left or not budget.has(wait):
                    raise
                time.sleep(wait)
        raise AssertionError("not reached")  # pragma: no cover

    def _send(self, call: Call, budget: Budget) -> Answer:
        headers = dict(call.headers)
        content: bytes | None = None
        if call.body is not None:
            content = json.dumps(call.body, ensure_ascii=False, allow_nan=False).encode(
                errors="backslashreplace"  # half of a surrogate pair becomes JSON's own escape of it
            )
            headers["Content-Type"] = "application/json"
        elif call.file is not None:
            content = call.file.encode()
            headers["Content-Type"] = call.media_type
        began = time.monotonic()
        try:
            with budget.running():
                response = self._session.request(
                    call.method,
                    self.url + call.path,
                    params={
                        name: _query_text(value) for name, value in call.query.items() if value is not None
                    },
                    data=content,
                    headers=headers,
                    auth=self._auth,
                    timeout=budget.limits(),
                    allow_redirects=False,
                    proxies=self._proxies,
                    stream=True,
                )
                answered = content_within(response, budget)
        except requests.RequestException as error:
            took = time.monotonic() - began
            log.warning("%s %s: no answer after %.2f s", call.method, call.path, took)
            raise NotReachable(self._why(error, budget)) from error
        took = time.monotonic() - began
        request_id = response.headers.get("Request-Id", "-")
        log.debug("%s %s: %d in %.2f s, %s", call.method, call.path, response.status_code, took, request_id)
        return _read(response, answered, as_text=call.text)

    def _why(self, error: requests.RequestException, budget: Budget) -> str:
        reason = _reason(error)
        if isinstance(error, requests.Timeout) or _timed_out(reason):
            return (
                f"{self.url} did not answer in time ({budget.connect:g} s to connect, "
                f"{budget.read:g} s to answer); it is busy, down, or the network is slow"
            )
        return f"{self.url} cannot be reached: {_cause(reason)}"


def _reason(error: requests.RequestException) -> BaseException:
    """Return what happened last, without the wrapping of the libraries in between."""
    inner = error.args[0] if error.args else error
    reason = getattr(inner, "reason", None)
    return reason if isinstance(reason, BaseException) else error


def _timed_out(reason: BaseException) -> bool:
    # a connection that is refused is a ConnectTimeoutError to urllib3 too
    late = isinstance(reason, ReadTimeoutError | ConnectTimeoutError)
    return late and not isinstance(reason, NewConnectionError)


def checked_url(url: str) -> str:
    """Return the address without a slash or /v1 at its end.

    Raises
    ------
    ValueError
        When it is no http or https address.

    >>> checked_url("http://127.0.0.1:8080/v1/")
    'http://127.0.0.1:8080'
    """
    parts = urlsplit(url.strip())
    if parts.scheme not in {"http", "https"} or not parts.hostname or parts.query or parts.fragment:
        raise ValueError(f"url: an address such as https://shimstock.example was expected, not {url!r}")
    if parts.username or parts.password:
        raise ValueError("url: no user name or password belongs into the address; the key is given by itself")
    return url.strip().rstrip("/").removesuffix("/v1").rstrip("/")


def is_loopback(host: str) -> bool:
    """Tell whether a host is this machine (RFC 1122 3.2.1.3, RFC 4291 2.5.3, RFC 6761 6.3).

    >>> is_loopback("localhost"), is_loopback("127.0.0.2"), is_loopback("::1"), is_loopback("192.0.2.1")
    (True, True, True, False)
    """
    if host == "localhost" or host.endswith(".localhost"):
        return True
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return False


def key_is_readable(url: str) -> bool:
    """Tell whether the key would travel to another machine without encryption."""
    parts = urlsplit(url)
    return parts.scheme == "http" and not is_loopback(str(parts.hostname))


def _own_session() -> requests.Session:
    session = requests.Session()
    session.headers["User-Agent"] = f"shimstock-client/{VERSION}"
    for scheme in ("https://", "http://"):
        session.mount(scheme, PatientAdapter())
    return session


class _BearerKey(requests.auth.AuthBase):
    """Puts the key on a request; as an auth object, so that no netrc file can put another in its place."""

    def __init__(self, key: str) -> None:
        if not key or not key.isascii() or not key.isprintable() or " " in key:
            raise ValueError("key: an API key is one word of printable ASCII characters")
        self._key = key

    def __call__(self, request: requests.PreparedRequest) -> requests.PreparedRequest:
        request.headers["Authorization"] = f"Bearer {self._key}"
        return request

    def __repr__(self) -> str:
        return "<key>"


def _query_text(value: Any) -> bytes:
    if isinstance(value, bool):
        return b"true" if value else b"false"
    return str(value).encode(errors="surrogatepass")  # the service refuses half of a pair in words


def _cause(error: BaseException) -> str:
    text = str(error)
    for said, meant in (
        ("Name or service not known", "no such host name"),
        ("nodename nor servname", "no such host name"),
        ("Temporary failure in name resolution", "the host name cannot be looked up just now"),
        ("Failed to resolve", "no such host name"),
        ("Connection refused", "nothing listens there"),
        ("CERTIFICATE_VERIFY_FAILED", "its certificate cannot be trusted"),
        ("Connection reset", "the connection was cut"),
        ("Connection aborted", "the connection was cut"),
        ("Connection broken", "the connection was cut"),
        ("Remote end closed", "the connection was cut"),
        ("Network is unreachable", "there is no network"),
    ):
        if said in text:
            return meant
    return text


def _read(response: requests.Response, content: bytes, *, as_text: bool) -> Answer:
    request_id = response.headers.get("Request-Id")
    if 300 <= response.status_code < 400 and response.status_code != 304:
        raise BadAnswer(
            f"redirected to {response.headers.get('Location', 'another address')}; use that address, "
            "the key is not sent on by itself",
            status=response.status_code,
            request_id=request_id,
        )
    if response.status_code >= 400:
        raise refusal(
            response.status_code,
            _problem(content),
            request_id=request_id,
            retry_after=_retry_after(response.headers.get("Retry-After")),
        )
    if response.status_code == 204 or not content:
        return Answer(response.status_code, response.headers, None)
    if as_text and response.headers.get("Content-Type", "").startswith(
        ("application/zip", "application/pdf")
    ):
        return Answer(response.status_code, response.headers, content)
    if as_text:
        text = content.decode(response.encoding or "utf-8", errors="replace")
        return Answer(response.status_code, response.headers, text)
    try:
        return Answer(response.status_code, response.headers, parse_json(content))
    except ValueError as error:
        raise BadAnswer(
            f"the answer is no JSON ({error}); is this address the service?",
            status=response.status_code,
            request_id=request_id,
        ) from error


def _problem(content: bytes) -> Mapping[str, Any]:
    try:
        problem = parse_json(content)
    except ValueError:
        return {}
    return problem if isinstance(problem, dict) else {}


def _retry_after(text: str | None) -> float | None:
    if not text:
        return None
    if text.strip().isdecimal():
        return float(text)
    try:
        return max(0.0, parsedate_to_datetime(text).timestamp() - time.time())
    except ValueError:
        return None
