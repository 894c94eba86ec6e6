"""A table of texts for a page."""

from collections.abc import Sequence
from dataclasses import dataclass, field


@dataclass
class Table:
    """`head` and `rows` of texts; `numbers`: columns set to the right."""

    head: Sequence[str]
    rows: list[Sequence[str]] = field(default_factory=list)
    numbers: Sequence[int] = ()

    def cut(self, count: int, most: int) -> "Table":
        """Itself, with a last row that says how many of `count` are left out when `most` were put in."""
        if count > most:
            self.rows.append([f"… and {count - most} more", *[""] * (len(self.head) - 1)])
        return self
