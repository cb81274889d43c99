"""``python -m tests.reference`` prints every outside check: engine, source, expected, got, digits agreed."""

from __future__ import annotations

from tests.reference.test_checks import ENGINES


def main() -> None:
    checks = [check for engine in ENGINES for check in engine.run()]
    for c in checks:
        verdict = "holds" if c.holds else "FAILS"
        first = f"{c.expected[0]:.8g} | {c.got[0]:.8g}"
        print(f"{verdict} | {c.engine} | {c.source} | {c.quantity} | {first} | {c.agreed:.1f} digits | {c.status}")
    print(f"{sum(c.holds for c in checks)} of {len(checks)} outside checks hold.")


if __name__ == "__main__":
    main()
