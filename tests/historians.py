"""Historians for tests: a strict one of our own, and a real server that takes the v2 protocol."""

import json
import re
import shutil
import subprocess
import threading
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

from agent.embedded import end, free_port
from tests.waiting import wait_until

TOKEN = "right"  # noqa: S105  of a test
ORG, BUCKET = "works", "north"

_TAGS = r"((?:,[\w-]+=(?:\\.|[^\s,=\\])+)*)"
_FIELD = r'[\w-]+=(?:-?[\d.]+(?:e[+-]?\d+)?|true|false|"(?:\\.|[^"\\])*")'
_LINE = re.compile(rf"([\w-]+){_TAGS} ({_FIELD}(?:,{_FIELD})*) (\d+)")


class StrictHistorian:
    """Checks what InfluxDB checks: access, org, bucket, precision, syntax, and types of fields.

    Points that came are in `points`, by series and time, as an upsert leaves them. A request with
    bad lines is answered 400 with the first one's number, its good lines are taken.
    """

    def __init__(self) -> None:
        self.points: dict[tuple[str, int], dict[str, str]] = {}
        self.types: dict[tuple[str, str], str] = {}
        self.requests = 0
        self.lines_seen = 0
        self.answer: int | None = None
        """Answers this status and takes nothing."""
        self.slow = threading.Event()
        """While set, requests hang."""
        self.asked = threading.Event()
        self._release = threading.Event()
        self._lock = threading.Lock()
        self._server: ThreadingHTTPServer | None = None
        self.port = free_port()

    @property
    def url(self) -> str:
        """Where it listens."""
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        """Listen."""
        historian = self
        self._release.clear()

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"])).decode()
                historian.asked.set()
                if historian.slow.is_set():
                    historian._release.wait(30.0)
                status, words = historian.judge(self.path, self.headers["Authorization"], body)
                text = json.dumps({"code": "refused", "message": words}).encode() if words else b""
                self.send_response(status)
                self.send_header("Content-Length", str(len(text)))
                self.end_headers()
                self.wfile.write(text)

            def log_message(self, format: str, *args: object) -> None:  # noqa: A002  the base's name
                pass

        ThreadingHTTPServer.allow_reuse_address = True
        self._server = ThreadingHTTPServer(("127.0.0.1", self.port), Handler)
        self._server.daemon_threads = True
        threading.Thread(target=self._server.serve_forever, args=(0.02,), daemon=True).start()

    def stop(self) -> None:
        """Listen no longer; what hangs is let go."""
        self._release.set()
        if self._server is not None:
            self._server.shutdown()
            self._server.server_close()
            self._server = None

    def judge(self, path: str, access: str | None, body: str) -> tuple[int, str]:
        """Status and words for one request."""
        with self._lock:
            self.requests += 1
            asked = parse_qs(urlsplit(path).query)
            if self.answer is not None:
                return self.answer, "told to"
            if access != f"Token {TOKEN}":
                return 401, "unauthorized access"
            if urlsplit(path).path != "/api/v2/write" or asked.get("precision") != ["ms"]:
                return 404, "not found"
            if asked.get("org") != [ORG] or asked.get("bucket") != [BUCKET]:
                return 404, f"bucket {asked.get('bucket')} not found"
            return self._take(body.split("\n"))

    def _take(self, lines: list[str]) -> tuple[int, str]:
        """Take the good lines; the first bad one decides the answer."""
        trouble = ""
        for number, line in enumerate(lines, start=1):
            self.lines_seen += 1
            match = _LINE.fullmatch(line)
            if match is None:
                trouble = trouble or f"unable to parse line {number}: {line[:80]}"
                continue
            measurement, tags, fields, at = match.groups()
            found = dict(part.split("=", 1) for part in re.findall(_FIELD, fields))
            kinds = {name: _kind(value) for name, value in found.items()}
            clash = [n for n, k in kinds.items() if self.types.get((measurement, n), k) != k]
            if clash:
                trouble = trouble or f"line {number}: field type conflict: {clash[0]}"
                continue
            for name, kind in kinds.items():
                self.types[measurement, name] = kind
            self.points.setdefault((measurement + tags, int(at)), {}).update(found)
        return (400, f"partial write: {trouble}") if trouble else (204, "")

    def values(self, measurement: str) -> list[float]:
        """The field `value` of all points of a measurement, in the order of their times."""
        found = [
            (at, float(fields["value"]))
            for (series, at), fields in self.points.items()
            if series.split(",")[0] == measurement
        ]
        return [value for _, value in sorted(found)]


def _kind(value: str) -> str:
    """Type of a field's value."""
    return "text" if value[0] == '"' else "flag" if value in {"true", "false"} else "number"


@contextmanager
def a_strict_historian() -> Iterator[StrictHistorian]:
    """One that listens."""
    historian = StrictHistorian()
    historian.start()
    try:
        yield historian
    finally:
        historian.stop()


class VictoriaMetrics:
    """Debian's victoria-metrics on a free port of loopback, with what it has in a folder."""

    def __init__(self, folder: Path) -> None:
        program = shutil.which("victoria-metrics")
        assert program is not None, "victoria-metrics is not installed: make test installs it"
        self._program = program
        self._folder = folder
        self.port = free_port()
        self.process: subprocess.Popen[bytes] | None = None

    @property
    def url(self) -> str:
        """Where it listens."""
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        """Start it, or start it again with what it has."""
        with (self._folder / "log").open("ab") as log:
            self.process = subprocess.Popen(
                [
                    self._program,
                    f"-httpListenAddr=127.0.0.1:{self.port}",
                    f"-storageDataPath={self._folder / 'data'}",
                    "-retentionPeriod=100y",
                    "-dedup.minScrapeInterval=1ms",
                ],
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
            )
        wait_until(self._answers, "an answer of victoria-metrics", 20.0)

    def _answers(self) -> bool:
        """Whether it listens."""
        try:
            return self.ask("/health") == b"OK"
        except OSError:
            return False

    def stop(self) -> None:
        """End it as a service manager does."""
        if self.process is not None:
            end(self.process)
            self.process = None

    def ask(self, path: str) -> bytes:
        """What it answers."""
        with urllib.request.urlopen(f"{self.url}{path}", timeout=5.0) as answer:  # noqa: S310  loopback
            return bytes(answer.read())

    def points(self, metric: str) -> dict[tuple[str, ...], dict[int, float]]:
        """Points of a metric by sump and signal: value by time in ms."""
        self.ask("/internal/force_flush")
        found: dict[tuple[str, ...], dict[int, float]] = {}
        text = self.ask(f"/api/v1/export?match[]={metric}&reduce_mem_usage=1")
        for row in text.splitlines():
            series = json.loads(row)
            key = tuple(series["metric"].get(tag, "") for tag in ("sump", "signal"))
            found.setdefault(key, {}).update(
                zip(series["timestamps"], series["values"], strict=True)
            )
        return found


@contextmanager
def a_victoria_metrics(folder: Path) -> Iterator[VictoriaMetrics]:
    """One that runs."""
    folder.mkdir(exist_ok=True)
    server = VictoriaMetrics(folder)
    server.start()
    try:
        yield server
    finally:
        server.stop()
