"""``python -m tests.reference`` prints every outside check: engine, source, expected, got, digits agreed."""

from __future__ import annotations

from tests.reference.engines import line, run_all


def main() -> None:
    checks = run_all()
    for check in checks:
        print(line(check))
    print(f"{sum(c.holds for c in checks)} of {len(checks)} outside checks hold.")


if __name__ == "__main__":
    main()
