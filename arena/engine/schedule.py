"""Who is next: a tournament tree over the times of all walkers of a world.

Leaf ``size + i`` holds the time of walker i, every inner node the smaller of its two children. Equal times
go to the lower number, so that ties always break alike.
"""

from agents.arrays import FloatArray
from agents.compiled import kernel


def tree_size(count: int) -> int:
    """Number of leaves for ``count`` walkers: the next power of two."""
    size = 1
    while size < count:
        size *= 2
    return size


@kernel
def set_time(tree: FloatArray, number: int, time: float) -> None:
    """Give walker ``number`` its next ``time`` [s]; ``tree`` has twice as many places as leaves."""
    place = len(tree) // 2 + number
    tree[place] = time
    place //= 2
    while place >= 1:
        tree[place] = min(tree[2 * place], tree[2 * place + 1])
        place //= 2


@kernel
def first_walker(tree: FloatArray) -> int:
    """Number of the walker whose time comes first; the time itself is ``tree[1]``."""
    size = len(tree) // 2
    place = 1
    while place < size:
        place = 2 * place if tree[2 * place] <= tree[2 * place + 1] else 2 * place + 1
    return place - size
