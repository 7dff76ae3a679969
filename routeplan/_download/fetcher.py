"""Files from HTTP servers into the cache: whole or not at all, resumed after a cut, polite."""

from __future__ import annotations

import concurrent.futures
import hashlib
import random
import threading
import time
import urllib.parse
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Self

import routeplan
from routeplan._download import cache as _download_cache
from routeplan._download.cache import Part, cache_dir, cache_path, locked
from routeplan._download.checks import PAGE, content_fault, one_line
from routeplan._download.http import Job, Passing
from routeplan._download.transfer import FetchStats, Progress, Terms, Transfer
from routeplan.errors import DownloadError, InputError

if TYPE_CHECKING:
    import requests

__all__ = ["FetchStats", "Fetcher", "Job", "Progress", "cache_dir"]

_BACKOFF_CAP_S = 60.0
_CONTENT_TRIES = 3  # bytes that are wrong may come right; a server that sends a page has said
_PAGE_TRIES = 2  # its say
_MAX_REDIRECTS = 5


class Fetcher:
    """Downloads into a cache directory.

    Parameters
    ----------
    cache_dir : path, optional
        Where files are kept; the user's cache directory by default.
    offline : bool
        Only what the cache holds already, of any age.
    max_parallel : int
        Requests under way at once, over all threads that share the fetcher.
    pause_s : float
        Least time between the starts of two requests [s].
    retries : int
        Attempts in a row without a new byte, after the first, before giving up.
    backoff_s : float
        Wait before the first retry [s]; it doubles each time, up to 60 s, and is shortened at
        random by up to half so that many clients do not come back together.
    retry_after_cap_s : float
        The longest wait that a server may ask for [s].
    timeout_s : (float, float)
        To connect, and between two pieces of an answer [s].
    slowest_bytes_s : float
        A transfer slower than this on average, once the second time-out has gone by, counts as
        cut [bytes/s].
    deadline_s : float
        For one file with all its retries and waits [s].
    max_bytes : int
        The largest file that is taken [bytes].
    sleep, jitter
        Stand-ins for tests: the wait, and a random number in [0, 1).
    """

    def __init__(
        self,
        cache_dir: str | Path | None = None,
        *,
        offline: bool = False,
        user_agent: str = f"routeplan/{routeplan.__version__}",
        max_parallel: int = 2,
        pause_s: float = 0.2,
        retries: int = 5,
        backoff_s: float = 1.0,
        retry_after_cap_s: float = 120.0,
        timeout_s: tuple[float, float] = (10.0, 60.0),
        slowest_bytes_s: float = 256.0,
        deadline_s: float = 900.0,
        max_bytes: int = 512 * 1024 * 1024,
        sleep: Callable[[float], object] | None = None,
        jitter: Callable[[], float] = random.random,
    ) -> None:
        self.root = _download_cache.cache_dir() if cache_dir is None else Path(cache_dir).absolute()
        self.offline = offline
        self._terms = Terms(user_agent, timeout_s, slowest_bytes_s)
        self.stats = self._terms.stats
        self._max_parallel = max_parallel
        self._pause_s = pause_s
        self._retries = retries
        self._backoff_s = backoff_s
        self._retry_after_cap_s = retry_after_cap_s
        self._deadline_s = deadline_s
        self._max_bytes = max_bytes
        self._sleep = sleep or self._terms.stop.wait  # a stop ends the wait
        self._jitter = jitter
        self._session: requests.Session | None = None
        self._places = threading.BoundedSemaphore(max_parallel)
        self._guard = threading.Lock()
        self._next_start = 0.0

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the connections."""
        with self._guard:
            if self._session is not None:
                self._session.close()
                self._session = None

    def get(
        self,
        url: str,
        *,
        name: str,
        params: Mapping[str, str] | None = None,
        data: str | Mapping[str, str] | None = None,
        headers: Mapping[str, str] | None = None,
        byte_range: tuple[int, int] | None = None,
        expect: str = "any",
        sha256: str = "",
        max_age_s: float | None = None,
        max_bytes: int | None = None,
        check: Callable[[Path], str] | None = None,
        progress: Progress | None = None,
    ) -> Path:
        """Return the cached file, fetched first if it is not there.

        Parameters
        ----------
        url : str
            Of http or https.
        name : str
            The file's name in the cache, with ``/`` for directories. It must differ for
            requests that differ: `Job.key` is a hash to put in.
        params, headers
            Of the request.
        data : str or mapping, optional
            Makes it a POST with this body.
        byte_range : (int, int), optional
            First and last byte wanted, both included.
        expect : {"grib", "json", "zip", "text", "any"}
            What the content must be. With "any", only an HTML page is refused.
        sha256 : str
            The checksum in hexadecimal, where it is known.
        max_age_s : float, optional
            An older cached file is fetched again [s]; None: never.
        max_bytes : int, optional
            Instead of the fetcher's [bytes].
        check : callable, optional
            Gets the path of the finished file, before it takes its place; returns what is wrong
            with it, or "".
        progress : callable, optional
            Gets the bytes so far and in all (None where unknown).

        Raises
        ------
        InputError
            If the name or address cannot be used.
        DownloadError
            One line that says what failed; `status` is the last HTTP status.
        """
        return self.fetch(
            Job(
                url=url,
                name=name,
                params=params,
                data=data,
                headers=dict(headers or {}),
                byte_range=byte_range,
                expect=expect,
                sha256=sha256.lower(),
                max_age_s=max_age_s,
                max_bytes=max_bytes,
                check=check,
            ),
            progress,
        )

    def fetch(self, job: Job, progress: Progress | None = None) -> Path:
        """Do what `get` does, for a `Job`."""
        target = cache_path(self.root, job.name)
        _check_address(job.url)
        try:
            self._provide(target, job, progress)
        except DownloadError:
            raise
        except OSError as error:
            msg = f"cannot write the cache {self.root}: {error.strerror or error}"
            raise DownloadError(msg, url=job.url) from error
        return target

    def _provide(self, target: Path, job: Job, progress: Progress | None) -> None:
        if self._in_cache(target, job):
            return
        if self.offline:
            msg = f"{job.where}: not in the cache, and downloads are off (offline)"
            raise DownloadError(msg, url=job.url)
        target.parent.mkdir(parents=True, exist_ok=True)
        with locked(target, wait_s=self._deadline_s):
            if not self._in_cache(target, job):  # another process may have fetched it
                self._download(job, target, progress)

    def fetch_all(self, jobs: Sequence[Job], progress: Progress | None = None) -> list[Path]:
        """Fetch several files, `max_parallel` at a time; the first failure stops the rest.

        `progress` gets the number of files that are there, and of all.
        """
        done = 0
        try:
            with concurrent.futures.ThreadPoolExecutor(self._max_parallel) as pool:
                waiting = [pool.submit(self.fetch, job) for job in jobs]
                try:
                    for ready in concurrent.futures.as_completed(waiting):
                        ready.result()
                        done += 1
                        if progress is not None:
                            progress(done, len(jobs))
                except BaseException:
                    self._terms.stop.set()
                    pool.shutdown(wait=True, cancel_futures=True)
                    raise
        finally:
            self._terms.stop.clear()  # for what is asked next
        return [ready.result() for ready in waiting]

    def _in_cache(self, target: Path, job: Job) -> bool:
        try:
            age_s = time.time() - target.stat().st_mtime
        except FileNotFoundError:
            return False
        stale = job.max_age_s is not None and not 0 <= age_s <= job.max_age_s
        if (stale and not self.offline) or _fault(target, job):
            return False
        self.stats.add("cache_hits")
        return True

    def _download(self, job: Job, target: Path, progress: Progress | None) -> None:
        part = Part(target, job.key)
        end = time.monotonic() + self._deadline_s
        misses = wrong = 0
        while True:
            before = part.load()
            try:
                self._attempt(job, part, before, end, progress)
                return
            except Passing as failure:
                misses = 0 if part.load() > before else misses + 1
                wrong += failure.content
                tries = _PAGE_TRIES if failure.reason.startswith(PAGE) else _CONTENT_TRIES
                if misses > self._retries or wrong >= tries:
                    raise self._giving_up(job, failure) from failure
                self._wait(job, failure, misses, end)

    def _attempt(
        self, job: Job, part: Part, kept: int, end: float, progress: Progress | None
    ) -> None:
        if not kept or kept != part.total:  # else only the last step is missing
            with self._places:
                self._pace()
                self.stats.add("requests")
                limit = self._max_bytes if job.max_bytes is None else job.max_bytes
                Transfer(job, part, kept, end, limit, self._terms).run(
                    self._connections(), progress
                )
        fault = _fault(part.data, job)
        if fault:
            part.drop()
            raise Passing(fault, content=True)
        part.finish()

    def _connections(self) -> requests.Session:
        import http.cookiejar

        import requests

        with self._guard:
            if self._session is None:
                session = requests.Session()
                session.max_redirects = _MAX_REDIRECTS
                session.cookies.set_policy(http.cookiejar.DefaultCookiePolicy(allowed_domains=[]))
                adapter = requests.adapters.HTTPAdapter(pool_maxsize=self._max_parallel)
                session.mount("https://", adapter)
                session.mount("http://", adapter)
                self._session = session
            return self._session

    def _pace(self) -> None:
        with self._guard:
            now = time.monotonic()
            start = max(now, self._next_start)
            self._next_start = start + self._pause_s
        if start > now:
            self._sleep(start - now)

    def _wait(self, job: Job, failure: Passing, misses: int, end: float) -> None:
        wait = min(self._backoff_s * 2.0 ** max(0, misses - 1), _BACKOFF_CAP_S)
        wait *= 1.0 - 0.5 * self._jitter()
        if failure.retry_after_s is not None:
            wait = max(wait, min(failure.retry_after_s, self._retry_after_cap_s))
        if self._terms.stop.is_set() or time.monotonic() + wait > end:
            raise self._giving_up(job, failure) from failure
        self.stats.add("retries")
        self._sleep(wait)
        if self._terms.stop.is_set():
            raise self._giving_up(job, failure) from failure

    def _giving_up(self, job: Job, failure: Passing) -> DownloadError:
        msg = f"{job.where}: {failure.reason}"
        return DownloadError(msg, url=job.url, status=failure.status)


def _check_address(url: str) -> None:
    parts = urllib.parse.urlsplit(url)
    if parts.scheme not in ("http", "https") or not parts.hostname:
        msg = f"{one_line(url)}: not an address of http or https"
        raise InputError(msg, field="url", value=url)


def _fault(path: Path, job: Job) -> str:
    fault = content_fault(path, job.expect)
    if not fault and job.sha256:
        with path.open("rb") as handle:
            found = hashlib.file_digest(handle, "sha256").hexdigest()
        fault = "" if found == job.sha256 else f"checksum {found[:12]}… is not {job.sha256[:12]}…"
    if not fault and job.check is not None:
        fault = job.check(path)
    return fault
