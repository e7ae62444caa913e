"""The texts that were, one step each, and the place among them."""

from collections.abc import Iterator
from contextlib import contextmanager

MOST_STEPS = 500


class Steps:
    """What undo and redo walk through.

    `text` is stored anew with each move, in one go, so that other threads may read it.

    Parameters
    ----------
    text : str
        Where it begins.
    """

    def __init__(self, text: str) -> None:
        self.text = text
        self.moves = 0  # rises with each change of the text
        self._steps = [(text, "")]  # a text and the token of the drag that made it
        self._at = 0
        self._grouped = 0

    def __len__(self) -> int:
        return len(self._steps)

    @property
    def can_undo(self) -> bool:
        """Whether there is a step to take back."""
        return self._at > 0

    @property
    def can_redo(self) -> bool:
        """Whether a step was taken back that can be made again."""
        return self._at < len(self._steps) - 1

    def add(self, text: str, token: str = "") -> None:
        """Go to a new text; what was taken back before is dropped.

        Parameters
        ----------
        text : str
        token : str, optional
            A step with the token of the last one takes its place.
        """
        if text == self.text:
            return
        same = token and token == self._steps[self._at][1]
        if same and self.can_undo and not self.can_redo:
            self._steps[self._at] = text, token
        else:
            self._steps[self._at + 1 :] = [(text, token)]
            self._at += 1
        if not self._grouped and len(self._steps) > MOST_STEPS:
            del self._steps[0]
            self._at -= 1
        self._arrive()

    def undo(self) -> None:
        """Take the last step back, if there is one."""
        if self.can_undo:
            self._at -= 1
            self.settle()
            self._arrive()

    def redo(self) -> None:
        """Make the step again that was taken back last, if there is one."""
        if self.can_redo:
            self._at += 1
            self.settle()
            self._arrive()

    def settle(self) -> None:
        """End the drag: what follows is a step of its own."""
        self._steps[self._at] = self._steps[self._at][0], ""

    @contextmanager
    def group(self) -> Iterator[None]:
        """Make several steps one; if one fails, none of them is made."""
        start, before = self._at, self._steps[:]
        self._grouped += 1
        try:
            yield
        except BaseException:
            self._steps, self._at = before, start
            self._arrive()
            raise
        else:
            if self._grouped == 1 and self._at > start:
                self._steps[start + 1 :] = [self._steps[self._at]]
                self._at = start + 1
        finally:
            self._grouped -= 1

    def _arrive(self) -> None:
        self.text = self._steps[self._at][0]
        self.moves += 1
