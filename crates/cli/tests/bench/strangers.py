"""What programs of other people say about our files; each check ends with 0 when they agree.

    strangers.py bag FOLDER                        bagit, the reference validator of BagIt
    strangers.py pulses FILE                       pyarrow reads the pulses and prints readings, rows and columns
    strangers.py merkle ENTRIES CHECKPOINT PROOF   pymerkle comes to the same roots; our proof by the RFC
    strangers.py change ENDPOINT KEY               other bytes under this name in the bucket "pulses"
"""

import hashlib
import json
import sys


def bag(folder):
    import bagit

    bagit.Bag(folder).validate(processes=1)
    print("valid")


def pulses(file):
    import pyarrow.parquet as parquet

    table = parquet.read_table(file)
    columns = ",".join(f"{field.name}:{field.type}" for field in table.schema)
    print(len(set(table["reading"].to_pylist())), table.num_rows, columns)


def consistent(first, first_root, second, second_root, proof):
    """RFC 9162, section 2.1.4.2, step by step."""
    if first == second:
        return not proof and first_root == second_root
    if not proof:
        return False
    path = [first_root, *proof] if first & (first - 1) == 0 else proof
    fn, sn = first - 1, second - 1
    while fn & 1:
        fn, sn = fn >> 1, sn >> 1
    fr = sr = path[0]
    for c in path[1:]:
        if sn == 0:
            return False
        if fn & 1 or fn == sn:
            fr = hashlib.sha256(b"\1" + c + fr).digest()
            sr = hashlib.sha256(b"\1" + c + sr).digest()
            while fn and not fn & 1:
                fn, sn = fn >> 1, sn >> 1
        else:
            sr = hashlib.sha256(b"\1" + sr + c).digest()
        fn, sn = fn >> 1, sn >> 1
    return fr == first_root and sr == second_root and sn == 0


def merkle(entries, checkpoint, proof):
    from pymerkle import InmemoryTree

    tree = InmemoryTree(algorithm="sha256")
    for line in open(entries, encoding="utf-8"):
        tree.append_entry(json.loads(line)["stored"].encode())
    root_of = getattr(tree, "get_root", None) or tree.get_state

    def signed(lines):
        assert lines[0] == "darkline/checkpoint/1", lines
        size, root = int(lines[2]), lines[3]
        assert root_of(size).hex() == root, (size, root)
        return size, bytes.fromhex(root)

    newest = open(checkpoint, encoding="utf-8").read().splitlines()
    lines = open(proof, encoding="utf-8").read().splitlines()
    earlier, later = signed(lines[1:8]), signed(lines[8:15])
    assert signed(newest) == later
    theirs = tree.prove_consistency(earlier[0], later[0])
    theirs.verify(earlier[1], later[1], prior_size=earlier[0], later_size=later[0])
    assert consistent(*earlier, *later, [bytes.fromhex(line) for line in lines[15:]]), "our proof does not hold"
    print("agrees", earlier[0], later[0])


def change(endpoint, key):
    import boto3

    keys = {"aws_access_key_id": "millrace", "aws_secret_access_key": "invented", "region_name": "us-east-1"}
    boto3.client("s3", endpoint_url=endpoint, **keys).put_object(Bucket="pulses", Key=key, Body=b"changed")


if __name__ == "__main__":
    {"bag": bag, "pulses": pulses, "merkle": merkle, "change": change}[sys.argv[1]](*sys.argv[2:])
