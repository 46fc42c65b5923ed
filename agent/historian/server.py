"""One request to the historian, and what its answer means for the lines that were sent.

influxdb-client is loaded here, with the first request, and only where a historian is configured.
"""

from typing import TYPE_CHECKING, Protocol

from agent.errors import MillpondError
from agent.plant.plant import HistorianSettings

if TYPE_CHECKING:
    from influxdb_client.client.influxdb_client import InfluxDBClient

TIMEOUT_MS = 10_000
OF_THE_LINES = frozenset({400, 413, 422})
"""Answers that are about what was sent; any other failure is about the server or the access."""
WORDS_MAX = 500


class Unavailable(MillpondError):  # noqa: N818  a state that passes, not a mistake
    """The historian does not take anything now; the same lines are sent again later.

    Attributes
    ----------
    wait : float, optional
        So long the server asks to be left alone. [s]
    """

    def __init__(self, what: str, wait: float | None = None) -> None:
        super().__init__(what)
        self.wait = wait


class Rejected(MillpondError):  # noqa: N818  an answer
    """The historian does not take these lines."""


class Server(Protocol):
    """Takes lines: `InfluxServer`, or a stand-in in tests."""

    def write(self, lines: list[str]) -> None:
        """Write lines; raises `Unavailable` or `Rejected`."""

    def close(self) -> None:
        """Let go of connections."""


class InfluxServer:
    """The real one.

    Parameters
    ----------
    settings : HistorianSettings
        Where it is.
    token : str, optional
        What allows writing.
    """

    def __init__(self, settings: HistorianSettings, token: str | None) -> None:
        self._settings = settings
        self._token = token
        self._client: InfluxDBClient | None = None

    def write(self, lines: list[str]) -> None:
        """Write lines in one request, and wait for the answer.

        Raises
        ------
        Unavailable
            If the server is away, busy, or refuses the access.
        Rejected
            If it does not take the lines.
        """
        from influxdb_client.client.write_api import SYNCHRONOUS
        from influxdb_client.domain.write_precision import WritePrecision
        from influxdb_client.rest import ApiException
        from urllib3.exceptions import HTTPError

        body = "\n".join(lines).encode()
        try:
            self._connected().write_api(write_options=SYNCHRONOUS).write(
                bucket=self._settings.bucket,
                org=self._settings.org,
                record=body,
                write_precision=WritePrecision.MS,  # type: ignore[arg-type]  # its constants are text
            )
        except ApiException as error:
            raise _meaning(error.status, _words(error), error.headers) from error
        except (HTTPError, OSError) as error:
            raise Unavailable(f"it cannot be reached: {_short(str(error))}") from error

    def close(self) -> None:
        """Let go of connections."""
        if self._client is not None:
            self._client.close()  # type: ignore[no-untyped-call]  # not annotated there
            self._client = None

    def _connected(self) -> "InfluxDBClient":
        """Make the client at the first use."""
        if self._client is None:
            from influxdb_client.client.influxdb_client import InfluxDBClient

            settings = self._settings
            self._client = InfluxDBClient(
                url=settings.url,
                token=self._token or "",
                org=settings.org,
                timeout=TIMEOUT_MS,
                retries=False,
                ssl_ca_cert=None if settings.ca_file is None else str(settings.ca_file),
            )
        return self._client


def _meaning(status: int | None, words: str, headers: object) -> Unavailable | Rejected:
    """Say whether an answer is about the lines or about the server."""
    said = f"HTTP {status}: {words}" if status else words
    if status in OF_THE_LINES:
        return Rejected(said)
    if status in {401, 403}:
        said += "; see MILLPOND_HISTORIAN_TOKEN, org and bucket"
    asked = getattr(headers, "get", lambda _name: None)("Retry-After")
    return Unavailable(said, float(asked) if asked and asked.isdigit() else None)


def _words(error: object) -> str:
    """The server's own words."""
    body = getattr(error, "body", None)
    if isinstance(body, bytes):
        body = body.decode("utf-8", "replace")
    return _short(str(body or getattr(error, "reason", None) or error))


def _short(text: str) -> str:
    """On one line, bounded."""
    return " ".join(text.split())[:WORDS_MAX]
