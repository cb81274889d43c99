"""How healthy the tests are: branches they run, mutants they notice, the state of what the suite depends on.

Three commands: ``python -m tests.health.coverage``, ``.mutation`` and ``.dependencies`` (extra: ``health``). None of
them touches the working tree: tests run in a clone of the committed state in a temporary folder.
"""
