from padbench.core.findings import Finding, overall, worst_of_each


def finding(id_, verdict, margin):
    return Finding(id_, verdict, None, None, margin, "ns", "", "", "")


def test_the_least_margin_stands_for_an_id():
    kept = worst_of_each(
        [
            finding("a", "pass", 5.0),
            finding("b", "not-judged", None),
            finding("a", "pass", 2.0),
            finding("a", "pass", 3.0),
            finding("b", "pass", 9.0),
        ]
    )
    assert [(f.id, f.margin) for f in kept] == [("a", 2.0), ("b", 9.0)]


def test_a_failure_outranks_any_margin():
    kept = worst_of_each([finding("a", "pass", -1.0), finding("a", "fail", 0.5)])
    assert [f.verdict for f in kept] == ["fail"]


def test_overall():
    assert overall([]) == "pass"
    assert overall(["pass", "not-judged"]) == "pass"
    assert overall(["pass", "fail", "pass"]) == "fail"
