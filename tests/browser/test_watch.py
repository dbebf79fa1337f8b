"""The watch that the other browser tests rely on: it does see errors, requests and violations."""


def test_errors_and_requests_are_seen(page_and_seen):
    page, seen = page_and_seen
    page.goto("about:blank")
    assert not seen.errors
    assert not seen.off_machine
    page.evaluate("() => fetch('https://outside.example/').catch(() => console.error('no way'))")
    page.evaluate("() => { setTimeout(() => { throw new Error('thrown'); }); }")
    page.wait_for_timeout(100)
    assert seen.off_machine == ["https://outside.example/"]
    assert any("no way" in error for error in seen.errors)
    assert any("thrown" in error for error in seen.errors)


def test_a_control_without_a_name_is_a_violation(page_and_seen, violations):
    page, _ = page_and_seen
    page.set_content("<main><input type=range><label>pitch <input type=number></label></main>")
    assert len(violations(page, "main")) == 1
