#!/usr/bin/env python3
"""Verifies an archive of Darkline without Darkline, from docs/reference/archive-format.md alone.

    python3 verify_archive.py ARCHIVE [--bench-key KEY] [--since CHECKPOINT]

Needs Python 3.9 or later and the package `cryptography`. Where `pyarrow` is there too, the pulses are held against the
entries as well; without it they are guarded by the manifest alone, and that is said.

It does not evaluate: that the figures follow from the documents is for `darkline verify`. Everything else is checked:
every byte of the file, every digest, every entry, the root, the bench's checkpoint, every signature of a person, and
that report, record and documents are those that the signed entries name.

Ends with 0 when all is in order, 1 when something is not, 2 when the file cannot be read.
"""

import hashlib
import io
import json
import math
import re
import struct
import sys
import zlib

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

MEANINGS = {"measured": "responsible for the measurement", "reviewed": "reviewed", "approved": "approved"}
KNOWN = ("entries.jsonl", "checkpoint.txt", "devices.txt", "report.pdf", "record.json", "outcome.json", "README.txt")
KNOWN += ("record.txt", "identity.json")
FIXED = bytes([10, 0, 0, 8, 0, 0, 0, 0, 0x21, 0])


class Unreadable(Exception):
    """Nothing more can be said about the archive."""


def pack(files):
    """The zip of these files, as the format lays it out (section 1)."""
    body, directory = b"", b""
    for name, content in files:
        encoded = name.encode()
        head = FIXED + struct.pack("<IIIHH", zlib.crc32(content), len(content), len(content), len(encoded), 0)
        directory += b"PK\1\2" + bytes([10, 3]) + head + bytes(6) + b"\0\0\xa4\x81"
        directory += struct.pack("<I", len(body)) + encoded
        body += b"PK\3\4" + head + encoded + content
    end = struct.pack("<IHHIIH", 0, len(files), len(files), len(directory), len(body), 0)
    return body + directory + b"PK\5\6" + end


def unpack(data, faults):
    """The files of the zip, from head to head; the whole must be what `pack` makes of them."""
    files, at = [], 0
    while data[at : at + 4] == b"PK\3\4":
        head = data[at + 4 : at + 30]
        if len(head) < 26:
            raise Unreadable(f"the file ends within the head at byte {at}")
        _, length, _, name_length, _ = struct.unpack("<IIIHH", head[10:])
        start = at + 30 + name_length
        try:
            name = data[at + 30 : start].decode()
        except UnicodeDecodeError:
            raise Unreadable(f"the name at byte {at + 30} is not UTF-8") from None
        if start + length > len(data):
            raise Unreadable(f"the file ends within {name}")
        files.append((name, data[start : start + length]))
        at = start + length
    if not files:
        raise Unreadable("this is no archive: it does not begin with the head of a file")
    again = pack(files)
    if again != data:
        place = next((i for i, (a, b) in enumerate(zip(again, data)) if a != b), min(len(again), len(data)))
        faults.append(f"byte {place} of the archive differs from what was written")
    return files


def check_bag(files, faults):
    """The files below data/, after the bag was checked (section 2)."""
    base = files[0][0].split("/")[0]
    inside = {}
    for name, content in files:
        folder, _, path = name.partition("/")
        bad = folder != base or not path or path in inside or ".." in path.split("/") or path.startswith("/")
        if bad or "\\" in path:
            faults.append(f"{name} lies beside the one folder of the bag, leads out of it, or is there twice")
        inside[path] = content
    if list(inside) != sorted(inside):
        faults.append("the files do not stand in the order of their paths")
    if inside.get("bagit.txt") != b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n":
        faults.append("bagit.txt does not declare BagIt 1.0")
    data = {path: content for path, content in inside.items() if path.startswith("data/")}
    tags = {path: c for path, c in inside.items() if path not in data and path != "tagmanifest-sha512.txt"}
    for manifest, guarded in (("manifest-sha512.txt", data), ("tagmanifest-sha512.txt", tags)):
        encoded = {p.replace("%", "%25").replace("\n", "%0A").replace("\r", "%0D"): c for p, c in guarded.items()}
        listed = {}
        for line in inside.get(manifest, b"").decode("utf-8", "replace").splitlines():
            digest, _, path = line.partition("  ")
            listed[path] = digest
        for path in sorted(listed.keys() | encoded.keys()):
            if path not in encoded:
                faults.append(f"{path} is named by {manifest} and missing")
            elif listed.get(path) != hashlib.sha512(encoded[path]).hexdigest():
                faults.append(f"{path} does not have the digest that {manifest} says")
    oxum = f"Payload-Oxum: {sum(map(len, data.values()))}.{len(data)}"
    if oxum not in inside.get("bag-info.txt", b"").decode("utf-8", "replace").splitlines():
        faults.append(f"bag-info.txt does not say {oxum}")
    return {path[len("data/") :]: content for path, content in data.items()}


def node(left, right):
    return hashlib.sha256(b"\1" + left + right).digest()


def roots(leaves, sizes):
    """The root of the first n leaves, for each n of sizes (RFC 9162, section 2.1.1)."""
    found, peaks = {0: hashlib.sha256(b"").digest()}, []
    for size, leaf in enumerate(leaves, 1):
        n = size - 1
        while n & 1:
            leaf, n = node(peaks.pop(), leaf), n >> 1
        peaks.append(leaf)
        if size in sizes:
            root = peaks[-1]
            for peak in reversed(peaks[:-1]):
                root = node(peak, root)
            found[size] = root
    return found


def signed(key, text, signature):
    try:
        Ed25519PublicKey.from_public_bytes(bytes.fromhex(key)).verify(bytes.fromhex(signature), text.encode())
        return True
    except (InvalidSignature, ValueError):
        return False


def fingerprint(key):
    return hashlib.sha256(bytes.fromhex(key)).hexdigest()[:16]


def check_checkpoint(what, text, keys, faults):
    """Size, root and log of a checkpoint that one of the keys signed (section 4)."""
    lines = text.split("\n")
    if len(lines) != 8 or lines[0] != "darkline/checkpoint/1" or lines[7]:
        faults.append(f"{what} is no checkpoint")
        return None
    _, log, size, root, _, key, signature, _ = lines
    holder = next((k for k in keys if fingerprint(k) == key), None)
    body = text[: -len(signature) - 1]
    if holder is None:
        faults.append(f"{what} is signed by {key}, which devices.txt does not name")
    elif not signed(holder, body, signature):
        faults.append(f"{what} was altered: its signature does not hold")
    return log, int(size), root, key


def read_entries(text, faults):
    """Leaves and acts of the log (section 3)."""
    leaves, entries, identities = [], [], set()
    for place, line in enumerate(text.splitlines()):
        found = json.loads(line)
        if json.dumps(found, sort_keys=True, ensure_ascii=False, separators=(",", ":")) != line:
            faults.append(f"entries.jsonl, line {place + 1}, is not in its one form")
        if found["number"] != place:
            faults.append(f"entry {found['number']} stands where entry {place} should")
        leaves.append(bytes.fromhex(found["leaf"]))
        stored = found.get("stored")
        if stored is None:
            continue
        if hashlib.sha256(b"\0" + stored.encode()).digest() != leaves[-1]:
            faults.append(f"entry {place} was changed: its hash is another")
        head = stored.split("\n", 6)
        if len(head) != 7 or head[0] != "darkline/entry/1" or head[2] != str(place) or head[3] in identities:
            faults.append(f"entry {place} does not say of itself that it is entry {place}, once")
            continue
        identities.add(head[3])
        entries.append((place, head[1], head[4], head[5], json.loads(head[6])))
    return leaves, entries


def check_held(leaves, entries, files, faults):
    """The last entry says which entries stand here with their text (section 3)."""
    numbers, ranges = [number for number, *_ in entries], []
    for number in numbers:
        if ranges and ranges[-1][1] == number - 1:
            ranges[-1][1] = number
        else:
            ranges.append([number, number])
    found = ",".join(str(first) if first == last else f"{first}-{last}" for first, last in ranges)
    if not entries or entries[-1][0] != len(leaves) - 1 or entries[-1][4]["act"] != "archive":
        faults.append("the last entry does not say that the order was archived")
        return
    rendering = entries[-1][4].get("rendering")
    if rendering and hashlib.sha256(files.get("record.txt", b"")).hexdigest() != rendering:
        faults.append("record.txt is not what was written when the order was archived")
    if entries[-1][4].get("holds", found) != found:
        faults.append(f"entries {entries[-1][4]['holds']} stood here with their text; now it is {found}")


def check_acts(entries, files, leaves, faults):
    """Signatures of people, and files that the entries name (sections 5 and 6)."""
    keys, orders, documents, pulses = {}, {}, {}, {}
    wanted = {a.get("size", 0) for *_, a in entries if a["act"] in ("sign", "issue")}
    root_of = roots(leaves, wanted)
    for number, _, by, at, act in entries:
        if isinstance(act.get("person"), dict) and "public_key" in act["person"]:
            keys[act["person"]["id"]] = act["person"]["public_key"]
        if act["act"] in ("sign", "issue"):
            known = orders.setdefault(act["order"], {"signed": [], "issues": []})
            if act["act"] == "sign":
                meaning, package = MEANINGS.get(act["meaning"], act["meaning"]), act["package"]
                known["signed"].append((act["outcome"], package, by, meaning))
            else:
                meaning = f"issued as {act['report']} with record {act['record']} and report {act['document']}"
                package = next((p for o, p, *_ in reversed(known["signed"]) if o == act["outcome"]), "")
                hands = {who for o, _, who, _ in known["signed"] if o == act["outcome"]}
                if len(hands) < 2:
                    faults.append(f"report {act['report']}: fewer than two people signed its outcome")
                known["issues"].append(act)
            facts = [act["order"], meaning, by, at, act["outcome"], package, str(act["size"]), act["root"]]
            text = "darkline/signature/1\n" + "".join(f"{fact}\n" for fact in facts)
            who = f"the signature of {by} in entry {number} ({meaning})"
            if not keys.get(by) or not signed(keys[by], text, act["signature"]):
                faults.append(f"{who} does not hold")
            if root_of.get(act["size"], b"").hex() != act["root"] or act["size"] > number:
                faults.append(f"{who} names a root that the first {act['size']} entries do not give")
        if act["act"] == "open-document":
            beside = [act["rows"]] if act.get("rows") else []
            for file in [{"file_name": act["file_name"], "text": act["text"]}, *beside]:
                documents.setdefault(file["text"].encode(), (number, file["file_name"]))
        if act["act"] == "import":
            for _, digest in act["pulses"]:
                pulses.setdefault(act["run"], set()).add(digest)
    for path, content in files.items():
        if path.startswith("documents/") and content not in documents:
            faults.append(f"{path} is not what any entry brought")
    for text, (number, name) in documents.items():
        if text not in files.values():
            faults.append(f"the document {name} of entry {number} is missing")
    issued = [known["issues"][-1] for known in orders.values() if known["issues"]]
    if len(issued) != 1:
        raise Unreadable(f"{len(issued)} orders have a report here; an archive holds one")
    for path, what in (("report.pdf", "document"), ("record.json", "record")):
        if hashlib.sha256(files.get(path, b"")).hexdigest() != issued[0][what]:
            faults.append(f"{path} is not what was issued as {issued[0]['report']}")
    return issued[0], pulses


def check_pulses(pulses, files, faults):
    """Every pulse of an entry stands in the file of its run (section 7)."""
    try:
        import pyarrow.parquet as parquet
    except ImportError:
        return "guarded by the manifest alone: pyarrow is not there"
    n = 0
    for run, wanted in pulses.items():
        found, columns = set(), parquet.read_table(io.BytesIO(files.get(f"pulses/{run}.parquet", b""))).to_pydict()
        rows = {}
        middle = columns.get("middle", [None] * len(columns["reading"]))
        for reading, third, *two in zip(columns["reading"], middle, columns["t_s"], columns["total"], columns["background"]):
            two = [math.nan if value is None else value for value in two]
            kind, sample = (1, struct.pack("<dff", *two)) if third is None else (2, struct.pack("<dfff", *two, third))
            rows.setdefault((reading, kind), []).append(sample)
        for (_, kind), samples in rows.items():
            found.add(hashlib.sha256(b"darkline/pulse/%d\n" % kind + b"".join(samples)).hexdigest())
        n += len(found)
        if found != wanted:
            faults.append(f"pulses/{run}.parquet holds other pulses than the entries name")
    return f"{n} pulses as the entries name them"


def verify(data, bench_key=None, since=None):
    """What is not in order, and what was found."""
    faults = []
    files = check_bag(unpack(data, faults), faults)
    for name in ("entries.jsonl", "checkpoint.txt", "devices.txt", "report.pdf", "record.json", "outcome.json"):
        if name not in files:
            raise Unreadable(f"data/{name} is missing")
    leaves, entries = read_entries(files["entries.jsonl"].decode(), faults)
    devices = files["devices.txt"].decode().split()
    found = check_checkpoint("checkpoint.txt", files["checkpoint.txt"].decode(), devices, faults)
    if found is None:
        raise Unreadable("without a checkpoint nobody vouches for the entries")
    log, size, root, key = found
    if size != len(leaves) or roots(leaves, {size}).get(size, b"").hex() != root:
        faults.append(f"the {len(leaves)} entries do not give the root that checkpoint.txt says over {size}")
    faults += [f"entry {number} is of the log {of}, not of {log}" for number, of, *_ in entries if of != log]
    check_held(leaves, entries, files, faults)
    issue, pulses = check_acts(entries, files, leaves, faults)
    if bench_key and bench_key.replace(" ", "").lower() != key:
        faults.append(f"bench {key} signed this archive, not {bench_key}")
    if since is not None:
        earlier = check_checkpoint("the earlier checkpoint", since, devices, faults)
        if earlier and (earlier[0] != log or roots(leaves, {earlier[1]}).get(earlier[1], b"").hex() != earlier[2]):
            faults.append(f"the first {earlier[1]} entries are not those that the earlier checkpoint covers")
    known = {*KNOWN, *(f"pulses/{run}.parquet" for run in pulses)}
    strange = [name for name in files if name not in known and not name.startswith("documents/")]
    faults += [f"{name} does not belong to the archive" for name in strange]
    words = check_pulses(pulses, files, faults)
    return faults, f"report {issue['report']} of order {issue['order']}, {size} entries, bench {key}, {words}"


def main(arguments):
    options = {}
    while len(arguments) > 2 and arguments[-2] in ("--bench-key", "--since"):
        value = arguments.pop()
        options[arguments.pop()] = value
    if len(arguments) != 1 or re.match("--", arguments[0]):
        print(__doc__, file=sys.stderr)
        return 2
    try:
        with open(arguments[0], "rb") as file:
            data = file.read()
        since = open(options["--since"], encoding="utf-8").read() if "--since" in options else None
        faults, found = verify(data, options.get("--bench-key"), since)
    except OSError as fault:
        print(f"error: {fault}", file=sys.stderr)
        return 2
    except (Unreadable, ValueError, KeyError, TypeError, IndexError, AttributeError) as fault:
        print(f"not in order: {fault!r}" if not isinstance(fault, Unreadable) else f"not in order: {fault}")
        return 1
    for fault in faults:
        print(f"not in order: {fault}")
    print(f"{arguments[0]}: {'in order' if not faults else f'{len(faults)} faults'}: {found}")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
