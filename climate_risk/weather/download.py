"""One file from the network: whole, or the reason why not; bounded in time and in size."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypeVar

from climate_risk.weather_options import LONGEST_WAIT_S

FILE_WAIT_S = 30.0
"""Longest wait for one file, however slowly it drips."""
MAX_BYTES = 500_000_000
PAUSE_S = 1.0
TOO_MANY = 429
Result = TypeVar("Result")


class FetchError(Exception):
    """A file could not be had; its text is the reason, in a few words."""

    of_all = False
    """True where the next file will fare no better: there is no way to the server."""


class NoWay(FetchError):
    """No connection, or no answer in time."""

    of_all = True


class Absent(FetchError):
    """The server is well and has no such file (404)."""


@dataclass
class Patience:
    """How long a run still waits for the network."""

    total_s: float = LONGEST_WAIT_S
    file_s: float = FILE_WAIT_S
    began: float = field(default_factory=time.monotonic)

    def left_s(self) -> float:
        """Seconds for the next file."""
        return min(self.file_s, self.began + self.total_s - time.monotonic())


def download(url: str, patience: Patience) -> bytes:
    """Fetch a file; a server that is busy is asked once more.

    Parameters
    ----------
    url : str
    patience : Patience
        Bounds the wait, also for a server that goes on sending a byte now and then.

    Returns
    -------
    bytes
        The whole body.

    Raises
    ------
    FetchError
        With its reason; `Absent` for a file that is not there, `NoWay` for no connection.
    """
    status, body = _asked(url, patience)
    if (status >= 500 or status == TOO_MANY) and patience.left_s() > PAUSE_S:
        time.sleep(PAUSE_S)
        status, body = _asked(url, patience)
    if status == 404:
        raise Absent("no such file (404)")
    if status != 200:
        raise FetchError(f"the server answers with status {status}")
    return body


def _asked(url: str, patience: Patience) -> tuple[int, bytes]:
    wait = patience.left_s()
    if wait <= 0.0:
        raise NoWay(f"the longest wait of {patience.total_s:g} s is over")
    return _within(wait, lambda: _get(url, wait))


def _get(url: str, wait: float) -> tuple[int, bytes]:
    import requests

    try:
        with requests.get(url, timeout=wait, stream=True) as answer:
            if answer.status_code != 200:
                return answer.status_code, b""
            length = answer.headers.get("Content-Length", "")
            if length.isdigit() and int(length) > MAX_BYTES:
                raise FetchError(f"the file has {int(length) / 1e6:.0f} MB, too much to be right")
            # Unpacked by the reader, not here: the service's files are gzip themselves.
            body = answer.raw.read(MAX_BYTES, decode_content=False)
            if length.isdigit() and len(body) < int(length):
                raise FetchError("the file was cut off on its way")
            return 200, body
    except FetchError:
        raise
    except requests.Timeout as error:
        raise NoWay(f"no answer within {wait:.0f} s") from error
    except requests.ConnectionError as error:
        raise NoWay("no connection to the server") from error
    except requests.RequestException as error:
        raise FetchError(f"the answer cannot be read ({type(error).__name__})") from error
    except Exception as error:  # urllib3 raises its own kinds while a body is read
        raise FetchError(f"the file was cut off on its way ({type(error).__name__})") from error


def _within(wait: float, work: Callable[[], Result]) -> Result:
    """Result of the work, given up after the wait; its thread does not hold up the exit."""
    result: list[Result] = []
    failed: list[BaseException] = []

    def run() -> None:
        try:
            result.append(work())
        except BaseException as error:
            failed.append(error)

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    thread.join(wait)
    if failed:
        raise failed[0]
    if not result:
        raise NoWay(f"no whole answer within {wait:.0f} s")
    return result[0]
