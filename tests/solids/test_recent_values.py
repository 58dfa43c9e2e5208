"""Values are computed once for as long as they are among those used last."""

from worker.solids.recent_values import RecentValues


def test_the_values_used_last_are_kept():
    values, computed = RecentValues[int](2), []

    def value(key):
        def compute():
            computed.append(key)
            return 2 * key

        return values.get(key, compute)

    assert [value(key) for key in (1, 2, 1, 3, 1, 2)] == [2, 4, 2, 6, 2, 4]
    assert computed == [1, 2, 3, 2]  # 3 took the place of 2, which had not been used since
