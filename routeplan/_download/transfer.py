"""One request and its answer, read into the unfinished file."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from routeplan._download.cache import Part
from routeplan._download.checks import one_line
from routeplan._download.http import Job, Passing, ReadPlan, read_plan, request_headers
from routeplan.errors import DownloadError

if TYPE_CHECKING:
    import requests

__all__ = ["FetchStats", "Progress", "Terms", "Transfer"]

Progress = Callable[[int, int | None], None]

_CHUNK = 64 * 1024
_NETWORK_WORDS = (  # by what the libraries below say
    ("IncompleteRead", "connection cut before all bytes came"),
    ("RemoteDisconnected", "the server hung up without an answer"),
    ("ConnectionResetError", "connection reset by the server"),
    ("Connection refused", "connection refused: nothing answers there"),
    ("NameResolutionError", "host name not found; is there a network?"),
    ("getaddrinfo", "host name not found; is there a network?"),
    ("unreachable", "network not reachable"),
)


@dataclass(slots=True)
class FetchStats:
    """What a fetcher has done so far.

    `bytes_received` counts every byte of a body that came in, `bytes_kept` those on disk from
    before that a resumed request did not have to fetch again.
    """

    requests: int = 0
    retries: int = 0
    cache_hits: int = 0
    bytes_received: int = 0
    bytes_kept: int = 0
    _guard: threading.Lock = field(default_factory=threading.Lock, repr=False, compare=False)

    def add(self, what: str, amount: int = 1) -> None:
        """Count; threads may do so at once."""
        with self._guard:
            setattr(self, what, getattr(self, what) + amount)


@dataclass(frozen=True, slots=True)
class Terms:
    """What all requests of a fetcher share; see there. `stop` ends those under way."""

    agent: str
    timeout_s: tuple[float, float]
    slowest_bytes_s: float
    stats: FetchStats = field(default_factory=FetchStats)
    stop: threading.Event = field(default_factory=threading.Event)


@dataclass(frozen=True, slots=True)
class Transfer:
    """A request under way; `end` is its deadline on the monotonic clock [s]."""

    job: Job
    part: Part
    kept: int
    end: float
    limit: int
    terms: Terms

    def run(self, session: requests.Session, progress: Progress | None) -> None:
        """Fetch what is missing of the part.

        Raises
        ------
        Passing
            After a failure that another attempt may not meet; what came is kept.
        DownloadError
            After any other.
        """
        import requests
        import urllib3

        try:
            with self._send(session) as response:
                self._check_redirects(response)
                plan = read_plan(response, self.job, self.part, self.kept)
                self.terms.stats.add("bytes_kept", plan.kept)
                self._read(response, plan, progress)
        except (requests.ConnectionError, requests.Timeout) as error:
            if isinstance(error, requests.exceptions.SSLError) and "certificate" in str(error):
                msg = f"no secure connection ({one_line(str(error))})"
                raise self._failure(msg) from error
            raise Passing(_network_words(error)) from error
        except requests.RequestException as error:
            raise self._failure(one_line(str(error))) from error
        except urllib3.exceptions.HTTPError as error:
            raise Passing(_network_words(error)) from error

    def _failure(self, words: str) -> DownloadError:
        return DownloadError(f"{self.job.where}: {words}", url=self.job.url)

    def _send(self, session: requests.Session) -> requests.Response:
        left = max(0.01, self.end - time.monotonic())
        connect, read = (min(t, left) for t in self.terms.timeout_s)
        return session.request(
            "GET" if self.job.data is None else "POST",
            self.job.url,
            params=self.job.params,
            data=self.job.data,
            headers=request_headers(self.job, self.part, self.kept, self.terms.agent),
            timeout=(connect, read),
            stream=True,
        )

    def _check_redirects(self, response: requests.Response) -> None:
        asked, came = self.job.url.lower(), response.url.lower()
        if asked.startswith("https:") and not came.startswith("https:"):
            msg = "the server sends to an address without a secure connection"
            raise self._failure(msg)

    def _read(self, response: requests.Response, plan: ReadPlan, progress: Progress | None) -> None:
        if plan.kept + plan.skip + (plan.want or 0) > self.limit:
            self._too_large()
        got = self._copy(response, plan, progress)
        if plan.want is not None and got < plan.want:
            msg = f"connection cut: {got} of {plan.want} bytes came"
            raise Passing(msg)
        if not plan.framed and self.job.expect in ("any", "text") and not self.job.sha256:
            self.part.drop()
            msg = "sent without a length: whether it is whole cannot be told"
            raise self._failure(msg)

    def _copy(self, response: requests.Response, plan: ReadPlan, progress: Progress | None) -> int:
        total = None if plan.want is None else plan.kept + plan.want
        came = got = 0
        start = time.monotonic()
        with self.part.data.open("ab") as handle:
            for chunk in _body_chunks(response):
                self.terms.stats.add("bytes_received", len(chunk))
                piece = chunk[max(0, plan.skip - came) :]
                came += len(chunk)
                if plan.want is not None:
                    piece = piece[: plan.want - got]
                if plan.kept + got + len(piece) > self.limit:
                    self._too_large()
                handle.write(piece)
                handle.flush()  # to the system, where it outlives this process
                got += len(piece)
                if progress is not None:
                    progress(plan.kept + got, total)
                if plan.want is not None and got >= plan.want:
                    break
                self._check_pace(came, start)
        return got

    def _check_pace(self, came: int, start: float) -> None:
        now = time.monotonic()
        spent = now - start
        if self.terms.stop.is_set():
            msg = "stopped"
            raise Passing(msg)
        if now > self.end:
            msg = f"not finished in the time allowed ({came} bytes came in {spent:.1f} s)"
            raise Passing(msg)
        if spent > self.terms.timeout_s[1] and came < self.terms.slowest_bytes_s * spent:
            msg = f"the server drips: {came} bytes came in {spent:.1f} s"
            raise Passing(msg)

    def _too_large(self) -> None:
        self.part.drop()
        msg = f"larger than the {self.limit} bytes allowed"
        raise self._failure(msg)


def _body_chunks(response: requests.Response) -> Iterator[bytes]:
    """Yield what each read of the socket gave: a slow server never holds us past a deadline."""
    raw: Any = response.raw
    while chunk := raw.read1(_CHUNK, decode_content=True):
        yield chunk


def _network_words(error: Exception) -> str:
    import requests
    import urllib3

    if isinstance(error, requests.Timeout | urllib3.exceptions.TimeoutError):
        return "timed out"
    text = str(error)
    for mark, words in _NETWORK_WORDS:
        if mark in text:
            return words
    return f"connection failed ({one_line(text, 120)})"
