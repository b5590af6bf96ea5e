"""A modem for tests: the AT commands of 3GPP TS 27.005 and 27.007 that a host
needs for texts in PDU mode, over a pseudo terminal or a socket, as it ought to
be and with faults. Standard library only; its PDUs are written here, apart
from the program's own encoder."""

import os
import pty
import re
import select
import termios
import threading
import time
import tty


def swap(digits):
    digits += "F" * (len(digits) % 2)
    return "".join(b + a for a, b in zip(digits[::2], digits[1::2]))


def address(number):
    plus = number.startswith("+")
    digits = number.lstrip("+")
    return "%02X%s%s" % (len(digits), "91" if plus else "81", swap(digits))


def pack(septets, fill=0):
    bits, octets, out = fill, 0, bytearray()
    for s in septets:
        octets |= s << bits
        bits += 7
        while bits >= 8:
            out.append(octets & 255)
            octets >>= 8
            bits -= 8
    if bits:
        out.append(octets)
    return bytes(out)


def deliver(sender, text, scts="62115241000000", udh=b"", coding=None):
    """An SMS-DELIVER with the SCA octet in front, as hexadecimal digits."""
    head = bytes([len(udh)]) + udh if udh else b""
    if coding is None:
        coding = 0 if text.isascii() else 8
    if coding == 8:
        ud = head + text.encode("utf-16-be")
        length = len(ud)
    else:  # letters, digits and space stand at their ASCII codes
        fill = -len(head) * 8 % 7
        septets = [0 if c == "@" else ord(c) for c in text]
        ud = head + pack(septets, fill)
        length = (len(head) * 8 + fill) // 7 + len(septets)
    return "00%02X%s00%02X%s%02X%s" % (
        0x44 if udh else 0x04, address(sender), coding, scts, length,
        ud.hex().upper())


def report(mr, number, status, scts="62115241000000"):
    return "0006%02X%s%s%s%02X" % (mr, address(number), scts, scts, status)


def unpack(data, count, fill=0):
    n = int.from_bytes(data, "little") >> fill
    return [(n >> 7 * i) & 127 for i in range(count)]


class Submit:
    """An SMS-SUBMIT as the host wrote it (SCA octets first)."""

    def __init__(self, pdu):
        at = 1 + pdu[0]
        self.tpdu = pdu[at:]
        first, self.mr = pdu[at], pdu[at + 1]
        self.udhi, self.srr = bool(first & 0x40), bool(first & 0x20)
        n, self.toa = pdu[at + 2], pdu[at + 3]
        at += 4
        digits = swap(pdu[at:at + (n + 1) // 2].hex())[:n]
        self.to = ("+" if self.toa == 0x91 else "") + digits
        at += (n + 1) // 2
        self.coding = pdu[at + 1]
        at += 2
        self.validity = pdu[at] if first & 0x18 == 0x10 else None
        at += 1 if first & 0x18 == 0x10 else 0
        length, ud = pdu[at], pdu[at + 1:]
        self.header = ud[1:1 + ud[0]] if self.udhi else b""
        skip = 1 + ud[0] if self.udhi else 0
        if self.coding == 8:
            self.text = ud[skip:length].decode("utf-16-be")
        else:
            fill = -skip * 8 % 7
            head = (skip * 8 + fill) // 7
            septets = unpack(ud[skip:], length - head, fill)
            self.text = "".join("@" if s == 0 else chr(s) for s in septets)


class Model:
    """script: what is done with each text in turn: "ok", ("cms", code),
    "late" (the prompt, 12 s), "silent" (no answer after the text),
    "ok late", "die" (unplugged then), "reboot", "bare" (prompt without a
    space); the last one is "ok" for ever."""

    def __init__(self, script=(), places=20, pin=None, fd=None):
        self.script, self.places, self.pin = list(script), places, pin
        self.pin_tries, self.pin_given = 0, False
        self.store, self.sent, self.commands = {}, [], []
        self.device_store = {}  # what is in "ME"; the card's is `store`
        self.ussd = {}  # code: what the network says, as lines of +CUSD
        self.ussd_open = False
        self.registered, self.off, self.deaf = 1, False, False
        self.reset()
        self.mr = 0
        self.in_text = None  # what is written after the prompt
        self.waiting = ""
        self.noise = False   # lines of its own between those of an answer
        self.dribble = False  # octet by octet
        self.guard = threading.RLock()
        self.alive = True
        if fd is None:
            self.fd, slave = pty.openpty()
            tty.setraw(slave)
            self.device = os.ttyname(slave)
            self.slave = slave
        else:
            self.fd, self.slave = fd, None
        threading.Thread(target=self.run, daemon=True).start()

    def reset(self):
        self.echo, self.cmgf, self.cnmi, self.csms = True, 1, (0, 0, 0, 0), 0
        self.cmee, self.creg = 0, 0
        self.pin_given = False
        self.mem1 = "SM"
        self.waiting, self.in_text = "", None

    def write(self, text):
        if self.deaf:
            return
        try:
            if not self.dribble:
                os.write(self.fd, text.encode())
            for octet in text.encode() if self.dribble else b"":
                os.write(self.fd, bytes([octet]))
                time.sleep(0.0005)  # so that lines come in pieces
        except OSError:
            self.alive = False

    def say(self, line):
        self.write("\r\n%s\r\n" % line)

    def unplug(self):
        self.alive = False
        for fd in (self.slave, self.fd):
            try:
                if fd is not None:
                    os.close(fd)
            except OSError:
                pass
        self.slave = None

    def run(self):
        while self.alive:
            try:
                ready, _, _ = select.select([self.fd], [], [], 0.1)
                if not ready:
                    continue
                data = os.read(self.fd, 4096)
            except (OSError, ValueError):
                return
            if not data:
                return
            if self.off:
                continue
            with self.guard:
                for c in data.decode("latin-1"):
                    self.octet(c)

    def octet(self, c):
        if self.in_text is not None:
            if c == "\x1a":
                self.text(self.in_text)
            elif c == "\x1b":
                self.in_text = None
                self.say("OK")
            else:
                self.in_text += c
            return
        if self.echo:
            self.write(c)
        if c == "\r":
            command, self.waiting = self.waiting.strip(), ""
            if command:
                self.command(command)
        elif c not in "\n\x1b\x1a":
            self.waiting += c

    # ---- commands ----
    def error(self, code):
        self.say("+CME ERROR: %d" % code if self.cmee else "ERROR")

    def command(self, line):
        self.commands.append(line)
        if not line.upper().startswith("AT"):
            self.say("ERROR")
            return
        rest = line[2:]
        if self.noise:
            self.say("RING")
        if self.pin and not self.pin_given and re.match(
                r"\+(CMG|CNMI|CPMS|CSMS|CSCA)", rest):
            self.error(11)
            return
        for pattern, f in TABLE:
            m = re.fullmatch(pattern, rest, re.I)
            if m:
                f(self, *m.groups())
                return
        self.error(4)

    def ok(self, *_):
        self.say("OK")

    def set_echo(self, v):
        self.echo = v != "0"
        self.say("OK")

    def set_cmee(self, v):
        self.cmee = int(v)
        self.say("OK")

    def ask_pin(self):
        self.say("+CPIN: READY" if not self.pin or self.pin_given
                 else "+CPIN: SIM PIN")
        self.say("OK")

    def give_pin(self, pin):
        self.pin_tries += 1
        if pin == self.pin:
            self.pin_given = True
            self.say("OK")
        else:
            self.error(16)

    def set_cmgf(self, v):
        self.cmgf = int(v)
        self.say("OK")

    def ask_cmgf(self):
        self.say("+CMGF: %d" % self.cmgf)
        self.say("OK")

    def set_csms(self, v):
        self.csms = int(v)
        self.say("+CSMS: 1,1,1")
        self.say("OK")

    def set_cnmi(self, v):
        given = tuple(int(x) for x in v.split(",") if x)
        self.cnmi = given + self.cnmi[len(given):]
        self.say("OK")

    def chosen(self):
        return self.device_store if self.mem1 == "ME" else self.store

    def ask_cpms(self):
        one = '"SM",%d,%d' % (len(self.store), self.places)
        first = '"%s",%d,%d' % (self.mem1, len(self.chosen()), self.places)
        self.say("+CPMS: %s,%s,%s" % (first, one, one))
        self.say("OK")

    def set_cpms(self, name, _):
        if name not in ("SM", "ME"):
            self.say("+CMS ERROR: 302")
            return
        self.mem1 = name
        one = "%d,%d" % (len(self.store), self.places)
        first = "%d,%d" % (len(self.chosen()), self.places)
        self.say("+CPMS: %s,%s,%s" % (first, one, one))
        self.say("OK")

    def ask_network(self, code):
        self.say("OK")
        lines = self.ussd.get(code, "4")
        self.ussd_open = lines.startswith("1")
        self.say("+CUSD: " + lines)

    def end_ussd(self):
        self.ussd_open = False
        self.say("OK")

    def network_says(self, lines):
        """The network begins a session by itself."""
        with self.guard:
            self.ussd_open = lines.startswith("1")
            self.say("+CUSD: " + lines)

    def set_creg(self, v):
        self.creg = int(v)
        self.say("OK")

    def ask_creg(self):
        self.say("+CREG: %d,%d" % (self.creg, self.registered))
        self.say("OK")

    def ask_cereg(self):
        self.say("+CEREG: 0,%d" % self.registered)
        self.say("OK")

    def ask_csq(self):
        self.say("+CSQ: 17,99")
        self.say("OK")

    def pdu_lines(self, pdu):
        return (len(pdu) // 2) - 1 - int(pdu[:2], 16)

    def list_all(self, stat):
        store = self.chosen()
        if self.cmgf != 0:
            self.say("OK")
            return
        for place in sorted(store):
            was, pdu = store[place]
            if int(stat) in (4, was):
                self.write("\r\n+CMGL: %d,%d,,%d\r\n" % (
                    place, was, self.pdu_lines(pdu)))
                if self.noise:
                    self.say('+CMTI: "SM",%d' % place)
                self.write("%s\r\n" % pdu)
                store[place] = (1 if was == 0 else was, pdu)
        self.say("OK")

    def read_one(self, place):
        place, store = int(place), self.chosen()
        if place not in store:
            self.say("+CMS ERROR: 321")
            return
        was, pdu = store[place]
        self.say("+CMGR: %d,,%d\r\n%s" % (was, self.pdu_lines(pdu), pdu))
        store[place] = (1 if was == 0 else was, pdu)
        self.say("OK")

    def delete(self, place):
        if self.chosen().pop(int(place), None) is None:
            self.say("+CMS ERROR: 321")
        else:
            self.say("OK")

    def begin_text(self, length):
        step = self.script[0] if self.script else "ok"
        self.length = int(length)
        if step == "late":
            self.script.pop(0)
            threading.Timer(12, lambda: self.write("\r\n> ")).start()
            return
        self.in_text = ""
        self.write("\r\n>" if step == "bare" else "\r\n> ")

    def text(self, digits):
        step = self.script.pop(0) if self.script else "ok"
        self.in_text = None
        s = Submit(bytes.fromhex(digits))
        if len(s.tpdu) != self.length:
            self.say("+CMS ERROR: 304")
            return
        if isinstance(step, tuple):
            self.say("+CMS ERROR: %d" % step[1])
            return
        self.mr = (self.mr + 1) % 256
        s.mr = self.mr
        self.sent.append(s)
        if step == "die":
            self.unplug()
        elif step == "reboot":
            self.reset()
            self.say("RDY")
        elif step == "ok late":
            threading.Timer(13, lambda: self.done(self.mr)).start()
        elif step != "silent":
            if callable(step):
                step(self, s)
            self.done(s.mr)

    def done(self, mr):
        self.say("+CMGS: %d" % mr)
        self.say("OK")

    # ---- the network ----
    def arrive(self, pdu):
        """A text comes over the air; False: the store is full."""
        with self.guard:
            place = next((i for i in range(1, self.places + 1)
                          if i not in self.store), None)
            if place is None:
                return False
            self.store[place] = (0, pdu)
            if self.cnmi[1] == 1 and not self.off:
                self.say('+CMTI: "SM",%d' % place)
            return True

    def arrive_at_once(self, pdu):
        with self.guard:
            self.say("+CMT: ,%d\r\n%s" % (self.pdu_lines(pdu), pdu))

    def arrive_report(self, pdu):
        with self.guard:
            self.say("+CDS: %d\r\n%s" % (self.pdu_lines(pdu), pdu))


TABLE = [
    (r"", Model.ok), (r"E(\d)", Model.set_echo), (r"V1", Model.ok),
    (r"\+CMEE=(\d)", Model.set_cmee), (r"\+CPIN\?", Model.ask_pin),
    (r'\+CPIN="(\d+)"', Model.give_pin), (r"\+CMGF=(\d)", Model.set_cmgf),
    (r"\+CMGF\?", Model.ask_cmgf), (r"\+CSMS=(\d)", Model.set_csms),
    (r"\+CNMI=([\d,]+)", Model.set_cnmi), (r"\+CPMS\?", Model.ask_cpms),
    (r'\+CPMS="(\w+)"(.*)', Model.set_cpms), (r'\+CSCS="GSM"', Model.ok),
    (r'\+CUSD=1,"([\d*#]+)",15', Model.ask_network),
    (r"\+CUSD=2", Model.end_ussd), (r"\+CREG=(\d)", Model.set_creg),
    (r"\+CREG\?", Model.ask_creg), (r"\+CEREG\?", Model.ask_cereg),
    (r"\+CSQ", Model.ask_csq), (r"\+CMGL=(\d)", Model.list_all),
    (r"\+CMGR=(\d+)", Model.read_one), (r"\+CMGD=(\d+)", Model.delete),
    (r"\+CMGS=(\d+)", Model.begin_text), (r'\+CSCA=.*', Model.ok),
]
