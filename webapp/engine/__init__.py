"""The judgement of railcase, written once: CPython runs it on the server, MicroPython on the phone.

Rules for every file here: pure functions and named tuples; no files, clock, random source, network or globals that
change; only the subset of Python that both interpreters share (DEVELOPERS.md lists it, tests/engine/test_subset.py
refuses the rest). Imports go one way: problems, numeric, units, uncertainty, vin, book, quantity, limits, returns,
document, entries, verdicts, isolation, ledger, judge, calls.
"""

ENGINE_VERSION = "1.0.0"
