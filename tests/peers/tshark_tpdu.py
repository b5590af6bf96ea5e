"""Compares what tshark read (its JSON) with the lines of make_tpdu."""
import json
import sys


def values(node, key):
    """Every value of the key, at any depth."""
    if isinstance(node, dict):
        for k, v in node.items():
            if k == key:
                yield v
            yield from values(v, key)
    elif isinstance(node, list):
        for v in node:
            yield from values(v, key)


def first(node, *keys):
    for key in keys:
        for v in values(node, key):
            return v
    return None


def check(want, packet):
    _, _, address, text, part = want
    layers = packet["_source"]["layers"]
    sms = layers["gsm_sms"]
    wrong = []
    if any("malformed" in k for k in json.dumps(layers).lower().split('"')):
        wrong.append("malformed")
    got = first(sms, "gsm_sms.tp-da", "gsm_sms.tp-oa")
    if got != address:
        wrong.append(f"address {got!r} is not {address!r}")
    got = first(sms, "gsm_sms.sms_text") or ""
    if got != bytes.fromhex(text).decode():
        wrong.append(f"text {got!r}")
    if part != "1/1":
        n, of = part.split("/")
        if first(sms, "gsm_sms.udh.mm.msg_part",
                 "gsm-sms.udh.mm.msg_part") != n or \
           first(sms, "gsm_sms.udh.mm.msg_parts",
                 "gsm-sms.udh.mm.msg_parts") != of:
            wrong.append("part")
    return wrong


def main():
    lines = [l.rstrip("\n").split(" ") for l in open(sys.argv[1])]
    packets = json.load(open(sys.argv[2]))
    bad = 0
    if len(lines) != len(packets) or not lines:
        print(f"# {len(lines)} TPDUs, {len(packets)} packets")
        bad = 1
    for want, packet in zip(lines, packets):
        for w in check(want, packet):
            print(f"# {want[1]}: {w}")
            bad += 1
    print(f"# {len(packets)} TPDUs compared, {bad} differ")
    return bad != 0


sys.exit(main())
