#!/bin/sh
# Hashes of a log's rows as openssl makes them: the same salt and texts as in checks.py. Writes expected.json.
set -eu
salt=000102030405060708090a0b0c0d0e0f101112131415161718191a1b1c1d1e1f
plain() { printf '%s' "$1" | openssl dgst -sha256 -r | cut -d' ' -f1; }
salted() { printf '%s' "$1" | openssl dgst -sha256 -mac HMAC -macopt "hexkey:$salt" -r | cut -d' ' -f1; }
row='["jobs", {"job_id": "J-1", "received_date": "2024-03-02", "device_age_years": "3.0", "outcome": null}]'
umlaut='["donors", {"donor_id": "D-Ä"}]'
cat <<END
{
 "sha256_row": "$(plain "$row")",
 "root_of_two": "$(plain "$(printf '%s\n%s' "$(plain a)" "$(plain b)" | sort)")",
 "hmac_row": "$(salted "$row")",
 "hmac_umlaut": "$(salted "$umlaut")"
}
END
