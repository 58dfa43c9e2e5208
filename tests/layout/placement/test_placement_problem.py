"""Fits, greedy, reworked and solved: what holds for every one of them."""

import subprocess
import sys
from itertools import combinations

from hypothesis import given, settings
from hypothesis import strategies as st

from worker.layout.placement.cp_sat import fitted, solved
from worker.layout.placement.greedy import allowance, best_greedy, best_of_three, bottom_left, plain_fits, reworked
from worker.layout.placement.placement_problem import Bay, Fit, GridPlace, Request, Score, SizeChoice, bill, score, ties

_modest = settings(max_examples=60, deadline=None)
_few = settings(max_examples=20, deadline=None)
_QUICK = 0.01


@st.composite
def bays(draw):
    step = draw(st.sampled_from([1, 2]))
    across, back = draw(st.integers(1, 6)), draw(st.integers(1, 7))
    cells = draw(st.lists(st.integers(0, 3).map(bool), min_size=across * back, max_size=across * back))
    rows = [cells[row * across : (row + 1) * across] for row in range(back)]
    return Bay(
        tuple(tuple(cell for cell in row for _ in range(step)) for row in rows for _ in range(step)), step
    )  # fmt: skip


@st.composite
def problems(draw):
    bay = draw(bays())
    step = bay.step
    requests = []
    count = draw(st.integers(1, 8))
    for index in range(count):
        choices = draw(
            st.lists(st.tuples(st.integers(1, 4), st.integers(1, 4), st.integers(1, 50)), min_size=1, max_size=4)
        )
        held = draw(st.sampled_from([(1, 0, 0), (0, 1, 0), (0, 0, 1), (0, 2, 1)]))
        pinned = draw(st.integers(0, 5)) == 0
        pin = (draw(st.integers(0, 5)) * step, draw(st.integers(0, 5)) * step) if pinned else None
        requests.append(
            Request(
                name=f"r{index}",
                choices=tuple(SizeChoice(width * step, depth * step, 1000.0 * cost) for width, depth, cost in choices),
                holds=held,
                group=draw(st.sampled_from([None, "a", "b"])),
                near=(draw(st.integers(0, count - 1)),) if draw(st.integers(0, 4)) == 0 else (),
                pin=pin,
            )
        )
    return tuple(requests), bay


def check(requests, bay, fit):
    """Assert that a fit is one."""
    assert len(fit.places) == len(requests)
    taken = set()
    for request, place in zip(requests, fit.places, strict=True):
        if place is None:
            continue
        choice = request.choices[place.choice]
        assert place.x % bay.step == place.y % bay.step == 0
        assert request.pin is None or request.pin == (place.x, place.y)
        under = {(place.x + i, place.y + j) for i in range(choice.width) for j in range(choice.depth)}
        assert all(y < bay.back and x < bay.across and bay.free[y][x] for x, y in under)
        assert not under & taken
        taken |= under


@_modest
@given(problems())
def test_greedy_fits_overlap_nothing_stay_in_the_bay_and_honour_pins(problem):
    requests, bay = problem
    for greedy in (bottom_left, best_of_three, best_greedy):
        fit = greedy(requests, bay)
        check(requests, bay, fit)
        assert fit == greedy(requests, bay)
    assert score(requests, best_greedy(requests, bay)) <= score(requests, best_of_three(requests, bay))
    assert score(requests, best_greedy(requests, bay)) <= score(requests, bottom_left(requests, bay))


@_modest
@given(problems())
def test_reworking_makes_nothing_worse(problem):
    requests, bay = problem
    start = best_greedy(requests, bay)
    fit = reworked(requests, bay, start, rounds=40)
    check(requests, bay, fit)
    assert score(requests, fit) <= score(requests, start)
    assert fit == reworked(requests, bay, start, rounds=40)


@_few
@given(problems())
def test_the_solver_makes_nothing_worse_and_answers_alike(problem):
    requests, bay = problem
    start = best_greedy(requests, bay)
    fit = solved(requests, bay, start, limit=_QUICK)
    check(requests, bay, fit)
    assert score(requests, fit) <= score(requests, start)
    assert fit == solved(requests, bay, start, limit=_QUICK)


@_few
@given(problems())
def test_the_best_fit_is_no_worse_than_any_greedy_one(problem):
    requests, bay = problem
    fit = fitted(requests, bay, share=0.1)
    check(requests, bay, fit)
    most = allowance(requests, plain_fits(requests, bay))
    assert bill(requests, fit).within(most)
    for other in (bottom_left(requests, bay), best_of_three(requests, bay), best_greedy(requests, bay, most)):
        assert score(requests, fit) <= score(requests, other)


def brute(requests, bay):
    """Return the best score of all fits that take no more than they may, by trying every one."""
    best, most = None, allowance(requests, plain_fits(requests, bay))

    def extend(places, free):
        nonlocal best
        if len(places) == len(requests):
            fit = Fit(tuple(places))
            result = score(requests, fit)
            if not bill(requests, fit).within(most):
                return
            best = result if best is None else min(best, result)
            return
        extend([*places, None], free)
        request = requests[len(places)]
        for number, choice in enumerate(request.choices):
            for spot in bay.spots(bay.corners(free, choice.width, choice.depth)):
                if request.pin is None or request.pin == spot:
                    extend([*places, GridPlace(*spot, number)], free & ~bay.under(choice.width, choice.depth, spot))

    extend([], bay.bits)
    return best


@settings(max_examples=25, deadline=None)
@given(st.data())
def test_small_problems_are_solved_to_the_best_there_is(data):
    bay = Bay.open(data.draw(st.integers(2, 4)), data.draw(st.integers(2, 3)))
    sizes = st.tuples(st.integers(1, 3), st.integers(1, 2), st.integers(1, 9))
    requests = [
        Request(
            f"r{index}",
            tuple(
                SizeChoice(width, depth, 1000.0 * cost) for width, depth, cost in {data.draw(sizes), data.draw(sizes)}
            ),
            data.draw(st.sampled_from([(1, 0, 0), (0, 1, 0), (0, 0, 1)])),
            data.draw(st.sampled_from([None, "a"])),
        )
        for index in range(3)
    ]
    assert score(requests, fitted(requests, bay)) == brute(requests, bay)


def test_scores_count_as_their_words_say():
    first, other = SizeChoice(2, 2, 5000.0), SizeChoice(1, 3, 7000.0)
    requests = [
        Request("a", (first,), (1, 0, 0), "g"),
        Request("b", (first, other), (0, 2, 0), "g"),
        Request("c", (first,), (0, 0, 1), near=(0,)),
        Request("d", (first,), (1, 1, 0)),
    ]
    assert ties(requests) == ((0, 1), (0, 2))
    fit = Fit((GridPlace(0, 2, 0), GridPlace(4, 0, 1), None, None))
    # both missing requests count their items; a stands 2 from the front; the box of a and b is 5 by 4
    assert score(requests, fit) == Score((1, 1, 1), 2, 9, 1200)


def test_a_bay_knows_its_free_places():
    bay = Bay.open(6, 4, step=2).less([((2, 0), (2, 2))])
    corners = set(bay.spots(bay.corners(bay.bits, 2, 2)))
    assert corners == {(0, 0), (4, 0), (0, 2), (2, 2), (4, 2)}
    assert set(bay.spots(bay.corners(bay.bits, 4, 2))) == {(0, 2), (2, 2)}
    assert bay.corners(bay.bits, 8, 2) == bay.corners(bay.bits, 2, 6) == 0
    for corner, two in combinations(corners, 2):
        assert not bay.under(2, 2, corner) & bay.under(2, 2, two)


_ELSEWHERE = """
from worker.layout.placement.placement_problem import Bay, SizeChoice, Request
from worker.layout.placement.cp_sat import fitted
requests = [
    Request(
        name=str(n),
        choices=(SizeChoice(1 + n % 3, 2, 900.0 * n + 1), SizeChoice(2, 1 + n % 4, 800.0 * n + 1)),
        holds=((1, 0, 0), (0, 1, 0))[n % 2],
        group="abc"[n % 3],
    )
    for n in range(14)
]
print(fitted(requests, Bay.open(9, 10)).places)
"""


def test_the_answer_is_the_same_in_another_process():
    answers = {
        subprocess.run([sys.executable, "-c", _ELSEWHERE], check=True, capture_output=True, text=True).stdout
        for _ in range(2)
    }
    assert len(answers) == 1
    assert "GridPlace" in answers.pop()
