"""The hashes of the seal against the standards' test vectors and openssl; each digest is compared byte by byte."""

from __future__ import annotations

from analysis.records.sealing.hashes import root_hash, salted_hex, sha256_hex
from tests.reference.check import Check, Source

SEEN, SOFTWARE = "published value seen", "reference software only"
FIPS = {
    "": "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    "abc": "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
    "abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq": (
        "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"
    ),
    "a" * 1_000_000: "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0",
}
LONG = (
    "This is a test using a larger than block-size key and a larger than block-size data. The key needs to be hashed"
    " before being used by the HMAC algorithm."
)
RFC4231 = {  # the cases whose data are text: our function takes texts
    1: (b"\x0b" * 20, "Hi There", "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7"),
    2: (b"Jefe", "what do ya want for nothing?", "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"),
    6: (
        b"\xaa" * 131,
        "Test Using Larger Than Block-Size Key - Hash Key First",
        "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54",
    ),
    7: (b"\xaa" * 131, LONG, "9b09ffa71b942fcb27635fbcd5b0e944bfdc63644f0713938a7f51535c3a35e2"),
}
ROW = '["jobs", {"job_id": "J-1", "received_date": "2024-03-02", "device_age_years": "3.0", "outcome": null}]'
SALT = bytes(range(32))


def _bytes(digest: str) -> list[int]:
    return list(bytes.fromhex(digest))


def run() -> list[Check]:
    """Every check of this engine."""
    s = Source("hashing", "hashing")
    for text, want in FIPS.items():
        shown = f"'{text}'" if len(text) < 20 else f"{len(text)} characters"
        s.add("FIPS 180-4, SHA-256 examples", SEEN, shown, _bytes(want), _bytes(sha256_hex(text)), 12)
    for case, (key, text, want) in RFC4231.items():
        s.add("RFC 4231, HMAC-SHA-256", SEEN, f"test case {case}", _bytes(want), _bytes(salted_hex(key, text)), 12)
    e = s.expected
    s.add("openssl dgst", SOFTWARE, "a row, unsalted", _bytes(e["sha256_row"]), _bytes(sha256_hex(ROW)), 12)
    s.add("openssl dgst -mac HMAC", SOFTWARE, "a row, salted", _bytes(e["hmac_row"]), _bytes(salted_hex(SALT, ROW)), 12)
    umlaut = salted_hex(SALT, '["donors", {"donor_id": "D-Ä"}]')
    s.add("openssl dgst -mac HMAC", SOFTWARE, "letters in UTF-8", _bytes(e["hmac_umlaut"]), _bytes(umlaut), 12)
    two = root_hash({"jobs": {"J-1": sha256_hex("b")}, "donors": {"D-1": sha256_hex("a")}})
    s.add("openssl dgst, sort", SOFTWARE, "root of a seal of two rows", _bytes(e["root_of_two"]), _bytes(two), 12)
    return s.checks
