"""How a helping process ends: with its server, and never by Ctrl-C."""

import multiprocessing
import os
import signal
import threading


def end_with_parent() -> None:
    """Leave Ctrl-C to the server, and end at once when it is gone.

    A server that is killed cannot end its helpers; without this they would stay.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_wait, args=(parent,), daemon=True).start()


def _wait(parent: multiprocessing.process.BaseProcess) -> None:
    parent.join()
    os._exit(1)
