"""Shortest common supersequence: the shortest word that holds every given word, each in its own order.

Best-first search (A*) over how far each word has got. A letter, once chosen, moves every word that waits for it, so a
state is one position per word. The bound on what is left is the larger of two that never overstate: each letter is
needed as often as the word that needs it most, and any two words alone need their own shortest supersequence.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from heapq import heappop, heappush
from itertools import combinations
from time import monotonic

State = tuple[int, ...]
Word = tuple[int, ...]

_BEAM = 60
_PAIRS = 60


@dataclass(frozen=True, slots=True)
class Supersequence:
    """A common supersequence.

    Args:
        letters: the word found.
        bound: no common supersequence is shorter than this.
    """

    letters: tuple[str, ...]
    bound: int

    @property
    def proven(self) -> bool:
        """Whether no shorter one exists."""
        return len(self.letters) == self.bound


def holds(word: Sequence[str] | Word, inner: Sequence[str] | Word) -> bool:
    """Whether `inner` is `word` with letters left out."""
    letters = iter(word)
    return all(letter in letters for letter in inner)


def shortest_supersequence(
    words: Sequence[Sequence[str]], *, nodes: int = 200_000, seconds: float = 2.0
) -> Supersequence:
    """The shortest common supersequence, proven where the search ends within its limits.

    Beyond them the answer is the best word of a beam search, and `bound` says how short it could still be.

    Args:
        words: the words, no two neighbouring letters alike.
        nodes: states the search may open.
        seconds: time it may take.
    """
    alphabet = list(dict.fromkeys(letter for word in words for letter in word))
    number = {letter: i for i, letter in enumerate(alphabet)}
    coded = sorted({tuple(number[letter] for letter in word) for word in words}, key=lambda w: (-len(w), w))
    kept: list[Word] = []
    for word in coded:
        if not any(holds(other, word) for other in kept):
            kept.append(word)
    search = _Search(kept, len(alphabet))
    found, bound = search.run(nodes, monotonic() + seconds)
    return Supersequence(tuple(alphabet[letter] for letter in found), bound)


class _Search:
    """The words, and the bounds looked up for each state."""

    def __init__(self, words: list[Word], letters: int) -> None:
        self.words = words
        self.letters = letters
        self.counts = [
            [[word[start:].count(letter) for letter in range(letters)] for start in range(len(word) + 1)]
            for word in words
        ]
        pairs = [(i, j, _pair_table(words[i], words[j])) for i, j in combinations(range(len(words)), 2)]
        self.pairs = sorted(pairs, key=lambda pair: -pair[2][0][0])[:_PAIRS]

    def least(self, state: State) -> int:
        """A number of letters that is never more than what is still needed."""
        rows = [counts[at] for counts, at in zip(self.counts, state, strict=True)]
        needed = sum(map(max, zip(*rows, strict=True))) if rows else 0
        return max([needed, *(table[state[i]][state[j]] for i, j, table in self.pairs)])

    def steps(self, state: State) -> Iterator[tuple[int, State]]:
        """Every letter some word waits for, with the state after it."""
        waiting = {word[at] for word, at in zip(self.words, state, strict=True) if at < len(word)}
        for letter in sorted(waiting):
            yield (
                letter,
                tuple(
                    at + 1 if at < len(word) and word[at] == letter else at
                    for word, at in zip(self.words, state, strict=True)
                ),
            )

    def run(self, nodes: int, deadline: float) -> tuple[Word, int]:
        """The best word found, and a length none can be below."""
        start: State = (0,) * len(self.words)
        best = self.beam(start)
        bound = self.least(start)
        if len(best) == bound:
            return best, bound
        came: dict[State, tuple[State, int] | None] = {start: None}
        length = {start: 0}
        queue = [(bound, 0, start)]
        closed: set[State] = set()
        goal = tuple(len(word) for word in self.words)
        while queue:
            total, _, state = heappop(queue)
            if state in closed:
                continue
            bound = max(bound, total)
            if state == goal:
                return _spelled(came, goal), len(_spelled(came, goal))
            if len(closed) >= nodes or (len(closed) % 512 == 511 and monotonic() > deadline):
                return best, bound
            closed.add(state)
            for letter, after in self.steps(state):
                reached = length[state] + 1
                if reached >= length.get(after, len(best)):
                    continue
                estimate = reached + self.least(after)
                if estimate < len(best):
                    length[after] = reached
                    came[after] = (state, letter)
                    heappush(queue, (estimate, -reached, after))
        return best, len(best)

    def beam(self, start: State) -> Word:
        """A good word quickly: letter by letter, keeping the states that seem nearest the end."""
        front: dict[State, Word] = {start: ()}
        goal = tuple(len(word) for word in self.words)
        while goal not in front:
            after: dict[State, Word] = {}
            for state, word in front.items():
                for letter, reached in self.steps(state):
                    after.setdefault(reached, (*word, letter))
            ranked = sorted(after, key=lambda state: (self.least(state), -sum(state), state))
            front = {state: after[state] for state in ranked[:_BEAM]}
        return front[goal]


def _pair_table(one: Word, other: Word) -> list[list[int]]:
    """Length of the shortest common supersequence of one[i:] and other[j:], by the textbook recurrence."""
    rows, columns = len(one), len(other)
    table = [[0] * (columns + 1) for _ in range(rows + 1)]
    for i in range(rows, -1, -1):
        for j in range(columns, -1, -1):
            if i == rows or j == columns:
                table[i][j] = rows - i + columns - j
            elif one[i] == other[j]:
                table[i][j] = 1 + table[i + 1][j + 1]
            else:
                table[i][j] = 1 + min(table[i + 1][j], table[i][j + 1])
    return table


def _spelled(came: dict[State, tuple[State, int] | None], state: State) -> Word:
    letters: list[int] = []
    step = came[state]
    while step is not None:
        letters.append(step[1])
        step = came[step[0]]
    return tuple(reversed(letters))
