"""The API under made-up requests, a few at each change; `python -m tests.fuzz_api` sends thousands."""

from tests.fuzz_api import Target, fuzz, open_doors

REQUESTS = 300


def test_no_answer_is_a_fault_or_missing_from_the_document(tmp_path, monkeypatch):
    open_doors(monkeypatch)
    target = Target(tmp_path)
    fuzz(target, REQUESTS)
    assert sum(target.seen.values()) >= REQUESTS
    assert {status for _, status in target.seen} >= {200, 201, 401, 404, 409, 422}, "the requests should reach everywhere"
