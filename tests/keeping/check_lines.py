"""Checks an exported log by its description alone, without the program.

usage: check_lines.py LOG.jsonl

Hashes are SHA-256 (hashlib) over netstrings of the fields, as the documentation of
`Record::computed_hash` and `Evidence::hash` says; sound is Base64 of a FLAC file.
"""

import base64
import hashlib
import json
import sys


def digest(*fields):
    sha = hashlib.sha256()
    for field in fields:
        data = str(field).encode()
        sha.update(b"%d:%s," % (len(data), data))
    return sha.hexdigest()


def raw(line, key):
    """The JSON text of a member, just as it stands in the line."""
    start = line.index(f'"{key}":') + len(key) + 3
    _, end = json.JSONDecoder().raw_decode(line, start)
    return line[start:end]


def check(path):
    with open(path, encoding="utf-8", newline="\n") as file:
        header, *lines = file.read().removesuffix("\n").split("\n")
    header = json.loads(header)
    assert (header["format"], header["version"]) == ("bothhands log", 1), header
    evidence, events = set(), {}
    for line in lines:
        (what, it), = json.loads(line).items()
        if what == "evidence":
            if "flac" in it:
                flac = base64.b64decode(it["flac"], validate=True)
                assert flac[:4] == b"fLaC"
                assert hashlib.sha256(flac).hexdigest() == it["sound_hash"]
            hash = digest("bothhands evidence 1", it["sound_hash"], it["rate"], it["samples"],
                          it["start"], it["words"], raw(line, "heard"))
            assert hash == it["hash"], it["hash"]
            evidence.add(hash)
        else:
            hash = digest("bothhands event 1", it["chain"], it["position"], it["device"],
                          it["at"], it["version"], it["kind"], raw(line, "payload"),
                          it["evidence"] or "", it["prev_hash"])
            assert hash == it["hash"] and hash[:32] == it["id"], it["seq"]
            assert it["seq"] == len(events) + 1
            assert it["evidence"] is None or it["evidence"] in evidence
            before = events.get(it["prev_hash"])
            if it["position"] == 1:
                assert before or it["prev_hash"] == "0" * 64
            else:
                assert before == (it["chain"], it["position"] - 1), it["seq"]
            events[hash] = (it["chain"], it["position"])
    assert (len(events), len(evidence)) == (header["events"], header["evidence"])
    print(f"{len(events)} events and {len(evidence)} pieces of evidence fit")


if __name__ == "__main__":
    check(sys.argv[1])
