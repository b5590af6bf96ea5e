"""The stage that plays and end-to-end tests stand on: a folder with a
configuration and a ledger, the real service on it, and phones that reach it
through its real carriers. Standard library only."""

import http.client
import json
import os
import queue
import re
import shutil
import signal
import socket
import subprocess
import tempfile
import threading
import time
import urllib.parse

SOURCE = os.environ.get("KW_SOURCE") or os.path.dirname(
    os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
BUILD = os.environ.get("KW_BUILD") or os.path.join(SOURCE, "build-tests",
                                                   "gcc")
PATIENCE_S = float(os.environ.get("KW_PATIENCE_S", "60"))

CONF = """
programme = {{ name = "{name}"; zone = "{zone}"; language = "en";
    country_code = "999"; national_prefix = "0"; clinic = "the health post";
    default_carrier = "folder"; }};
listen = {{ address = "127.0.0.1"; port = {port}; }};
ledger = {{ file = "kilnword.ledger"; }};
grammar = {{ folder = "{grammar}"; }};
digest = {{ at = "{digest}"; }};
privacy = {{ pseudonym_key = "a key for the stage alone"; }};
people = ( {people} );
carriers = (
    {{ name = "gate"; kind = "http";
       in = {{ path = "/in"; header_secret = "X-Line-Key";
               secret = "{secret}"; reply_in_body = true; }};
       menu = {{ path = "/menu"; field_step = "step"; }}; }},
    {{ name = "folder"; kind = "spool";
       spool = {{ in = "spool/in"; out = "spool/out"; poll_s = 1; }}; }}
);
{more}
"""


class StageError(Exception):
    """The service did not do what any play needs."""


def binary():
    return os.path.join(BUILD, "src", "kilnword")


def free_port():
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return s.getsockname()[1]


def check_digits(number):
    """ISO/IEC 7064 MOD 97-10 of the digits, as two digits."""
    return "%02d" % (98 - int(number) * 100 % 97)


def serial(batch, pot):
    number = "%04d%03d" % (int(batch), int(pot))
    return "%s-%s-%s" % (number[:4], number[4:], check_digits(number))


class Answer:
    """What HTTP gave back."""

    def __init__(self, status, headers, body):
        self.status, self.headers, self.body = status, headers, body

    def text(self):
        """The words of the answer, out of JSON when it is JSON."""
        words = self.body.decode("utf-8", "replace")
        if "json" in self.headers.get("content-type", ""):
            said = json.loads(words)
            for key in ("reply", "answer", "text"):
                if key in said:
                    return said[key] or ""
            return ""
        return words.rstrip("\n")


class Stage:
    """A folder and the line that runs in it."""

    secret = "a secret for the stage"

    def __init__(self, folder=None):
        self.folder = folder or tempfile.mkdtemp(prefix="kilnword-stage-")
        self.process = None
        self.lines = queue.Queue()
        self.errors = []
        self.port = free_port()
        self.settings = {"name": "Stage", "zone": "UTC", "digest": "off",
                         "people": "", "more": ""}
        self.taken = set()
        for part in ("in", "out"):
            os.makedirs(self.path("spool", part), exist_ok=True)

    def path(self, *parts):
        return os.path.join(self.folder, *parts)

    def write_conf(self):
        with open(self.path("kilnword.conf"), "w", encoding="utf-8") as f:
            f.write(CONF.format(port=self.port, secret=self.secret,
                                grammar=os.path.join(SOURCE, "grammar"),
                                **self.settings))

    # ---- commands ----
    def run(self, *words, stdin=None, timeout=None):
        """One command to its end; (exit code, stdout, stderr)."""
        env = dict(os.environ, KILNWORD_CONF=self.path("kilnword.conf"))
        done = subprocess.run([binary(), *words], cwd=self.folder, env=env,
                              input=stdin or b"", capture_output=True,
                              timeout=timeout or PATIENCE_S * 4, check=False)
        return (done.returncode, done.stdout.decode("utf-8", "replace"),
                done.stderr.decode("utf-8", "replace"))

    # ---- the service ----
    def start(self, *options):
        env = dict(os.environ, KILNWORD_CONF=self.path("kilnword.conf"))
        self.lines = queue.Queue()
        self.process = subprocess.Popen(
            [binary(), "serve", *options], cwd=self.folder, env=env,
            stdin=subprocess.PIPE, stdout=subprocess.PIPE,
            stderr=subprocess.PIPE)
        for pipe, sink in ((self.process.stdout, self.lines.put),
                           (self.process.stderr, self.errors.append)):
            threading.Thread(target=_drain, args=(pipe, sink),
                             daemon=True).start()
        self.wait_listening()

    def wait_listening(self):
        end = time.monotonic() + PATIENCE_S
        while time.monotonic() < end:
            if self.process.poll() is not None:
                raise StageError("the service ended at once with %d:\n%s" % (
                    self.process.returncode, "".join(self.errors[-20:])))
            try:
                socket.create_connection(("127.0.0.1", self.port), 1).close()
                return
            except OSError:
                time.sleep(0.02)
        raise StageError("the service does not listen:\n%s"
                         % "".join(self.errors[-20:]))

    def alive(self):
        return self.process is not None and self.process.poll() is None

    def tell(self, order, answer):
        """Writes a line to the service and waits for one that begins so."""
        try:
            self.process.stdin.write((order + "\n").encode())
            self.process.stdin.flush()
        except OSError as e:
            raise StageError("the service is gone (%s):\n%s" % (
                e, "".join(self.errors[-20:]))) from e
        end = time.monotonic() + PATIENCE_S
        while True:
            try:
                line = self.lines.get(timeout=max(0.01,
                                                  end - time.monotonic()))
            except queue.Empty:
                line = None
            if line is None or time.monotonic() > end:
                raise StageError("no answer to '%s':\n%s" % (
                    order, "".join(self.errors[-20:])))
            if line.startswith(answer):
                return line.rstrip("\n")

    def clock(self, utc):
        self.tell("clock " + utc, "clock is")

    def idle(self):
        self.tell("idle", "idle")

    def kill(self):
        """As when the power fails."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait(PATIENCE_S)
        self.process = None

    def stop(self):
        """As a service is stopped; its exit code."""
        if self.process is None:
            return 0
        self.process.send_signal(signal.SIGTERM)
        try:
            code = self.process.wait(PATIENCE_S)
        except subprocess.TimeoutExpired:
            self.kill()
            raise StageError("the service does not stop when told to")
        self.process = None
        return code

    def close(self, keep=False):
        if self.alive():
            self.process.kill()
            self.process.wait(PATIENCE_S)
        if not keep:
            shutil.rmtree(self.folder, ignore_errors=True)

    # ---- phones ----
    def request(self, method, path, body=b"", headers=None):
        link = http.client.HTTPConnection("127.0.0.1", self.port,
                                          timeout=PATIENCE_S)
        try:
            link.request(method, path, body=body, headers=headers or {})
            r = link.getresponse()
            return Answer(r.status, {k.lower(): v for k, v in r.getheaders()},
                          r.read())
        finally:
            link.close()

    def post(self, fields, secret=None, path="/in"):
        return self.request(
            "POST", path, urllib.parse.urlencode(fields).encode(),
            {"Content-Type": "application/x-www-form-urlencoded",
             "Accept": "text/plain",
             "X-Line-Key": self.secret if secret is None else secret})

    def drop(self, number, text, name):
        """Puts a text into the spool folder, whole at once."""
        part = self.path("spool", name + ".part")
        with open(part, "wb") as f:
            f.write(b"From: " + number.encode() + b"\n\n" + text)
        os.rename(part, self.path("spool", "in", name + ".txt"))

    def wait_spool_empty(self):
        end = time.monotonic() + PATIENCE_S
        while any(n.endswith(".txt")
                  for n in os.listdir(self.path("spool", "in"))):
            if time.monotonic() > end:
                raise StageError("the spool folder is not emptied")
            time.sleep(0.02)

    def sent(self):
        """New texts that left by the folder, oldest first: (to, text)."""
        folder = self.path("spool", "out")
        if not os.path.isdir(folder):  # the service has not made it yet
            return []
        fresh = sorted((n for n in os.listdir(folder)
                        if n not in self.taken and n[0] != "."
                        and not n.endswith(".new")),
                       key=_by_number)
        texts = []
        for name in fresh:
            with open(os.path.join(folder, name), "rb") as f:
                data = f.read().decode("utf-8", "replace")
            head, _, body = data.replace("\r\n", "\n").partition("\n\n")
            to = re.search(r"(?im)^to:\s*(\S+)", head)
            if to is None:
                raise StageError("%s names nobody it is for" % name)
            self.taken.add(name)
            texts.append((to.group(1), body.rstrip("\n")))
        return texts


def _by_number(name):
    return [int(p) if p.isdigit() else p for p in re.split(r"(\d+)", name)]


def _drain(pipe, sink):
    for line in pipe:
        sink(line.decode("utf-8", "replace"))
    pipe.close()
