"""The loop that `verify` is held against: entries from SQLite, each hashed, the root worked out; seconds, those of the processor, and root."""

import hashlib
import sqlite3
import sys
import time

began, spent = time.perf_counter(), time.process_time()
connection = sqlite3.connect(f"file:{sys.argv[1]}?mode=ro", uri=True)
(log,) = connection.execute("SELECT log FROM trail").fetchone()
sha256 = hashlib.sha256
peaks = []
size = 0
for number, identity, person, at, stored in connection.execute(
    "SELECT number, id, person, at, bytes FROM entry ORDER BY number"
):
    head = f"darkline/entry/1\n{log}\n{number}\n{identity}\n{person}\n{at}\n"
    node = sha256(b"\0" + head.encode() + stored).digest()
    n = size
    while n & 1:
        node = sha256(b"\1" + peaks.pop() + node).digest()
        n >>= 1
    peaks.append(node)
    size += 1
root = peaks.pop() if peaks else sha256(b"").digest()
while peaks:
    root = sha256(b"\1" + peaks.pop() + root).digest()
print(time.perf_counter() - began, time.process_time() - spent, root.hex())
