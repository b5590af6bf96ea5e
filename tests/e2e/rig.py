"""What the carrier tests share: a line with a configuration of the test's
own, raw HTTP, a sink for what goes out, TAP. Standard library only."""

import contextlib
import http.server
import json
import os
import socket
import sqlite3
import sys
import threading
import time
import traceback
import urllib.parse

sys.dont_write_bytecode = True
sys.path.insert(0, os.path.join(os.path.dirname(os.path.dirname(
    os.path.abspath(__file__))), "play"))
import stage  # noqa: E402

PHONE = "+99970012345"
FORM = "application/x-www-form-urlencoded"
# enum ledger_send
WAITING, FLYING, SENT, FAILED, EXPIRED, PERHAPS = range(6)


def must(condition, words):
    if not condition:
        raise AssertionError(words)


def must_be(got, wanted, words=""):
    must(got == wanted, "%s: got %r, not %r" % (words or "value", got, wanted))


def until(condition, words, seconds=None):
    """Waits for it; returns what it gave."""
    end = time.monotonic() + (seconds or stage.PATIENCE_S)
    while True:
        got = condition()
        if got:
            return got
        must(time.monotonic() < end, words)
        time.sleep(0.01)


class Line(stage.Stage):
    """A line whose carriers, people and settings the test writes."""

    def __init__(self, carriers, people="", more="", connections=512):
        super().__init__()
        self.carriers, self.people, self.more = carriers, people, more
        self.connections = connections
        self.write_conf()

    def write_conf(self):
        grammar = os.path.join(stage.SOURCE, "grammar")
        image = os.path.join(stage.BUILD, "grammar", "words.image")
        with open(self.path("kilnword.conf"), "w", encoding="utf-8") as f:
            f.write("""
programme = { name = "Rig"; zone = "UTC"; language = "en";
    country_code = "999"; national_prefix = "0"; clinic = "the clinic";
    line_number = "7070"; };
listen = { address = "127.0.0.1"; port = %d; connections = %d; };
ledger = { file = "kilnword.ledger"; };
grammar = { folder = "%s"; image = "%s"; };
digest = { at = "off"; };
people = ( %s );
carriers = ( %s );
%s
""" % (self.port, self.connections, grammar, image, self.people,
                self.carriers, self.more))

    def ask(self, sql, *args):
        """Rows of the ledger, read from outside."""
        link = sqlite3.connect("file:%s?mode=ro"
                               % self.path("kilnword.ledger"), uri=True)
        try:
            return link.execute(sql, args).fetchall()
        finally:
            link.close()

    def texts(self):
        """Bodies of all texts, in order, as octets."""
        return [r[0] for r in self.ask(
            "SELECT CAST(body AS BLOB) FROM texts_in ORDER BY id")]

    def answers(self):
        """Words of all texts out, in order: figures put into phrases."""
        said = []
        for body, words in self.ask(
                "SELECT o.body, h.words FROM outbox o "
                "LEFT JOIN phrases h ON h.id = o.phrase_id ORDER BY o.id"):
            figures = iter(body.split(" "))
            said.append(body if words is None else "".join(
                next(figures) if c == "#" else c for c in words))
        return said

    def form(self, fields, headers=None, path="/in"):
        head = {"Content-Type": FORM}
        head.update(headers or {})
        return self.request("POST", path,
                            urllib.parse.urlencode(fields).encode(), head)

    def resident_kib(self):
        with open("/proc/%d/status" % self.process.pid) as f:
            for row in f:
                if row.startswith("VmRSS:"):
                    return int(row.split()[1])
        return 0


@contextlib.contextmanager
def line(*args, options=(), **settings):
    """A line that serves, and stops cleanly at the end."""
    s = Line(*args, **settings)
    try:
        s.start(*options)
        yield s
        must(s.alive(), "the service is gone:\n" + "".join(s.errors[-20:]))
        must_be(s.stop(), 0, "exit code of the service")
        must("Sanitizer" not in "".join(s.errors),
             "a sanitizer spoke:\n" + "".join(s.errors[-60:]))
    finally:
        s.close()


def raw(port, data, timeout=10):
    """Everything that comes back for these octets until the far end closes
    (or says nothing for the timeout)."""
    got = b""
    with socket.create_connection(("127.0.0.1", port), timeout) as link:
        link.settimeout(timeout)
        try:
            link.sendall(data)
            while True:
                piece = link.recv(65536)
                if not piece:
                    return got
                got += piece
        except socket.timeout:
            return got + b"(still open)"
        except OSError:
            return got


def post_octets(body, *headers, path="/in", host=b"Host: x"):
    rows = [b"POST " + path.encode() + b" HTTP/1.1", host,
            b"Content-Type: " + FORM.encode(), *headers]
    return b"\r\n".join(rows) + b"\r\n\r\n" + body


class Sink:
    """A far side for HTTP out. `script` gives what is answered to each
    request in turn, the last one for ever: a status, (status, headers), or
    "hang", "reset", "shut"."""

    def __init__(self, script, ids=lambda n: "far-7"):
        self.ids = ids  # of the answer to the n-th request
        self.script, self.seen, self.lock = list(script), [], threading.Lock()
        sink = self

        class Handler(http.server.BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def answer(self):
                length = int(self.headers.get("Content-Length") or 0)
                body = self.rfile.read(length)
                with sink.lock:
                    sink.seen.append({
                        "method": self.command, "path": self.path,
                        "headers": self.headers, "body": body,
                        "at": time.monotonic(), "peer": self.client_address})
                    self.number = len(sink.seen)
                    step = (sink.script.pop(0) if len(sink.script) > 1
                            else sink.script[0])
                self.play(step)

            do_POST = do_GET = do_PUT = answer

            def play(self, step):
                if step == "hang":
                    time.sleep(30)
                if step == "reset":
                    self.connection.setsockopt(
                        socket.SOL_SOCKET, socket.SO_LINGER,
                        b"\1\0\0\0\0\0\0\0")
                if not isinstance(step, (int, tuple)):
                    self.close_connection = True
                    self.connection.close()
                    return
                status, headers = step if isinstance(step, tuple) else (
                    step, {})
                data = json.dumps(
                    {"id": sink.ids(self.number)}).encode()
                self.send_response(status)
                for name, value in headers.items():
                    self.send_header(name, value)
                self.send_header("Content-Length", str(len(data)))
                self.end_headers()
                self.wfile.write(data)

            def log_message(self, *args):
                pass

        class Server(http.server.ThreadingHTTPServer):
            daemon_threads = True

            def handle_error(self, *args):
                pass

        self.server = Server(("127.0.0.1", 0), Handler)
        self.port = self.server.server_address[1]
        threading.Thread(target=self.server.serve_forever,
                         daemon=True).start()

    def close(self):
        self.server.shutdown()
        self.server.server_close()


def run(tests):
    """Runs them (or those named on the command line) and prints TAP."""
    chosen = set(sys.argv[1:])
    tests = [t for t in tests if not chosen or t.__name__ in chosen]
    failed = 0
    print("1..%d" % len(tests))
    for number, test in enumerate(tests, 1):
        wrong = None
        try:
            test()
        except AssertionError as e:
            wrong = str(e) or traceback.format_exc()
        except Exception:  # whatever it is, it is a failed test
            wrong = traceback.format_exc()
        failed += wrong is not None
        print("%sok %d - %s" % ("" if wrong is None else "not ", number,
                                test.__name__.replace("_", " ")))
        if wrong is not None:
            print("# " + wrong.strip().replace("\n", "\n# "))
        sys.stdout.flush()
    sys.exit(1 if failed else 0)
