"""A message centre for tests of the SMPP carrier: SMPP v3.4 over TCP, as it
ought to be and with faults. Written from the specification, apart from the
program's own codec. Standard library only."""

import socket
import struct
import threading
import time

NAMES = {1: "bind_receiver", 2: "bind_transmitter", 9: "bind_transceiver",
         4: "submit_sm", 5: "deliver_sm", 6: "unbind", 0x15: "enquire_link",
         0x103: "data_sm"}
RESP = 0x80000000


def cstring(s):
    return (s if isinstance(s, bytes) else s.encode()) + b"\0"


def tlv(tag, value):
    return struct.pack(">HH", tag, len(value)) + value


def pdu(command_id, status, sequence, body=b""):
    return struct.pack(">IIII", 16 + len(body), command_id, status,
                       sequence) + body


def sm_body(source, dest, message, esm=0, coding=0, ton=1, tlvs=b""):
    return (cstring("") + bytes([ton, 1]) + cstring(source) + bytes([0, 0]) +
            cstring(dest) + bytes([esm, 0, 0]) + cstring("") + cstring("") +
            bytes([0, 0, coding, 0, len(message)]) + message + tlvs)


class Submit:
    """A submit_sm as it came."""

    def __init__(self, body):
        at = 0

        def text():
            nonlocal at
            end = body.index(b"\0", at)
            s, at = body[at:end], end + 1
            return s.decode("latin-1")

        def octet():
            nonlocal at
            at += 1
            return body[at - 1]

        self.service_type = text()
        self.source_ton, self.source_npi, self.source = octet(), octet(), text()
        self.ton, self.npi, self.dest = octet(), octet(), text()
        self.esm, self.protocol_id, self.priority = octet(), octet(), octet()
        self.schedule, self.validity = text(), text()
        self.registered, self.replace = octet(), octet()
        self.coding, self.default_id = octet(), octet()
        n = octet()
        self.message = body[at:at + n]
        at += n
        self.tlvs = {}
        while at < len(body):
            tag, length = struct.unpack_from(">HH", body, at)
            self.tlvs[tag] = body[at + 4:at + 4 + length]
            at += 4 + length


class Link:
    """One connection of an ESME."""

    def __init__(self, centre, sock):
        self.centre, self.sock, self.bound = centre, sock, None
        self.sequence, self.answers = 0, {}
        self.lock = threading.Lock()
        self.alive = True

    def send(self, octets):
        try:
            with self.lock:
                self.sock.sendall(octets)
        except OSError:
            self.alive = False

    def request(self, command_id, body=b""):
        self.sequence += 1
        self.send(pdu(command_id, 0, self.sequence, body))
        return self.sequence

    def deliver(self, *args, **more):
        return self.request(5, sm_body(*args, **more))

    def cut(self):
        """As a cable that is pulled."""
        self.alive = False
        try:
            self.sock.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER,
                                 b"\1\0\0\0\0\0\0\0")
            self.sock.close()
        except OSError:
            pass

    def read_exactly(self, n):
        got = b""
        while len(got) < n:
            piece = self.sock.recv(n - len(got))
            if not piece:
                raise OSError("closed")
            got += piece
        return got

    def serve(self):
        try:
            while True:
                head = self.read_exactly(16)
                length, command, status, seq = struct.unpack(">IIII", head)
                body = self.read_exactly(length - 16)
                self.take(command, status, seq, body)
        except OSError:
            pass
        self.alive = False
        self.sock.close()

    def take(self, command, status, seq, body):
        c = self.centre
        c.seen.append((NAMES.get(command & ~RESP, "?"), command, status))
        if command in (1, 2, 9):
            status = c.bind_status.pop(0) if c.bind_status else 0
            self.send(pdu(command | RESP, status, seq, b"" if status else
                          cstring("CENTRE") + c.bind_tlvs))
            if status == 0:
                self.bound = command
                c.links.append(self)
        elif command == 4:
            self.take_submit(seq, Submit(body))
        elif command == 6:
            self.send(pdu(command | RESP, 0, seq))
            c.unbinds += 1
        elif command == 0x15:
            if c.answers_links:
                self.send(pdu(command | RESP, 0, seq))
        elif command & RESP:
            self.answers[seq] = status
            c.answered.append((seq, status, time.monotonic()))

    def take_submit(self, seq, s):
        c = self.centre
        with c.guard:
            c.flying += 1
            c.flying_most = max(c.flying_most, c.flying)
            step = c.script.pop(0) if c.script else "ok"
            c.submits.append((s, step))
            number = len(c.submits)
        if callable(step):
            step = step(self, seq, s, number)
        if step in ("ok", None):
            self.answer(seq, 0, "%d" % (1000 + number))
        elif isinstance(step, int):
            self.answer(seq, step, None)
        elif step == "cut":
            self.cut()
        elif step == "silent":
            with c.guard:
                c.flying -= 1

    def answer(self, seq, status, message_id):
        with self.centre.guard:
            self.centre.flying -= 1
        self.send(pdu(4 | RESP, status, seq,
                      b"" if message_id is None else cstring(message_id)))


class Centre:
    """script: what is done with each submit_sm in turn: "ok", a status,
    "cut", "silent", or a function(link, sequence, submit, number)."""

    def __init__(self, script=(), port=0, tls=None):
        self.tls = tls  # an ssl.SSLContext
        self.script, self.submits, self.links = list(script), [], []
        self.seen, self.answered, self.bind_status = [], [], []
        self.bind_tlvs = tlv(0x0210, b"\x34")
        self.answers_links = True
        self.unbinds = self.flying = self.flying_most = self.connects = 0
        self.guard = threading.Lock()
        self.sock = socket.socket()
        self.sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        self.sock.bind(("127.0.0.1", port))
        self.sock.listen(16)
        self.port = self.sock.getsockname()[1]
        self.connected_at = []
        threading.Thread(target=self.accept, daemon=True).start()

    def accept(self):
        while True:
            try:
                sock, _ = self.sock.accept()
            except OSError:
                return
            sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self.connects += 1
            if self.tls:
                try:
                    sock = self.tls.wrap_socket(sock, server_side=True)
                except OSError:
                    continue
            self.connected_at.append(time.monotonic())
            threading.Thread(target=Link(self, sock).serve,
                             daemon=True).start()

    def link(self, command=None):
        """The link that is bound and alive, or None."""
        for link in reversed(self.links):
            if link.alive and command in (None, link.bound):
                return link
        return None

    def close(self):
        try:
            self.sock.shutdown(socket.SHUT_RDWR)  # accept() ends as well
        except OSError:
            pass
        self.sock.close()
        for link in self.links:
            if link.alive:
                try:
                    link.sock.shutdown(socket.SHUT_RDWR)
                except OSError:
                    pass
                link.cut()
